"""Rotations, and what they do to a picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def cross_matrices(vectors: Array) -> Array:
    """(N, 3, 3) matrices that take the cross product with (N, 3) vectors from the left."""
    x, y, z = vectors.T
    zero = np.zeros_like(x)
    return np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)


def turns_by(vectors: Array) -> Array:
    """Rotation matrices (N, 3, 3) of rotation vectors (N, 3) (rad), by Rodrigues' formula.

    Examples
    --------
    >>> turns_by(np.array([[0.0, 0.0, np.pi / 2]]))[0].round(6).tolist()
    [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    angle = np.linalg.norm(vectors, axis=1)[:, None, None]
    cross = cross_matrices(vectors)
    small = angle < 1e-8
    safe = np.where(small, 1.0, angle)
    first = np.where(small, 1.0, np.sin(safe) / safe)
    second = np.where(small, 0.5, (1 - np.cos(safe)) / safe**2)
    return np.asarray(np.eye(3) + first * cross + second * cross @ cross)


def turn_by(vector: Array) -> Array:
    """Rotation matrix (3, 3) of one rotation vector (rad)."""
    angle = float(np.sqrt(vector @ vector))
    x, y, z = vector
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    if angle < 1e-9:
        return np.eye(3) + cross
    return np.asarray(
        np.eye(3) + np.sin(angle) / angle * cross + (1 - np.cos(angle)) / angle**2 * cross @ cross
    )


def vectors_of(turns: Array) -> Array:
    """Rotation vectors (N, 3) (rad) of small rotations (N, 3, 3), exact to the second order.

    Examples
    --------
    >>> vectors_of(turns_by(np.array([[0.01, -0.02, 0.0]])))[0].round(4).tolist()
    [0.01, -0.02, 0.0]
    """
    return 0.5 * np.stack(
        [
            turns[:, 2, 1] - turns[:, 1, 2],
            turns[:, 0, 2] - turns[:, 2, 0],
            turns[:, 1, 0] - turns[:, 0, 1],
        ],
        axis=1,
    )
