"""Left against right: steps, track width and evenness."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

from ..numeric.propagation import Linear, estimate_spread, mean_of
from ..quantity import Quantity, Unmeasured
from .limbs import PAIRS, SIDES, Limb, Pair, limb_at, pair_of
from .trackway import Trackway

#: A step longer than this share of a stride has a missed print in it.
_LONGEST_STEP: Final = 0.8
_FLOOR_POINTS: Final = "distance across the walk is only known with floor points"

Step = tuple[int, int]


def measure_steps(trackway: Trackway) -> Mapping[str, Quantity]:
    """Step lengths, track widths and evenness of both pairs.

    A step runs from a print to the next print of the opposite foot of the pair and belongs to the foot that
    lands. Track width is the distance across the walk from right print to left print, negative where the feet
    cross over. Evenness is ``2 (L - R) / (L + R)`` of the two sides' means; its ``spread`` is that of one
    left value against one right value.

    Parameters
    ----------
    trackway : Trackway

    Returns
    -------
    mapping
        ``step_length_<pair>``, ``step_length_<limb>``, ``track_width_<pair>``,
        ``evenness_step_length_<pair>``, ``evenness_step_time_<pair>``, ``evenness_stance_<pair>``.
    """
    found: dict[str, Quantity] = {}
    for pair in PAIRS:
        steps = _find_steps(trackway, pair)
        landing: dict[Limb, list[Step]] = {limb_at(side, pair): [] for side in SIDES}
        for step in steps:
            landing[trackway.prints[step[1]].limb].append(step)
        lengths = {limb: [trackway.length(*step) for step in own] for limb, own in landing.items()}
        if not trackway.has_lengths:
            lengths = {limb: [] for limb in landing}
        times = {
            limb: [t for step in own if (t := trackway.time(*step)) is not None]
            for limb, own in landing.items()
        }
        stances = {
            limb: [t for i in trackway.of_limb[limb] if (t := trackway.stance(i)) is not None]
            for limb in landing
        }
        reason = "no two prints running of opposite feet of this pair were seen"
        found[f"step_length_{pair}"] = _measure_both(trackway, lengths, reason)
        for limb, singles in lengths.items():
            found[f"step_length_{limb}"] = trackway.measured_mean(singles, trackway.unit, reason)
        found[f"track_width_{pair}"] = _measure_track_width(trackway, steps, reason)
        for name, sides in (("step_length", lengths), ("step_time", times), ("stance", stances)):
            found[f"evenness_{name}_{pair}"] = _measure_evenness(trackway, *sides.values())
    return found


def _find_steps(trackway: Trackway, pair: Pair) -> list[Step]:
    """Consecutive prints of opposite feet of a pair, less those with a missed print between them."""
    own = [i for i, one in enumerate(trackway.prints) if pair_of(one.limb) == pair]
    own.sort(key=lambda i: sum(trackway.prints[i].frames))
    strides = trackway.pairs
    longest = longest_time = math.inf
    if strides:
        longest = _LONGEST_STEP * mean_of([trackway.length(*stride) for stride in strides]).value
    times = [t for stride in strides if (t := trackway.time(*stride)) is not None]
    if times:
        longest_time = _LONGEST_STEP * mean_of(times).value
    steps = []
    for start, end in pairwise(own):
        opposite = trackway.prints[start].limb != trackway.prints[end].limb
        time = trackway.time(start, end)
        short = time.value < longest_time if time is not None else trackway.length(start, end).value < longest
        if opposite and short:
            steps.append((start, end))
    return steps


def _measure_both(trackway: Trackway, lengths: Mapping[Limb, Sequence[Linear]], reason: str) -> Quantity:
    """Mean step of the pair, each side with the same weight."""
    seen = [singles for singles in lengths.values() if singles]
    if not seen:
        return Unmeasured(reason=reason)
    return trackway.measured(mean_of([mean_of(singles) for singles in seen]), trackway.unit, seen)


def _measure_track_width(trackway: Trackway, steps: Sequence[Step], reason: str) -> Quantity:
    if not trackway.spans_floor:
        return Unmeasured(reason=_FLOOR_POINTS)
    widths = []
    for start, end in steps:
        outward = 1.0 if trackway.prints[end].limb.startswith("left") else -1.0
        widths.append((trackway.across[end] - trackway.across[start]) * outward)
    return trackway.measured_mean(widths, trackway.unit, reason)


def _measure_evenness(trackway: Trackway, left: Sequence[Linear], right: Sequence[Linear]) -> Quantity:
    if not (left and right):
        return Unmeasured(reason="it was not measured on both sides")
    one, other = mean_of(left), mean_of(right)
    mean = (one + other) / 2
    if mean.value <= 0:
        return Unmeasured(reason="the animal did not move on between its prints")
    spread = estimate_spread([left, right], trackway.errors)
    measured = trackway.measured((one - other) / mean, "1", n=min(len(left), len(right)))
    return measured if spread is None else replace(measured, spread=math.sqrt(2) * spread / mean.value)
