"""The hoof painted as a solid: walls that face the camera, in growth rings from sole to coronet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .camera import View
from .canvas import Canvas, Colour
from .light import Light
from .shapes import Look

Array = NDArray[np.float64]

_WALLS, _BANDS = 10, 6
_MUD = np.array([60.0, 76.0, 90.0])
_SOLE_TONE = 0.45
_NEXT = np.roll(np.arange(_WALLS), -1)
_YZX, _ZXY = [1, 2, 0], [2, 0, 1]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoofPaint:
    """Tones of one hoof.

    Parameters
    ----------
    walls : (10, 6, 3) float array
        Colour of each wall's bands from sole to coronet, before light.
    sole, crown : (3,) float arrays
    """

    walls: Array
    sole: Array
    crown: Array


def mix_hoof(rng: np.random.Generator, look: Look, hair: Array, *, near: bool) -> HoofPaint:
    """Mix the colours of one hoof: rings, scuffs, mud at the sole, hair at the coronet."""
    base = np.array(look.hoof_colour, dtype=float) * rng.uniform(0.85, 1.15)
    rings = 1 + 0.16 * rng.uniform(-1, 1, (1, _BANDS, 1))
    scuffs = 1 + 0.12 * rng.uniform(-1, 1, (_WALLS, _BANDS, 1))
    walls = base * rings * scuffs
    light = rng.random((_WALLS, _BANDS, 1)) < 0.08
    walls = np.where(light, walls * 0.5 + 60, walls)
    share = look.mud * np.linspace(0.9, 0.0, _BANDS)[None, :, None] * rng.uniform(0.4, 1.0, (_WALLS, 1, 1))
    walls = walls * (1 - share) + _MUD * share
    dim = 1.0 if near else 0.66
    return HoofPaint(walls=walls * dim, sole=base * _SOLE_TONE * dim, crown=hair * 0.5 * dim)


def paint_hoof(canvas: Canvas, view: View, paint: HoofPaint, world: Array, light: Light) -> None:
    """Paint one hoof, its corners ``world`` (20, 3) m as ``hoof_outline`` gives them."""
    sole, crown = world[:_WALLS], world[_WALLS:]
    levels = np.linspace(0.0, 1.0, _BANDS + 1)[:, None, None]
    spots = canvas.fixed(view.to_px((sole + levels * (crown - sole)).reshape(-1, 3))).reshape(-1, _WALLS, 2)
    centre = world.mean(axis=0)
    along, rise = sole[_NEXT] - sole, crown - sole
    normals = along[:, _YZX] * rise[:, _ZXY] - along[:, _ZXY] * rise[:, _YZX]
    middles = (sole + sole[_NEXT] + crown + crown[_NEXT]) / 4
    normals *= np.sign(((middles - centre) * normals).sum(axis=1, keepdims=True))
    normals /= np.maximum(np.sqrt((normals**2).sum(axis=1, keepdims=True)), 1e-9)
    facing = ((view.place - middles) * normals).sum(axis=1) > 0
    lit = light.ambient + (1 - light.ambient) * np.clip(normals @ light.unit, 0, None)
    tones = np.clip(paint.walls * lit[:, None, None], 3, 250)
    if _faces(view, sole, centre):
        canvas.fill(spots[0], _colour(paint.sole))
    shifted = spots[:, _NEXT]
    quads = np.stack([spots[:-1], shifted[:-1], shifted[1:], spots[1:]], axis=2)
    for i in np.flatnonzero(facing):
        for quad, tone in zip(quads[:, i], tones[i].tolist(), strict=True):
            canvas.fill(quad, tone)
    if _faces(view, crown, centre):
        canvas.fill(spots[-1], _colour(paint.crown))


def _faces(view: View, corners: Array, centre: Array) -> bool:
    normal = np.cross(corners[1] - corners[0], corners[5] - corners[0])
    middle = corners.mean(axis=0)
    outward = 1.0 if normal @ (middle - centre) > 0 else -1.0
    return bool(outward * (normal @ (view.place - middle)) > 0)


def _colour(tone: Array) -> Colour:
    return float(tone[0]), float(tone[1]), float(tone[2])
