"""The floor: the map from the held picture to metres along and across the walk."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import MarksError
from ..numeric.homography import (
    DegenerateError,
    apply_homography,
    differentiate_by_parameters,
    differentiate_by_point,
    fit_homography,
)
from .camera import CameraMotion
from .marks import FloorPoint, KnownLength, Marks
from .settings import Settings

Array = NDArray[np.float64]

# A phone held at about 1.2 m, 5 m from the walk, with a focal length near 0.8 of the picture's width: how fast the
# scale changes with the picture row when nothing tells it. Common practice, no source; wide on purpose.
_ASSUMED_TILT = 5.0 / (0.8 * 1.2)
_ASSUMED_TILT_ERROR = 0.5
_ASSUMED_FOCAL = 0.8
# How far such a phone is turned from square to the walk, and leans to one side (rad). Common practice, no source.
_ASSUMED_YAW = 0.105
_ASSUMED_LEAN = 0.026


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A map from the held picture to the floor.

    Floor coordinates: x along the walk as the picture runs (left to right), y away from the camera.

    Parameters
    ----------
    kind : {"plane", "length", "none"}
        Floor points were marked; only a known length was; or neither.
    matrix : (3, 3) float array
        Homography, held picture (px) → floor. Unit ``unit``.
    parameters : (K, 3, 3) float array
        Derivative of ``matrix`` by each of its K uncertain parameters.
    covariance : (K, K) float array
        Of those parameters. It is common to the whole clip and never averages out.
    scale_error : float
        Relative standard error of a length along the walk; 0 where ``kind`` is "none".
    trusted_px : (M, 2) float array
        Corners of the part of the held picture in which the map is interpolated, not extrapolated; empty for all.
    unit : {"m", "stride"}
        "stride" where the clip has no scale: ``matrix`` then gives an arbitrary length, and measures divide
        by the mean stride length.
    """

    kind: Literal["plane", "length", "none"]
    matrix: Array
    parameters: Array
    covariance: Array
    scale_error: float
    trusted_px: Array
    unit: Literal["m", "stride"]

    def to_floor(self, xy_px: Array) -> Array:
        """(N, 2) points of the held picture (px) → (N, 2) floor coordinates."""
        return apply_homography(self.matrix, xy_px)

    def to_picture(self, xy: Array) -> Array:
        """(N, 2) floor coordinates → (N, 2) points of the held picture (px)."""
        return apply_homography(np.asarray(np.linalg.inv(self.matrix), dtype=float), xy)

    def jacobian_by_point(self, xy_px: Array) -> Array:
        """(N, 2, 2): floor coordinates by the picture coordinates."""
        return differentiate_by_point(self.matrix, xy_px)

    def jacobian_by_parameters(self, xy_px: Array) -> Array:
        """(N, 2, K): floor coordinates by the uncertain parameters."""
        return differentiate_by_parameters(self.matrix, self.parameters, xy_px)

    def trusts(self, xy_px: Array) -> NDArray[np.bool_]:
        """(N,) bool: whether each point lies where the map is interpolated."""
        if len(self.trusted_px) == 0:
            return np.ones(len(xy_px), dtype=bool)
        edge = np.roll(self.trusted_px, -1, axis=0) - self.trusted_px
        to_point = xy_px[:, None, :] - self.trusted_px[None]
        side = edge[None, :, 0] * to_point[..., 1] - edge[None, :, 1] * to_point[..., 0]
        return np.asarray((side >= 0).all(axis=1) | (side <= 0).all(axis=1))


def fit_ground(marks: Marks, camera: CameraMotion, size_px: tuple[int, int], settings: Settings) -> Ground:
    """The floor from what was marked: floor points, else known lengths, else no scale.

    Parameters
    ----------
    marks : Marks
    camera : CameraMotion
        Marks made in any frame are first brought into the held picture.
    size_px : (int, int)
        Width and height of the picture.
    settings : Settings

    Raises
    ------
    MarksError
        With fewer than four floor points, floor points on one line, or a length without length.
    """
    if marks.ground:
        return _fit_plane(marks.ground, camera, settings)
    squarest = _squarest_frame(marks, camera)
    if marks.lengths:
        return _seen_from(squarest, _fit_lengths(marks.lengths, camera, squarest, size_px, settings))
    rows = [mark.xy_px[1] for mark in marks.hooves] or [0.8 * size_px[1]]
    level = tilted_ground(
        scale=1.0,
        tilt=_ASSUMED_TILT / max(size_px),
        middle=(size_px[0] / 2, float(np.mean(rows))),
        angle=0.0,
        size_px=size_px,
    )
    return _seen_from(squarest, level)


