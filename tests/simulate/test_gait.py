"""The simulated walk: exact prints, unbroken paths, the footfall arithmetic of the field."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stride.simulate.gait import (
    GaitPlan,
    draw_plan,
    stand_animal,
    true_overreaches,
    true_strides,
    walk_animal,
)
from stride.simulate.plan import MAX_ANSWER_GAP
from stride.walk.limbs import LIMBS, SIDES, pair_of, side_of
from stride.walk.marks import Direction

DIRECTIONS: tuple[Direction, ...] = ("left_to_right", "right_to_left")


def feet_down(walk, t):
    down = np.zeros(len(t), dtype=int)
    for one in walk.prints:
        down += (t >= one.touch_down) & (t < one.lift_off)
    return down


def one_cycle(walk):
    """Times filling exactly one stride, in the middle of the walk."""
    times = [one.touch_down for one in walk.prints if one.limb == "left_hind"]
    start = times[len(times) // 2 - 1]
    return np.linspace(start, start + walk.plan.stride_time, 4000, endpoint=False)


@pytest.mark.parametrize("direction", DIRECTIONS)
@pytest.mark.parametrize("seed", range(12))
def test_without_scatter_every_overreach_is_the_plan(seed, direction):
    rng = np.random.default_rng(seed)
    plan = replace(draw_plan(rng, overreach=(-0.13, 0.05)), scatter_along=0.0, scatter_across=0.0)
    walk = walk_animal(plan, rng, span=6.0, direction=direction)
    found = true_overreaches(walk)
    assert {one.side for one in found} == set(SIDES)
    for one in found:
        assert one.value == pytest.approx(plan.overreach(one.side), abs=1e-9)
        gap = walk.prints[one.hind_print].touch_down - walk.prints[one.fore_print].lift_off
        assert abs(gap) <= 1.05 * MAX_ANSWER_GAP


def test_left_and_right_are_the_animals_own():
    rng = np.random.default_rng(5)
    plan = replace(draw_plan(rng, overreach=(-0.2, 0.1)), scatter_along=0.0, heading=0.0)
    for direction in DIRECTIONS:
        walk = walk_animal(plan, rng, span=5.0, direction=direction)
        for one in walk.prints:
            nearer = one.xy[1] < walk.origin[1]
            assert nearer == (side_of(one.limb) == walk.near_side)
        for one in true_overreaches(walk):
            assert one.value == pytest.approx(-0.2 if one.side == "left" else 0.1, abs=1e-9)


def test_scatter_has_the_planned_size():
    plan = GaitPlan(scatter_along=0.02, scatter_across=0.01)
    walk = walk_animal(plan, np.random.default_rng(1), prints_per_limb=120)
    values = [one.value for one in true_overreaches(walk)]
    assert np.std(values) == pytest.approx(0.02, rel=0.15)
    assert np.mean(values) == pytest.approx(0.0, abs=0.005)
    lengths = [one.length for one in true_strides(walk) if pair_of(one.limb) == "fore"]
    assert np.std(lengths) == pytest.approx(0.02 * np.sqrt(2), rel=0.15)
    assert np.mean(lengths) == pytest.approx(plan.stride_length, rel=0.002)


@pytest.mark.parametrize("seed", range(6))
def test_hooves_stand_exactly_on_their_prints(seed):
    rng = np.random.default_rng(seed)
    walk = walk_animal(draw_plan(rng), rng, span=5.0)
    for one in walk.prints:
        stance = np.linspace(one.touch_down, one.lift_off, 50)
        place = walk.hoof_at(one.limb, stance)
        assert np.abs(place[:, :2] - one.xy).max() < 1e-12
        assert np.abs(place[:, 2]).max() == 0.0


@pytest.mark.parametrize("seed", range(6))
def test_paths_are_unbroken_and_go_forward(seed):
    rng = np.random.default_rng(100 + seed)
    walk = walk_animal(draw_plan(rng), rng, span=6.0, direction=DIRECTIONS[seed % 2])
    t = np.arange(0.0, walk.duration, 0.001)
    for limb in LIMBS:
        step = np.diff(walk.hoof_at(limb, t), axis=0)
        assert np.linalg.norm(step, axis=1).max() < 0.011
        assert (step[:, :2] @ walk.heading).min() > -1e-9
        assert walk.hoof_at(limb, t)[:, 2].min() >= 0.0
        assert np.abs(np.diff(walk.pitch_at(limb, t))).max() < 0.03
    assert np.abs(np.diff(walk.body_at(t), axis=0)).max() < 0.003


def test_touch_down_is_a_corner_and_lift_off_is_not():
    plan = GaitPlan()
    walk = walk_animal(plan, np.random.default_rng(3), prints_per_limb=4)
    one = [p for p in walk.prints if p.limb == "left_fore"][1]
    before = (one.xy - walk.hoof_at("left_fore", [one.touch_down - 1e-4])[0, :2]) @ walk.heading / 1e-4
    assert before == pytest.approx(plan.swing_fore.landing_speed, abs=0.02)
    fall = walk.hoof_at("left_fore", [one.touch_down - 1e-4])[0, 2] / 1e-4
    assert fall == pytest.approx(plan.swing_fore.landing_fall, abs=0.02)
    after = walk.hoof_at("left_fore", [one.lift_off + 1e-3])[0, :2]
    assert np.linalg.norm(after - one.xy) / 1e-3 < 0.05
    assert walk.pitch_at("left_fore", [one.lift_off])[0] == pytest.approx(plan.swing_fore.pitch_lift_off)


def test_mean_feet_down_is_the_sum_of_duty_factors():
    for seed in range(8):
        rng = np.random.default_rng(seed)
        plan = replace(draw_plan(rng), speed_change=0.0)
        walk = walk_animal(plan, rng, prints_per_limb=6)
        mean = feet_down(walk, one_cycle(walk)).mean()
        assert mean == pytest.approx(2 * plan.duty_fore + 2 * plan.duty_hind, abs=0.005)


def test_quarter_phase_and_three_quarter_duty_keep_three_feet_down():
    plan = GaitPlan(duty_fore=0.75, duty_hind=0.75, phases=(0.25, 0.75, 0.0, 0.5))
    walk = walk_animal(plan, np.random.default_rng(0), prints_per_limb=6)
    assert set(feet_down(walk, one_cycle(walk) + 1e-6)) == {3}


def test_triple_support_of_a_walk_follows_from_duty_alone():
    """Share of the stride on three feet is 4·duty − 2 for an even lateral walk with duty below 0.75."""
    plan = GaitPlan(duty_fore=0.64, duty_hind=0.64, phases=(0.22, 0.72, 0.0, 0.5))
    walk = walk_animal(plan, np.random.default_rng(0), prints_per_limb=6)
    assert np.mean(feet_down(walk, one_cycle(walk)) == 3) == pytest.approx(4 * 0.64 - 2, abs=0.003)


def test_a_trot_has_its_diagonals_together():
    rng = np.random.default_rng(2)
    walk = walk_animal(draw_plan(rng, gait="trot"), rng, prints_per_limb=5)
    assert feet_down(walk, one_cycle(walk)).max() <= 2


def test_speed_change_is_spread_over_the_walk():
    plan = GaitPlan(speed_change=0.2, scatter_along=0.0)
    walk = walk_animal(plan, np.random.default_rng(0), prints_per_limb=8)
    own = [one for one in true_strides(walk) if one.limb == "left_fore"]
    speed = [one.length / one.time for one in own]
    assert np.all(np.diff(speed) > 0)
    assert 1.1 < speed[-1] / speed[0] < 1.25


def test_a_halting_animal_stops_and_a_standing_one_never_moves():
    walk = walk_animal(GaitPlan(halts=True), np.random.default_rng(0), prints_per_limb=4)
    last = np.linspace(walk.duration - 0.5, walk.duration, 20)
    for limb in LIMBS:
        assert np.ptp(walk.hoof_at(limb, last), axis=0).max() == 0.0
    assert np.ptp(walk.body_at(last)[:, 0]) < 0.05
    standing = stand_animal(GaitPlan(), x=1.0, duration=3.0)
    assert true_strides(standing) == () and true_overreaches(standing) == ()
    assert np.ptp(standing.body_at(np.linspace(0, 3, 9)), axis=0).max() == 0.0
    assert standing.pitch_at("left_fore", [0.0, 3.0]).tolist() == [0.0, 0.0]


def test_the_same_seed_walks_the_same_walk():
    one, two = (walk_animal(draw_plan(rng), rng, span=4.0) for rng in map(np.random.default_rng, (7, 7)))
    assert one == two


def test_misuse_says_how_to_call():
    with pytest.raises(ValueError, match="give one of"):
        walk_animal(GaitPlan(), np.random.default_rng(0))
    with pytest.raises(ValueError, match="stand_animal"):
        walk_animal(GaitPlan(), np.random.default_rng(0), prints_per_limb=1)
    with pytest.raises(ValueError, match="duty factors"):
        GaitPlan(duty_fore=1.2)
