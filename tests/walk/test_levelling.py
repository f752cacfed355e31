from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from stride.numeric.agreement import measure_coverage
from stride.simulate.gait import GaitPlan, draw_plan, true_overreaches, walk_animal
from stride.walk.camera import still_camera
from stride.walk.ground import fit_ground
from stride.walk.levelling import level_ground
from stride.walk.limbs import LIMBS, side_of
from stride.walk.marks import KnownLength, Marks
from stride.walk.prints import Print
from stride.walk.settings import Settings

from ..hoof_paths import SIZE_PX, see_from, true_ground

EVEN = GaitPlan(scatter_along=0.0, scatter_across=0.0, heading=0.0, speed_change=0.0)
CAMERAS = {
    "low and far": {"distance": 6.0, "height": 0.6},
    "high and near": {"distance": 4.0, "height": 1.7},
    "turned to the walk": {"yaw": 0.10},
    "turned back and leaning": {"distance": 4.0, "height": 0.8, "yaw": -0.08, "roll": 0.02},
}


def walk_past(plan, seed=0, direction="left_to_right"):
    start_x = -2.4 if direction == "left_to_right" else 2.4
    rng = np.random.default_rng([71, seed])
    return walk_animal(plan, rng, prints_per_limb=4, start_x=start_x, direction=direction)


def know_length(view, rng=None):
    """A floor known by 2 m along the walk, in the middle of the picture."""
    ends = view.to_px(np.array([[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0]]))
    ends = ends if rng is None else ends + rng.standard_normal((2, 2))
    length = KnownLength(frame=0, from_px=tuple(ends[0]), to_px=tuple(ends[1]), length=2.0)
    return fit_ground(Marks(lengths=(length,)), still_camera(1), SIZE_PX, Settings())


def lay_prints(walk, view, ground, *, noise_px=0.0, rng=None):
    """The true prints where the camera shows them, on the floor as it is known."""
    prints = []
    for one in walk.prints:
        spot = view.to_px(np.array([[*one.xy, 0.0]]))
        if noise_px:
            spot = spot + noise_px * rng.standard_normal((1, 2))
        by_point = ground.jacobian_by_point(spot)[0]
        prints.append(
            Print(
                limb=one.limb,
                xy=ground.to_floor(spot)[0],
                cov=noise_px**2 * by_point @ by_point.T,
                limb_cov=0.25 * by_point @ by_point.T,
                ground_jacobian=ground.jacobian_by_parameters(spot)[0],
                xy_px=spot[0],
                touch_down=one.touch_down,
                touch_down_error=0.01,
                lift_off=one.lift_off,
                lift_off_error=0.01,
                frames=(0, 0),
                source="marked",
                seen_from=one.touch_down,
                seen_to=one.lift_off,
            )
        )
    return tuple(prints)


def stride_pairs(prints):
    """Consecutive prints of each limb, as indices."""
    for limb in LIMBS:
        yield from pairwise([k for k, one in enumerate(prints) if one.limb == limb])


def stride_errors(walk, prints):
    """Measured less true stride length, along the picture (m)."""
    return np.array(
        [
            (prints[b].xy - prints[a].xy)[0] - np.subtract(walk.prints[b].xy, walk.prints[a].xy)[0]
            for a, b in stride_pairs(walk.prints)
        ]
    )


def spread_of(errors):
    return float(np.sqrt(np.mean(np.square(errors))))


@pytest.mark.parametrize("direction", ["left_to_right", "right_to_left"])
@pytest.mark.parametrize("camera", CAMERAS.values(), ids=CAMERAS)
def test_equal_strides_set_the_floor_right(camera, direction):
    """What a single length leaves wrong in the tilt and slant of the floor, an even walk puts right."""
    view, walk = see_from(**camera), walk_past(EVEN, direction=direction)
    ground = know_length(view)
    prints = lay_prints(walk, view, ground)
    levelled, moved = level_ground(ground, prints)
    before, after = (spread_of(stride_errors(walk, one)) for one in (prints, moved))
    assert before > 0.02
    assert after < 0.5 * before
    assert after < 0.015
    ends = view.to_px(np.array([[-0.7, 0.15, 0.0], [0.7, 0.15, 0.0]]))
    assert np.diff(levelled.to_floor(ends)[:, 0])[0] == pytest.approx(1.4, abs=0.03)


@pytest.mark.parametrize("camera", CAMERAS.values(), ids=CAMERAS)
def test_prints_lie_where_the_levelled_floor_has_them(camera):
    view, walk = see_from(**camera), walk_past(EVEN)
    ground = know_length(view)
    levelled, moved = level_ground(
        ground, lay_prints(walk, view, ground, noise_px=0.5, rng=np.random.default_rng(1))
    )
    again = lay_prints(walk, view, levelled)
    for one, other in zip(moved, again, strict=True):
        spot = one.xy_px[None]
        assert one.xy == pytest.approx(levelled.to_floor(spot)[0])
        assert one.ground_jacobian == pytest.approx(levelled.jacobian_by_parameters(spot)[0])
        by_point = levelled.jacobian_by_point(spot)[0]
        assert one.cov == pytest.approx(0.25 * by_point @ by_point.T)
        assert one.limb_cov == pytest.approx(0.25 * by_point @ by_point.T)
        assert (one.limb, one.touch_down) == (other.limb, other.touch_down)


