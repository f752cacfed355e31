"""How far past or short of the front print each hind foot came down, side by side."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from ..quantity import Measured, Quantity, Unmeasured
from ..walk.analysis import Analysis
from ..walk.limbs import SIDES
from ..walk.wording import COVERAGE_FACTOR, say_number, say_overreach, unit_for
from .style import (
    BAND,
    BAND_EDGE,
    BODY_PT,
    INK,
    MUTED,
    SIDE_COLOURS,
    SIDE_MARKERS,
    SMALL_PT,
    make_drawable,
    say_nothing_drawn,
)

_MOST_NUMBERED: Final = 10
_SINGLES_SHARE: Final = 0.76  # of the width of a side; the rest is its mean's


@dataclass(frozen=True, slots=True, kw_only=True)
class _Slot:
    """A third of the chart: one side, or the mean of the walk."""

    title: str
    start: float
    end: float
    mean: Quantity
    singles: tuple[Measured, ...]
    colour: str
    marker: str


def find_band(analysis: Analysis) -> float:
    """Half-width of ``fills_the_print`` in the unit of the overreaches."""
    return analysis.settings.band if analysis.ground.unit == "m" else analysis.settings.band_share


def draw_overreaches(ax: Axes, analysis: Analysis) -> Axes:
    """Draw every overreach with its 95 % error bar, the mean of each side and of the walk, and the three zones.

    Returns
    -------
    Axes
        One error bar a single overreach and one diamond a mean.
    """
    means = [analysis.measures.get(name) for name in ("overreach", "overreach_left", "overreach_right")]
    if not analysis.overreaches and not any(isinstance(mean, Measured) for mean in means):
        reason = next((mean.reason for mean in means if isinstance(mean, Unmeasured)), "")
        return say_nothing_drawn(ax, f"No overreach was measured{f': {reason}' if reason else ''}.")
    unit = unit_for(analysis.ground.unit, "overreach")
    slots = _make_slots(analysis)
    ticks: list[tuple[float, str]] = []
    for slot in slots:
        ticks += _draw_slot(ax, slot, unit.factor)
    _set_limits(ax, slots, find_band(analysis) * unit.factor, unit.factor)
    _draw_zones(ax, find_band(analysis) * unit.factor, unit.label)
    for slot in slots:
        _head_slot(ax, slot)
    ax.set_xlim(slots[0].start, slots[-1].end)
    ax.set_xticks([at for at, _ in ticks], [label for _, label in ticks])
    ax.tick_params(axis="x", length=0)
    ax.set_xlabel("stride, in the order walked", fontsize=BODY_PT)
    ax.set_ylabel(f"overreach ({unit.label})\n− short\N{EM SPACE}\N{EM SPACE}past +", fontsize=BODY_PT)
    ax.yaxis.set_major_locator(MaxNLocator(nbins=8, steps=[1, 2, 5, 10]))
    ax.yaxis.set_major_formatter(
        lambda value, _: say_number(value, 0 if float(value).is_integer() else 1, signed=True)
    )
    return ax


def _make_slots(analysis: Analysis) -> list[_Slot]:
    absent = Unmeasured(reason="it was not among the numbers of this walk")
    slots = [
        _Slot(
            title=f"{side} side",
            start=float(i),
            end=i + 1.0,
            mean=analysis.measures.get(f"overreach_{side}", absent),
            singles=tuple(one.value for one in analysis.overreaches if one.side == side),
            colour=SIDE_COLOURS[side],
            marker=SIDE_MARKERS[side],
        )
        for i, side in enumerate(SIDES)
    ]
    walk = analysis.measures.get("overreach", absent)
    return [
        *slots,
        _Slot(title="whole walk", start=2.0, end=2.75, mean=walk, singles=(), colour=INK, marker=""),
    ]


def _draw_slot(ax: Axes, slot: _Slot, factor: float) -> list[tuple[float, str]]:
    """Draw one third and give its ticks."""
    width = slot.end - slot.start
    n = len(slot.singles)
    places = slot.start + _SINGLES_SHARE * width * (np.arange(n) + 0.7) / (n + 0.4)
    middle = slot.start + width * ((1 + _SINGLES_SHARE) / 2 if n else 0.5)
    if n:
        ax.errorbar(
            places,
            [one.value * factor for one in slot.singles],
            yerr=[COVERAGE_FACTOR * one.total * factor for one in slot.singles],
            fmt=slot.marker,
            color=INK,
            markerfacecolor=slot.colour,
            markersize=6 if n <= _MOST_NUMBERED else 4,
            elinewidth=1.0,
            capsize=3 if n <= _MOST_NUMBERED else 1.5,
            linestyle="none",
            zorder=4,
            label=f"singles-{slot.title}",
        )
    every = -(-n // _MOST_NUMBERED) if n else 1
    ticks = [(float(x), str(k + 1)) for k, x in enumerate(places) if k % every == 0]
    if isinstance(slot.mean, Measured):
        low, high = slot.mean.interval(0.95)
        ax.errorbar(
            [middle],
            [slot.mean.value * factor],
            yerr=[[(slot.mean.value - low) * factor], [(high - slot.mean.value) * factor]],
            fmt="none",
            ecolor=INK,
            elinewidth=1.6,
            capsize=6,
            capthick=1.6,
            zorder=5,
        )
        ax.plot(
            [middle],
            [slot.mean.value * factor],
            linestyle="none",
            marker="_",
            color=INK,
            markersize=19,
            markeredgewidth=3,
            zorder=5,
            gid=f"mean-{slot.title}",
        )
        ticks.append((middle, "mean"))
    if slot.start:
        ax.axvline(slot.start, color=MUTED, linewidth=0.8, zorder=2)
    return ticks


def _set_limits(ax: Axes, slots: Sequence[_Slot], band: float, factor: float) -> None:
    drawn = [one for slot in slots for one in slot.singles]
    drawn += [slot.mean for slot in slots if isinstance(slot.mean, Measured)]
    ends = [end * factor for one in drawn for end in one.interval(0.95)]
    low, high = min([*ends, -band]), max([*ends, band])
    room = 0.14 * (high - low)
    ax.set_ylim(min(low - 0.4 * room, -band - room), max(high + 0.4 * room, band + room))


def _draw_zones(ax: Axes, band: float, label: str) -> None:
    low, high = ax.get_ylim()
    ax.axhspan(-band, band, color=BAND, zorder=0, linewidth=0)
    for edge in (-band, band):
        ax.axhline(edge, color=BAND_EDGE, linewidth=1.0, linestyle=(0, (5, 2)), zorder=1)
    ax.axhline(0, color=MUTED, linewidth=0.8, zorder=1)
    within = f"(within {band:g} {label})".replace(" % of", " %\nof")
    zones = (
        ((band + high) / 2, "past\nthe print"),
        (0.0, f"fills the print\n{within}"),
        ((low - band) / 2, "short of\nthe print"),
    )
    for level, words in zones:
        ax.text(
            1.015,
            level,
            words,
            transform=ax.get_yaxis_transform(),
            va="center",
            ha="left",
            fontsize=SMALL_PT,
            color=INK,
        )


def _head_slot(ax: Axes, slot: _Slot) -> None:
    if isinstance(slot.mean, Measured):
        words = say_overreach(slot.mean, short=True).replace(" % of", " %\nof")
    else:
        words = textwrap.fill(
            make_drawable(f"not measured: {slot.mean.reason}"), 26, max_lines=3, placeholder=" …"
        )
    ax.annotate(
        f"{slot.title}\n{words}",
        ((slot.start + slot.end) / 2, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 7),
        textcoords="offset points",
        ha="center",
        va="baseline",
        fontsize=SMALL_PT,
        linespacing=1.3,
    )


def make_overreach_handles(analysis: Analysis) -> list[Artist]:
    """Legend entries for the points, the means and the band."""
    sides = [side for side in SIDES if any(one.side == side for one in analysis.overreaches)]
    singles: list[Artist] = [
        Line2D(
            [],
            [],
            color=INK,
            linestyle="none",
            marker=SIDE_MARKERS[side],
            markerfacecolor=SIDE_COLOURS[side],
            markersize=6,
            label=f"{side}, one stride",
        )
        for side in sides
    ]
    return [
        *singles,
        Line2D([], [], color=INK, marker="_", markersize=12, markeredgewidth=3, linewidth=0, label="mean"),
        Line2D([], [], color=INK, marker="|", markersize=8, linewidth=0, label="95 % doubt of measuring"),
        Patch(facecolor=BAND, edgecolor=BAND_EDGE, linestyle="--", label="fills the print"),
    ]


def explain_overreaches(analysis: Analysis) -> str:
    """How the drawing is to be read, in words."""
    scale = (
        " They include the doubt of the scale, which all points share."
        if analysis.ground.unit == "m"
        else " The clip has no scale: lengths are shares of this animal's own stride."
    )
    return (
        "Above zero the hind foot came down past the front print, below zero short of it. Bars hold the true value "
        "with 95 % probability."
        + scale
        + " The mean's bar speaks of this walk-by; the animal's other walks may differ."
    )
