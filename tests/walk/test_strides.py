from __future__ import annotations

import math
from dataclasses import replace

import pytest

from stride.walk.limbs import limb_at, side_of
from stride.walk.strides import measure_overreaches, measure_strides, pair_answered
from stride.walk.trackway import lay_trackway

from ..footfalls import flat_ground, make_print, walk_evenly


def limbs_and_times(prints, pairs):
    return [(prints[i].limb, prints[i].lift_off, prints[j].limb, prints[j].touch_down) for i, j in pairs]


def test_each_hind_print_answers_the_fore_print_just_left():
    prints = walk_evenly(prints_per_limb=4)
    pairs = pair_answered(prints)
    # the first hind print of each side has no fore print before it
    assert len(pairs) == 6
    for i, j in pairs:
        assert prints[i].limb == limb_at(side_of(prints[j].limb), "fore")
        gap = prints[j].touch_down - prints[i].lift_off
        assert gap == pytest.approx((1 - 0.25 - 0.66) * 1.25)


@pytest.mark.parametrize(
    ("gap", "answered"), [(-0.59, True), (0.0, True), (0.59, True), (0.63, False), (-0.63, False)]
)
def test_never_more_than_half_a_stride_away(gap, answered):
    prints = (
        make_print("left_fore", (1.0, 0.0), 0.0, 0.8),
        make_print("left_fore", (2.4, 0.0), 1.2, 2.0),
        make_print("left_hind", (2.3, 0.0), 2.0 + gap, 2.8 + gap),
    )
    # a stride of that side takes 1.2 s
    assert pair_answered(prints) == (
        ((1, 2),) if answered and gap > -0.6 else ((0, 2),) if gap < -0.6 else ()
    )


def test_the_nearest_lift_off_wins_and_the_later_of_two_equal_ones():
    first, second = make_print("left_fore", (0, 0), 0.0, 0.75), make_print("left_fore", (1.4, 0), 1.0, 1.75)
    for touch_down, expected in ((1.2, 0), (1.3, 1), (1.25, 1)):
        hind = make_print("left_hind", (1.4, 0), touch_down, touch_down + 0.75)
        assert pair_answered((first, second, hind)) == ((expected, 2),)


def test_one_fore_print_is_answered_once():
    # the fore print between two hind prints half a stride on either side of its lift-off
    fore = make_print("right_fore", (1.4, 0), 0.4, 1.2)
    hinds = [make_print("right_hind", (1.3 + x, 0), t, t + 0.8) for x, t in ((0.0, 0.65), (1.4, 1.9))]
    assert pair_answered((fore, *hinds)) == ((0, 1),)


def test_sides_never_mix():
    prints = (
        make_print("left_fore", (1.4, 0), 0.0, 0.8),
        make_print("right_hind", (1.4, 0), 0.82, 1.6),
    )
    assert pair_answered(prints) == ()


def unseen(prints, limb, which, field):
    own = [i for i, one in enumerate(prints) if one.limb == limb]
    at = own[which]
    return tuple(
        replace(one, **{field: None, f"{field}_error": None}) if i == at else one
        for i, one in enumerate(prints)
    )


def test_a_fore_print_still_standing_when_the_clip_ends_is_answered():
    prints = walk_evenly(prints_per_limb=4)
    assert pair_answered(unseen(prints, "left_fore", 2, "lift_off")) == pair_answered(prints)


def test_a_hind_print_standing_when_the_clip_starts_answers():
    prints = [one for one in walk_evenly(prints_per_limb=4) if one.touch_down >= 3.2]
    without = unseen(prints, "left_hind", 0, "touch_down")
    assert pair_answered(without) == pair_answered(prints)


def test_one_stance_stands_in_for_a_stride():
    fore = make_print("left_fore", (1.4, 0), 0.0, 0.8)
    near, far = (make_print("left_hind", (1.3, 0), t, None) for t in (1.3, 1.5))
    # a stance of 0.8 s belongs to a stride of about 1.21 s
    assert pair_answered((fore, near)) == ((0, 1),)
    assert pair_answered((fore, far)) == ()


def test_prints_without_any_usual_time_are_not_paired():
    fore, hind = make_print("left_fore", (1.4, 0), None, 0.8), make_print("left_hind", (1.3, 0), 0.85, None)
    assert pair_answered((fore, hind)) == ()


