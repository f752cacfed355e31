from __future__ import annotations

import numpy as np
import pytest

from stride.numeric.runs import find_steady_runs
from stride.simulate.gait import draw_plan, walk_animal

from ..hoof_paths import frame_times, see_from, track_walk

AHEAD = np.array([1.0, 0.0])


def find_in(t, xy, noise):
    """Runs of a path whose mean speed and way are taken from its ends, as a walk's are."""
    travel = xy[-1] - xy[0]
    way = float(np.hypot(*travel))
    speed, ahead = way / (t[-1] - t[0]), travel / way
    return find_steady_runs(t, xy, np.full(len(t), noise**2), speed=speed, ahead=ahead)


def stances_in(walk, limb, t):
    """True prints of a limb of which the film shows a part to speak of."""
    own = [one for one in walk.prints if one.limb == limb]
    return [one for one in own if min(one.lift_off, t[-1]) - max(one.touch_down, t[0]) > 0.06]


@pytest.mark.parametrize(
    ("frame_rate", "noise", "latest"),
    [(30.0, 0.5, 0.040), (60.0, 0.2, 0.030), (60.0, 1.0, 0.075), (120.0, 0.5, 0.075)],
)
def test_every_stance_of_simulated_hooves_is_one_run_and_nothing_else_is(frame_rate, noise, latest):
    """Where a run ends is only about right: the break itself is found elsewhere."""
    for seed in range(4):
        rng = np.random.default_rng([31, seed])
        direction = "left_to_right" if seed % 2 else "right_to_left"
        walk = walk_animal(draw_plan(rng), rng, prints_per_limb=4, direction=direction)
        t = frame_times(walk, frame_rate, start=rng.uniform(0, 0.03))
        for track in track_walk(walk, see_from(), t, rng, noise_px=noise):
            true = stances_in(walk, track.limb, t)
            runs = find_in(t, track.xy_px, noise)
            assert len(runs) == len(true)
            for (first, last), one in zip(runs, true, strict=True):
                assert t[first] == pytest.approx(max(one.touch_down, t[0]), abs=latest)
                assert t[last] == pytest.approx(min(one.lift_off, t[-1]), abs=latest)


def test_uneven_and_missing_frames_do_no_harm():
    rng = np.random.default_rng(32)
    walk = walk_animal(draw_plan(rng), rng, prints_per_limb=4)
    every = frame_times(walk, 60.0)
    t = every[np.sort(rng.choice(len(every), len(every) * 3 // 5, replace=False))]
    t = t + rng.uniform(-0.004, 0.004, len(t))
    for track in track_walk(walk, see_from(), t, rng, noise_px=0.5):
        assert len(find_in(t, track.xy_px, 0.5)) == len(stances_in(walk, track.limb, t))


def test_a_path_that_never_moves_is_one_run():
    rng = np.random.default_rng(33)
    t = np.arange(0, 3, 1 / 60)
    xy = 0.3 * rng.standard_normal((len(t), 2))
    assert find_steady_runs(t, xy, np.full(len(t), 0.09), speed=200.0, ahead=AHEAD) == [(0, len(t) - 1)]


def test_a_path_that_never_rests_has_no_run():
    rng = np.random.default_rng(34)
    t = np.arange(0, 3, 1 / 60)
    xy = np.column_stack([200.0 * t, 0 * t]) + 0.3 * rng.standard_normal((len(t), 2))
    assert find_steady_runs(t, xy, np.full(len(t), 0.09), speed=200.0, ahead=AHEAD) == []


def test_the_way_may_go_anywhere():
    t = np.arange(0, 2, 1 / 60)
    x = np.interp(t, [0, 0.7, 1.1, 2.0], [0, 0, 300, 300])
    variance = np.full(len(t), 0.25)
    expected = find_steady_runs(t, np.column_stack([x, 0 * x]), variance, speed=150.0, ahead=AHEAD)
    for angle in (0.4, 2.0, -2.9):
        ahead = np.array([np.cos(angle), np.sin(angle)])
        assert find_steady_runs(t, x[:, None] * ahead, variance, speed=150.0, ahead=ahead) == expected
