"""The tilt of a floor known only by a length, or not at all, from the walk itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .ground import Ground
from .limbs import LIMBS, side_of
from .prints import Print

Array = NDArray[np.float64]

# How far a stride differs from the animal's mean, each for itself, and how far the mean changes from the first to
# the last stride of a walk (shares of stride length). Assumed: print scatter of 2 cm on a stride near 1.4 m, and a
# walk that is not steady.
_STRIDE_DIFFERENCE = 0.02
_CHANGE_OF_PACE = 0.05
# No walk may pull the floor further from what was assumed of it than this many of its standard errors: beyond, a
# wrong print is likelier than such a camera.
_FARTHEST = 1.8


def level_ground(ground: Ground, prints: Sequence[Print]) -> tuple[Ground, tuple[Print, ...]]:
    """Set the tilt and slant of the floor by the walk: near and far feet go equally far, and about as far at its end.

    Feet on both sides of one animal cover the same distance, but the far ones look closer together; and an animal
    that seems to shorten its stride all along is rather walking away. Where floor points fix the plane, or a side
    has no stride, nothing changes.

    Returns
    -------
    Ground, tuple of Print
        The floor with its parameters and their covariance brought up to date, and the prints moved with it.
    """
    if ground.kind == "plane":
        return ground, tuple(prints)
    spans = _whole_strides(ground, prints)
    sides = np.array([1.0 if side_of(a.limb) == "left" else -1.0 for a, _ in spans])
    if not (sides > 0).any() or not (sides < 0).any():
        return ground, tuple(prints)
    ends = np.array([(a.xy_px, b.xy_px) for a, b in spans])
    contrast = _contrast_strides(sides, np.array([a.seen_from + b.seen_from for a, b in spans]) / 2)
    levelled, gone = ground, np.zeros(len(ground.covariance))
    for _ in range(5):
        difference, slope, mean = _differ(levelled, ends, contrast)
        allowed = (_STRIDE_DIFFERENCE * mean) ** 2 * contrast @ contrast.T
        allowed[1:, 1:] += (_CHANGE_OF_PACE * mean) ** 2
        gain = ground.covariance @ slope.T @ np.linalg.inv(slope @ ground.covariance @ slope.T + allowed)
        gone = -gain @ (difference - slope @ gone)
        bound = _FARTHEST * np.sqrt(ground.covariance.diagonal())
        gone = np.clip(gone, -bound, bound)
        gone[0] = 0.0
        levelled = _tilt(ground, gone)
    covariance = ground.covariance - gain @ slope @ ground.covariance
    levelled = replace(levelled, covariance=0.5 * (covariance + covariance.T))
    return levelled, tuple(_move_print(one, ground, levelled) for one in prints)


def _tilt(ground: Ground, steps: Array) -> Ground:
    matrix = ground.matrix + np.tensordot(steps[1:], ground.parameters[1:], axes=1)
    by_log_scale = np.vstack([matrix[:2], np.zeros((1, 3))])
    return replace(ground, matrix=matrix, parameters=np.stack([by_log_scale, *ground.parameters[1:]]))


def _whole_strides(ground: Ground, prints: Sequence[Print]) -> list[tuple[Print, Print]]:
    """Consecutive prints of each limb that lie one stride apart, none missed between them."""
    pairs = [pair for limb in LIMBS for pair in pairwise([one for one in prints if one.limb == limb])]
    if not pairs:
        return []
    length = np.array([abs(float(b.xy[0] - a.xy[0])) for a, b in pairs])
    usual = float(np.quantile(length, 0.4, method="lower"))
    return [pair for pair, one in zip(pairs, length, strict=True) if 0.6 * usual < one < 1.5 * usual]


def _contrast_strides(sides: Array, t: Array) -> Array:
    """Weights of the strides that give left minus right, and where there are enough of them last minus first."""
    columns = [np.ones_like(t), sides / 2]
    if len(t) >= 5 and np.ptp(t) > 0:
        columns.append((t - t.mean()) / np.ptp(t))
    return np.asarray(np.linalg.pinv(np.column_stack(columns))[1:], dtype=float)


def _differ(ground: Ground, ends: Array, contrast: Array) -> tuple[Array, Array, float]:
    """The contrasts of stride length, their slope by the ground's parameters, and the mean stride."""
    count = len(ends)
    flat = ends.reshape(-1, 2)
    x = ground.to_floor(flat)[:, 0].reshape(count, 2)
    by = ground.jacobian_by_parameters(flat)[:, 0].reshape(count, 2, -1)
    length, by_length = x[:, 1] - x[:, 0], by[:, 1] - by[:, 0]
    sign = np.sign(length.sum())
    return sign * contrast @ length, sign * contrast @ by_length, float(np.abs(length).mean())


def _move_print(one: Print, before: Ground, after: Ground) -> Print:
    point = one.xy_px[None]
    change = after.jacobian_by_point(point)[0] @ np.linalg.inv(before.jacobian_by_point(point)[0])
    return replace(
        one,
        xy=after.to_floor(point)[0],
        cov=change @ one.cov @ change.T,
        limb_cov=change @ one.limb_cov @ change.T,
        ground_jacobian=after.jacobian_by_parameters(point)[0],
    )