def test_a_hidden_fore_print_leaves_its_hind_print_unanswered():
    prints = walk_evenly(prints_per_limb=4)
    hidden = [i for i, one in enumerate(prints) if one.limb == "left_fore"][1]
    kept = prints[:hidden] + prints[hidden + 1 :]
    full, fewer = (limbs_and_times(p, pair_answered(p)) for p in (prints, kept))
    assert set(full) - set(fewer) == {one for one in full if one[1] == prints[hidden].lift_off}
    assert set(fewer) < set(full)


@pytest.mark.parametrize("direction", ["left_to_right", "right_to_left"])
def test_overreach_is_signed_along_the_walk(direction):
    prints = walk_evenly(overreach={"left": -0.081, "right": 0.03}, direction=direction)
    overreaches = measure_overreaches(lay_trackway(prints, flat_ground()))
    assert [one.hind_print for one in overreaches] == sorted(one.hind_print for one in overreaches)
    for one in overreaches:
        assert one.value.value == pytest.approx(-0.081 if one.side == "left" else 0.03)
        assert one.value.unit == "m" and one.value.n == 1 and one.value.spread is None


def test_overreach_without_scale_is_a_share_of_the_stride():
    prints = walk_evenly(stride_length=700.0, overreach=-35.0)
    overreaches = measure_overreaches(lay_trackway(prints, flat_ground("none")))
    assert [one.value.value for one in overreaches] == pytest.approx([-0.05] * 6)
    assert {one.value.unit for one in overreaches} == {"stride"}


def test_overreach_without_scale_or_stride_is_absent():
    prints = [make_print("left_fore", (1.0, 0), 0.0, 0.8), make_print("left_hind", (1.0, 0), 0.9, 1.7)]
    trackway = lay_trackway(prints, flat_ground("none"), direction="left_to_right")
    assert measure_overreaches(trackway) == ()
    assert len(measure_overreaches(lay_trackway(prints, flat_ground(), direction="left_to_right"))) == 1


def test_overreach_error_is_that_of_its_two_prints_and_two_limbs():
    prints = walk_evenly(error=(0.005, 0.0), limb_error=(0.003, 0.0))
    (one, *_) = measure_overreaches(lay_trackway(prints, flat_ground()))
    assert one.value.random == pytest.approx(0.005 * math.sqrt(2))
    assert one.value.common == pytest.approx(0.003 * math.sqrt(2))


def test_stride_numbers():
    prints = walk_evenly(1.4, 1.25, duty=0.64, prints_per_limb=2, event_error=0.01, error=(0.003, 0.0))
    strides = measure_strides(lay_trackway(prints, flat_ground()))
    assert [one.limb for one in strides] == ["left_hind", "left_fore", "right_hind", "right_fore"]
    for one in strides:
        assert one.length.value == pytest.approx(1.4)
        assert one.length.random == pytest.approx(0.003 * math.sqrt(2))
        assert one.time.value == pytest.approx(1.25)
        assert one.time.random == pytest.approx(0.01 * math.sqrt(2))
        assert one.speed.value == pytest.approx(1.12)
        assert one.speed.unit == "m/s"
        assert one.stance_time.value == pytest.approx(0.8)
        assert one.swing_time.value == pytest.approx(0.45)
        assert one.duty_factor.value == pytest.approx(0.64)
        # stance and stride share the touch-down, which the errors must count once
        expected = 0.01 / 1.25 * math.sqrt(1 + 0.64**2 + (1 - 0.64) ** 2)
        assert one.duty_factor.random == pytest.approx(expected)


def test_stride_numbers_that_need_an_unseen_event_are_none():
    prints = walk_evenly(prints_per_limb=2)
    no_start = measure_strides(lay_trackway(unseen(prints, "left_hind", 0, "touch_down"), flat_ground()))[0]
    assert no_start.limb == "left_hind"
    assert no_start.time is no_start.speed is no_start.stance_time is no_start.duty_factor is None
    assert no_start.length.value == pytest.approx(1.4) and no_start.swing_time is not None
    no_leaving = measure_strides(lay_trackway(unseen(prints, "left_hind", 0, "lift_off"), flat_ground()))[0]
    assert no_leaving.stance_time is no_leaving.swing_time is no_leaving.duty_factor is None
    assert no_leaving.time is not None and no_leaving.speed is not None
