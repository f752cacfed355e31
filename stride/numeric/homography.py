"""Plane-to-plane maps: fitted with their covariance, applied and differentiated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class DegenerateError(ValueError):
    """The points do not fix a plane-to-plane map: too few, or too nearly on one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedHomography:
    """A least-squares homography and what is uncertain about it.

    Parameters
    ----------
    matrix : (3, 3) float array
        From source to target, scaled so that the last entry is 1.
    parameters : (8, 3, 3) float array
        Derivative of ``matrix`` (before scaling) by its eight fitted numbers.
    covariance : (8, 8) float array
        Of those numbers.
    residual : (N, 2) float array
        Target minus mapped source.
    chi2, freedom : float, int
        Weighted sum of squared residuals and its degrees of freedom, 2N − 8.
    """

    matrix: Array
    parameters: Array
    covariance: Array
    residual: Array
    chi2: float
    freedom: int


def apply_homography(matrix: Array, xy: Array) -> Array:
    """Map points by a homography.

    Parameters
    ----------
    matrix : (3, 3) float array
    xy : (N, 2) float array

    Returns
    -------
    (N, 2) float array

    Examples
    --------
    >>> apply_homography(np.array([[1.0, 0, 1], [0, 2, 1], [0, 0, 1]]), np.array([[0.0, 0.0]])).tolist()
    [[1.0, 1.0]]
    """
    p = xy @ matrix[:, :2].T + matrix[:, 2]
    return p[:, :2] / p[:, 2:]


def differentiate_by_point(matrix: Array, xy: Array) -> Array:
    """Jacobian of the mapped points by the points themselves: (N, 2, 2), [target axis, source axis]."""
    p = xy @ matrix[:, :2].T + matrix[:, 2]
    w = p[:, 2, None, None]
    return (matrix[None, :2, :2] - (p[:, :2] / p[:, 2:])[:, :, None] * matrix[2, :2]) / w


def differentiate_by_parameters(matrix: Array, parameters: Array, xy: Array) -> Array:
    """Jacobian of the mapped points by the map's own parameters.

    Parameters
    ----------
    matrix : (3, 3) float array
    parameters : (K, 3, 3) float array
        Derivative of ``matrix`` by each parameter.
    xy : (N, 2) float array

    Returns
    -------
    (N, 2, K) float array
    """
    p = xy @ matrix[:, :2].T + matrix[:, 2]
    homogeneous = np.column_stack([xy, np.ones(len(xy))])
    dp = np.einsum("kij,nj->nik", parameters, homogeneous)
    w = p[:, 2, None, None]
    return (dp[:, :2] - (p[:, :2] / p[:, 2:])[:, :, None] * dp[:, 2:3]) / w


def fit_homography(
    source: Array, target: Array, *, source_error: float = 0.0, target_error: float = 1.0
) -> FittedHomography:
    """Fit a homography by least squares with errors on both sides.

    The normalised direct linear transform (Hartley & Zisserman 2004, ch. 4; from memory) starts a Gauss–Newton
    search for the map that is most likely under independent normal errors of the source and target points.

    Parameters
    ----------
    source, target : (N, 2) float array
        At least four points, no three of a four-point set on one line.
    source_error, target_error : float
        Standard error per axis, in the units of each side.

    Returns
    -------
    FittedHomography

    Raises
    ------
    DegenerateError
        With fewer than four points or points (nearly) on one line.
    """
    if len(source) < 4:
        raise DegenerateError(f"a plane needs at least 4 points, got {len(source)}")
    to_unit, from_unit = _normalise(source), np.linalg.inv(_normalise(target))
    a, b = apply_homography(to_unit, source), apply_homography(np.linalg.inv(from_unit), target)
    if min(_flatness(a), _flatness(b)) < 0.02:
        raise DegenerateError("the points lie on one line")
    h = _direct_linear(a, b)
    spread_a, spread_b = source_error * to_unit[0, 0], target_error / from_unit[0, 0]
    basis = np.zeros((8, 3, 3))
    basis[np.arange(8), np.arange(8) // 3, np.arange(8) % 3] = 1.0
    normal = np.eye(8)
    for _ in range(20):
        jac_point = differentiate_by_point(h, a)
        cov = spread_a**2 * jac_point @ jac_point.transpose(0, 2, 1) + spread_b**2 * np.eye(2)
        weight = np.linalg.inv(cov)
        jac = differentiate_by_parameters(h, basis, a)
        residual = b - apply_homography(h, a)
        normal = np.einsum("nik,nij,njl->kl", jac, weight, jac)
        step = np.linalg.solve(normal, np.einsum("nik,nij,nj->k", jac, weight, residual))
        h = h + np.tensordot(step, basis, axes=1)
        if np.abs(step).max() < 1e-12 * np.abs(h).max():
            break
    residual = b - apply_homography(h, a)
    matrix = from_unit @ h @ to_unit
    scale = 1.0 / matrix[2, 2]
    return FittedHomography(
        matrix=matrix * scale,
        parameters=np.einsum("ij,kjl,lm->kim", from_unit, basis, to_unit) * scale,
        covariance=np.asarray(np.linalg.inv(normal), dtype=float),
        residual=target - apply_homography(matrix, source),
        chi2=float(np.einsum("ni,nij,nj->", residual, weight, residual)),
        freedom=2 * len(source) - 8,
    )


def _normalise(xy: Array) -> Array:
    """The similarity that brings points to zero mean and mean distance √2."""
    centre = xy.mean(axis=0)
    size = np.sqrt(((xy - centre) ** 2).sum(axis=1)).mean()
    if not size > 0:
        raise DegenerateError("the points coincide")
    s = np.sqrt(2) / size
    return np.array([[s, 0, -s * centre[0]], [0, s, -s * centre[1]], [0, 0, 1]])


def _flatness(xy: Array) -> float:
    """How far a point set is from lying on a line, leaving out any one point: 0 for on a line."""
    worst = np.inf
    for k in range(len(xy)):
        rest = np.delete(xy, k, axis=0)
        singular = np.linalg.svd(rest - rest.mean(axis=0), compute_uv=False)
        worst = min(worst, singular[1] / singular[0])
    return float(worst)


def _direct_linear(a: Array, b: Array) -> Array:
    rows = np.zeros((2 * len(a), 9))
    one = np.column_stack([a, np.ones(len(a))])
    rows[0::2, :3], rows[0::2, 6:] = one, -b[:, :1] * one
    rows[1::2, 3:6], rows[1::2, 6:] = one, -b[:, 1:] * one
    h = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    if abs(h[2, 2]) < 1e-9 * np.abs(h).max():
        raise DegenerateError("the points put the horizon through their middle")
    return h / h[2, 2]
