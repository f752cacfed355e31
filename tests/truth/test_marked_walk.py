"""One small rendered clip, marked as a careful user would and measured by the whole chain, against its truth.

The picture is 640 × 360 px at 30 frames a second, so a pixel is a centimetre. What is held to a figure is the side
that faces the camera; the far feet are behind the near ones for part of every stance.
"""

from __future__ import annotations

import numpy as np
import pytest

from stride.walk.limbs import side_of
from stride.walk.prints import find_prints

from .rendered import find_true_print


@pytest.fixture(scope="module")
def walked(filmed_walk, measured_walk):
    """The analysis, the truth, and the true print that each measured one is."""
    analysis, truth = measured_walk.analysis, filmed_walk.truth
    return analysis, truth, [find_true_print(one, truth) for one in analysis.prints]


@pytest.fixture(scope="module")
def near_pairs(walked):
    analysis, truth, own = walked
    near = [
        (one, k) for one, k in zip(analysis.prints, own, strict=True) if side_of(one.limb) == truth.near_side
    ]
    assert None not in [k for _, k in near]
    return [(one, truth.prints[k]) for one, k in near]


def test_every_near_print_in_view_is_found_once(walked, near_pairs):
    _, truth, _ = walked
    in_view = [
        one
        for one in truth.prints
        if side_of(one.limb) == truth.near_side and one.frames is not None and one.visible_frames > 8
    ]
    found = [true for _, true in near_pairs]
    assert len(in_view) >= 4
    assert all(found.count(one) == 1 for one in in_view)
    assert len(found) == len({(one.limb, one.touch_down) for one in found})


def test_prints_lie_within_a_centimetre_along_the_walk(near_pairs):
    """Across it a camera beside the aisle tells less, and the doubt says so."""
    for one, true in near_pairs:
        along, across = one.xy - true.xy
        assert abs(along) < 0.010
        assert abs(across) < 0.030


def test_overreaches_are_right_to_a_centimetre(walked):
    analysis, truth, own = walked
    true = {(one.fore_print, one.hind_print): one.value for one in truth.overreaches}
    assert analysis.overreaches
    for one in analysis.overreaches:
        value = true[own[one.fore_print], own[one.hind_print]]
        assert one.value.value == pytest.approx(value, abs=0.010)
        assert abs(one.value.value - value) < 3 * one.value.total


def test_near_strides_are_right_to_a_hundredth_and_a_half(walked):
    analysis, truth, own = walked
    true = {(one.start, one.end): one.length for one in truth.strides}
    near = [one for one in analysis.strides if side_of(one.limb) == truth.near_side]
    assert near
    for one in near:
        assert one.length.value == pytest.approx(true[own[one.start], own[one.end]], rel=0.015)


def test_touch_downs_are_right_to_a_frame_or_so(near_pairs):
    """A frame is 33 ms. Where another leg hid the landing the time is only bounded, and its doubt is above 30 ms."""
    told = [
        (one.touch_down - true.touch_down, one.touch_down_error)
        for one, true in near_pairs
        if one.touch_down is not None
    ]
    assert min(error for _, error in told) < 0.030
    for miss, error in told:
        assert abs(miss) < (0.040 if error < 0.030 else 3 * error)


def test_sides_and_direction_are_the_animals_own(walked):
    analysis, truth, _ = walked
    assert (analysis.direction, analysis.near_side) == (truth.direction, truth.near_side)
    assert np.dot(analysis.heading, truth.heading) > np.cos(0.03)


def test_the_prints_come_from_the_tracks_alone(walked):
    """Found again from what is kept in the analysis, they are the very same."""
    analysis, _, _ = walked
    again = find_prints(analysis.tracks, analysis.camera, analysis.ground)
    assert len(again) == len(analysis.prints)
    for one, other in zip(analysis.prints, again, strict=True):
        assert (one.limb, one.touch_down, one.lift_off) == (other.limb, other.touch_down, other.lift_off)
        assert one.xy == pytest.approx(other.xy)
