"""When each foot is down: stance, swing, duty factor and limb phase."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from ..numeric.propagation import Linear, mean_of, sum_of
from ..quantity import Quantity, Unmeasured
from .limbs import LIMBS, Limb
from .trackway import Trackway


def measure_timing(trackway: Trackway) -> Mapping[str, Quantity]:
    """Stance time, swing time, duty factor and limb phase of every limb.

    Duty factor is total stance time over total stride time of the strides whose three events were all seen.
    Limb phase is the touch-down of a limb as a share of the left hind's stride in which it falls (Hildebrand
    M (1965) Science 150:701-708, doi 10.1126/science.150.3697.701, there for the fore limb of the same side).

    Parameters
    ----------
    trackway : Trackway

    Returns
    -------
    mapping
        ``stance_time_<limb>`` and ``swing_time_<limb>`` (s), ``duty_factor_<limb>`` and ``limb_phase_<limb>``
        (shares).
    """
    found: dict[str, Quantity] = {}
    for limb in LIMBS:
        own = [pair for pair in trackway.pairs if trackway.prints[pair[0]].limb == limb]
        stances = [stance for i in trackway.of_limb[limb] if (stance := trackway.stance(i)) is not None]
        swings = [swing for pair in own if (swing := trackway.swing(*pair)) is not None]
        found[f"stance_time_{limb}"] = trackway.measured_mean(
            stances, "s", "this foot was not seen both to land and to leave the floor"
        )
        found[f"swing_time_{limb}"] = trackway.measured_mean(
            swings, "s", "this foot was not seen both to leave the floor and to land again"
        )
        found[f"duty_factor_{limb}"] = _measure_duty_factor(trackway, own)
        found[f"limb_phase_{limb}"] = _measure_limb_phase(trackway, limb)
    return found


def _measure_duty_factor(trackway: Trackway, own: list[tuple[int, int]]) -> Quantity:
    whole = [
        (stance, time)
        for start, end in own
        if (stance := trackway.stance(start)) is not None and (time := trackway.time(start, end)) is not None
    ]
    if not whole:
        return Unmeasured(reason="this foot was not followed through one whole stride")
    share = sum_of([stance for stance, _ in whole]) / sum_of([time for _, time in whole])
    return trackway.measured(share, "1", [[stance / time for stance, time in whole]])


def _measure_limb_phase(trackway: Trackway, limb: Limb) -> Quantity:
    phases: list[Linear] = []
    landings = [t for i in trackway.of_limb[limb] if (t := trackway.touch_down[i]) is not None]
    for start, end in trackway.pairs:
        begin, finish = trackway.touch_down[start], trackway.touch_down[end]
        if trackway.prints[start].limb != "left_hind" or begin is None or finish is None:
            continue
        phases += [(t - begin) / (finish - begin) for t in landings if begin.value <= t.value < finish.value]
    if not phases:
        return Unmeasured(reason="no landing of this foot falls in a whole stride of the left hind foot")
    # phases on either side of 0 belong together: bring all within half a turn of their circular mean
    middle = float(np.angle(np.mean(np.exp(2j * np.pi * np.array([one.value for one in phases]))))) / (
        2 * math.pi
    )
    turned = [one - round(one.value - middle) for one in phases]
    mean = mean_of(turned)
    return trackway.measured(mean - math.floor(mean.value + 1e-12), "1", [turned])
