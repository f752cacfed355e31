"""The ground strip: the floor along the line of walk, picture under picture, with the prints drawn on it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from ..imaging.strip import GroundStrip
from ..walk.analysis import Analysis
from ..walk.limbs import LIMBS, pair_of, side_of
from ..walk.positions import project_along
from ..walk.wording import pair_name
from .footfalls import find_stance_bounds
from .style import BODY_PT, FAINT, INK, LIMB_STYLES, SMALL_PT, name_distance, say_nothing_drawn

_FAR: Final = "#d6d2ca"
_NEAR: Final = "#8c867b"
#: Between the two sides nothing says how near: the grey levels run from the far to the near one.
_SHADES: Final = LinearSegmentedColormap.from_list("nearness", [_FAR, _NEAR])
_STEPS: Final = 2.5  # how far above and below the line of walk the shades reach, in standard deviations


def draw_strip(ax: Axes, analysis: Analysis, strip: GroundStrip) -> Axes:
    """Draw what stood on the floor along the walk, with the prints and overreaches on it.

    Parameters
    ----------
    ax : Axes
    analysis : Analysis
    strip : GroundStrip

    Returns
    -------
    Axes
        Distance along the walk from the first print to the right, time downwards.
    """
    shown = np.isfinite(strip.nearness)
    if not shown.any() or not analysis.prints:
        return say_nothing_drawn(ax, "Nothing was seen to stand on the floor of this clip.")
    length, unit = name_distance(analysis)
    starts = [float(project_along(one.xy, analysis.heading)) for one in analysis.prints]
    zero = min(starts)
    columns = (_place_columns(strip.line_px[:, 0], analysis, starts) - zero) / length
    _shade(ax, columns, strip)
    for i, one in enumerate(analysis.prints):
        style = LIMB_STYLES[one.limb]
        start, end = find_stance_bounds(analysis, one)
        place = (starts[i] - zero) / length
        ax.plot(
            [place, place],
            [start, end],
            color=style.colour,
            linestyle=style.line,
            linewidth=2.4,
            solid_capstyle="butt",
            gid=f"print-{i}",
            zorder=4,
        )
    _draw_overreaches(ax, analysis, [(start - zero) / length for start in starts], unit)
    edges = np.sort([columns[0], columns[-1]])
    ax.set_xlim(edges[0], edges[1])
    ax.set_ylim(float(strip.t[-1]), float(strip.t[0]))
    ax.set_xlabel(f"distance along the walk ({unit})", fontsize=BODY_PT)
    ax.set_ylabel("time in the clip (s)", fontsize=BODY_PT)
    ax.grid(color=FAINT, linewidth=0.6)
    return ax


def _place_columns(x_px: np.ndarray, analysis: Analysis, places: Sequence[float]) -> np.ndarray:
    """Where along the walk each column of the strip lies, by the prints in it: near and far feet alike.

    A line drawn through the picture by the floor's map would fit the feet of one side only.
    """
    prints_px = np.array([one.xy_px[0] for one in analysis.prints])
    if np.ptp(prints_px) < 1.0:
        return np.full(len(x_px), places[0])
    slope, start = np.polyfit(prints_px, places, 1)
    return np.asarray(start + slope * x_px)


def _shade(ax: Axes, columns: np.ndarray, strip: GroundStrip) -> None:
    order = np.argsort(columns)
    nearness = strip.nearness[:, order]
    reach = _STEPS * float(np.nanstd(nearness)) + 1e-6
    ax.pcolormesh(
        columns[order],
        strip.t,
        np.ma.masked_invalid(nearness),
        cmap=_SHADES,
        vmin=-reach,
        vmax=reach,
        shading="nearest",
        rasterized=True,
        gid="strip",
        zorder=2,
    )


def _draw_overreaches(ax: Axes, analysis: Analysis, places: Sequence[float], unit: str) -> None:
    """A line from the toe tip of each fore print to that of the hind print that answers it, and its length."""
    for number, one in enumerate(analysis.overreaches):
        fore, hind = places[one.fore_print], places[one.hind_print]
        landing = find_stance_bounds(analysis, analysis.prints[one.hind_print])[0]
        ax.plot(
            [fore, hind], [landing, landing], color=INK, linewidth=1.4, gid=f"overreach-{number}", zorder=5
        )
        words = f"{100 * one.value.value:+.0f} cm" if unit == "m" else f"{one.value.value:+.2f}"
        ax.annotate(
            words.replace("-", "\N{MINUS SIGN}"),
            (0.5 * (fore + hind), landing),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=SMALL_PT - 1,
            color=INK,
            zorder=6,
        )


def make_strip_handles() -> list[Artist]:
    """Legend entries for the shades, the prints and the overreaches."""
    handles: list[Artist] = [
        Line2D(
            [],
            [],
            color=LIMB_STYLES[limb].colour,
            linestyle=LIMB_STYLES[limb].line,
            linewidth=2.4,
            label=f"{side_of(limb)} {pair_name(pair_of(limb))}",
        )
        for limb in LIMBS
    ]
    return [
        *handles,
        Patch(facecolor=_NEAR, label="stood on the near side"),
        Patch(facecolor=_FAR, label="stood on the far side"),
        Line2D([], [], color=INK, linewidth=1.4, label="hind toe against the fore toe before it"),
    ]


def explain_strip() -> str:
    """How the drawing is to be read, in words."""
    return (
        "The floor along the walk, one line a picture, from top to bottom: a hoof that stands is an upright bar, its "
        "toe marked where the print was measured. The hind bar begins where the front bar of its side ends; what it "
        "is set off by is the overreach, past the front print when it lies further along the walk."
    )
