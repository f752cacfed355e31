"""All charts of one analysis, saved as pictures."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Final, Literal

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from ..errors import OutputError
from ..imaging.strip import GroundStrip
from ..walk.analysis import Analysis
from ..walk.lifts import find_heights
from ..walk.limbs import LIMBS, SIDES
from ..walk.positions import find_display_length, find_positions
from .footfalls import draw_footfalls, draw_support, explain_footfalls, make_footfall_handles
from .lifts import draw_lifts, explain_lifts, make_lift_handles
from .overreaches import draw_overreaches, explain_overreaches, make_overreach_handles
from .positions import draw_positions, explain_positions, make_position_handles
from .stretches import ROW_IN, split_walkway
from .strip import draw_strip, explain_strip, make_strip_handles
from .style import WIDTH_IN, charted, frame_figure, make_figure, measure_note, place_legend, write_note
from .walkway import draw_walkway, explain_walkway, make_limb_handles

PictureFormat = Literal["png", "svg"]

_TITLE_IN: Final = 0.42
_TICKS_IN: Final = 0.34
_LABEL_AND_LEGEND_IN: Final = 0.54
_EMPTY_IN: Final = 1.8  # height of a chart that only says why it is empty


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartFiles:
    """The two files of one chart."""

    png: Path
    svg: Path


TITLES: Final[Mapping[str, str]] = {
    "walkway": "The prints from above",
    "overreaches": "Hind foot against the front print",
    "footfalls": "When each foot was down",
    "positions": "Every foot along the walk",
    "lifts": "How high each foot is carried",
    "strip": "The floor over time",
}


def explain_chart(name: str, analysis: Analysis) -> str:
    """How a chart of :func:`save_charts` is to be read; empty for a name that is none of them."""
    notes: dict[str, Callable[[], str]] = {
        "walkway": lambda: explain_walkway(analysis),
        "overreaches": lambda: explain_overreaches(analysis),
        "footfalls": explain_footfalls,
        "positions": explain_positions,
        "lifts": explain_lifts,
        "strip": explain_strip,
    }
    return notes[name]() if name in notes else ""


def make_figures(analysis: Analysis, strip: GroundStrip | None = None) -> dict[str, Figure]:
    """Every chart as a figure, by name, in the order they are shown; the ground strip where hooves were found in it."""
    with charted():
        figures = {
            "walkway": _make_walkway(analysis),
            "overreaches": _make_overreaches(analysis),
            "footfalls": _make_footfalls(analysis),
            "positions": _make_positions(analysis),
            "lifts": _make_lifts(analysis),
        }
        if strip is not None:
            figures["strip"] = _make_strip(analysis, strip)
        for name, figure in figures.items():
            drawn = any(ax.axison for ax in figure.axes)
            note = write_note(explain_chart(name, analysis) if drawn else "", analysis)
            frame_figure(figure, TITLES[name], note)
    return figures


def _make_walkway(analysis: Analysis) -> Figure:
    """The stretches under one another at one scale, placed by hand: equal aspect leaves an arranger no freedom."""
    stretches = split_walkway(analysis)
    if not stretches:
        figure = make_figure(_EMPTY_IN)
        draw_walkway(figure.subplots(), analysis)
        return figure
    inch = ROW_IN / (stretches[0].right - stretches[0].left)
    rows_in = [(one.high - one.low) * inch for one in stretches]
    note_in = measure_note(write_note(explain_walkway(analysis), analysis))
    height_in = _TITLE_IN + sum(rows_in) + _TICKS_IN * len(rows_in) + _LABEL_AND_LEGEND_IN + note_in
    figure = make_figure(height_in, arranged=False)
    left, top = (WIDTH_IN - ROW_IN - 0.1) / WIDTH_IN, height_in - _TITLE_IN
    for stretch, row_in in zip(stretches, rows_in, strict=True):
        top -= row_in
        ax = figure.add_axes((left, top / height_in, ROW_IN / WIDTH_IN, row_in / height_in))
        draw_walkway(ax, analysis, stretch=stretch)
        if stretch is not stretches[-1]:
            ax.set_xlabel("")
        top -= _TICKS_IN
    present = [limb for limb in LIMBS if any(one.limb == limb for one in analysis.prints)]
    place_legend(figure.axes[-1], make_limb_handles(present), columns=4)
    return figure


def _make_overreaches(analysis: Analysis) -> Figure:
    figure = make_figure(4.4)
    ax = draw_overreaches(figure.subplots(), analysis)
    if not ax.axison:
        figure.set_figheight(_EMPTY_IN)
    else:
        place_legend(ax, make_overreach_handles(analysis), columns=3)
    return figure


def _make_footfalls(analysis: Analysis) -> Figure:
    if not analysis.prints:
        figure = make_figure(_EMPTY_IN)
        draw_footfalls(figure.subplots(), analysis)
        return figure
    figure = make_figure(4.3)
    bars, strip = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": [2.4, 1]})
    draw_footfalls(bars, analysis).set_xlabel("")
    draw_support(strip, analysis)
    place_legend(strip, make_footfall_handles(), columns=2)
    return figure


def _make_strip(analysis: Analysis, strip: GroundStrip) -> Figure:
    figure = make_figure(6.0)
    ax = draw_strip(figure.subplots(), analysis, strip)
    if ax.axison:
        place_legend(ax, make_strip_handles(), columns=3)
    return figure


def _make_positions(analysis: Analysis) -> Figure:
    positions = find_positions(analysis.tracks, analysis.camera, analysis.ground, analysis.heading)
    drawn = {one.limb for one in positions} | {one.limb for one in analysis.prints}
    if not drawn:
        figure = make_figure(_EMPTY_IN)
        draw_positions(figure.subplots(), analysis, positions)
        return figure
    figure = make_figure(5.4)
    axes = figure.subplots(2, 1, sharex=True, sharey=True)
    for ax, side in zip(axes, SIDES, strict=True):
        draw_positions(ax, analysis, positions, side=side)
    below = axes[1] if axes[1].axison else axes[0]
    if axes[1].axison:
        axes[0].set_xlabel("")
    else:
        axes[0].tick_params(labelbottom=True)
    limbs = [limb for limb in LIMBS if limb in drawn]
    place_legend(below, make_position_handles(limbs), columns=3)
    return figure


def _make_lifts(analysis: Analysis) -> Figure:
    length = find_display_length(analysis.prints, analysis.strides, analysis.ground, analysis.heading)
    heights = (
        {}
        if length is None
        else find_heights(analysis.tracks, analysis.prints, analysis.camera, analysis.ground, length)
    )
    figure = make_figure(3.4)
    ax = draw_lifts(figure.subplots(), analysis, heights)
    if not ax.axison:
        figure.set_figheight(_EMPTY_IN)
    else:
        place_legend(ax, make_lift_handles(heights), columns=4)
    return figure


def render_figure(figure: Figure, form: PictureFormat) -> bytes:
    """The figure as a picture file; the same figure always gives the same bytes."""
    buffer = BytesIO()
    with charted():  # the canvases draw once, where Figure.savefig would draw every figure twice
        if form == "svg":
            FigureCanvasSVG(figure).print_svg(buffer, metadata={"Date": None, "Creator": None})
        else:
            FigureCanvasAgg(figure).print_png(buffer, metadata={"Software": None})
    return buffer.getvalue()


def save_charts(analysis: Analysis, folder: Path, strip: GroundStrip | None = None) -> dict[str, ChartFiles]:
    """Save every chart as PNG and SVG.

    Each file is written under another name first and then renamed, so that a half-written chart is never seen.

    Parameters
    ----------
    analysis : Analysis
    folder : Path
        Made if it is not there.
    strip : GroundStrip or None
        The ground strip, where the hooves were found in it.

    Returns
    -------
    dict of name to ChartFiles
        In the order they are shown.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    saved = {}
    for name, figure in make_figures(analysis, strip).items():
        files = ChartFiles(png=folder / f"{name}.png", svg=folder / f"{name}.svg")
        _write(files.png, render_figure(figure, "png"))
        _write(files.svg, render_figure(figure, "svg"))
        saved[name] = files
    return saved


def _write(path: Path, content: bytes) -> None:
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(content)
        os.replace(part, path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise OutputError(
            f"The chart {path} could not be written ({error.strerror}).",
            "Choose a folder that can be written and has room.",
        ) from error
