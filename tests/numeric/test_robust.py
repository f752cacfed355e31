from __future__ import annotations

import numpy as np
import pytest

from stride.numeric.robust import robust_mean


def test_without_wild_ones_it_is_nearly_the_mean():
    """Huber weights at 1.5 deviations keep 96 % of the efficiency of the mean."""
    rng = np.random.default_rng(3)
    draws = rng.normal(size=(400, 30, 1))
    robust = np.array([robust_mean(draw, np.ones(30))[0][0] for draw in draws])
    assert robust.std() == pytest.approx(1 / np.sqrt(30), rel=0.12)
    assert abs(robust.mean()) < 0.03


def test_a_fifth_of_wild_ones_moves_the_centre_less_than_one_deviation():
    rng = np.random.default_rng(4)
    xy = np.vstack([rng.normal([3.0, -2.0], 0.1, (40, 2)), rng.normal([9.0, 5.0], 0.1, (10, 2))])
    centre, weight = robust_mean(xy, np.full(50, 0.01))
    assert np.abs(centre - [3.0, -2.0]).max() < 0.1
    assert np.abs(xy.mean(axis=0) - [3.0, -2.0]).max() > 1.0
    assert weight[40:].sum() < 0.03


def test_weights_sum_to_one_and_give_the_centre():
    rng = np.random.default_rng(5)
    xy = rng.normal(size=(25, 2))
    centre, weight = robust_mean(xy, rng.uniform(0.5, 2.0, 25))
    assert weight.sum() == pytest.approx(1.0)
    assert centre == pytest.approx(weight @ xy, abs=1e-3)


def test_sure_observations_count_more():
    xy = np.array([[0.0], [0.1], [0.2], [1.0], [1.1], [0.9], [0.5]])
    variance = np.array([0.01, 0.01, 0.01, 1.0, 1.0, 1.0, 1.0])
    assert robust_mean(xy, variance)[0][0] < robust_mean(xy, np.ones(7))[0][0]


@pytest.mark.parametrize("turn", [0.3, 1.2])
def test_it_turns_and_shifts_with_the_points(turn):
    rng = np.random.default_rng(6)
    xy = rng.standard_t(2.0, size=(15, 2))
    c, s = np.cos(turn), np.sin(turn)
    matrix = np.array([[c, -s], [s, c]])
    # The starting median goes by axes, so a turn is kept only as far as the search goes on.
    there = robust_mean(xy @ matrix.T + 7.0, np.ones(15))[0]
    assert there == pytest.approx(matrix @ robust_mean(xy, np.ones(15))[0] + 7.0, abs=2e-3)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_points_all_alike_are_their_own_centre(count):
    centre, weight = robust_mean(np.tile([2.0, 3.0], (count, 1)), np.ones(count))
    assert centre.tolist() == [2.0, 3.0]
    assert weight == pytest.approx(np.full(count, 1 / count))
