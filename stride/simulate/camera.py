"""The phone that films: a pinhole camera on a tripod, in the hand, or turning after the animal.

Pixel (0, 0) is the centre of the top-left pixel. At rest the camera looks along +y (away from the filmer), its
right is +x and its up is +z.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .gait import Walk

Array = NDArray[np.float64]
CameraKind = Literal["tripod", "handheld", "panning"]

_AT_REST = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Where the camera is and looks at any time.

    Parameters
    ----------
    kind : {"tripod", "handheld", "panning"}
    size_px : (int, int)
        Width and height.
    focal_px : float
    place : (float, float, float)
        x, y, z of the lens (m), before shake.
    angles : (float, float, float)
        Yaw (to the right), pitch (upwards) and roll (clockwise as seen) (rad), before shake and turning.
    shake : (6, K, 3) float array
        For yaw, pitch, roll (rad), x, y, z (m): K slow waves of amplitude, frequency (Hz) and phase (rad).
    turning : (2, M) float array
        Times (s) and yaw added at them (rad), for a camera that turns after the animal.
    """

    kind: CameraKind
    size_px: tuple[int, int]
    focal_px: float
    place: tuple[float, float, float]
    angles: tuple[float, float, float]
    shake: Array
    turning: Array

    def pose_at(self, t: ArrayLike) -> tuple[Array, Array]:
        """Rotation world → camera and place of the lens.

        Returns
        -------
        rotation : (N, 3, 3) float array
        place : (N, 3) float array
            (m)
        """
        times = np.atleast_1d(np.asarray(t, dtype=float))
        waves = np.zeros((6, len(times)))
        if self.shake.size:
            amplitude, frequency, phase = (self.shake[..., i][..., None] for i in range(3))
            waves = (amplitude * np.sin(2 * math.pi * frequency * times + phase)).sum(axis=1)
        yaw, pitch, roll = (angle + wave for angle, wave in zip(self.angles, waves[:3], strict=True))
        if self.turning.size:
            yaw = yaw + np.interp(times, self.turning[0], self.turning[1])
        return _rotations(yaw, pitch, roll), np.asarray(self.place) + waves[3:].T

    def view_at(self, t: float) -> View:
        """The still view at one time."""
        rotation, place = self.pose_at([t])
        return View(size_px=self.size_px, focal_px=self.focal_px, rotation=rotation[0], place=place[0])

    def floor_to_px(self, t: ArrayLike) -> Array:
        """Homographies from the floor (m) to pixels at each time, (N, 3, 3) float array."""
        rotation, place = self.pose_at(t)
        inner, (right, up, _) = _inner(self.focal_px, self.size_px), np.eye(3)
        return np.stack(
            [_plane_homography(inner, r, -c, right, up) for r, c in zip(rotation, place, strict=True)]
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A camera held still at one time."""

    size_px: tuple[int, int]
    focal_px: float
    rotation: Array
    place: Array

    def to_px(self, xyz: ArrayLike) -> Array:
        """Pixels of points in the world, (N, 3) m → (N, 2)."""
        seen = self._seen(xyz)
        centre = (np.array(self.size_px) - 1) / 2
        return self.focal_px * seen[:, :2] / seen[:, 2:] + centre

    def px_per_m(self, xyz: ArrayLike) -> Array:
        """Pixels that one metre across the line of sight covers at each point, (N, 3) m → (N,)."""
        return self.focal_px / self._seen(xyz)[:, 2]

    def plane_to_px(self, origin: ArrayLike, right: ArrayLike, up: ArrayLike) -> Array:
        """Homography from the plane ``origin + u·right + v·up`` (m) to pixels, (3, 3)."""
        start, right, up = (np.asarray(a, dtype=float) for a in (origin, right, up))
        inner = _inner(self.focal_px, self.size_px)
        return _plane_homography(inner, self.rotation, start - self.place, right, up)

    def floor_to_px(self) -> Array:
        """Homography from the floor (m) to pixels, (3, 3)."""
        return self.plane_to_px(np.zeros(3), np.eye(3)[0], np.eye(3)[1])

    def _seen(self, xyz: ArrayLike) -> Array:
        points = np.atleast_2d(np.asarray(xyz, dtype=float))
        seen = (points - self.place) @ self.rotation.T
        seen[:, 2] = np.maximum(seen[:, 2], 0.05)
        return np.asarray(seen)


def draw_camera(rng: np.random.Generator, kind: CameraKind, walk: Walk, size_px: tuple[int, int]) -> Camera:
    """Draw where a person would put the phone to film ``walk``.

    The picture is 5–7 m wide at the line of walk for a camera that does not turn; one that turns follows the
    animal through 40–90°.
    """
    width, height = size_px
    distance = rng.uniform(3.6, 6.2)
    wide = rng.uniform(5.2, 7.0)
    focal = width * distance / wide
    if kind == "panning":
        distance = rng.uniform(3.8, 5.2)
        focal = width * distance / rng.uniform(3.8, 4.8)
    lens_height = rng.uniform(0.6, 1.6)
    feet_row = rng.uniform(0.78, 0.90)
    below = math.atan(lens_height / distance)
    pitch = math.atan((feet_row - 0.5) * height / focal) - below
    yaw = rng.uniform(-0.10, 0.10) if kind != "panning" else 0.0
    roll = rng.normal(0.0, 0.012)
    place = (-distance * math.tan(yaw), -distance, lens_height)
    shake = np.zeros((6, 0, 3)) if kind == "tripod" else _draw_shake(rng, kind)
    turning = _follow_body(rng, walk, place) if kind == "panning" else np.zeros((2, 0))
    return Camera(
        kind=kind,
        size_px=size_px,
        focal_px=focal,
        place=place,
        angles=(yaw, pitch, roll),
        shake=shake,
        turning=turning,
    )


def _draw_shake(rng: np.random.Generator, kind: CameraKind) -> Array:
    """Body sway below 1 Hz, tremor to 8 Hz; amplitude falls with frequency."""
    waves = 9
    frequency = np.exp(rng.uniform(np.log(0.15), np.log(8.0), (6, waves)))
    strength = rng.uniform(0.5, 1.2)
    amplitude = np.empty((6, waves))
    amplitude[:3] = strength * np.array([[0.0065], [0.0055], [0.0035]]) / (1 + (frequency[:3] / 0.7) ** 1.5)
    amplitude[3:] = strength * np.array([[0.012], [0.006], [0.006]]) / (1 + (frequency[3:] / 0.6) ** 2)
    phase = rng.uniform(0, 2 * math.pi, (6, waves))
    return np.stack([amplitude * rng.uniform(0.3, 1.0, (6, waves)), frequency, phase], axis=-1)


def _follow_body(rng: np.random.Generator, walk: Walk, place: tuple[float, float, float]) -> Array:
    """Yaw that keeps the animal in the picture, smoothed as a hand smooths it."""
    t = np.linspace(0.0, walk.duration, 240)
    body = walk.body_at(t)
    lag = rng.uniform(0.05, 0.25)
    late = np.interp(t - lag, t, body[:, 0])
    yaw = np.arctan2(late - place[0], body[:, 1] - place[1])
    reach = math.radians(rng.uniform(40, 90)) / 2
    yaw = reach * np.tanh(yaw / reach)
    smooth = np.polynomial.Polynomial.fit(t, yaw, 7)
    return np.stack([t, smooth(t)])


def _rotations(yaw: Array, pitch: Array, roll: Array) -> Array:
    """World → camera for each triple of angles, (N, 3, 3)."""
    zero, one = np.zeros_like(yaw), np.ones_like(yaw)

    def stack(rows: list[list[Array]]) -> Array:
        return np.moveaxis(np.array(rows), -1, 0)

    turn = stack(
        [
            [np.cos(yaw), zero, -np.sin(yaw)],
            [zero, one, zero],
            [np.sin(yaw), zero, np.cos(yaw)],
        ]
    )
    lift = stack(
        [
            [one, zero, zero],
            [zero, np.cos(pitch), np.sin(pitch)],
            [zero, -np.sin(pitch), np.cos(pitch)],
        ]
    )
    tilt = stack(
        [
            [np.cos(roll), np.sin(roll), zero],
            [-np.sin(roll), np.cos(roll), zero],
            [zero, zero, one],
        ]
    )
    return np.asarray(tilt @ lift @ turn @ _AT_REST)


def _plane_homography(inner: Array, rotation: Array, origin: Array, right: Array, up: Array) -> Array:
    """From plane coordinates to pixels; ``origin`` counts from the lens."""
    return np.asarray(inner @ rotation @ np.column_stack([right, up, origin]))


def _inner(focal_px: float, size_px: tuple[int, int]) -> Array:
    """Camera coordinates → pixels, (3, 3)."""
    width, height = size_px
    return np.array([[focal_px, 0.0, (width - 1) / 2], [0.0, focal_px, (height - 1) / 2], [0.0, 0.0, 1.0]])
