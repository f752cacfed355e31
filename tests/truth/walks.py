"""The true numbers of a simulated walk, straight from its exact prints."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from stride.simulate.gait import Walk, true_overreaches, true_strides
from stride.walk.limbs import LIMBS, PAIRS, SIDES, pair_of, side_of


def true_measures(walk: Walk) -> dict[str, float]:
    """True value of each measure of the prints that were walked, by the names of the measures."""
    strides = true_strides(walk)
    length = np.array([one.length for one in strides])
    time = np.array([one.time for one in strides])
    truth = {
        "stride_length": length.mean(),
        "stride_time": time.mean(),
        "cadence": 240 / time.mean(),
        "speed": length.sum() / time.sum(),
    }
    past = {
        side: np.mean([one.value for one in true_overreaches(walk) if one.side == side]) for side in SIDES
    }
    truth |= {f"overreach_{side}": past[side] for side in SIDES}
    truth["overreach"] = (past["left"] + past["right"]) / 2
    truth["overreach_share"] = truth["overreach"] / length.mean()
    truth["evenness_overreach"] = past["left"] - past["right"]
    for limb in LIMBS:
        own = [one for one in walk.prints if one.limb == limb]
        truth[f"stance_time_{limb}"] = np.mean([one.lift_off - one.touch_down for one in own])
        truth[f"swing_time_{limb}"] = np.mean([b.touch_down - a.lift_off for a, b in pairwise(own)])
    for pair in PAIRS:
        truth |= _true_steps(walk, pair)
    return {name: float(value) for name, value in truth.items()}


def _true_steps(walk, pair):
    steps = {side: [] for side in SIDES}
    widths = []
    for start, end in pairwise([one for one in walk.prints if pair_of(one.limb) == pair]):
        across = np.subtract(end.xy, start.xy) @ walk.leftward
        widths.append(across if side_of(end.limb) == "left" else -across)
        steps[side_of(end.limb)].append(
            (np.subtract(end.xy, start.xy) @ walk.heading, end.touch_down - start.touch_down)
        )
    left, right = (np.mean(steps[side], axis=0) for side in SIDES)
    evenness = 2 * (left - right) / (left + right)
    return {
        f"step_length_{pair}": (left[0] + right[0]) / 2,
        f"track_width_{pair}": np.mean(widths),
        f"evenness_step_length_{pair}": evenness[0],
        f"evenness_step_time_{pair}": evenness[1],
    }
