"""The light of the barn, and what the sensor makes of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LightKind = Literal["bright", "dim", "hard", "soft"]

_SPARE_PX = 64

LIGHTS: tuple[LightKind, ...] = ("bright", "dim", "hard", "soft")


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Light and exposure.

    Parameters
    ----------
    towards : (x, y, z) floats
        Direction to the light.
    ambient : float
        Brightness of what the light does not reach, 0 to 1.
    level : float
        Brightness of the picture; 1 is full.
    falloff : float
        Relative change of brightness per metre along x.
    drift : (amplitude, frequency Hz, phase) floats
        Slow change of exposure.
    shadow : float
        How dark the cast shadow is, 0 to 1.
    shadow_blur : float
        Softness of its edge (m).
    noise : float
        Standard deviation of sensor noise (grey levels).
    shutter : float
        Exposure time (s).
    blur_px : float
        Defocus (px, standard deviation).
    """

    towards: tuple[float, float, float]
    ambient: float
    level: float
    falloff: float
    drift: tuple[float, float, float]
    shadow: float
    shadow_blur: float
    noise: float
    shutter: float
    blur_px: float

    @property
    def unit(self) -> Array:
        """(3,) unit vector to the light."""
        return np.array(self.towards) / np.linalg.norm(self.towards)

    def gain_at(self, t: float, x: float) -> float:
        """Brightness of things standing at ``x`` (m) at time ``t`` (s)."""
        amplitude, frequency, phase = self.drift
        return (1 + amplitude * math.sin(2 * math.pi * frequency * t + phase)) * max(
            0.4, 1 + self.falloff * x
        )


def draw_light(rng: np.random.Generator, kind: LightKind | None = None) -> Light:
    """Draw the light of one clip; ``kind`` sets its character."""
    kind = kind or LIGHTS[rng.integers(len(LIGHTS))]
    hard = kind == "hard" or (kind == "bright" and rng.random() < 0.5)
    side = rng.choice([-1.0, 1.0]) * (rng.uniform(0.25, 0.9) if hard else rng.uniform(0.0, 0.4))
    level = {"bright": 1.05, "hard": 1.0, "soft": 0.9, "dim": 0.62}[kind] * rng.uniform(0.92, 1.05)
    dim = kind == "dim"
    return Light(
        towards=(side, rng.uniform(-0.55, -0.15) if hard else rng.uniform(-0.35, 0.05), 1.0),
        ambient=rng.uniform(0.30, 0.42) if hard else rng.uniform(0.42, 0.6),
        level=level,
        falloff=rng.uniform(-0.05, 0.05),
        drift=(rng.uniform(0.0, 0.03), rng.uniform(0.05, 0.3), rng.uniform(0.0, 6.28)),
        shadow=rng.uniform(0.45, 0.65) if hard else rng.uniform(0.25, 0.45),
        shadow_blur=rng.uniform(0.01, 0.03) if hard else rng.uniform(0.05, 0.12),
        noise=rng.uniform(3.0, 5.5) if dim else rng.uniform(1.0, 3.0),
        shutter=1 / rng.uniform(60, 125) if dim else 1 / rng.uniform(150, 600),
        blur_px=rng.uniform(0.3, 0.7),
    )


def paint_grain(rng: np.random.Generator, light: Light, size_px: tuple[int, int]) -> list[NDArray[np.int16]]:
    """Pieces of sensor noise, larger than the picture, to be cut at random for each frame."""
    shape = (size_px[1] + _SPARE_PX, size_px[0] + _SPARE_PX)
    grains = []
    for _ in range(3):
        luma = rng.standard_normal((*shape, 1), dtype=np.float32)
        chroma = cv2.GaussianBlur(rng.standard_normal((*shape, 3), dtype=np.float32), (3, 3), 0)
        grains.append(np.round(light.noise * (0.85 * luma + 0.5 * chroma)).astype(np.int16))
    return grains


def expose(
    picture: NDArray[np.uint8],
    light: Light,
    gain: float,
    grain: list[NDArray[np.int16]],
    rng: np.random.Generator,
) -> None:
    """Focus, exposure and noise of one frame, in place."""
    if light.blur_px > 0.25:
        cv2.GaussianBlur(picture, (5, 5), light.blur_px, picture)
    if abs(gain - 1) > 1e-3:
        cv2.convertScaleAbs(picture, picture, gain)
    height, width = picture.shape[:2]
    dy, dx = rng.integers(0, _SPARE_PX, 2)
    piece = grain[rng.integers(len(grain))][dy : dy + height, dx : dx + width]
    cv2.add(picture, piece, picture, dtype=cv2.CV_8U)
