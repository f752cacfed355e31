"""Pictures of a texture that can be shifted and turned exactly: a sum of plane waves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Texture:
    """Plane waves: ``vectors`` (K, 2) in rad/px, ``phases`` (K,), ``sizes`` (K,); variance 1 in all."""

    vectors: Array
    phases: Array
    sizes: Array

    def draw(
        self, size_px: tuple[int, int], at: tuple[float, float] | Array = (0.0, 0.0), angle: float = 0.0
    ) -> Array:
        """The texture with its origin at a point and turned clockwise about it (rad): (H, W) float array."""
        c, s = np.cos(angle), np.sin(angle)
        kx, ky = (self.vectors @ np.array([[c, s], [-s, c]])).T
        columns, rows = np.arange(size_px[0]) - at[0], np.arange(size_px[1]) - at[1]
        down = self.sizes * np.exp(1j * (np.outer(rows, ky) + self.phases))
        across = np.exp(1j * np.outer(kx, columns))
        # einsum, since a matrix product this small spends its time in waking threads
        return np.asarray(np.einsum("rk,kc->rc", down, across).real)


def make_texture(rng: np.random.Generator, *, waves: int = 60, finest: float = 6.0) -> Texture:
    """Waves of ``finest`` to 40 px in all directions."""
    vectors = 2 * np.pi / np.exp(rng.uniform(np.log(finest), np.log(40.0), waves))
    way = rng.uniform(0, 2 * np.pi, waves)
    sizes = rng.uniform(0.5, 1.0, waves)
    return Texture(
        vectors=vectors[:, None] * np.column_stack([np.cos(way), np.sin(way)]),
        phases=rng.uniform(0, 2 * np.pi, waves),
        sizes=sizes * np.sqrt(2 / np.sum(sizes**2)),
    )


def make_tile(rng: np.random.Generator, side_px: int, *, waves: int = 60) -> Texture:
    """Waves that go on unbroken from one edge of a square picture to the other, none finer than 6 px."""
    most = side_px // 6
    vectors = rng.integers(-most, most + 1, (waves, 2)) * (2 * np.pi / side_px)
    return Texture(
        vectors=vectors,
        phases=rng.uniform(0, 2 * np.pi, waves),
        sizes=np.full(waves, np.sqrt(2 / waves)),
    )


def to_picture(texture: Array, *, gain: float = 25.0, offset: float = 120.0) -> NDArray[np.uint8]:
    """Brightness of 8 bits."""
    return np.clip(np.round(offset + gain * texture), 0, 255).astype(np.uint8)
