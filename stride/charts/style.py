"""The look that all charts share: colours, shapes, type, and what a chart with nothing to draw says.

The colours are those of Okabe & Ito (2008), "Color Universal Design", which people with any common colour blindness
can tell apart. Front feet are blue and drawn hollow or with whole lines, hind feet orange to red and drawn filled or
with dashed lines, so that a grey print tells them apart as well; the left side is the lighter of each pair.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Literal

import matplotlib
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.transforms import ScaledTranslation

from ..walk.analysis import Analysis
from ..walk.limbs import LIMBS, Limb, Side, pair_of
from ..walk.positions import find_display_length

LineStyle = Literal["-"] | tuple[float, tuple[float, ...]]

INK: Final = "#1c1a17"
MUTED: Final = "#5d5850"
FAINT: Final = "#d9d4ca"
PAPER: Final = "#ffffff"
BAND: Final = "#d3ebe2"  # a pale tint of the palette's bluish green
BAND_EDGE: Final = "#009e73"
UNKNOWN: Final = "#efece6"

NO_SCALE: Final = "no scale"
WIDTH_IN: Final = 7.2
DOTS_PER_INCH: Final = 150
SMALL_PT: Final = 8.0
BODY_PT: Final = 9.0
TITLE_PT: Final = 11.5
NOTE_COLUMNS: Final = 122
_NOTE_SPACING: Final = 1.55
_EDGE_IN: Final = 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class LimbStyle:
    """How one limb is drawn everywhere."""

    colour: str
    line: LineStyle
    marker: str
    filled: bool


_COLOURS: Final[dict[Limb, str]] = {
    "left_fore": "#56b4e9",
    "right_fore": "#0072b2",
    "left_hind": "#e69f00",
    "right_hind": "#d55e00",
}


def _style_limb(limb: Limb) -> LimbStyle:
    hind = pair_of(limb) == "hind"
    return LimbStyle(
        colour=_COLOURS[limb],
        line=(0.0, (4.0, 1.6)) if hind else "-",
        marker="^" if hind else "s",
        filled=hind,
    )


LIMB_STYLES: Final[Mapping[Limb, LimbStyle]] = {limb: _style_limb(limb) for limb in LIMBS}
SIDE_MARKERS: Final[Mapping[Side, str]] = {"left": "o", "right": "D"}
SIDE_COLOURS: Final[Mapping[Side, str]] = {"left": "#56b4e9", "right": "#0072b2"}

_RC: Final[dict[Any, Any]] = {
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "Helvetica"],
    "font.size": BODY_PT,
    "text.color": INK,
    "text.parse_math": False,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.labelsize": BODY_PT,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": BODY_PT,
    "axes.titlelocation": "left",
    "axes.unicode_minus": True,
    "axes.axisbelow": True,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "legend.fontsize": SMALL_PT,
    "legend.frameon": False,
    "legend.handlelength": 2.4,
    "figure.facecolor": PAPER,
    "figure.titlesize": TITLE_PT,
    "figure.titleweight": "bold",
    "axes.facecolor": PAPER,
    "hatch.linewidth": 0.7,
    "svg.fonttype": "none",
    "svg.hashsalt": "stride",
    "path.simplify": True,
}


def charted() -> AbstractContextManager[None]:
    """The settings of matplotlib under which every chart is made and saved; the caller's own come back after it."""
    plain: dict[Any, Any] = dict(matplotlib.rcParamsDefault)
    for name in ("backend", "backend_fallback"):
        plain.pop(name)
    return matplotlib.rc_context({**plain, **_RC})


def make_figure(height_in: float, *, arranged: bool = True) -> Figure:
    """An empty figure of the common width.

    ``arranged`` keeps room for everything outside its axes; otherwise every axes is placed by hand.
    """
    layout = ConstrainedLayoutEngine(w_pad=_EDGE_IN, h_pad=_EDGE_IN) if arranged else None
    figure = Figure(figsize=(WIDTH_IN, height_in), dpi=DOTS_PER_INCH, layout=layout)
    FigureCanvasAgg(figure)
    return figure


