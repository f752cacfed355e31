"""The walkway seen from above: every print, its doubt, and how far each hind foot missed the front print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse, FancyArrowPatch, PathPatch
from matplotlib.path import Path
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray

from ..walk.analysis import Analysis
from ..walk.limbs import SIDES, Limb, Pair, pair_of, side_of
from ..walk.positions import project_across, project_along
from ..walk.strides import Overreach
from ..walk.wording import COVERAGE_FACTOR, limb_name, say_overreach
from .style import (
    BODY_PT,
    INK,
    LIMB_STYLES,
    MUTED,
    NO_SCALE,
    SMALL_PT,
    name_distance,
    say_nothing_drawn,
)

Array = NDArray[np.float64]

ELLIPSE_FACTOR: Final = 2.4477  # square root of the 95 % point of chi square with two degrees of freedom
_HOOF_LENGTH: Final = 0.12  # m, drawn size only
_HOOF_OF_STRIDE: Final = 0.085  # the same where there is no scale
_USUAL_STRIDE: Final = 1.4  # m, sets the size of the picture while no stride is known
_LANE_OF_STRIDE: Final = 0.13
_STRIDES_PER_ROW: Final = 1.9
_MOST_STRIDES_PER_ROW: Final = 4.0
_FEW_ROWS: Final = 6
ROW_IN: Final = 6.4  # width of the drawing of one stretch
_BAR_OF_STRIDE: Final = 0.03
_LETTER_IN: Final = 0.065  # a letter of the labels, on average
_HALF_WIDTHS: Final[dict[Pair, float]] = {"fore": 0.46, "hind": 0.36}


@dataclass(frozen=True, slots=True, kw_only=True)
class Walkway:
    """Where everything stands on the drawing.

    ``along`` and ``across`` are (N,) arrays in the drawing's unit, ``along`` from the first print and ``across`` to
    the animal's left; ``covs`` (N, 2, 2) are turned likewise. ``across_known`` is False where across is a lane, not
    a measure.
    """

    along: Array
    across: Array
    covs: Array
    across_known: bool
    stride: float
    hoof: float
    unit: str

    @property
    def half_heights(self) -> Array:
        """(N,) how far each drawn print reaches across the walk from its middle: outline or ellipse."""
        ellipse = ELLIPSE_FACTOR * np.sqrt(self.covs[:, 1, 1]) * self.across_known
        return np.maximum(0.5 * self.hoof, ellipse)


def lay_out_walkway(analysis: Analysis) -> Walkway:
    """Turn the prints so that the animal walks to the right and its left is up."""
    length, unit = name_distance(analysis)
    xy = np.array([one.xy for one in analysis.prints]).reshape(-1, 2) / length
    covs = np.array([one.cov + one.limb_cov for one in analysis.prints]).reshape(-1, 2, 2) / length**2
    turn = np.array([analysis.heading, (-analysis.heading[1], analysis.heading[0])])
    along, across = project_along(xy, analysis.heading), project_across(xy, analysis.heading)
    stride = _typical_stride(analysis, length)
    known = analysis.ground.kind == "plane"
    lanes = np.array([1.0 if side_of(one.limb) == "left" else -1.0 for one in analysis.prints])
    lanes *= _LANE_OF_STRIDE * stride
    if not known:
        across = lanes
    elif len(set(lanes)) > 1:
        across = across - (across.max() + across.min()) / 2
    elif len(across):
        across = across - across.mean() + lanes
    return Walkway(
        along=along - along.min() if len(along) else along,
        across=across,
        covs=turn @ covs @ turn.T,
        across_known=known,
        stride=stride,
        hoof=_HOOF_LENGTH if unit == "m" else _HOOF_OF_STRIDE * stride,
        unit=unit,
    )


def _typical_stride(analysis: Analysis, length: float) -> float:
    spans = [
        float(project_along(analysis.prints[one.end].xy - analysis.prints[one.start].xy, analysis.heading))
        for one in analysis.strides
    ]
    usable = [span / length for span in spans if span > 0]
    if usable:
        return float(np.median(usable))
    if analysis.ground.unit == "m" or len(analysis.prints) < 2:
        return _USUAL_STRIDE
    return float(np.ptp([project_along(one.xy, analysis.heading) for one in analysis.prints])) or 1.0


def split_walkway(analysis: Analysis) -> tuple[tuple[float, float], ...]:
    """Cut a long walk into stretches that are drawn under one another at the same scale.

    A stretch is never cut through a print, nor between a hind print and the front print it answers.

    Returns
    -------
    tuple of (start, end)
        In the drawing's unit, all of the same length; empty without prints.
    """
    if not analysis.prints:
        return ()
    place = lay_out_walkway(analysis)
    blocks = _merge_blocks(place, analysis)
    total = blocks[-1][1] - blocks[0][0]
    span = min(max(_STRIDES_PER_ROW * place.stride, total / _FEW_ROWS), _MOST_STRIDES_PER_ROW * place.stride)
    rows: list[list[float]] = []
    for start, end in blocks:
        if rows and end - rows[-1][0] <= span:
            rows[-1][1] = end
        else:
            rows.append([start, end])
    width, room = max(end - start for start, end in rows), _find_label_room(analysis)
    pad = max(0.1 * place.stride, width * room / (1 - 2 * room))
    return tuple((start - pad, start + width + pad) for start, _ in rows)


def _find_label_room(analysis: Analysis) -> float:
    """Room beside the outermost prints for the longer half of a label, as a share of the drawing's width."""
    longest = max((len(_label(one)) for one in analysis.overreaches), default=0)
    return 0.5 * longest * _LETTER_IN / ROW_IN


