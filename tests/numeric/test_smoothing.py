from __future__ import annotations

import numpy as np
import pytest

from stride.numeric.agreement import measure_coverage
from stride.numeric.smoothing import smooth_paths

ACCELERATION = 3.0


def irregular_times(rng, count, step=1 / 60):
    return np.cumsum(rng.uniform(0.4, 1.6, count) * step)


def wander(rng, t, series, acceleration=ACCELERATION):
    """Paths pushed about by white-noise acceleration, drawn exactly: position and velocity step by step."""
    x, v = np.zeros((len(t), series)), np.zeros((len(t), series))
    v[0] = rng.normal(0.0, 2.0, series)
    for k, h in enumerate(np.diff(t), start=1):
        push = acceleration * np.linalg.cholesky([[h**3 / 3, h**2 / 2], [h**2 / 2, h]])
        gain = push @ rng.standard_normal((2, series))
        x[k], v[k] = x[k - 1] + h * v[k - 1] + gain[0], v[k - 1] + gain[1]
    return x


def solve_at_once(t, z, variance, acceleration):
    """The most likely path and its variance, from one set of normal equations over all positions and velocities."""
    count = len(t)
    normal, pull = np.zeros((2 * count, 2 * count)), np.zeros(2 * count)
    for k in range(count):
        if np.isfinite(variance[k]):
            normal[2 * k, 2 * k] += 1 / variance[k]
            pull[2 * k] += z[k] / variance[k]
    for k, h in enumerate(np.diff(t)):
        push = acceleration**2 * np.array([[h**3 / 3, h**2 / 2], [h**2 / 2, h]])
        step = np.array([[-1.0, -h, 1.0, 0.0], [0.0, -1.0, 0.0, 1.0]])
        normal[2 * k : 2 * k + 4, 2 * k : 2 * k + 4] += step.T @ np.linalg.solve(push, step)
    return np.linalg.solve(normal, pull)[::2], np.diag(np.linalg.inv(normal))[::2]


def test_it_is_the_most_likely_path():
    rng = np.random.default_rng(1)
    t = irregular_times(rng, 40)
    variance = rng.uniform(0.5, 2.0, 40) * 1e-4
    variance[[7, 8, 9, 22]] = np.inf
    z = wander(rng, t, 1)[:, 0] + np.sqrt(np.where(np.isfinite(variance), variance, 0)) * rng.normal(size=40)
    place, doubt = smooth_paths(t, z[:, None], variance[:, None], acceleration=ACCELERATION)
    expected, expected_doubt = solve_at_once(t, z, variance, ACCELERATION)
    assert place[:, 0] == pytest.approx(expected, abs=1e-6)
    assert doubt[:, 0] == pytest.approx(expected_doubt, rel=1e-4)


@pytest.fixture(scope="module")
def observed():
    """400 paths of 60 frames, a gap of 12 in the middle and single frames missing elsewhere."""
    rng = np.random.default_rng(2)
    t = irregular_times(rng, 60)
    true = wander(rng, t, 400)
    variance = np.where(rng.random((60, 400)) < 0.1, np.inf, rng.uniform(0.5, 2.0, (60, 400)) * 4e-4)
    variance[25:37] = np.inf
    z = np.where(
        np.isfinite(variance), true + np.sqrt(np.minimum(variance, 1)) * rng.normal(size=true.shape), 0
    )
    return t, true, z, variance


@pytest.mark.parametrize(
    "frames", [slice(0, 25), slice(25, 37), slice(37, 60)], ids=["before", "in the gap", "after"]
)
def test_95_in_100_intervals_hold_the_path(observed, frames):
    """Neighbouring frames of one path err alike, so the share is judged over 400 paths."""
    t, true, z, variance = observed
    place, doubt = smooth_paths(t, z, variance, acceleration=ACCELERATION)
    held = measure_coverage(place[frames].ravel(), true[frames].ravel(), np.sqrt(doubt[frames]).ravel())
    assert 0.935 <= held.share <= 0.965


def test_smoothing_helps_and_doubt_is_largest_in_the_middle_of_a_gap(observed):
    t, true, z, variance = observed
    place, doubt = smooth_paths(t, z, variance, acceleration=ACCELERATION)
    seen = np.isfinite(variance)
    assert np.std((place - true)[seen]) < 0.75 * np.std((z - true)[seen])
    middle = doubt[25:37].mean(axis=1)
    assert 3 <= int(middle.argmax()) <= 8
    assert middle.max() > 8 * doubt[15:20].mean()


def test_what_is_missing_is_never_looked_at(observed):
    t, _, z, variance = observed
    blank = np.where(np.isfinite(variance), z, np.nan)
    for one, other in zip(
        smooth_paths(t, z, variance, acceleration=ACCELERATION),
        smooth_paths(t, blank, variance, acceleration=ACCELERATION),
        strict=True,
    ):
        assert np.array_equal(one, other)


def test_a_straight_path_is_bridged_straight():
    t = np.array([0.0, 0.02, 0.05, 0.06, 0.3, 0.31, 0.35, 0.36])
    variance = np.where((t > 0.055) & (t < 0.33), np.inf, 1e-6)
    place, _ = smooth_paths(t, (4 - 7 * t)[:, None], variance[:, None], acceleration=1.0)
    assert place[:, 0] == pytest.approx(4 - 7 * t, abs=1e-4)


def test_series_do_not_touch_one_another():
    rng = np.random.default_rng(3)
    t = irregular_times(rng, 30)
    z, variance = rng.normal(size=(30, 2)), np.full((30, 2), 0.01)
    variance[10:20, 1] = np.inf
    both = smooth_paths(t, z, variance, acceleration=1.0)
    for m in range(2):
        alone = smooth_paths(t, z[:, [m]], variance[:, [m]], acceleration=1.0)
        assert np.array_equal(alone[0][:, 0], both[0][:, m])
        assert np.array_equal(alone[1][:, 0], both[1][:, m])


@pytest.mark.parametrize("count", [1, 2])
def test_one_or_two_observations_are_kept(count):
    t, z = np.arange(count) / 60, np.arange(count)[:, None] + 5.0
    place, doubt = smooth_paths(t, z, np.full((count, 1), 0.04), acceleration=3.0)
    assert place == pytest.approx(z, abs=1e-3)
    assert doubt == pytest.approx(np.full((count, 1), 0.04), rel=1e-3)
