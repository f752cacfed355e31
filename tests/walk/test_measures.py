from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from stride.quantity import Measured, Unmeasured
from stride.walk.limbs import LIMBS, PAIRS, SIDES
from stride.walk.marks import Animal
from stride.walk.measures import measure_all
from stride.walk.trackway import lay_trackway

from ..footfalls import flat_ground, walk_evenly

NAMES = {
    *("overreach", "overreach_share", "evenness_overreach", *(f"overreach_{side}" for side in SIDES)),
    *("stride_length", "stride_time", "cadence", "speed", "speed_change"),
    *("support_under_two", "support_two", "support_three", "support_four"),
    *("stride_length_per_hip_height", "froude"),
    *(f"{name}_{limb}" for name in ("stride_length", "step_length", "stance_time") for limb in LIMBS),
    *(
        f"{name}_{limb}"
        for name in ("swing_time", "duty_factor", "limb_phase", "hoof_lift")
        for limb in LIMBS
    ),
    *(f"{name}_{pair}" for name in ("step_length", "track_width") for pair in PAIRS),
    *(f"evenness_{name}_{pair}" for name in ("step_length", "step_time", "stance") for pair in PAIRS),
}


def measured(prints, ground=None, **animal):
    trackway = lay_trackway(
        prints, ground or flat_ground(), direction="left_to_right", animal=Animal(**animal)
    )
    return measure_all(trackway)


def test_the_names_are_always_the_same():
    whole = measured(walk_evenly(), hip_height=1.3)
    few = measured(walk_evenly(prints_per_limb=1))
    none = measure_all(lay_trackway((), flat_ground("none"), direction="left_to_right"))
    assert set(whole) == set(few) == set(none) == NAMES
    assert not any(none.values())
    assert all(isinstance(one, Unmeasured) and one.reason for one in none.values())


def test_an_even_walk():
    found = measured(walk_evenly(1.4, 1.25, overreach=-0.07), hip_height=1.4)
    expected = {
        "overreach": (-0.07, "m"),
        "overreach_share": (-0.05, "1"),
        "evenness_overreach": (0.0, "m"),
        "stride_length": (1.4, "m"),
        "stride_time": (1.25, "s"),
        "cadence": (192.0, "1/min"),
        "speed": (1.12, "m/s"),
        "speed_change": (0.0, "1"),
        "stride_length_per_hip_height": (1.0, "1"),
        "froude": (1.12**2 / (9.80665 * 1.4), "1"),
    }
    for name, (value, unit) in expected.items():
        assert found[name].value == pytest.approx(value, abs=1e-9), name
        assert found[name].unit == unit, name
    assert found["stride_length"].n == 12
    assert found["overreach"].n == 6
    assert found["overreach_left"].n == 3


def test_overreach_gives_both_sides_the_same_weight():
    prints = walk_evenly(overreach={"left": -0.10, "right": 0.02}, prints_per_limb=4)
    left_hinds = [i for i, one in enumerate(prints) if one.limb == "left_hind"]
    found = measured([one for i, one in enumerate(prints) if i not in left_hinds[2:]])
    assert (found["overreach_left"].n, found["overreach_right"].n) == (1, 3)
    assert found["overreach"].value == pytest.approx(-0.04)
    assert found["evenness_overreach"].value == pytest.approx(-0.12)


def test_one_side_alone_is_the_overreach_of_the_walk():
    prints = [one for one in walk_evenly(overreach=-0.05) if one.limb.startswith("right")]
    found = measured(prints)
    assert found["overreach"].value == found["overreach_right"].value
    assert "left hind" in found["overreach_left"].reason
    assert "one side" in found["evenness_overreach"].reason


def test_errors_of_the_mean_stride_count_only_the_ends_of_each_row():
    found = measured(walk_evenly(error=(0.006, 0.0), prints_per_limb=4))
    # four rows of three strides: the inner prints cancel
    assert found["stride_length"].random == pytest.approx(0.006 * math.sqrt(2) / 3 / math.sqrt(4))