def _label(overreach: Overreach) -> str:
    return say_overreach(overreach.value, doubt=False, short=True)


def find_extent(analysis: Analysis, window: tuple[float, float], *, key: bool) -> tuple[float, float]:
    """How far the drawing of a stretch reaches across the walk, to the right (negative) and to the left."""
    return _find_extent(lay_out_walkway(analysis), window, key)


def _find_extent(place: Walkway, window: tuple[float, float], key: bool) -> tuple[float, float]:
    line = _line_height(window)
    edge = float(np.max(np.abs(place.across) + place.half_heights))
    reach = edge + _BAR_OF_STRIDE * place.stride + 1.5 * line
    return -reach, reach + (1.7 * line if key else 0.0)


def _line_height(window: tuple[float, float]) -> float:
    """Height of a line of small type in the drawing's unit."""
    return SMALL_PT * 1.35 / 72 * (window[1] - window[0]) / ROW_IN


def _merge_blocks(place: Walkway, analysis: Analysis) -> list[tuple[float, float]]:
    """Stretches of the walk that must not be cut, in order and apart from one another."""
    spans = [(float(tip - place.hoof), float(tip)) for tip in place.along]
    for one in analysis.overreaches:
        fore, hind = spans[one.fore_print], spans[one.hind_print]
        spans.append((min(fore[0], hind[0]), max(fore[1], hind[1])))
    merged: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged


def outline_hoof(pair: Pair) -> Path:
    """A cloven hoof seen from above, its toe tip at (0, 0), one unit long, pointing along +x.

    Only a drawing: the front hoof is the broader and rounder, the hind one narrower and more pointed.
    """
    half, gap, toe = _HALF_WIDTHS[pair], 0.045, 0.10 if pair == "fore" else 0.055
    claw = [
        (0.0, toe),
        (-0.10, half * 0.95),
        (-0.50, half * 1.20),
        (-0.85, half * 0.80),
        (-1.02, half * 0.62),
        (-1.02, half * 0.22),
        (-0.88, gap),
        (-0.55, gap * 1.6),
        (-0.25, gap * 1.2),
        (0.0, toe),
    ]
    codes = [Path.MOVETO, *[Path.CURVE4] * 9, Path.CLOSEPOLY]
    upper = np.array([*claw, claw[0]])
    return Path(np.vstack([upper, upper * [1, -1]]), [*codes, *codes])


