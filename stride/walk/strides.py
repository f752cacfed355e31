"""Strides from print to print, and overreach from print to answered print."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import Final

from ..numeric.propagation import Linear
from ..quantity import Measured
from .limbs import SIDES, Limb, Side, limb_at, side_of
from .prints import Print
from .trackway import Trackway, order_by_limb

#: Duty factor assumed only to pair prints where no stride or no stance was seen whole: cattle walk near it.
_USUAL_DUTY: Final = 0.66


@dataclass(frozen=True, slots=True, kw_only=True)
class Stride:
    """From one print of a limb to its next.

    ``start`` and ``end`` are indices into the analysis's prints. ``length`` and ``time`` are along the line
    of walk; ``time`` (touch-down to touch-down), ``speed``, ``stance_time``, ``swing_time`` and
    ``duty_factor`` are None where an event they need is outside the clip.
    """

    limb: Limb
    start: int
    end: int
    length: Measured
    time: Measured | None
    speed: Measured | None
    stance_time: Measured | None
    swing_time: Measured | None
    duty_factor: Measured | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Overreach:
    """Hind print minus the front print it answers, same side, along the line of walk; negative is shortfall.

    ``fore_print`` and ``hind_print`` are indices into the analysis's prints.
    """

    side: Side
    fore_print: int
    hind_print: int
    value: Measured


def measure_strides(trackway: Trackway) -> tuple[Stride, ...]:
    """Every stride of the trackway, ordered by its first print.

    Parameters
    ----------
    trackway : Trackway

    Returns
    -------
    tuple of Stride
        Lengths in the trackway's unit; gaps in which a print was missed are no strides.
    """
    return tuple(_measure_stride(trackway, start, end) for start, end in trackway.pairs)


def _measure_stride(trackway: Trackway, start: int, end: int) -> Stride:
    length, time = trackway.length(start, end), trackway.time(start, end)
    stance = trackway.stance(start)

    def measured(number: Linear | None, unit: str) -> Measured | None:
        return None if number is None else trackway.measured(number, unit)

    return Stride(
        limb=trackway.prints[start].limb,
        start=start,
        end=end,
        length=trackway.measured(length, trackway.unit),
        time=measured(time, "s"),
        speed=measured(length / time, f"{trackway.unit}/s") if time is not None else None,
        stance_time=measured(stance, "s"),
        swing_time=measured(trackway.swing(start, end), "s"),
        duty_factor=measured(stance / time, "1") if stance is not None and time is not None else None,
    )


def measure_overreaches(trackway: Trackway) -> tuple[Overreach, ...]:
    """Every overreach of the trackway, ordered by its hind print.

    Parameters
    ----------
    trackway : Trackway

    Returns
    -------
    tuple of Overreach
        In the trackway's unit; empty where the clip has neither a scale nor one whole stride.
    """
    if not trackway.has_lengths:
        return ()
    return tuple(
        Overreach(
            side=side_of(trackway.prints[hind].limb),
            fore_print=fore,
            hind_print=hind,
            value=trackway.measured(trackway.length(fore, hind), trackway.unit),
        )
        for fore, hind in pair_in_reach(trackway)
    )


def pair_in_reach(trackway: Trackway) -> tuple[tuple[int, int], ...]:
    """The answered prints of a trackway that also lie no more than half a stride apart on the floor.

    Prints of a foot taken for another answer each other in time, but not in place.
    """
    strides = [abs(trackway.length(start, end).value) for start, end in trackway.pairs]
    reach = sum(strides) / len(strides) / 2 if strides else math.inf
    return tuple(
        (fore, hind)
        for fore, hind in pair_answered(trackway.prints)
        if abs(trackway.length(fore, hind).value) <= reach
    )


def pair_answered(prints: Sequence[Print]) -> tuple[tuple[int, int], ...]:
    """Which front print each hind print answers.

    A hind print answers the print of the fore limb on its side whose lift-off is nearest the hind touch-down,
    never more than half a stride of that side away; of two equally near, the later. No fore print is answered
    twice: the nearest hind print keeps it.

    Where an event was not seen, the other end of the stance and the usual stance time of that limb stand in
    for it, or else the first or last moment in which the hoof was seen standing. They decide only which
    prints belong together and do not enter the overreach.

    Parameters
    ----------
    prints : sequence of Print

    Returns
    -------
    tuple of (int, int)
        Indices of fore print and hind print, ordered by the hind print.
    """
    pairs: list[tuple[int, int]] = []
    by_limb = order_by_limb(prints)
    for side in SIDES:
        fore, hind = (by_limb[limb_at(side, pair)] for pair in ("fore", "hind"))
        stance, stride_time = _usual_times(prints, fore, hind)
        if stance is None or stride_time is None:
            continue
        near = []
        for j in hind:
            for i in fore:
                left, landed = _lift_off_of(prints[i], stance), _touch_down_of(prints[j], stance)
                if left is not None and landed is not None and abs(left - landed) <= stride_time / 2:
                    near.append((abs(left - landed), -left, i, j))
        answered: set[int] = set()
        answering: set[int] = set()
        for _, _, i, j in sorted(near):
            if i not in answered and j not in answering:
                answered.add(i)
                answering.add(j)
                pairs.append((i, j))
    return tuple(sorted(pairs, key=lambda pair: pair[1]))


def _usual_times(
    prints: Sequence[Print], fore: Sequence[int], hind: Sequence[int]
) -> tuple[float | None, float | None]:
    """Usual stance time and stride time of one side (s), each from the other or from all limbs where need
    be."""
    own = (fore, hind)
    every = tuple(order_by_limb(prints).values())
    stance = _usual_stance(prints, own) or _usual_stance(prints, every)
    stride_time = _usual_stride_time(prints, own) or _usual_stride_time(prints, every)
    if stride_time is None and stance is not None:
        stride_time = stance / _USUAL_DUTY
    if stance is None and stride_time is not None:
        stance = stride_time * _USUAL_DUTY
    return stance, stride_time


def _usual_stance(prints: Sequence[Print], limbs: Sequence[Sequence[int]]) -> float | None:
    seen = [
        one.lift_off - one.touch_down
        for one in (prints[i] for own in limbs for i in own)
        if one.lift_off is not None and one.touch_down is not None
    ]
    return median(seen) if seen else None


def _usual_stride_time(prints: Sequence[Print], limbs: Sequence[Sequence[int]]) -> float | None:
    """Median gap between like events of consecutive prints (s)."""
    gaps = []
    for own in limbs:
        for start, end in pairwise(prints[i] for i in own):
            if start.touch_down is not None and end.touch_down is not None:
                gaps.append(end.touch_down - start.touch_down)
            elif start.lift_off is not None and end.lift_off is not None:
                gaps.append(end.lift_off - start.lift_off)
    return median(gaps) if gaps else None


def _lift_off_of(one: Print, stance: float) -> float | None:
    if one.lift_off is not None:
        return one.lift_off
    if one.touch_down is not None:
        return one.touch_down + stance
    return one.seen_to if one.seen_to > one.seen_from else None


def _touch_down_of(one: Print, stance: float) -> float | None:
    if one.touch_down is not None:
        return one.touch_down
    if one.lift_off is not None:
        return one.lift_off - stance
    return one.seen_from if one.seen_to > one.seen_from else None
