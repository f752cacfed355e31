"""When each foot was on the ground, and how many were down at once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray

from ..walk.analysis import Analysis
from ..walk.limbs import LIMBS, Limb
from ..walk.prints import Print
from ..walk.strides import Stride
from ..walk.wording import COVERAGE_FACTOR, limb_name
from .style import BODY_PT, FAINT, INK, LIMB_STYLES, MUTED, SMALL_PT, UNKNOWN, say_nothing_drawn

Array = NDArray[np.float64]

ROWS: Final[tuple[Limb, ...]] = ("left_hind", "left_fore", "right_fore", "right_hind")
_BAR: Final = 0.56


def find_stance_bounds(analysis: Analysis, one: Print) -> tuple[float, float]:
    """From when to when a bar is drawn (s): the events, or the frames in which the hoof was seen standing."""
    last = max(analysis.clip.frames - 1, 1)
    step = analysis.clip.duration / last
    seen = {
        int(frame): float(t)
        for track in analysis.tracks
        if track.limb == one.limb
        for frame, t in zip(track.frames, track.t, strict=True)
    }
    first, final = (seen.get(frame, frame * step) for frame in one.frames)
    return (
        first if one.touch_down is None else one.touch_down,
        final if one.lift_off is None else one.lift_off,
    )


def draw_footfalls(ax: Axes, analysis: Analysis) -> Axes:
    """Draw one bar for every stance, with whiskers for the doubt of touch-down and lift-off.

    An end whose event is outside the clip, or was not seen, is left open and carries an arrowhead.

    Returns
    -------
    Axes
        One bar (gid ``stance-<index>``) a print.
    """
    if not analysis.prints:
        return say_nothing_drawn(ax, "No print was measured in this clip, so no footfall can be timed.")
    for i, one in enumerate(analysis.prints):
        _draw_stance(ax, analysis, one, i)
    limbs = {one.limb for one in analysis.prints}
    labels = [limb_name(limb) if limb in limbs else f"{limb_name(limb)}\n(none measured)" for limb in ROWS]
    ax.set_yticks(range(len(ROWS)), labels)
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(len(ROWS) - 0.45, -0.55)
    ax.set_xlim(*find_time_limits(analysis))
    ax.set_xlabel("time in the clip (s)", fontsize=BODY_PT)
    ax.grid(axis="x", color=FAINT, linewidth=0.6)
    return ax


def find_time_limits(analysis: Analysis) -> tuple[float, float]:
    """The stretch of the clip in which some foot stands, with a little room (s)."""
    bounds = [find_stance_bounds(analysis, one) for one in analysis.prints]
    first, last = min(b[0] for b in bounds), max(b[1] for b in bounds)
    room = 0.03 * max(last - first, 0.1)
    return first - room, last + room


def _draw_stance(ax: Axes, analysis: Analysis, one: Print, i: int) -> None:
    row, style = ROWS.index(one.limb), LIMB_STYLES[one.limb]
    start, end = find_stance_bounds(analysis, one)
    ax.barh(
        row,
        end - start,
        left=start,
        height=_BAR,
        color=style.colour,
        edgecolor=INK,
        linewidth=0.6,
        hatch="////" if style.filled else None,
        alpha=0.9,
        gid=f"stance-{i}",
        zorder=2,
    )
    events = (
        (start, one.touch_down, one.touch_down_error, "<"),
        (end, one.lift_off, one.lift_off_error, ">"),
    )
    for t, event, error, head in events:
        if event is None:
            ax.plot([t], [row], marker=head, color=INK, markersize=6, linestyle="none", zorder=4)
        elif error is not None:
            ax.errorbar(
                [t],
                [row],
                xerr=[COVERAGE_FACTOR * error],
                fmt="none",
                ecolor=INK,
                elinewidth=1.2,
                capsize=4,
                zorder=4,
            )


def count_feet_down(prints: Sequence[Print], strides: Sequence[Stride]) -> tuple[Array, Array]:
    """How many feet are on the ground between one drawn event and the next.

    A limb's state is known while it stands between a touch-down and a lift-off that were both seen, and while it swings
    between two prints that a stride joins.

    Returns
    -------
    edges : (K + 1,) float array
        The seen events (s), in order; empty where there are fewer than two.
    feet : (K,) float array
        Feet down between them; NaN where some limb's state is not known.
    """
    events = [t for one in prints for t in (one.touch_down, one.lift_off) if t is not None]
    edges = np.unique(np.array(events, dtype=float))
    if len(edges) < 2:
        return np.empty(0), np.empty(0)
    middle = (edges[:-1] + edges[1:]) / 2
    feet = np.zeros(len(middle))
    for limb in LIMBS:
        state = np.full(len(middle), np.nan)
        for one in prints:
            if one.limb == limb and one.touch_down is not None and one.lift_off is not None:
                state[(one.touch_down <= middle) & (middle < one.lift_off)] = 1
        for stride in strides:
            leaving, landing = prints[stride.start].lift_off, prints[stride.end].touch_down
            if stride.limb == limb and leaving is not None and landing is not None:
                state[(leaving <= middle) & (middle < landing)] = 0
        feet += state
    return edges, feet


def draw_support(ax: Axes, analysis: Analysis) -> Axes:
    """Draw how many feet are down over time, as a strip under the footfalls.

    Where the number is not known, because a foot's touch-down or lift-off is outside the clip, the strip is hatched.
    """
    if not analysis.prints:
        return say_nothing_drawn(ax, "")
    edges, feet = count_feet_down(analysis.prints, analysis.strides)
    limits = find_time_limits(analysis)
    ax.set_xlim(*limits)
    ax.set_ylim(0, 4.6)
    ax.set_yticks([0, 1, 2, 3, 4])
    ax.set_ylabel("feet\ndown", fontsize=SMALL_PT, rotation=0, ha="right", va="center")
    ax.set_xlabel("time in the clip (s)", fontsize=BODY_PT)
    ax.grid(axis="y", color=FAINT, linewidth=0.6)
    if not np.isfinite(feet).any():
        ax.text(
            0.5,
            0.5,
            "not drawn: it needs every touch-down and lift-off of all four feet over some stretch",
            transform=ax.transAxes,
            ha="center",
            va="center",
            fontsize=SMALL_PT,
            color=MUTED,
        )
        return ax
    ends = np.array([limits[0], *edges, limits[1]])
    unknown = np.isnan(np.array([np.nan, *feet, np.nan]))
    ax.fill_between(
        np.repeat(ends, 2)[1:-1],
        4.6,
        where=np.repeat(unknown, 2),
        facecolor=UNKNOWN,
        edgecolor=FAINT,
        hatch="xx",
        linewidth=0,
        zorder=0,
    )
    ax.stairs(feet, edges, fill=True, color="#b9b2a5", zorder=1)
    ax.stairs(feet, edges, color=INK, linewidth=1.1, zorder=2, gid="feet-down")
    return ax


def make_footfall_handles() -> list[Artist]:
    """Legend entries for what the row labels do not explain."""
    return [
        Patch(facecolor="white", edgecolor=INK, linewidth=0.6, label="front foot on the ground"),
        Patch(facecolor="white", edgecolor=INK, linewidth=0.6, hatch="////", label="hind foot on the ground"),
        Line2D([], [], color=INK, marker="|", markersize=7, linewidth=1.2, label="95 % doubt of the moment"),
        Line2D([], [], color=INK, marker=">", markersize=6, linestyle="none", label="goes on, end not seen"),
    ]


def explain_footfalls() -> str:
    """How the drawing is to be read, in words."""
    return (
        "Read from left to right: a bar begins when the foot comes down and ends when it lifts. The lower strip counts "
        "the feet on the ground; it is crossed out where a foot's touch-down or lift-off is not in the clip."
    )