def draw_walkway(
    ax: Axes, analysis: Analysis, *, window: tuple[float, float] | None = None, key: bool = True
) -> Axes:
    """Draw the prints from above, the animal walking to the right.

    Parameters
    ----------
    ax : Axes
    analysis : Analysis
    window : (float, float), optional
        The stretch to draw, as :func:`split_walkway` gives it; by default the whole walk.
    key : bool
        Whether this stretch carries the scale bar and the arrow of the way the animal walks.

    Returns
    -------
    Axes
        With one outline (gid ``print-<index>``) and one error mark a print, and one arrow and label an overreach.
    """
    if not analysis.prints:
        return say_nothing_drawn(ax, "No print was measured in this clip, so there is no walkway to draw.")
    place = lay_out_walkway(analysis)
    start, end = window or (
        float(place.along.min() - place.hoof - 0.12 * place.stride),
        float(place.along.max() + 0.12 * place.stride),
    )
    for i, one in enumerate(analysis.prints):
        if start <= place.along[i] - place.hoof and place.along[i] <= end:
            _draw_print(ax, place, i, one.limb)
    for overreach in analysis.overreaches:
        ends = place.along[[overreach.fore_print, overreach.hind_print]]
        if start <= ends.min() - place.hoof and ends.max() <= end:
            _draw_overreach(ax, place, overreach)
    if key:
        _draw_key(ax, place, (start, end))
    _set_axes(ax, analysis, place, (start, end), key)
    return ax


def _draw_print(ax: Axes, place: Walkway, i: int, limb: Limb) -> None:
    style = LIMB_STYLES[limb]
    tip = (float(place.along[i]), float(place.across[i]))
    spot = Affine2D().scale(place.hoof).translate(*tip)
    hoof = PathPatch(
        outline_hoof(pair_of(limb)).transformed(spot),
        facecolor=style.colour if style.filled else "none",
        edgecolor=style.colour,
        alpha=0.85 if style.filled else 1.0,
        linewidth=1.0 if style.filled else 1.8,
        zorder=3 if style.filled else 4,
        gid=f"print-{i}",
    )
    ax.add_patch(hoof)
    if not place.across_known:
        half = COVERAGE_FACTOR * float(np.sqrt(place.covs[i, 0, 0]))
        ax.errorbar(
            [tip[0]], [tip[1]], xerr=[half], ecolor=INK, elinewidth=1.1, capsize=2.2, fmt="none", zorder=6
        )
        return
    values, vectors = np.linalg.eigh(place.covs[i])
    widths = 2 * ELLIPSE_FACTOR * np.sqrt(np.maximum(values, 0))
    ax.add_patch(
        Ellipse(
            tip,
            float(widths[1]),
            float(widths[0]),
            angle=float(np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1]))),
            facecolor="none",
            edgecolor=INK,
            linewidth=0.9,
            zorder=6,
            gid=f"error-{i}",
        )
    )


def _draw_overreach(ax: Axes, place: Walkway, overreach: Overreach) -> None:
    fore, hind = overreach.fore_print, overreach.hind_print
    out = 1 if overreach.side == "left" else -1
    edge = float(np.max(np.abs(place.across[[fore, hind]]) + place.half_heights[[fore, hind]]))
    bar = out * (edge + _BAR_OF_STRIDE * place.stride)
    for i in (fore, hind):
        ax.plot(
            [place.along[i]] * 2, [place.across[i], bar], color=MUTED, linewidth=0.7, linestyle=":", zorder=2
        )
    ends = (float(place.along[fore]), float(place.along[hind]))
    ax.add_patch(
        FancyArrowPatch(
            (ends[0], bar),
            (ends[1], bar),
            arrowstyle="-|>",
            mutation_scale=7,
            shrinkA=0,
            shrinkB=0,
            linewidth=1.4,
            color=INK,
            zorder=5,
            gid=f"overreach-{fore}-{hind}",
        )
    )
    ax.annotate(
        _label(overreach),
        (sum(ends) / 2, bar),
        xytext=(0, 4.5 * out),
        textcoords="offset points",
        ha="center",
        va="bottom" if out > 0 else "top",
        fontsize=SMALL_PT,
        color=INK,
    )


