from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from stride.numeric.propagation import (
    ErrorModel,
    Linear,
    direction_of,
    estimate_spread,
    mean_of,
    sum_of,
    symmetric_root,
)


def sources(values: np.ndarray) -> list[Linear]:
    return [Linear(value=float(v), gradient=row) for v, row in zip(values, np.eye(len(values)), strict=True)]


def tangled(x, cosine_and_sine, total):
    """An expression that uses every operation; works on plain numbers too."""
    a, b, c, d = x
    cosine, sine = cosine_and_sine(d)
    return (
        2.0
        + (a * b - 3.0 / c) / (b + 1.5)
        + cosine * a
        - sine / 4.0
        + total([a, b, c]) * 0.5
        - (1.0 - c) * (-a)
    )


def test_gradient_matches_differences():
    at = np.array([1.3, -0.4, 2.2, 0.6])
    found = tangled(sources(at), direction_of, sum_of)

    def plain(x):
        return tangled(x, lambda angle: (math.cos(angle), math.sin(angle)), sum)

    assert found.value == pytest.approx(plain(at), rel=1e-14)
    for k in range(4):
        step = np.zeros(4)
        step[k] = 1e-6
        assert found.gradient[k] == pytest.approx((plain(at + step) - plain(at - step)) / 2e-6, rel=1e-8)


def test_numpy_scalars_on_the_left():
    (x,) = sources(np.array([2.0]))
    assert (np.float64(3.0) * x).gradient.tolist() == [3.0]
    assert (np.float64(3.0) - x).value == 1.0
    assert (np.float64(3.0) / x).gradient.tolist() == [-0.75]


def test_strides_that_share_a_print_average_out_faster_than_independent_ones():
    prints = sources(np.array([0.0, 1.4, 2.8, 4.2]))
    errors = ErrorModel(random=np.eye(4) * 0.01**2, common=np.zeros((4, 4)))
    strides = [end - start for start, end in pairwise(prints)]
    covariance = errors.covariance(strides)
    assert covariance[0, 1] / covariance[0, 0] == pytest.approx(-0.5)
    assert covariance[0, 2] == 0.0
    random, common = errors.standard_errors(mean_of(strides))
    assert random == pytest.approx(0.01 * math.sqrt(2) / 3)
    assert common == 0.0


def test_random_and_common_are_kept_apart():
    x = sources(np.array([1.0, 1.0]))
    errors = ErrorModel(random=np.diag([0.03, 0.0]) ** 2, common=np.diag([0.0, 0.04]) ** 2)
    assert errors.standard_errors(x[0] - x[1]) == pytest.approx((0.03, 0.04))


def test_spread_is_free_of_measuring_error():
    rng = np.random.default_rng(7)
    errors = ErrorModel(random=np.diag([0.02] * 6) ** 2, common=np.full((6, 6), 0.05**2))
    squares = []
    for _ in range(3000):
        values = (
            1.0 + 0.03 * rng.standard_normal(6) + 0.02 * rng.standard_normal(6) + 0.05 * rng.standard_normal()
        )
        one = sources(values)
        squares.append(estimate_spread([one[:3], one[3:]], errors) ** 2)
    # holding the estimate at zero lifts its mean a little
    assert math.sqrt(np.mean(squares)) == pytest.approx(0.03, rel=0.04)


def test_spread_of_single_values_is_not_known():
    one = sources(np.array([1.0, 2.0]))
    errors = ErrorModel(random=np.zeros((2, 2)), common=np.zeros((2, 2)))
    assert estimate_spread([one[:1], one[1:]], errors) is None
    assert estimate_spread([], errors) is None
    assert estimate_spread([one], errors) == pytest.approx(math.sqrt(0.5))


def test_spread_below_the_measuring_error_is_zero():
    errors = ErrorModel(random=np.eye(2), common=np.zeros((2, 2)))
    assert estimate_spread([sources(np.array([1.0, 1.1]))], errors) == 0.0


def test_error_model_refuses_unlike_shapes():
    with pytest.raises(ValueError, match=r"two square arrays of one shape"):
        ErrorModel(random=np.eye(2), common=np.eye(3))


@pytest.mark.parametrize(
    "covariance", [np.diag([4.0, 0.0]), np.array([[2.0, 1.2], [1.2, 1.0]]), np.zeros((2, 2))]
)
def test_symmetric_root(covariance):
    root = symmetric_root(covariance)
    assert root == pytest.approx(root.T)
    assert root @ root == pytest.approx(covariance, abs=1e-12)
