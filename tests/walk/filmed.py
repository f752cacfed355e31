"""A floor, a wall and something walking past, filmed by a camera whose every pose is known."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from stride.numeric.turns import turn_by
from stride.walk.clip import Frame

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

#: Height of the lens over the floor, distance of the line of walk and of the wall (m).
HEIGHT, WALK, WALL = 1.1, 4.5, 6.0
_FLOOR_FINE, _WALL_FINE = 110.0, 90.0
_HALF = 9.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """What is filmed and how.

    ``pose(t)`` gives turn (rotation vector, rad) and place (m) of the camera at a time (s), against its axes at rest: x
    right, y down, z ahead. ``contrast`` scales all texture, 0 for bare surfaces. ``readout`` is the time from the first
    to the last row (s), ``zoom(t)`` a factor on the focal length, ``bend`` the lens's first radial coefficient at the
    picture's half width.
    """

    pose: Callable[[float], tuple[Array, Array]]
    size_px: tuple[int, int] = (480, 270)
    focal_px: float = 420.0
    frames: int = 60
    rate: float = 30.0
    contrast: float = 1.0
    animal: bool = True
    readout: float = 0.0
    bend: float = 0.0
    zoom: Callable[[float], float] = field(default=lambda t: 1.0)
    seed: int = 0

    @property
    def times(self) -> Array:
        """(N,) s."""
        return np.arange(self.frames) / self.rate

    def floor_to_px(self, t: float, row_px: float | None = None) -> Array:
        """Homography from the floor (x right, z ahead, m) to pixels, as a given row is read out."""
        late = 0.0 if row_px is None else self.readout * (row_px / self.size_px[1] - 0.5)
        return self._plane(t + late, np.array([0.0, HEIGHT, 0.0]), np.array([0.0, 0.0, 1.0]))

    def _plane(self, t: float, origin: Array, second: Array) -> Array:
        vector, place = self.pose(t)
        focal = self.focal_px * self.zoom(t)
        inner = np.array(
            [[focal, 0, (self.size_px[0] - 1) / 2], [0, focal, (self.size_px[1] - 1) / 2], [0, 0, 1.0]]
        )
        axes = np.column_stack([[1.0, 0, 0], second, origin - place])
        return np.asarray(inner @ turn_by(vector) @ axes)


def film(what: Film) -> Iterator[Frame]:
    """The frames, sharp and with a little sensor noise."""
    rng = np.random.default_rng(what.seed)
    floor = _texture(rng, (round(WALL * _FLOOR_FINE), round(2 * _HALF * _FLOOR_FINE)), 120, what.contrast)
    wall = _texture(rng, (round(3 * _WALL_FINE), round(2 * _HALF * _WALL_FINE)), 90, what.contrast)
    coat = _texture(rng, (80, 160), 110, 1.5)
    for index, t in enumerate(what.times):
        luma = _paint(what, float(t), floor, wall, coat)
        if what.bend:
            luma = _bend(luma, what.bend)
        noisy = luma + rng.normal(0.0, 1.5, luma.shape)
        picture = np.clip(noisy, 0, 255).astype(np.uint8)
        yield Frame(index=index, t=float(t), luma=picture, load_image=lambda p=picture: np.dstack([p] * 3))


def _paint(what: Film, t: float, floor: Array, wall: Array, coat: Array) -> Array:
    width, height = what.size_px
    strips = 1 if not what.readout else 18
    picture = np.empty((height, width))
    edges = np.linspace(0, height, strips + 1).round().astype(int)
    for first, last in pairwise(edges):
        late = what.readout * (0.5 * (first + last) / height - 0.5)
        picture[first:last] = _paint_rows(what, t + late, floor, wall, coat, first, last)
    return picture


def _paint_rows(what: Film, t: float, floor: Array, wall: Array, coat: Array, first: int, last: int) -> Array:
    width = what.size_px[0]
    finer = np.array([[2.0, 0, 0.5], [0, 2.0, 0.5 - 2.0 * first], [0, 0, 1.0]])
    size = (2 * width, 2 * (last - first))

    def lay(texture: Array, plane: Array, corner: tuple[float, float], fine: float) -> Array:
        pixel = np.array([[1 / fine, 0, corner[0]], [0, 1 / fine, corner[1]], [0, 0, 1.0]])
        return cv2.warpPerspective(
            texture.astype(np.float32), finer @ plane @ pixel, size, flags=cv2.INTER_LINEAR, borderValue=-1e4
        )

    flat = what._plane(t, np.array([0.0, HEIGHT, 0.0]), np.array([0.0, 0.0, 1.0]))
    upright = what._plane(t, np.array([0.0, 0.0, WALL]), np.array([0.0, 1.0, 0.0]))
    shown = lay(wall, upright, (-_HALF, HEIGHT - 3.0), _WALL_FINE)
    ground = lay(floor, flat, (-_HALF, 0.0), _FLOOR_FINE)
    shown = np.where(ground >= 0, ground, shown)
    if what.animal:
        x = -1.6 + 1.3 * t
        side = what._plane(t, np.array([0.0, 0.0, WALK]), np.array([0.0, 1.0, 0.0]))
        for k in range(4):
            step = 0.25 * np.sin(2 * np.pi * (t / 1.2 + k / 4))
            leg = lay(coat[:, :20], side, (x + (0.2, 0.35, 1.15, 1.3)[k] + step, HEIGHT - 0.8), 100.0)
            shown = np.where(leg >= 0, leg, shown)
        trunk = lay(coat, side, (x, HEIGHT - 1.5), 100.0)
        shown = np.where(trunk >= 0, trunk, shown)
    shown = np.where(shown < 0, 60.0, shown)
    return cv2.resize(shown, (width, last - first), interpolation=cv2.INTER_AREA)


def _texture(rng: np.random.Generator, shape: tuple[int, int], base: float, contrast: float) -> Array:
    fine, coarse = (cv2.GaussianBlur(rng.normal(size=shape), (0, 0), sigma) for sigma in (2.0, 7.0))
    return base + contrast * (16 * fine / fine.std() + 14 * coarse / coarse.std())


def _bend(picture: Array, bend: float) -> Array:
    """The picture as a lens shows it that moves points out by ``bend`` r² of their distance, r in half widths."""
    height, width = picture.shape
    x, y = np.meshgrid(np.arange(width) - (width - 1) / 2, np.arange(height) - (height - 1) / 2)
    factor = 1 / (1 + bend * (x**2 + y**2) / (width / 2) ** 2)
    return cv2.remap(
        picture.astype(np.float32),
        (x * factor + (width - 1) / 2).astype(np.float32),
        (y * factor + (height - 1) / 2).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )


def shaking(strength: float = 1.0, seed: int = 0) -> Callable[[float], tuple[Array, Array]]:
    """A camera held in the hand."""
    rng = np.random.default_rng(seed)
    phase, rate = rng.uniform(0, 2 * np.pi, (6, 2)), np.array([0.5, 2.1])

    def pose(t: float) -> tuple[Array, Array]:
        wave = (np.sin(2 * np.pi * rate * t + phase) * [1.0, 0.3]).sum(axis=1)
        wave = wave - (np.sin(phase) * [1.0, 0.3]).sum(axis=1)
        return strength * wave[:3] * [0.006, 0.008, 0.003], strength * wave[3:] * [0.015, 0.006, 0.010]

    return pose


def turning(angle: float, duration: float, seed: int = 0) -> Callable[[float], tuple[Array, Array]]:
    """A camera in the hand that turns to the right by ``angle`` (rad), evenly, half of it before square on."""
    hand = shaking(seed=seed)

    def pose(t: float) -> tuple[Array, Array]:
        vector, place = hand(t)
        return vector + np.array([0.0, -angle * (t / duration - 0.5), 0.0]), place

    return pose