def _draw_key(ax: Axes, place: Walkway, window: tuple[float, float]) -> None:
    """Scale bar at the left and walking direction at the right, in a strip above the prints."""
    start, end = window
    level = _find_extent(place, window, True)[1] - 0.7 * _line_height(window)
    bar, words = _choose_scale_bar(place)
    left = start + 0.04 * place.stride
    if words:
        ax.plot(
            [left, left + bar], [level] * 2, color=INK, linewidth=3, solid_capstyle="butt", gid="scale-bar"
        )
        ax.annotate(
            words,
            (left + bar, level),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            fontsize=SMALL_PT,
        )
    right = end - 0.04 * place.stride
    ax.annotate(
        "the animal walks this way ",
        xy=(right, level),
        xytext=(right - 0.22 * place.stride, level),
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.6},
        ha="right",
        va="center",
        fontsize=SMALL_PT,
    )


def _choose_scale_bar(place: Walkway) -> tuple[float, str]:
    if place.unit == "m":
        bar = 0.5 if place.stride > 1.0 else 0.2
        return bar, f"{bar * 100:.0f} cm"
    if place.unit == "strides":
        return 0.25, "a quarter of a stride"
    return 0.0, ""


def _set_axes(ax: Axes, analysis: Analysis, place: Walkway, window: tuple[float, float], key: bool) -> None:
    ax.set_aspect("equal")
    ax.set_xlim(*window)
    ax.set_ylim(*_find_extent(place, window, key))
    ticks, labels = [], []
    for side in SIDES:
        own = [i for i, one in enumerate(analysis.prints) if side_of(one.limb) == side]
        lane = _LANE_OF_STRIDE * place.stride * (1 if side == "left" else -1)
        ticks.append(float(place.across[own].mean()) if own else lane)
        labels.append(f"{side}\nside" if own else f"{side}:\nnone\nmeasured")
    ax.set_yticks(ticks, labels)
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)
    for tick in ticks:
        ax.axhline(tick, color="#eeeae2", linewidth=0.8, zorder=0)
    ax.set_xlabel(f"distance along the walk ({place.unit})", fontsize=BODY_PT)


def explain_walkway(analysis: Analysis) -> str:
    """How the drawing is to be read, in words."""
    place_known = analysis.ground.kind == "plane"
    parts = [
        "Each outline is a nominal hoof drawn behind the toe tip, which alone is measured.",
        "Black ellipses hold the toe tip with 95 % probability."
        if place_known
        else "Black bars hold the toe tip along the walk with 95 % probability. Places across the walk were not "
        "measured: the two sides are drawn as lanes.",
        "The arrow runs from the front print to the hind print that answers it: short of it or past it.",
    ]
    if analysis.ground.unit == "m":
        parts.append(
            "The scale of the whole picture is uncertain by a further "
            f"± {COVERAGE_FACTOR * analysis.ground.scale_error * 100:.1f} % (95 %)."
        )
    elif name_distance(analysis)[1] == NO_SCALE:
        parts.append(
            "The clip has no scale and no whole stride: distances are in no unit that means anything."
        )
    else:
        parts.append("The clip has no scale: lengths are in strides, no centimetres are claimed.")
    return " ".join(parts)


def make_limb_handles(limbs: Sequence[Limb]) -> list[Artist]:
    """Legend entries of the prints of ``limbs``."""
    handles: list[Artist] = []
    for limb in limbs:
        style = LIMB_STYLES[limb]
        handles.append(
            Line2D(
                [],
                [],
                linestyle="none",
                marker=outline_hoof(pair_of(limb)).transformed(Affine2D().translate(0.5, 0)),
                markersize=13,
                markerfacecolor=style.colour if style.filled else "none",
                markeredgecolor=style.colour,
                markeredgewidth=1.0 if style.filled else 1.6,
                label=f"{limb_name(limb)} print",
            )
        )
    return handles