def test_the_scale_stays_and_the_rest_is_known_better():
    view = see_from(distance=4.0, height=0.8, yaw=0.06)
    ground = know_length(view)
    levelled, _ = level_ground(ground, lay_prints(walk_past(EVEN), view, ground))
    ends = view.to_px(np.array([[-0.05, 0.0, 0.0], [0.05, 0.0, 0.0]]))
    length = [float(np.diff(one.to_floor(ends)[:, 0])[0]) for one in (ground, levelled)]
    assert length[1] == pytest.approx(length[0], rel=2e-3)
    assert levelled.scale_error == ground.scale_error
    assert np.diag(levelled.covariance)[1:] == pytest.approx(np.diag(ground.covariance)[1:] * 0.2, rel=0.9)
    assert np.linalg.eigvalsh(levelled.covariance).min() >= -1e-12


def test_intervals_after_levelling_hold_the_truth():
    """Of a near stride and an overreach of each of many animals, which scatter their prints as animals do."""
    strides, overreaches, gain = [], [], []
    for seed in range(80):
        rng = np.random.default_rng([72, seed])
        view = see_from(
            rng.uniform(3.6, 6.2),
            rng.uniform(0.6, 1.6),
            yaw=rng.uniform(-0.1, 0.1),
            roll=rng.normal(0, 0.012),
        )
        walk = walk_past(draw_plan(rng), seed)
        ground = know_length(view, rng)
        prints = lay_prints(walk, view, ground, noise_px=0.5, rng=rng)
        levelled, moved = level_ground(ground, prints)
        gain.append([spread_of(stride_errors(walk, one)) for one in (prints, moved)])
        a, b = next((a, b) for a, b in stride_pairs(walk.prints) if walk.prints[a].limb == "right_fore")
        joined = true_overreaches(walk)[0]
        for rows, start, end in ((strides, a, b), (overreaches, joined.fore_print, joined.hind_print)):
            slope = (moved[end].ground_jacobian - moved[start].ground_jacobian)[0]
            variance = slope @ levelled.covariance @ slope + moved[end].cov[0, 0] + moved[start].cov[0, 0]
            true = np.subtract(walk.prints[end].xy, walk.prints[start].xy)[0]
            rows.append(((moved[end].xy - moved[start].xy)[0], true, np.sqrt(variance)))
    for rows in (strides, overreaches):
        assert measure_coverage(*np.transpose(rows)).interval[1] > 0.95
    before, after = np.median(gain, axis=0)
    assert after < 0.6 * before


def test_a_missed_print_is_not_taken_for_a_long_stride():
    view, walk = see_from(**CAMERAS["low and far"]), walk_past(EVEN)
    ground = know_length(view)
    prints = lay_prints(walk, view, ground)
    second = [k for k, one in enumerate(prints) if one.limb == "left_hind"][1]
    fewer = tuple(one for k, one in enumerate(prints) if k != second)
    levelled, _ = level_ground(ground, fewer)
    moved = lay_prints(walk, view, levelled)
    assert spread_of(stride_errors(walk, moved)) < spread_of(stride_errors(walk, prints))


def test_a_measured_plane_is_left_alone():
    view, walk = see_from(yaw=0.05), walk_past(EVEN)
    ground = true_ground(view)
    prints = lay_prints(walk, view, ground)
    assert level_ground(ground, prints) == (ground, prints)


def test_with_strides_of_one_side_only_nothing_is_compared():
    view, walk = see_from(yaw=0.05), walk_past(EVEN)
    ground = know_length(view)
    prints = tuple(one for one in lay_prints(walk, view, ground) if side_of(one.limb) == "right")
    for some in (prints, prints[:1], ()):
        levelled, kept = level_ground(ground, some)
        assert levelled is ground
        assert kept == some


def test_a_floor_without_scale_is_levelled_alike():
    view, walk = see_from(**CAMERAS["turned back and leaning"]), walk_past(EVEN)
    ground = fit_ground(Marks(), still_camera(1), SIZE_PX, Settings())
    prints = lay_prints(walk, view, ground)
    _, moved = level_ground(ground, prints)

    def unevenness(some):
        lengths = [abs((some[b].xy - some[a].xy)[0]) for a, b in stride_pairs(some)]
        return np.std(lengths) / np.mean(lengths)

    assert unevenness(prints) > 0.015
    assert unevenness(moved) < 0.4 * unevenness(prints)
    assert level_ground(replace(ground, kind="plane"), prints)[1] == prints