@lru_cache(maxsize=1)
def _known_characters() -> frozenset[int]:
    return frozenset(get_font(findfont(FontProperties(family=["DejaVu Sans"]))).get_charmap())


def make_drawable(text: str) -> str:
    """Text given by a user, on one line, with a box for every character the chart's font lacks."""
    known, line = _known_characters(), " ".join(text.split())
    return "".join(one if ord(one) in known and one.isprintable() else "\N{WHITE SQUARE}" for one in line)


def name_walk(analysis: Analysis) -> str:
    """Which walk a chart shows: the animal's tag, if one was given, and the clip."""
    tag = analysis.marks.animal.tag
    whole = f"animal {tag} · {analysis.clip.name}" if tag else analysis.clip.name
    return textwrap.shorten(make_drawable(whole), NOTE_COLUMNS - 10, placeholder=" …")


def write_note(note: str, analysis: Analysis) -> str:
    """The lines under a figure: how it is to be read, and which walk it shows."""
    unbroken = note.replace(" %", "\N{NO-BREAK SPACE}%").replace("± ", "±\N{NO-BREAK SPACE}")
    return "\n".join([*textwrap.wrap(unbroken, NOTE_COLUMNS), name_walk(analysis)])


def measure_note(note: str) -> float:
    """Height (in) that a written note takes."""
    return len(note.splitlines()) * SMALL_PT * _NOTE_SPACING / 72


def frame_figure(figure: Figure, title: str, note: str) -> None:
    """Write a figure's title over it and its note under it."""
    arranged = figure.get_layout_engine() is not None
    edge = {} if arranged else {"y": 1 - 1.4 * _EDGE_IN / figure.get_figheight(), "va": "top"}
    figure.suptitle(title, x=0.012, ha="left", **edge)
    foot = {} if arranged else {"y": _EDGE_IN / figure.get_figheight(), "va": "bottom"}
    figure.supxlabel(
        note, x=0.012, ha="left", fontsize=SMALL_PT, color=MUTED, linespacing=_NOTE_SPACING - 0.2, **foot
    )
    for ax in figure.axes:
        ax.tick_params(
            labelsize=SMALL_PT
        )  # said outright: how many ticks fit is asked of it at every drawing
    engine = figure.get_layout_engine()
    if engine is not None:  # arranged once, not anew for every file it is saved to
        engine.execute(figure)
        figure.set_layout_engine("none")


def say_nothing_drawn(ax: Axes, reason: str) -> Axes:
    """Say in the middle of empty axes why there is nothing to draw."""
    ax.set_axis_off()
    ax.text(
        0.5,
        0.5,
        textwrap.fill(make_drawable(reason), 70),
        transform=ax.transAxes,
        ha="center",
        va="center",
        fontsize=BODY_PT + 1,
        color=MUTED,
    )
    return ax


def place_legend(ax: Axes, handles: Sequence[Artist], *, columns: int, drop_in: float = 0.52) -> None:
    """A legend under the axes, ``drop_in`` inches below them."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    ax.legend(
        handles=list(handles),
        loc="upper left",
        bbox_to_anchor=(0.0, 0.0),
        bbox_transform=ax.transAxes + ScaledTranslation(0.0, -drop_in, figure.dpi_scale_trans),
        ncols=columns,
        borderaxespad=0.0,
        columnspacing=1.6,
    )


def name_distance(analysis: Analysis) -> tuple[float, str]:
    """The floor length drawn as one unit of distance along the walk, and that unit in words."""
    length = find_display_length(analysis.prints, analysis.strides, analysis.ground, analysis.heading)
    if analysis.ground.unit == "m":
        return 1.0, "m"
    if length is None:
        return 1.0, NO_SCALE
    return length, "strides"
