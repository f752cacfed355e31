from __future__ import annotations

import cv2
import numpy as np
import pytest

from stride.numeric.homography import (
    DegenerateError,
    apply_homography,
    differentiate_by_parameters,
    differentiate_by_point,
    fit_homography,
)

SQUARE = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
# A floor of 4 m by 1.2 m seen by a phone: picture (px) to floor (m).
PICTURE = np.array(
    [[112.0, 655.5], [1168.0, 661.0], [980.0, 560.0], [285.0, 556.5], [640.0, 658.0], [633.0, 590.0]]
)
PICTURE_TO_FLOOR = np.array([[0.0049, 0.00021, -3.21], [-0.00013, -0.0132, 8.66], [0.000021, 0.0019, 1.0]])
FLOOR = apply_homography(PICTURE_TO_FLOOR, PICTURE)


def differences(function, at, step):
    """Central differences of a function of a (K,) vector; the last axis is the parameter's."""
    return np.stack(
        [(function(at + step * unit) - function(at - step * unit)) / (2 * step) for unit in np.eye(len(at))],
        axis=-1,
    )


def noisy(rng, source_error, target_error, count=6):
    return (
        PICTURE[:count] + source_error * rng.standard_normal((count, 2)),
        FLOOR[:count] + target_error * rng.standard_normal((count, 2)),
    )


@pytest.mark.parametrize("count", [4, 5, 6])
def test_exact_points_give_the_map_back(count):
    fit = fit_homography(PICTURE[:count], FLOOR[:count], source_error=1.0, target_error=0.005)
    assert fit.matrix == pytest.approx(PICTURE_TO_FLOOR, rel=1e-7, abs=1e-12)
    assert (fit.freedom, fit.matrix[2, 2]) == (2 * count - 8, 1.0)
    assert fit.chi2 == pytest.approx(0.0, abs=1e-9)


def test_there_and_back():
    back = np.linalg.inv(PICTURE_TO_FLOOR)
    assert apply_homography(back, apply_homography(PICTURE_TO_FLOOR, PICTURE)) == pytest.approx(PICTURE)


def test_derivatives_match_differences():
    by_point = differentiate_by_point(PICTURE_TO_FLOOR, PICTURE)
    for k, point in enumerate(PICTURE):
        expected = differences(lambda p: apply_homography(PICTURE_TO_FLOOR, p[None])[0], point, 1e-3)
        assert by_point[k] == pytest.approx(expected, rel=1e-6, abs=1e-12)
    parameters = np.random.default_rng(0).normal(size=(3, 3, 3)) * np.abs(PICTURE_TO_FLOOR)
    by_parameters = differentiate_by_parameters(PICTURE_TO_FLOOR, parameters, PICTURE)
    expected = differences(
        lambda p: apply_homography(PICTURE_TO_FLOOR + np.tensordot(p, parameters, axes=1), PICTURE),
        np.zeros(3),
        1e-6,
    )
    assert by_parameters == pytest.approx(expected, rel=1e-5, abs=1e-9)


def test_agrees_with_the_least_squares_fit_of_another_library():
    """OpenCV minimises the squared misses on the target side, which is the fit with exact source points."""
    rng = np.random.default_rng(11)
    for _ in range(10):
        source, target = noisy(rng, 0.0, 0.02)
        own = fit_homography(source, target, target_error=0.02).matrix
        other, _ = cv2.findHomography(source, target, method=0)
        assert apply_homography(own, PICTURE) == pytest.approx(apply_homography(other, PICTURE), abs=1e-4)
        missed = [np.sum((target - apply_homography(h, source)) ** 2) for h in (own, other)]
        assert missed[0] <= missed[1] * (1 + 1e-9)


def test_agrees_with_the_direct_fit_of_another_library_to_within_the_noise():
    transform = pytest.importorskip(
        "skimage.transform", reason="scikit-image is missing: pip install 'stride[dev]'"
    )
    assert transform.estimate_transform("projective", PICTURE[:4], FLOOR[:4]).params == pytest.approx(
        fit_homography(PICTURE[:4], FLOOR[:4]).matrix, rel=1e-6, abs=1e-12
    )
    rng = np.random.default_rng(12)
    for _ in range(10):
        source, target = noisy(rng, 0.0, 0.005)
        own = apply_homography(fit_homography(source, target).matrix, PICTURE)
        other = transform.estimate_transform("projective", source, target)(PICTURE)
        assert np.abs(own - other).max() < 0.005


