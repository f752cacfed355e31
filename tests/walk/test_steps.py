from __future__ import annotations

import math
from dataclasses import replace

import pytest

from stride.walk.steps import measure_steps
from stride.walk.trackway import lay_trackway

from ..footfalls import SINGLE_FOOT, flat_ground, walk_evenly


def steps_of(prints, kind="plane"):
    return measure_steps(lay_trackway(prints, flat_ground(kind)))


def test_even_walk():
    steps = steps_of(walk_evenly(stride_length=1.4, track_width=0.32))
    for pair in ("fore", "hind"):
        assert steps[f"step_length_{pair}"].value == pytest.approx(0.7)
        assert steps[f"track_width_{pair}"].value == pytest.approx(0.32)
        assert steps[f"track_width_{pair}"].n == 7
        for name in ("step_length", "step_time", "stance"):
            assert steps[f"evenness_{name}_{pair}"].value == pytest.approx(0.0, abs=1e-9)


def test_a_step_belongs_to_the_foot_that_lands():
    steps = steps_of(walk_evenly(1.5, 1.2, phases={**SINGLE_FOOT, "right_fore": 0.65}))
    # the right fore lands 0.4 of a stride after the left one, the left 0.6 after the right
    assert steps["step_length_right_fore"].value == pytest.approx(0.6)
    assert steps["step_length_left_fore"].value == pytest.approx(0.9)
    assert steps["evenness_step_length_fore"].value == pytest.approx(0.4)
    assert steps["evenness_step_time_fore"].value == pytest.approx(0.4)
    assert steps["step_length_fore"].value == pytest.approx(0.75)


def test_evenness_of_stance_and_its_error():
    duty = {"left_fore": 0.63, "right_fore": 0.7, "left_hind": 0.66, "right_hind": 0.66}
    steps = steps_of(walk_evenly(stride_time=1.2, duty=duty, event_error=0.01, prints_per_limb=3))
    evenness = steps["evenness_stance_fore"]
    left, right = 1.2 * 0.63, 1.2 * 0.70
    assert evenness.value == pytest.approx(2 * (left - right) / (left + right))
    one = 0.01 * math.sqrt(2 / 3)
    expected = 4 / (left + right) ** 2 * math.hypot(right * one, left * one)
    assert evenness.random == pytest.approx(expected)
    assert evenness.n == 3


def test_evenness_spread_is_that_of_one_left_against_one_right():
    prints = list(walk_evenly(stride_time=1.0, duty=0.6, prints_per_limb=2))
    for limb in ("left_hind", "right_hind"):
        for sign, i in zip((-1, 1), [i for i, one in enumerate(prints) if one.limb == limb], strict=True):
            prints[i] = replace(prints[i], lift_off=prints[i].lift_off + sign * 0.03)
    evenness = steps_of(prints)["evenness_stance_hind"]
    # stances of 0.57 and 0.63 s on both sides: standard deviation 0.03 √2
    assert evenness.spread == pytest.approx(math.sqrt(2) * 0.03 * math.sqrt(2) / 0.6)


def test_a_missed_print_is_no_long_step():
    prints = walk_evenly(prints_per_limb=4)
    hidden = {
        [i for i, one in enumerate(prints) if one.limb == limb][k]
        for limb, k in (("left_hind", 2), ("right_hind", 1))
    }
    steps = steps_of([one for i, one in enumerate(prints) if i not in hidden])
    assert steps["step_length_hind"].value == pytest.approx(0.7)
    assert steps["step_length_hind"].n == 4


def test_track_width_needs_floor_points():
    for kind in ("length", "none"):
        steps = steps_of(walk_evenly(), kind)
        assert steps["track_width_fore"].reason == "distance across the walk is only known with floor points"
        assert steps["step_length_fore"]


def test_crossing_feet_have_negative_track_width():
    assert steps_of(walk_evenly(track_width=-0.1))["track_width_hind"].value == pytest.approx(-0.1)


def test_one_side_only():
    steps = steps_of([one for one in walk_evenly() if one.limb.startswith("left")])
    assert "opposite feet" in steps["step_length_fore"].reason
    assert steps["evenness_step_length_fore"].reason == "it was not measured on both sides"


def test_without_lengths_only_times_are_even():
    trackway = lay_trackway(walk_evenly(prints_per_limb=1), flat_ground("none"), direction="left_to_right")
    steps = measure_steps(trackway)
    assert not steps["step_length_fore"]
    assert steps["evenness_stance_hind"].value == pytest.approx(0.0)