def _squarest_frame(marks: Marks, camera: CameraMotion) -> Array:
    """Map to the held picture from the frame in which a turning camera is taken to look square on the walk.

    That is the frame in the middle of the hoof marks: who turns with the animal turns as far before as after.
    """
    if not camera.moving:
        return np.eye(3)
    frames = sorted(mark.frame for mark in marks.hooves) or [len(camera.to_first) // 2]
    return camera.to_first[min(frames[len(frames) // 2], len(camera.to_first) - 1)]


def _seen_from(frame_to_held: Array, ground: Ground) -> Ground:
    back = np.asarray(np.linalg.inv(frame_to_held), dtype=float)
    return replace(ground, matrix=ground.matrix @ back, parameters=ground.parameters @ back)


def tilted_ground(
    *,
    scale: float,
    tilt: float,
    middle: tuple[float, float],
    angle: float,
    size_px: tuple[int, int],
    covariance: Array | None = None,
    kind: Literal["length", "none"] = "none",
) -> Ground:
    """The floor seen by a camera nearly level and nearly square to the walk, its scale known at one point.

    That the line of walk slants in the picture may come from a camera that leans or from one that is turned to the
    walk, so that one end is farther away; half is put down to each, and the doubt is kept.

    Parameters
    ----------
    scale : float
        Floor length per px along the walk at ``middle``.
    tilt : float
        Relative growth of px per floor length for each px further down the picture (1/px): the inverse of the
        height of that row below the horizon.
    middle : (float, float)
        Point of the picture (px).
    angle : float
        Direction of the line of walk in the picture (rad).
    covariance : (2, 2) float array or None
        Of (log scale, tilt); by default nothing is known of the scale and little of the tilt.
    """
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array(
        [[c, s, -c * middle[0] - s * middle[1]], [-s, c, s * middle[0] - c * middle[1]], [0, 0, 1]]
    )
    focal = _ASSUMED_FOCAL * max(size_px)
    yaw_part = (_ASSUMED_YAW / focal) ** 2
    share = yaw_part / (yaw_part + (_ASSUMED_LEAN * tilt) ** 2)
    slant = share * float(np.tan(angle)) * tilt
    depth = focal * scale
    level = np.array([[scale, 0, 0], [0, -depth * tilt, 0], [slant, tilt, 1]])
    by_log_scale = np.vstack([level[:2], np.zeros((1, 3))])
    by_tilt = np.array([[0, 0, 0], [0, -depth, 0], [0, 1, 0]], dtype=float)
    by_slant = np.array([[0, 0, 0], [0, 0, 0], [1, 0, 0]], dtype=float)
    full = np.zeros((3, 3))
    full[:2, :2] = np.diag([0.0, (_ASSUMED_TILT_ERROR * tilt) ** 2]) if covariance is None else covariance
    full[2, 2] = yaw_part * (1 - share)
    return Ground(
        kind=kind,
        matrix=level @ turn,
        parameters=np.stack([by_log_scale @ turn, by_tilt @ turn, by_slant @ turn]),
        covariance=full,
        scale_error=float(np.sqrt(full[0, 0])),
        trusted_px=np.empty((0, 2)),
        unit="m" if kind == "length" else "stride",
    )


def _hold(camera: CameraMotion, frame: int, xy_px: tuple[float, float]) -> Array:
    return camera.hold(np.array([frame]), np.array([xy_px], dtype=float))[0]


def _fit_plane(points: tuple[FloorPoint, ...], camera: CameraMotion, settings: Settings) -> Ground:
    if len(points) < 4:
        raise MarksError(
            f"{len(points)} floor points are marked, but the floor's plane needs at least 4.",
            "Mark more floor points, or mark one known length along the line of walk instead.",
        )
    source = np.array([_hold(camera, p.frame, p.xy_px) for p in points])
    target = np.array([p.xy_m for p in points], dtype=float)
    try:
        fit = fit_homography(
            source,
            target,
            source_error=settings.floor_point_error_px,
            target_error=settings.floor_point_error,
        )
    except (DegenerateError, np.linalg.LinAlgError) as error:
        raise MarksError(
            f"The floor points do not span a plane ({error}): at least two must lie along the walk "
            "and two off that line.",
            "Spread the points: a near and a far row, each with a point at the left and at the right.",
        ) from error
    inflate = max(1.0, fit.chi2 / fit.freedom) if fit.freedom > 0 else 1.0
    if inflate > 50:
        worst = int(np.argmax(np.hypot(*fit.residual.T)))
        off = float(np.hypot(*fit.residual[worst]))
        raise MarksError(
            f"The floor points contradict one another: point {worst + 1} lies {off * 100:.0f} cm from where "
            "the others put it.",
            "Check its place in the picture and its measures: x along the walk to the right, y away from the camera.",
        )
    ground = Ground(
        kind="plane",
        matrix=fit.matrix,
        parameters=fit.parameters,
        covariance=fit.covariance * inflate,
        scale_error=0.0,
        trusted_px=_grow(_hull(source), 1.25),
        unit="m",
    )
    return replace(ground, scale_error=_relative_scale_error(ground, source.mean(axis=0)))


def _relative_scale_error(ground: Ground, centre_px: Array, length: float = 1.4) -> float:
    """Relative standard error of one stride's length along x about the middle of the floor points."""
    middle = ground.to_floor(centre_px[None])[0]
    ends = ground.to_picture(np.array([middle - [length / 2, 0], middle + [length / 2, 0]]))
    gradient = np.diff(ground.jacobian_by_parameters(ends)[:, 0], axis=0)[0]
    return float(np.sqrt(gradient @ ground.covariance @ gradient) / length)


def _fit_lengths(
    lengths: tuple[KnownLength, ...],
    camera: CameraMotion,
    squarest: Array,
    size_px: tuple[int, int],
    settings: Settings,
) -> Ground:
    held = np.array([_hold(camera, k.frame, xy) for k in lengths for xy in (k.from_px, k.to_px)])
    ends = apply_homography(np.asarray(np.linalg.inv(squarest), dtype=float), held).reshape(-1, 2, 2)
    span = ends[:, 1] - ends[:, 0]
    span *= np.where(span[:, :1] < 0, -1.0, 1.0)
    pixels = np.hypot(*span.T)
    known = np.array([k.length for k in lengths])
    if not (pixels > 10).all():
        raise MarksError(
            f"A known length is only {pixels.min():.0f} px long in the picture; at least 10 px are needed.",
            "Mark both its ends, the longer the better.",
        )
    angle = float(np.arctan2(*(span * pixels[:, None]).sum(axis=0)[::-1]))
    rows = ends.mean(axis=1) @ [-np.sin(angle), np.cos(angle)]
    error = (
        2 * (settings.floor_point_error_px / known) ** 2
        + (settings.floor_point_error * pixels / known**2) ** 2
    )
    weight = 1.0 / error
    centre = (weight[:, None] * ends.mean(axis=1)).sum(axis=0) / weight.sum()
    drop = rows - (weight * rows).sum() / weight.sum()
    log_scale, tilt, covariance = _fit_tilt(pixels / known, weight, drop, _ASSUMED_TILT / max(size_px))
    return tilted_ground(
        scale=float(np.exp(log_scale)),
        tilt=tilt,
        middle=(float(centre[0]), float(centre[1])),
        angle=angle,
        size_px=size_px,
        covariance=covariance,
        kind="length",
    )


def _fit_tilt(per_metre: Array, weight: Array, drop: Array, assumed: float) -> tuple[float, float, Array]:
    """Scale and tilt from px per metre at several rows, with a wide prior on the tilt."""
    a, b = float((weight * per_metre).sum() / weight.sum()), assumed
    prior = (_ASSUMED_TILT_ERROR * assumed) ** -2
    normal = np.eye(2)
    for _ in range(20):
        model = a * (1 + b * drop)
        jac = np.column_stack([1 + b * drop, a * drop])
        normal = jac.T @ (weight[:, None] * jac) + np.diag([0.0, prior])
        step = np.linalg.solve(normal, jac.T @ (weight * (per_metre - model)) + [0.0, prior * (assumed - b)])
        a, b = a + step[0], b + step[1]
    to_log = np.diag([-1.0 / a, 1.0])
    return -np.log(a), b, to_log @ np.linalg.inv(normal) @ to_log.T


def _hull(xy: Array) -> Array:
    """Corners of the convex hull in order (monotone chain)."""
    points = xy[np.lexsort((xy[:, 1], xy[:, 0]))]

    def chain(sequence: Array) -> list[Array]:
        corners: list[Array] = []
        for point in sequence:
            while len(corners) > 1:
                u, v = corners[-1] - corners[-2], point - corners[-2]
                if u[0] * v[1] - u[1] * v[0] > 0:
                    break
                corners.pop()
            corners.append(point)
        return corners[:-1]

    return np.array(chain(points) + chain(points[::-1]))


def _grow(corners: Array, factor: float) -> Array:
    centre = corners.mean(axis=0)
    return centre + factor * (corners - centre)
