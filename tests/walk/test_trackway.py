from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from stride.errors import RefusedError
from stride.walk.limbs import LIMBS
from stride.walk.marks import Animal
from stride.walk.trackway import estimate_heading, lay_trackway

from ..footfalls import flat_ground, make_print, walk_evenly


def turned(prints, angle):
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    return tuple(replace(one, xy=turn @ one.xy, cov=turn @ one.cov @ turn.T) for one in prints)


@pytest.mark.parametrize("angle", [0.0, 0.1, -1.2, 2.9, math.pi])
def test_heading_is_the_line_of_walk(angle):
    prints = turned(walk_evenly(error=(0.004, 0.01)), angle)
    assert estimate_heading(prints) == pytest.approx((math.cos(angle), math.sin(angle)), abs=1e-9)


def test_heading_points_where_the_animal_goes():
    assert estimate_heading(walk_evenly(direction="right_to_left"))[0] == pytest.approx(-1.0)


def test_heading_from_two_prints_of_one_foot():
    prints = (make_print("left_hind", (1.0, 0.0), 0.0, 0.8), make_print("left_hind", (2.0, 1.0), 1.2, 2.0))
    assert estimate_heading(prints) == pytest.approx((math.sqrt(0.5), math.sqrt(0.5)))


def test_heading_is_not_pulled_by_the_track_width():
    # only the left foot early and only the right foot late: a line through all prints would run slantwise
    every = walk_evenly(track_width=0.6, prints_per_limb=6)
    early, late = every[:12], every[12:]
    kept = [one for one in early if one.limb.startswith("left")] + [
        one for one in late if one.limb.startswith("right")
    ]
    assert estimate_heading(kept)[1] == pytest.approx(0.0, abs=1e-12)


def test_one_print_a_foot_needs_a_direction():
    prints = walk_evenly(prints_per_limb=1)
    with pytest.raises(RefusedError, match=r"two places.*longer stretch"):
        estimate_heading(prints)
    assert estimate_heading(prints, "left_to_right") == (1.0, 0.0)
    assert lay_trackway(prints, flat_ground(), direction="right_to_left").heading[0] == -1.0


def test_across_is_to_the_animals_left():
    for direction in ("left_to_right", "right_to_left"):
        trackway = lay_trackway(walk_evenly(direction=direction, track_width=0.4), flat_ground())
        for one, across in zip(trackway.prints, trackway.across, strict=True):
            assert across.value == pytest.approx(0.2 if one.limb.startswith("left") else -0.2)


def test_prints_off_the_line_raise_the_error_of_the_heading():
    steady = walk_evenly(error=(0.001, 0.001))
    rng = np.random.default_rng(5)
    wavering = tuple(
        replace(one, xy=one.xy + np.array([0.0, 0.05 * rng.standard_normal()])) for one in steady
    )
    errors = []
    for prints in (steady, wavering):
        trackway = lay_trackway(prints, flat_ground())
        step = trackway.of_limb["left_hind"][0], trackway.of_limb["right_hind"][0]
        errors.append(trackway.errors.standard_errors(trackway.length(*step))[1])
    assert errors[0] < 1e-9
    assert errors[1] > 0.001


def test_a_missed_print_is_no_long_stride():
    prints = walk_evenly(prints_per_limb=4)
    missed = [i for i, one in enumerate(prints) if one.limb == "right_fore"][1]
    trackway = lay_trackway(prints[:missed] + prints[missed + 1 :], flat_ground())
    lengths = [trackway.length(*pair).value for pair in trackway.pairs]
    assert len(lengths) == 12 - 2
    assert lengths == pytest.approx([1.4] * len(lengths))


def test_a_missed_print_shows_by_length_where_times_are_not_seen():
    prints = [make_print("left_hind", (x, 0.0), 5 + x, None) for x in (0.0, 1.4, 2.8)]
    prints += [
        replace(make_print("left_hind", (5.6, 0.0), 11.0, None), touch_down=None, touch_down_error=None)
    ]
    assert lay_trackway(prints, flat_ground()).pairs == ((0, 1), (1, 2))


def test_pairs_run_in_time_whatever_the_order_given():
    prints = walk_evenly()
    shuffled = [prints[i] for i in np.random.default_rng(1).permutation(len(prints))]
    trackway = lay_trackway(shuffled, flat_ground())
    assert all(shuffled[i].touch_down < shuffled[j].touch_down for i, j in trackway.pairs)
    assert len(trackway.pairs) == 12
    assert set(trackway.of_limb) == set(LIMBS)


def test_the_error_of_a_limb_cancels_in_its_strides_and_stays_in_overreach():
    trackway = lay_trackway(walk_evenly(limb_error=(0.004, 0.0)), flat_ground())
    stride = trackway.pairs[0]
    assert trackway.errors.standard_errors(trackway.length(*stride)) == pytest.approx((0.0, 0.0), abs=1e-9)
    fore, hind = trackway.of_limb["left_fore"][0], trackway.of_limb["left_hind"][1]
    assert trackway.errors.standard_errors(trackway.length(fore, hind))[1] == pytest.approx(
        0.004 * math.sqrt(2)
    )


def test_the_error_of_the_ground_is_common():
    trackway = lay_trackway(walk_evenly(), flat_ground(scale_error=0.01))
    random, common = trackway.errors.standard_errors(trackway.length(*trackway.pairs[0]))
    assert random == 0.0
    assert common == pytest.approx(0.014, rel=1e-6)


def test_without_scale_lengths_are_in_mean_strides_and_the_scale_error_is_gone():
    trackway = lay_trackway(walk_evenly(stride_length=523.0), flat_ground("none", scale_error=0.1))
    lengths = [trackway.length(*pair) for pair in trackway.pairs]
    assert [one.value for one in lengths] == pytest.approx([1.0] * 12)
    assert trackway.errors.standard_errors(lengths[0])[1] == pytest.approx(0.0, abs=1e-9)
    assert trackway.has_lengths and not trackway.spans_floor


def test_without_scale_and_strides_there_are_no_lengths():
    trackway = lay_trackway(walk_evenly(prints_per_limb=1), flat_ground("none"), direction="left_to_right")
    assert not trackway.has_lengths


def test_hip_height_comes_from_the_animal():
    trackway = lay_trackway(walk_evenly(), flat_ground(), animal=Animal(hip_height=1.32))
    assert trackway.hip_height.value == 1.32
    assert trackway.errors.standard_errors(trackway.hip_height) == (0.0, 0.02)
    assert lay_trackway(walk_evenly(), flat_ground()).hip_height is None
