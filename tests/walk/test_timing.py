from __future__ import annotations

import math
from dataclasses import replace

import pytest

from stride.walk.limbs import LIMBS
from stride.walk.timing import measure_timing
from stride.walk.trackway import lay_trackway

from ..footfalls import SINGLE_FOOT, flat_ground, walk_evenly


def timing_of(prints):
    return measure_timing(lay_trackway(prints, flat_ground()))


def test_every_limb_has_its_own_times():
    duties = {"left_fore": 0.61, "right_fore": 0.72, "left_hind": 0.68, "right_hind": 0.79}
    timing = timing_of(walk_evenly(stride_time=1.2, duty=duties))
    for limb in LIMBS:
        assert timing[f"stance_time_{limb}"].value == pytest.approx(1.2 * duties[limb])
        assert timing[f"swing_time_{limb}"].value == pytest.approx(1.2 * (1 - duties[limb]))
        assert timing[f"duty_factor_{limb}"].value == pytest.approx(duties[limb])
        assert timing[f"limb_phase_{limb}"].value == pytest.approx(SINGLE_FOOT[limb])
        assert timing[f"stance_time_{limb}"].n == 4
        assert timing[f"swing_time_{limb}"].n == 3


def test_errors_of_means():
    timing = timing_of(walk_evenly(event_error=0.01, prints_per_limb=5))
    assert timing["stance_time_left_fore"].random == pytest.approx(0.01 * math.sqrt(2 / 5))
    assert timing["swing_time_left_fore"].random == pytest.approx(0.01 * math.sqrt(2 / 4))
    assert timing["stance_time_left_fore"].common == 0.0


@pytest.mark.parametrize(("phase", "expected"), [(0.98, 0.98), (0.01, 0.01)])
def test_limb_phase_turns_at_one(phase, expected):
    phases = {**SINGLE_FOOT, "left_fore": phase}
    prints = list(walk_evenly(phases=phases, prints_per_limb=5))
    own = [i for i, one in enumerate(prints) if one.limb == "left_fore"]
    # every second landing a little early or late, across the turn
    for k, i in enumerate(own):
        shift = 0.03 * (-1) ** k
        prints[i] = replace(prints[i], touch_down=prints[i].touch_down + shift)
    found = timing_of(prints)["limb_phase_left_fore"].value
    assert 0 <= found < 1
    assert abs((found - expected + 0.5) % 1 - 0.5) < 0.02


def test_limb_phase_needs_the_left_hind():
    timing = timing_of([one for one in walk_evenly() if one.limb != "left_hind"])
    assert "left hind" in timing["limb_phase_right_fore"].reason
    assert timing["duty_factor_right_fore"]


def test_what_was_not_seen_is_unmeasured_with_a_reason():
    prints = [replace(one, lift_off=None, lift_off_error=None) for one in walk_evenly()]
    timing = timing_of(prints)
    for limb in LIMBS:
        for name in ("stance_time", "swing_time", "duty_factor"):
            assert not timing[f"{name}_{limb}"]
            assert timing[f"{name}_{limb}"].reason.startswith("this foot was not")
        assert timing[f"limb_phase_{limb}"]


def test_duty_factor_is_total_over_total():
    prints = list(walk_evenly(stride_time=1.0, duty=0.6, prints_per_limb=3))
    last = [i for i, one in enumerate(prints) if one.limb == "left_hind"][-1]
    prints[last] = replace(prints[last], touch_down=prints[last].touch_down + 0.5, lift_off=6.0)
    # strides of 1.0 and 1.5 s, both with 0.6 s on the floor
    duty = timing_of(prints)["duty_factor_left_hind"]
    assert duty.value == pytest.approx(1.2 / 2.5)
    assert duty.spread == pytest.approx((0.6 - 0.4) / math.sqrt(2))
