"""The tilt of a floor known only by a length, or not at all, from the walk itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .ground import Ground
from .limbs import LIMBS, SIDES, Limb, side_of
from .prints import Print

Array = NDArray[np.float64]

# How far the mean strides of an animal's two sides may really differ in one walk, each stride for itself
# (share of stride length). Assumed: print scatter of 2 cm on a stride near 1.4 m, and a change of pace.
_SIDE_DIFFERENCE = 0.02


def level_ground(ground: Ground, prints: Sequence[Print]) -> tuple[Ground, tuple[Print, ...]]:
    """Set the floor's tilt so that near and far feet go equally far.

    Feet on both sides of one animal cover the same distance, but the far ones look closer together. Where floor
    points fix the plane, or a side has no stride, nothing changes.

    Returns
    -------
    Ground, tuple of Print
        The floor with the tilt and its covariance brought up to date, and the prints moved with it.
    """
    if ground.kind == "plane":
        return ground, tuple(prints)
    spans = _stride_ends(prints)
    weight = {side: sum(side_of(limb) == side for limb, _ in spans) for side in SIDES}
    if min(weight.values()) == 0:
        return ground, tuple(prints)
    ends = np.array([pair for _, pair in spans])
    share = np.array([(1 if side_of(limb) == "left" else -1) / weight[side_of(limb)] for limb, _ in spans])
    levelled = ground
    for _ in range(4):
        difference, slope, mean = _side_difference(levelled, ends, share)
        allowed = (_SIDE_DIFFERENCE * mean) ** 2 * sum(1.0 / count for count in weight.values())
        reach = ground.covariance @ slope
        tilt_gone = float(np.tensordot(levelled.matrix - ground.matrix, ground.parameters[1], 2))
        tilt_gone /= float(np.tensordot(ground.parameters[1], ground.parameters[1], 2))
        expected = difference - slope[1] * tilt_gone
        step = -reach[1] / float(slope @ reach + allowed) * expected
        levelled = _tilt(ground, step)
    difference, slope, _ = _side_difference(levelled, ends, share)
    reach = ground.covariance @ slope
    covariance = ground.covariance - np.outer(reach, reach) / float(slope @ reach + allowed)
    levelled = replace(levelled, covariance=covariance)
    return levelled, tuple(_move_print(one, ground, levelled) for one in prints)


def _tilt(ground: Ground, step: float) -> Ground:
    matrix = ground.matrix + step * ground.parameters[1]
    by_log_scale = np.vstack([matrix[:2], np.zeros((1, 3))])
    return replace(ground, matrix=matrix, parameters=np.stack([by_log_scale, ground.parameters[1]]))


def _stride_ends(prints: Sequence[Print]) -> list[tuple[Limb, tuple[Array, Array]]]:
    return [
        (limb, (a.xy_px, b.xy_px))
        for limb in LIMBS
        for a, b in pairwise([one for one in prints if one.limb == limb])
    ]


def _side_difference(ground: Ground, ends: Array, share: Array) -> tuple[float, Array, float]:
    """Left minus right mean stride, its slope by the ground's parameters, and the mean stride."""
    count = len(ends)
    flat = ends.reshape(-1, 2)
    x = ground.to_floor(flat)[:, 0].reshape(count, 2)
    by = ground.jacobian_by_parameters(flat)[:, 0].reshape(count, 2, -1)
    length, by_length = x[:, 1] - x[:, 0], by[:, 1] - by[:, 0]
    sign = np.sign(length.sum())
    return float(sign * share @ length), sign * share @ by_length, float(np.abs(length).mean())


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
