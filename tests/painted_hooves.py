"""A few textured hooves painted on a textured floor, small and quick, with the place of every toe tip known.

The picture is 320 × 180 px, a hoof 20 px long, 60 frames a second. Hooves are painted in the order given, so what
comes later passes in front. Each has a leg above it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from stride.walk.clip import Frame
from stride.walk.following import HoofShape
from stride.walk.limbs import Limb
from stride.walk.marks import HoofMark

from .textures import make_texture

Array = NDArray[np.float64]

SIZE_PX = (320, 180)
SHAPE = HoofShape(length_px=20.0, facing=1)
FRAME_RATE = 60.0
# The hoof's own picture: the toe tip is this far from its left and upper edge.
_BLOCK_PX = (44, 96)
_TIP = (30.0, 88.0)
_LIFT_PX = 16.0
_HEEL_RISE = 0.16


@dataclass(frozen=True, slots=True, kw_only=True)
class Stance:
    """The toe tip at a place (px) from ``begin`` to ``end`` (s)."""

    xy_px: tuple[float, float]
    begin: float
    end: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Hoof:
    """A limb with its stances in order; between them it swings."""

    limb: Limb
    stances: tuple[Stance, ...]

    def at(self, t: float) -> tuple[Array, float]:
        """Place of the toe tip (px) and how far the heel is up (rad, clockwise in the picture)."""
        before = [one for one in self.stances if one.begin <= t] or [self.stances[0]]
        here = before[-1]
        later = [one for one in self.stances if one.begin > here.begin]
        if t <= here.end or not later:
            rising = max(0.0, t - here.end + _HEEL_RISE) / _HEEL_RISE if later else 0.0
            return np.array(here.xy_px), 0.5 * min(rising, 1.0) ** 2
        share = (t - here.end) / (later[0].begin - here.end)
        ease = share**3 * (10 - 15 * share + 6 * share**2)
        way = np.subtract(later[0].xy_px, here.xy_px)
        rise = _LIFT_PX * (16 * share**2 * (1 - share) ** 2)
        return here.xy_px + ease * way - [0.0, rise], 0.5 * (1 - share) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class PaintedScene:
    """Hooves on a floor; ``looks`` has the texture of each hoof and ``floor`` that of the ground."""

    hooves: tuple[Hoof, ...]
    looks: tuple[NDArray[np.uint8], ...]
    floor: NDArray[np.uint8]
    noise: float
    seed: int

    def mark(self, limb: Limb, frame: int, click: Sequence[float] = (0.0, 0.0)) -> HoofMark:
        """A mark on the toe tip, ``click`` px off."""
        x, y = self.toe_px(limb, frame) + click
        return HoofMark(limb=limb, frame=frame, xy_px=(float(x), float(y)))

    def toe_px(self, limb: Limb, frame: int) -> Array:
        """True place of a toe tip (px)."""
        hoof = next(one for one in self.hooves if one.limb == limb)
        return hoof.at(frame / FRAME_RATE)[0]

    def toes_px(self, limb: Limb, frames: Sequence[int] | NDArray[np.intp]) -> Array:
        """(K, 2)."""
        return np.array([self.toe_px(limb, int(frame)) for frame in frames])

    def hidden(self, limb: Limb, frame: int) -> float:
        """Share of a hoof that other hooves and legs cover."""
        number = next(k for k, one in enumerate(self.hooves) if one.limb == limb)
        own = self._cover(number, frame, sole_only=True)
        over = np.zeros_like(own)
        for k in range(number + 1, len(self.hooves)):
            over = np.maximum(over, self._cover(k, frame))
        return float((own * over).sum() / max(own.sum(), 1e-6))

    def paint(self, frame: int) -> NDArray[np.uint8]:
        """The picture (H, W) uint8."""
        picture = self.floor.astype(np.float32)
        for number, look in enumerate(self.looks):
            cover = self._cover(number, frame)
            picture += cover * (self._place(look.astype(np.float32), number, frame) - picture)
        grain = np.random.default_rng([self.seed, frame]).standard_normal(picture.shape)
        return np.clip(np.round(picture + self.noise * grain), 0, 255).astype(np.uint8)

    def film(self, frames: int) -> Iterator[Frame]:
        """The clip, one frame at a time."""
        for index in range(frames):
            luma = self.paint(index)
            yield Frame(index=index, t=index / FRAME_RATE, luma=luma, load_image=lambda luma=luma: luma)

    def _cover(self, number: int, frame: int, *, sole_only: bool = False) -> NDArray[np.float32]:
        return self._place(_outline(sole_only), number, frame)

    def _place(self, block: NDArray[np.float32], number: int, frame: int) -> NDArray[np.float32]:
        xy, angle = self.hooves[number].at(frame / FRAME_RATE)
        c, s = np.cos(angle), np.sin(angle)
        matrix = np.array(
            [
                [c, -s, xy[0] - c * _TIP[0] + s * _TIP[1]],
                [s, c, xy[1] - s * _TIP[0] - c * _TIP[1]],
            ]
        )
        return np.asarray(cv2.warpAffine(block, matrix, SIZE_PX, flags=cv2.INTER_LINEAR), dtype=np.float32)


def paint_scene(
    hooves: Sequence[Hoof], seed: int = 0, *, noise: float = 1.5, alike: bool = False
) -> PaintedScene:
    """A scene with textures drawn from a seed; hooves that are ``alike`` share one."""
    rng = np.random.default_rng(seed)
    looks = tuple(
        np.clip(70 + 22 * make_texture(rng, waves=30).draw(_BLOCK_PX), 0, 255).astype(np.uint8)
        for _ in hooves
    )
    if alike:
        looks = looks[:1] * len(looks)
    floor = np.clip(140 + 10 * make_texture(rng, waves=40, finest=5.0).draw(SIZE_PX), 0, 255)
    return PaintedScene(
        hooves=tuple(hooves), looks=looks, floor=floor.astype(np.uint8), noise=noise, seed=seed
    )


def _outline(sole_only: bool) -> NDArray[np.float32]:
    """What hoof and leg cover in the hoof's own picture: the hoof 20 px long and 11 px high, the leg 11 px wide."""
    x, y = _TIP
    shape = np.zeros(_BLOCK_PX[::-1], dtype=np.uint8)
    hoof = np.array([[x, y], [x - 20, y], [x - 17, y - 11], [x - 6, y - 11]])
    leg = np.array([[x - 17, y - 10], [x - 6, y - 10], [x - 7, 0], [x - 18, 0]])
    for part in (hoof,) if sole_only else (hoof, leg):
        cv2.fillConvexPoly(shape, np.round(part * 16).astype(np.int32), 255, lineType=cv2.LINE_AA, shift=4)
    return shape.astype(np.float32) / 255


def stands(x: float, y: float, begin: float, end: float) -> Stance:
    """Short for a stance."""
    return Stance(xy_px=(x, y), begin=begin, end=end)
