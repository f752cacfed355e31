"""Kalman filter and backward smoother at irregular times."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def smooth_paths(t: Array, z: Array, variance: Array, *, acceleration: float) -> tuple[Array, Array]:
    """Smooth independent series observed at irregular times, bridging what is missing.

    Each series is a point pushed about by white-noise acceleration (a position and a velocity), filtered forward
    and smoothed backward (Rauch, Tung & Striebel 1965, AIAA J 3:1445–1450, doi 10.2514/3.3166).

    Parameters
    ----------
    t : (K,) float array
        Rising times (s).
    z : (K, M) float array
        Observations of M series; ignored where ``variance`` is infinite.
    variance : (K, M) float array
        Of each observation; infinite where there is none.
    acceleration : float
        Spectral density of the acceleration, as the standard deviation of the velocity gained in 1 s
        (observation units / s^1.5).

    Returns
    -------
    position, variance : (K, M) float arrays

    Examples
    --------
    >>> t = np.arange(5.0)
    >>> x, v = smooth_paths(t, 2 * t[:, None], np.where(t == 2, np.inf, 1e-6)[:, None], acceleration=0.1)
    >>> round(float(x[2, 0]), 3)
    4.0
    """
    count, series = z.shape
    q = acceleration**2
    mean, cov = np.zeros((count, 2, series)), np.zeros((count, 3, series))
    ahead, ahead_cov = np.zeros((count, 2, series)), np.zeros((count, 3, series))
    seen = np.isfinite(variance)
    start = z[seen.argmax(axis=0), np.arange(series)]
    x, v = start.copy(), np.zeros(series)
    pxx, pxv, pvv = np.full(series, 1e6), np.zeros(series), np.full(series, 1e8)
    for k in range(count):
        h = t[k] - t[k - 1] if k else 0.0
        x = x + h * v
        pxx = pxx + h * (2 * pxv + h * pvv) + q * h**3 / 3
        pxv = pxv + h * pvv + q * h**2 / 2
        pvv = pvv + q * h
        ahead[k], ahead_cov[k] = (x, v), (pxx, pxv, pvv)
        gain_x = np.where(seen[k], pxx / (pxx + np.where(seen[k], variance[k], 1.0)), 0.0)
        gain_v = np.where(seen[k], pxv / (pxx + np.where(seen[k], variance[k], 1.0)), 0.0)
        miss = np.where(seen[k], z[k] - x, 0.0)
        x, v = x + gain_x * miss, v + gain_v * miss
        pvv = pvv - gain_v * pxv
        pxx, pxv = (1 - gain_x) * pxx, (1 - gain_x) * pxv
        mean[k], cov[k] = (x, v), (pxx, pxv, pvv)
    return _smooth_back(t, mean, cov, ahead, ahead_cov)


def _smooth_back(t: Array, mean: Array, cov: Array, ahead: Array, ahead_cov: Array) -> tuple[Array, Array]:
    for k in range(len(t) - 2, -1, -1):
        h = t[k + 1] - t[k]
        pxx, pxv, pvv = cov[k]
        axx, axv, avv = ahead_cov[k + 1]
        determinant = axx * avv - axv * axv
        # Gain C = P Fᵀ A⁻¹ with F = [[1, h], [0, 1]].
        fx, fv = pxx + h * pxv, pxv
        gx, gv = pxv + h * pvv, pvv
        c00, c01 = (fx * avv - fv * axv) / determinant, (fv * axx - fx * axv) / determinant
        c10, c11 = (gx * avv - gv * axv) / determinant, (gv * axx - gx * axv) / determinant
        dx, dv = mean[k + 1] - ahead[k + 1]
        mean[k, 0] += c00 * dx + c01 * dv
        mean[k, 1] += c10 * dx + c11 * dv
        exx, exv, evv = cov[k + 1] - ahead_cov[k + 1]
        u0, u1 = c00 * exx + c01 * exv, c00 * exv + c01 * evv
        w0, w1 = c10 * exx + c11 * exv, c10 * exv + c11 * evv
        cov[k, 0] += u0 * c00 + u1 * c01
        cov[k, 1] += u0 * c10 + u1 * c11
        cov[k, 2] += w0 * c10 + w1 * c11
    return mean[:, 0], np.maximum(cov[:, 0], 0.0)
