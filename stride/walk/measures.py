"""The measures of a walk: one number each, with its doubt, or the reason it could not be measured."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from scipy.constants import g as _GRAVITY

from ..numeric.propagation import Linear, mean_of, sum_of
from ..quantity import Quantity, Unmeasured
from .limbs import LIMBS, SIDES, Limb, Side, side_of
from .steps import measure_steps
from .strides import pair_in_reach
from .support import measure_support
from .timing import measure_timing
from .trackway import Trackway

_NO_STRIDE: Final = "no foot was seen in two prints running"
_NO_TIMED_STRIDE: Final = "no foot was seen to land twice running"
_NO_SCALE: Final = "the clip has no scale: mark floor points or a known length"


def measure_all(trackway: Trackway, lifts: Mapping[Limb, Quantity] | None = None) -> Mapping[str, Quantity]:
    """Every measure of the walk; the names are always the same.

    Means over the walk give each stride the same weight, except overreach, which gives each side the same
    weight. Rates and shares (speed, cadence, duty factor) are total over total, so that they belong to the
    walk as a whole.

    Parameters
    ----------
    trackway : Trackway
    lifts : mapping, optional
        Hoof lift of each limb, measured from its tracks.

    Returns
    -------
    mapping of str to Quantity
        ``overreach``, ``overreach_left``, ``overreach_right``, ``overreach_share``, ``evenness_overreach``;
        ``stride_length``, ``stride_length_<limb>``; ``stride_time``, ``cadence``, ``speed``,
        ``speed_change``; ``step_length_<pair>``, ``step_length_<limb>`` (the limb that lands),
        ``track_width_<pair>``, ``evenness_step_length_<pair>``, ``evenness_step_time_<pair>``,
        ``evenness_stance_<pair>``; ``stance_time_<limb>``, ``swing_time_<limb>``, ``duty_factor_<limb>``,
        ``limb_phase_<limb>``; ``support_under_two``, ``support_two``, ``support_three``, ``support_four``;
        ``hoof_lift_<limb>``; ``stride_length_per_hip_height``, ``froude``.
    """
    lifts = lifts or {}
    strides = {
        limb: [pair for pair in trackway.pairs if trackway.prints[pair[0]].limb == limb] for limb in LIMBS
    }
    found: dict[str, Quantity] = {}
    found |= _measure_overreach(trackway)
    found |= _measure_stride_length(trackway, strides)
    found |= _measure_pace(trackway)
    found |= measure_steps(trackway)
    found |= measure_timing(trackway)
    found |= measure_support(trackway)
    for limb in LIMBS:
        found[f"hoof_lift_{limb}"] = lifts.get(limb, Unmeasured(reason="no swing of this foot was followed"))
    found |= _measure_against_hip_height(trackway)
    return found


def _measure_overreach(trackway: Trackway) -> dict[str, Quantity]:
    by_side: dict[Side, list[Linear]] = {side: [] for side in SIDES}
    if trackway.has_lengths:
        for fore, hind in pair_in_reach(trackway):
            by_side[side_of(trackway.prints[hind].limb)].append(trackway.length(fore, hind))
    found: dict[str, Quantity] = {
        f"overreach_{side}": trackway.measured_mean(
            singles, trackway.unit, f"no {side} hind print could be paired with the front print it answers"
        )
        for side, singles in by_side.items()
    }
    seen = [singles for singles in by_side.values() if singles]
    if not seen:
        reason = Unmeasured(reason="no hind print could be paired with the front print it answers")
        return found | dict.fromkeys(("overreach", "overreach_share", "evenness_overreach"), reason)
    mean = mean_of([mean_of(singles) for singles in seen])
    found["overreach"] = trackway.measured(mean, trackway.unit, seen)
    found["overreach_share"] = Unmeasured(reason=_NO_STRIDE)
    if trackway.pairs:
        stride = mean_of([trackway.length(*pair) for pair in trackway.pairs])
        shares = [[one / stride for one in singles] for singles in seen]
        found["overreach_share"] = trackway.measured(mean / stride, "1", shares)
    found["evenness_overreach"] = Unmeasured(reason="overreach was measured on one side only")
    if len(seen) == len(SIDES):
        apart = mean_of(by_side["left"]) - mean_of(by_side["right"])
        found["evenness_overreach"] = trackway.measured(apart, trackway.unit, seen)
    return found


def _measure_stride_length(
    trackway: Trackway, strides: Mapping[Limb, list[tuple[int, int]]]
) -> dict[str, Quantity]:
    found: dict[str, Quantity] = {
        f"stride_length_{limb}": trackway.measured_mean(
            [trackway.length(*pair) for pair in own],
            trackway.unit,
            "this foot was not seen in two prints running",
        )
        for limb, own in strides.items()
    }
    lengths = [trackway.length(*pair) for pair in trackway.pairs]
    found["stride_length"] = (
        trackway.measured_mean(lengths, "m", _NO_STRIDE)
        if trackway.unit == "m"
        else Unmeasured(reason=f"{_NO_SCALE}; all lengths are given in strides")
    )
    return found


def _measure_pace(trackway: Trackway) -> dict[str, Quantity]:
    """Stride time, cadence, speed and its change."""
    timed = [
        (trackway.length(*pair), time)
        for pair in trackway.pairs
        if (time := trackway.time(*pair)) is not None
    ]
    names = ("stride_time", "cadence", "speed", "speed_change")
    if not timed:
        return dict.fromkeys(names, Unmeasured(reason=_NO_TIMED_STRIDE))
    times = [time for _, time in timed]
    length, time = sum_of([one for one, _ in timed]), sum_of(times)
    speeds = [one / each for one, each in timed]
    return {
        "stride_time": trackway.measured_mean(times, "s", _NO_TIMED_STRIDE),
        "cadence": trackway.measured(
            _footfalls_per_minute(mean_of(times)), "1/min", [list(map(_footfalls_per_minute, times))]
        ),
        "speed": trackway.measured(length / time, f"{trackway.unit}/s", [speeds]),
        "speed_change": _measure_speed_change(trackway, speeds, length / time, mean_of(times).value),
    }


def _footfalls_per_minute(stride_time: Linear) -> Linear:
    return len(LIMBS) * 60.0 / stride_time


def _measure_speed_change(
    trackway: Trackway, speeds: list[Linear], speed: Linear, stride_time: float
) -> Quantity:
    """Relative change from the first stride to the last, by a straight line through the speeds of all
    strides."""
    middles = np.array(
        [
            (start.value + end.value) / 2
            for start, end in ((trackway.touch_down[i], trackway.touch_down[j]) for i, j in trackway.pairs)
            if start is not None and end is not None
        ]
    )
    between = float(middles.max() - middles.min())
    if between < 0.9 * stride_time:
        return Unmeasured(
            reason="the strides seen do not follow one another: at least two strides running are needed"
        )
    lever = middles - middles.mean()
    slope = sum_of([one * float(w) for one, w in zip(speeds, lever / np.sum(lever**2), strict=True)])
    return trackway.measured(slope * between / speed, "1", n=len(speeds))


def _measure_against_hip_height(trackway: Trackway) -> dict[str, Quantity]:
    """Stride length per hip height, and the Froude number v² / (g h).

    Alexander RMcN, Jayes AS (1983) J Zool 201:135-152, doi 10.1111/j.1469-7998.1983.tb04266.x: animals of
    different size that walk at the same Froude number walk alike.
    """
    names = ("stride_length_per_hip_height", "froude")
    height = trackway.hip_height
    if height is None:
        return dict.fromkeys(names, Unmeasured(reason="hip height was not given"))
    if trackway.unit != "m":
        return dict.fromkeys(names, Unmeasured(reason=_NO_SCALE))
    lengths = [trackway.length(*pair) for pair in trackway.pairs]
    timed = [
        (one, time)
        for one, pair in zip(lengths, trackway.pairs, strict=True)
        if (time := trackway.time(*pair))
    ]
    found: dict[str, Quantity] = {
        "stride_length_per_hip_height": trackway.measured_mean(
            [one / height for one in lengths], "1", _NO_STRIDE
        ),
        "froude": Unmeasured(reason=_NO_TIMED_STRIDE),
    }
    if timed:
        speed = sum_of([one for one, _ in timed]) / sum_of([time for _, time in timed])
        singles = [(one / time) * (one / time) / (height * _GRAVITY) for one, time in timed]
        found["froude"] = trackway.measured(speed * speed / (height * _GRAVITY), "1", [singles])
    return found