@pytest.mark.parametrize(
    ("source_error", "target_error", "count"),
    [
        pytest.param(0.0, 0.01, 4, id="tape alone, four points"),
        pytest.param(1.0, 0.001, 6, id="clicks alone, six points"),
        pytest.param(1.0, 0.01, 6, id="both, six points"),
    ],
)
def test_the_covariance_is_that_of_repeated_fits(source_error, target_error, count):
    """Of three mapped points, two of them beyond what was marked; 300 repeats tell a deviation to within 4 %."""
    rng = np.random.default_rng(21)
    at = np.array([[640.0, 620.0], [60.0, 640.0], [1220.0, 590.0]])
    exact = fit_homography(
        PICTURE[:count], FLOOR[:count], source_error=source_error, target_error=target_error
    )
    slope = differentiate_by_parameters(exact.matrix, exact.parameters, at).reshape(6, 8)
    stated = slope @ exact.covariance @ slope.T
    true = apply_homography(PICTURE_TO_FLOOR, at).reshape(6)
    misses, chi2 = [], []
    for _ in range(300):
        fit = fit_homography(
            *noisy(rng, source_error, target_error, count),
            source_error=source_error,
            target_error=target_error,
        )
        misses.append(apply_homography(fit.matrix, at).reshape(6) - true)
        chi2.append(fit.chi2)
    seen = np.cov(np.transpose(misses))
    assert np.sqrt(np.diag(seen)) == pytest.approx(np.sqrt(np.diag(stated)), rel=0.12)
    # the whole matrix, correlations and all: squared distances of a 6-vector average 6
    distance = np.einsum("ni,ij,nj->n", np.array(misses), np.linalg.inv(stated), np.array(misses))
    assert np.mean(distance) == pytest.approx(6.0, rel=0.12)
    assert np.mean(chi2) == pytest.approx(exact.freedom, rel=0.12, abs=1e-6)


def test_doubled_errors_quadruple_the_covariance():
    once = fit_homography(PICTURE, FLOOR, source_error=1.0, target_error=0.01)
    twice = fit_homography(PICTURE, FLOOR, source_error=2.0, target_error=0.02)
    assert twice.covariance == pytest.approx(4 * once.covariance, rel=1e-6)


@pytest.mark.parametrize(
    ("source", "words"),
    [
        pytest.param(SQUARE[:3], "at least 4", id="three points"),
        pytest.param(np.zeros((4, 2)), "coincide", id="one point four times"),
        pytest.param(np.array([[0, 0], [1, 1], [2, 2], [3, 3.0]]), "one line", id="all on a line"),
        pytest.param(np.array([[0, 0], [1, 1], [2, 2], [0, 1.0]]), "one line", id="three of four on a line"),
        pytest.param(np.array([[0, 0], [0, 0], [1, 0], [1, 1.0]]), "one line", id="one point twice"),
        pytest.param(
            np.array([[0, 0], [1, 0], [2, 0], [3, 0], [1, 1.0]]), "one line", id="four of five on a line"
        ),
    ],
)
def test_points_that_fix_no_map_are_refused(source, words):
    square = np.vstack([SQUARE, [[0.4, 0.7]]])[: len(source)]
    for pair in ((source, square), (square, source)):
        with pytest.raises(DegenerateError, match=words):
            fit_homography(*pair)


def test_three_of_five_on_a_line_are_enough():
    source = np.array([[0, 0], [1, 0], [2, 0], [0, 1], [2, 1.5]])
    target = apply_homography(np.array([[1.0, 0.2, 3.0], [0.1, 2.0, 1.0], [0.05, 0.1, 1.0]]), source)
    assert fit_homography(source, target).residual == pytest.approx(np.zeros((5, 2)), abs=1e-9)


def test_a_crossed_square_puts_the_horizon_through_it():
    with pytest.raises(DegenerateError, match="horizon"):
        fit_homography(SQUARE, SQUARE[[0, 2, 1, 3]])