def test_common_error_does_not_average_out():
    for prints_per_limb in (2, 6):
        found = measured(walk_evenly(prints_per_limb=prints_per_limb), flat_ground(scale_error=0.01))
        assert found["stride_length"].common == pytest.approx(0.014, rel=1e-6)
        assert found["speed"].common == pytest.approx(0.0112, rel=1e-6)
        assert found["overreach_share"].common == pytest.approx(0.0, abs=1e-9)


def test_hip_height_error_is_common():
    found = measured(walk_evenly(1.4, 1.25), hip_height=1.4)
    assert found["stride_length_per_hip_height"].common == pytest.approx(0.02 / 1.4)
    assert found["froude"].common == pytest.approx(found["froude"].value * 0.02 / 1.4)


def test_spread_is_the_animals_own():
    prints = list(walk_evenly(prints_per_limb=3))
    own = [i for i, one in enumerate(prints) if one.limb == "left_hind"]
    prints[own[1]] = replace(prints[own[1]], xy=prints[own[1]].xy + np.array([0.03, 0.0]))
    found = measured(prints)
    assert found["stride_length_left_hind"].spread == pytest.approx(0.03 * math.sqrt(2), rel=1e-4)
    assert found["stride_length_right_hind"].spread == pytest.approx(0.0, abs=1e-4)
    assert found["stride_length_left_hind"].value == pytest.approx(1.4, rel=1e-4)


def test_a_quickening_walk():
    prints = []
    for one in walk_evenly(1.4, 1.25, prints_per_limb=5):
        # time runs as t - a t²: speed grows by the same share everywhere, about 0.01 of it a tenth of a second
        prints.append(replace(one, touch_down=quicken(one.touch_down), lift_off=quicken(one.lift_off)))
    change = measured(prints)["speed_change"]
    first, last = quicken(2.0), quicken(2.0 + 4.75 * 1.25)
    stride = 1.25
    middle_first, middle_last = 2.0 + stride / 2, 2.0 + 4.75 * stride - stride / 2
    speed = 1.4 / stride
    exact = speed / (1 - 0.04 * middle_last) - speed / (1 - 0.04 * middle_first)
    assert change.value == pytest.approx(exact / (1.4 * 4.75 / (last - first)), rel=0.05)
    assert change.n == 16


def quicken(t):
    return t - 0.02 * t**2


def test_speed_change_needs_strides_that_follow_one_another():
    assert "follow one another" in measured(walk_evenly(prints_per_limb=2))["speed_change"].reason


def test_without_scale():
    found = measured(walk_evenly(600.0, 1.2, overreach=-30.0), flat_ground("none"), hip_height=1.3)
    assert found["overreach"].value == pytest.approx(-0.05)
    assert found["overreach"].unit == "stride"
    assert "no scale" in found["stride_length"].reason
    assert found["stride_length_left_fore"].value == pytest.approx(1.0)
    assert found["speed"].unit == "stride/s"
    assert found["speed"].value == pytest.approx(1 / 1.2)
    assert "no scale" in found["froude"].reason
    assert "no scale" in found["stride_length_per_hip_height"].reason


def test_hoof_lifts_are_taken_as_given():
    lift = Measured(value=0.09, unit="m", random=0.004, common=0.001, n=3)
    found = measure_all(lay_trackway(walk_evenly(), flat_ground()), {"left_hind": lift})
    assert found["hoof_lift_left_hind"] is lift
    assert "followed" in found["hoof_lift_right_hind"].reason


def test_a_walk_without_times_still_has_lengths():
    prints = [
        replace(one, touch_down=None, touch_down_error=None, lift_off=None, lift_off_error=None)
        for one in walk_evenly()
    ]
    found = measured(prints, hip_height=1.4)
    assert found["stride_length"].value == pytest.approx(1.4)
    assert found["step_length_hind"].value == pytest.approx(0.7)
    for name in ("speed", "cadence", "froude", "overreach", "support_three", "evenness_step_time_fore"):
        assert isinstance(found[name], Unmeasured), name
