"""Where each hoof was along the walk against time: a staircase a foot, a level where it stood."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from ..walk.analysis import Analysis
from ..walk.limbs import PAIRS, SIDES, Limb, Side, limb_at, pair_of, side_of
from ..walk.positions import HoofPositions, project_along
from ..walk.wording import pair_name
from .footfalls import find_stance_bounds
from .style import BODY_PT, FAINT, INK, LIMB_STYLES, MUTED, name_distance, say_nothing_drawn

_PLAIN: Final = "#8c867b"
_MANY: Final = 16  # prints in one picture beyond which they are drawn smaller


def draw_positions(
    ax: Axes, analysis: Analysis, positions: Sequence[HoofPositions], *, side: Side | None = None
) -> Axes:
    """Draw the followed hooves as staircases and the prints as their levels.

    Parameters
    ----------
    ax : Axes
    analysis : Analysis
    positions : sequence of HoofPositions
        As :func:`~stride.walk.positions.find_positions` gives them.
    side : {"left", "right"}, optional
        Draw the feet of one side only.

    Returns
    -------
    Axes
        Distances counted from the first print of the walk.
    """
    limbs: list[Limb] = [limb_at(one, pair) for one in SIDES if side in (None, one) for pair in PAIRS]
    followed = [one for one in positions if one.limb in limbs]
    stood = [i for i, one in enumerate(analysis.prints) if one.limb in limbs]
    if not followed and not stood:
        return say_nothing_drawn(ax, f"No {f'{side} ' if side else ''}foot was followed in this clip.")
    length, unit = name_distance(analysis)
    starts = [float(project_along(one.xy, analysis.heading)) for one in analysis.prints]
    zero = min(starts) if starts else min(float(one.along.min()) for one in followed)
    for one in followed:
        style = LIMB_STYLES[one.limb]
        along = (one.along - zero) / length
        ax.plot(
            one.t, np.where(one.seen, along, np.nan), color=style.colour, linestyle=style.line, linewidth=1.7
        )
        ax.plot(one.t, np.where(one.seen, np.nan, along), color=style.colour, linestyle=":", linewidth=1.2)
    for i in stood:
        print_ = analysis.prints[i]
        style = LIMB_STYLES[print_.limb]
        level = (starts[i] - zero) / length
        start, end = find_stance_bounds(analysis, print_)
        ax.plot(
            [start, end],
            [level, level],
            color=style.colour,
            linewidth=4.2 if len(stood) <= _MANY else 2.6,
            solid_capstyle="butt",
            marker=style.marker,
            markersize=5.5 if len(stood) <= _MANY else 3.2,
            markerfacecolor=style.colour if style.filled else "white",
            markeredgecolor=INK,
            markeredgewidth=0.7,
            gid=f"level-{i}",
            zorder=4 if style.filled else 3,
        )
    ax.set_xlabel("time in the clip (s)", fontsize=BODY_PT)
    ax.set_ylabel(f"distance along\nthe walk ({unit})", fontsize=BODY_PT)
    ax.grid(color=FAINT, linewidth=0.6)
    if side:
        ax.set_title(f"{side} side", loc="left", fontsize=BODY_PT, fontweight="normal", color=MUTED, pad=3)
    return ax


def make_position_handles(limbs: Sequence[Limb]) -> list[Artist]:
    """Legend entries for the feet drawn and for what their lines mean."""
    handles: list[Artist] = []
    for limb in limbs:
        style = LIMB_STYLES[limb]
        handles.append(
            Line2D(
                [],
                [],
                color=style.colour,
                linestyle=style.line,
                linewidth=1.7,
                marker=style.marker,
                markersize=5.5,
                markerfacecolor=style.colour if style.filled else "white",
                markeredgecolor=INK,
                markeredgewidth=0.7,
                label=f"{side_of(limb)} {pair_name(pair_of(limb))}",
            )
        )
    return [
        *handles,
        Line2D([], [], color=_PLAIN, linewidth=4.2, label="where and how long it stood"),
        Line2D([], [], color=_PLAIN, linewidth=1.2, linestyle=":", label="hidden, bridged"),
    ]


def explain_positions() -> str:
    """How the drawing is to be read, in words."""
    return (
        "Each foot climbs a staircase: flat while it stands, steep while it swings. Where the hind foot's step is "
        "lower than the front foot's, it came down short of the front print; where it is higher, past it. The doubt "
        "of each place is drawn in the walkway chart."
    )
