"""How high each hoof is carried over time."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from ..walk.analysis import Analysis
from ..walk.limbs import LIMBS, Limb
from ..walk.wording import limb_name, unit_for
from .style import BODY_PT, FAINT, INK, LIMB_STYLES, say_nothing_drawn

Array = NDArray[np.float64]


def draw_lifts(ax: Axes, analysis: Analysis, heights: Mapping[Limb, tuple[Array, Array]]) -> Axes:
    """Draw the height of each hoof above the floor.

    Parameters
    ----------
    ax : Axes
    analysis : Analysis
    heights : mapping of limb to (t, height)
        (K,) times (s) and (K,) heights in the clip's length unit (m, or mean strides where it has no scale); NaN
        breaks the line.

    Returns
    -------
    Axes
        One line (gid ``lift-<limb>``) a limb.
    """
    drawn = [limb for limb in LIMBS if limb in heights and len(heights[limb][0])]
    if not drawn:
        return say_nothing_drawn(ax, "No swing was followed in this clip, so no lift can be drawn.")
    unit = unit_for(analysis.ground.unit)
    for limb in drawn:
        t, height = heights[limb]
        style = LIMB_STYLES[limb]
        ax.plot(
            t,
            np.asarray(height) * unit.factor,
            color=style.colour,
            linestyle=style.line,
            linewidth=1.6,
            gid=f"lift-{limb}",
        )
    ax.axhline(0, color=INK, linewidth=0.9, zorder=1)
    ax.set_xlabel("time in the clip (s)", fontsize=BODY_PT)
    ax.set_ylabel(f"height of the toe\n({unit.label})", fontsize=BODY_PT)
    ax.grid(axis="y", color=FAINT, linewidth=0.6)
    return ax


def make_lift_handles(heights: Mapping[Limb, tuple[Array, Array]]) -> list[Line2D]:
    """Legend entries for the feet drawn."""
    return [
        Line2D(
            [], [], color=LIMB_STYLES[limb].colour, linestyle=LIMB_STYLES[limb].line, label=limb_name(limb)
        )
        for limb in LIMBS
        if limb in heights and len(heights[limb][0])
    ]


def explain_lifts() -> str:
    """How the drawing is to be read, in words."""
    return (
        "Height of the toe above the floor as the picture shows it, zero while the foot stands. It shows which foot is "
        "dragged or lifted; its doubt stands with the hoof lift in the table of numbers."
    )
