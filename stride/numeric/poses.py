"""Where one picture was taken from, fitted to points of the scene of which many may belong to something else."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .turns import turn_by

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """A camera's view against the axes of the first view it is counted from (x right, y down, z ahead).

    Parameters
    ----------
    turn : (3, 3) float array
        Rotation from those axes to its own.
    place : (3,) float array
        Of the lens, in distances between the first view's lens and the floor.
    log_zoom : float
        How much longer its focal length is, as a natural logarithm.
    """

    turn: Array
    place: Array
    log_zoom: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """Points of the scene to be looked for, so written that a pose projects them in one step.

    A point seen along ``ray`` from a lens at ``c`` at inverse depth ``ρ`` appears, from a lens at ``c'``, in the
    direction ``ray + ρ c − ρ c'``.

    Parameters
    ----------
    origin : (M, 3) float array
        ``ray + ρ c``.
    nearness : (M,) float array
        ``ρ`` (1 / distance to the floor).
    by_focal : (M, 3) float array
        Change of ``origin`` with the logarithm of the focal length.
    """

    origin: Array
    nearness: Array
    by_focal: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class PoseBelief:
    """What is believed of a pose before it is fitted, as standard errors about the guess.

    ``turn`` and ``roll`` (rad): to the side or up and down, and about the line of sight; ``place`` (distances to the
    floor); ``log_zoom``; and ``log_focal`` about that of ``focal_px``, not about the guess. ``softness_px``: misfit at
    which a perfectly sharp point counts a quarter, one value for each round.
    """

    turn: float
    roll: float
    place: float
    log_zoom: float
    focal_px: float
    log_focal: float
    softness_px: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedPose:
    """``pose``, ``focal_px``, ``log_focal_error`` of the latter, and ``weight`` (M,): 1 for a point that fits."""

    pose: Pose
    focal_px: float
    log_focal_error: float
    weight: Array


def project_points(pose: Pose, focal_px: float, targets: Targets) -> Array:
    """Where points appear, in pixels from the middle of the picture: (M, 2)."""
    seen = (targets.origin - targets.nearness[:, None] * pose.place) @ pose.turn.T
    focal = focal_px * float(np.exp(pose.log_zoom))
    return np.asarray(focal * seen[:, :2] / np.maximum(seen[:, 2:], 1e-3))


def refocused(targets: Targets, factor: float) -> Targets:
    """The points as they are for a focal length ``factor`` times longer than the one they were made for."""
    return Targets(
        origin=targets.origin + (1.0 - 1.0 / factor) * targets.by_focal,
        nearness=targets.nearness,
        by_focal=targets.by_focal / factor,
    )


def fit_pose(
    guess: Pose, focal_px: float, targets: Targets, xy_px: Array, cov_px2: Array, belief: PoseBelief
) -> FittedPose:
    """The pose from which most of the points appear where they were found.

    Gauss–Newton with Geman–McClure weights, from a wide to a narrow idea of agreement. A turn of the camera is nearly
    free; sway and zoom are believed to be small, so that few or badly placed points cannot bend the picture.

    Parameters
    ----------
    guess : Pose
    focal_px : float
    targets : Targets
    xy_px : (M, 2) float array
        Where they were found, from the middle of the picture.
    cov_px2 : (M, 2, 2) float array
    belief : PoseBelief
    """
    error = np.array(
        [belief.turn, belief.turn, belief.roll, *[belief.place] * 3, belief.log_zoom, belief.log_focal]
    )
    precision = np.diag(error**-2.0)
    information = _invert(cov_px2)
    pose, focal, moved = guess, focal_px, np.zeros(8)
    moved[7] = np.log(focal_px / belief.focal_px)
    normal = precision
    seen, spot = targets, project_points(pose, focal, targets)
    for softness in belief.softness_px:
        gap = xy_px - spot
        weight = _agreement(gap, cov_px2, softness)
        rows = _derive_spots(pose, focal, seen)
        weighed = (weight[:, None, None] * information) @ rows
        flat = weighed.reshape(-1, 8).T
        normal = flat @ rows.reshape(-1, 8) + precision
        step = np.asarray(np.linalg.solve(normal, flat @ gap.reshape(-1) - precision @ moved), dtype=float)
        moved = moved + step
        pose = Pose(
            turn=turn_by(step[:3]) @ pose.turn, place=pose.place + step[3:6], log_zoom=pose.log_zoom + step[6]
        )
        focal *= float(np.exp(step[7]))
        seen = refocused(targets, focal / focal_px)
        spot = project_points(pose, focal, seen)
    return FittedPose(
        pose=pose,
        focal_px=focal,
        log_focal_error=float(np.sqrt(np.linalg.inv(normal)[-1, -1])),
        weight=_agreement(xy_px - spot, cov_px2, belief.softness_px[-1]),
    )


def _derive_spots(pose: Pose, focal_px: float, targets: Targets) -> Array:
    """(M, 2, 8): change of projected points with turn, place, log zoom and log focal length."""
    seen = (targets.origin - targets.nearness[:, None] * pose.place) @ pose.turn.T
    focal = focal_px * float(np.exp(pose.log_zoom))
    x, y, z = seen[:, 0], seen[:, 1], np.maximum(seen[:, 2], 1e-3)
    u, v = x / z, y / z
    near, base = targets.nearness, pose.turn
    rows = np.empty((len(seen), 2, 8))
    rows[:, 0, 0], rows[:, 0, 1], rows[:, 0, 2] = -u * v, 1 + u * u, -v
    rows[:, 1, 0], rows[:, 1, 1], rows[:, 1, 2] = -1 - v * v, u * v, u
    by_origin = (base[:2] - np.stack([u, v], axis=1)[:, :, None] * base[2]) / z[:, None, None]
    rows[:, :, 3:6] = -near[:, None, None] * by_origin
    rows[:, 0, 6], rows[:, 1, 6] = u, v
    rows[:, :, 7] = rows[:, :, 6] + (by_origin @ targets.by_focal[:, :, None])[:, :, 0]
    return np.asarray(focal * rows)


def _agreement(gap: Array, cov: Array, softness: float) -> Array:
    """Geman–McClure weight of misfits, each held against its own error and the softness."""
    wide = 9.0 * cov
    xx, yy, xy = wide[:, 0, 0] + softness**2, wide[:, 1, 1] + softness**2, wide[:, 0, 1]
    x, y = gap.T
    square = (yy * x * x - 2 * xy * x * y + xx * y * y) / (xx * yy - xy * xy)
    return np.asarray(1.0 / (1.0 + square) ** 2)


def _invert(cov: Array) -> Array:
    xx, yy, xy = cov[:, 0, 0], cov[:, 1, 1], cov[:, 0, 1]
    inverse = np.empty_like(cov)
    inverse[:, 0, 0], inverse[:, 1, 1] = yy, xx
    inverse[:, 0, 1] = inverse[:, 1, 0] = -xy
    return inverse / (xx * yy - xy * xy)[:, None, None]
