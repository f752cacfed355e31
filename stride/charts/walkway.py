"""The walkway seen from above: every print, its doubt, and how far each hind foot missed the front print."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse, FancyArrowPatch, PathPatch
from matplotlib.path import Path
from matplotlib.transforms import Affine2D

from ..walk.analysis import Analysis
from ..walk.limbs import SIDES, Limb, Pair, pair_of, side_of
from ..walk.strides import Overreach
from ..walk.wording import COVERAGE_FACTOR, limb_name
from .stretches import (
    BAR_OF_STRIDE,
    ELLIPSE_FACTOR,
    LANE_OF_STRIDE,
    Stretch,
    Walkway,
    label_overreach,
    lay_out_walkway,
    span_walkway,
)
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

_HALF_WIDTHS: Final[dict[Pair, float]] = {"fore": 0.46, "hind": 0.36}


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


def draw_walkway(ax: Axes, analysis: Analysis, *, stretch: Stretch | None = None) -> Axes:
    """Draw the prints from above, the animal walking to the right.

    Parameters
    ----------
    ax : Axes
    analysis : Analysis
    stretch : Stretch, optional
        The stretch to draw, one of :func:`~stride.charts.stretches.split_walkway`; by default the whole walk.

    Returns
    -------
    Axes
        With one outline (gid ``print-<index>``) and one error mark a print, and one arrow and label an overreach.
    """
    if not analysis.prints:
        return say_nothing_drawn(ax, "No print was measured in this clip, so there is no walkway to draw.")
    place, stretch = lay_out_walkway(analysis), stretch or span_walkway(analysis)
    for i, one in enumerate(analysis.prints):
        if stretch.holds(place, i):
            _draw_print(ax, place, i, one.limb)
    for overreach in analysis.overreaches:
        if stretch.holds(place, overreach.fore_print) and stretch.holds(place, overreach.hind_print):
            _draw_overreach(ax, place, overreach)
    if stretch.key:
        _draw_key(ax, place, stretch)
    _set_axes(ax, analysis, place, stretch)
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
    bar = out * (edge + BAR_OF_STRIDE * place.stride)
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
        label_overreach(overreach),
        (sum(ends) / 2, bar),
        xytext=(0, 4.5 * out),
        textcoords="offset points",
        ha="center",
        va="bottom" if out > 0 else "top",
        fontsize=SMALL_PT,
        color=INK,
    )


def _draw_key(ax: Axes, place: Walkway, stretch: Stretch) -> None:
    """Scale bar at the left and walking direction at the right, in a strip above the prints."""
    level = stretch.high - 0.7 * stretch.line
    bar, words = _choose_scale_bar(place)
    left = stretch.left + 0.04 * place.stride
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
    right = stretch.right - 0.04 * place.stride
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


def _set_axes(ax: Axes, analysis: Analysis, place: Walkway, stretch: Stretch) -> None:
    ax.set_aspect("equal")
    ax.set_xlim(stretch.left, stretch.right)
    ax.set_ylim(stretch.low, stretch.high)
    ticks, labels = [], []
    for side in SIDES:
        own = [i for i, one in enumerate(analysis.prints) if side_of(one.limb) == side]
        lane = LANE_OF_STRIDE * place.stride * (1 if side == "left" else -1)
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
