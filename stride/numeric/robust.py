"""A centre that a few wild observations do not move."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def robust_mean(xy: Array, variance: Array) -> tuple[Array, Array]:
    """Weighted mean with Huber weights (Huber 1964, Ann Math Stat 35:73–101, doi 10.1214/aoms/1177703732).

    Parameters
    ----------
    xy : (N, D) float array
    variance : (N,) float array
        Per axis.

    Returns
    -------
    centre : (D,) float array
    weight : (N,) float array
        Summing to 1.

    Examples
    --------
    >>> x = np.array([[0.0], [0.1], [-0.1], [0.0], [50.0]])
    >>> bool(abs(robust_mean(x, np.full(5, 0.01))[0][0]) < 0.1)
    True
    """
    centre = np.median(xy, axis=0)
    base = 1.0 / variance
    weight = base
    for _ in range(20):
        distance = np.sqrt(((xy - centre) ** 2).sum(axis=1))
        scale = max(1.4826 * float(np.median(distance)) / np.sqrt(xy.shape[1]), 1e-9)
        weight = base * np.minimum(1.0, 1.5 * scale / np.maximum(distance, 1e-12))
        fresh = (weight[:, None] * xy).sum(axis=0) / weight.sum()
        if np.abs(fresh - centre).max() < 1e-4 * scale:
            centre = fresh
            break
        centre = fresh
    return centre, weight / weight.sum()
