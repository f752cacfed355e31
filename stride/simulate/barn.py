"""The barn aisle: floor, wall, and what is drawn on the floor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from .camera import View
from .canvas import Image
from .coat import smooth_noise
from .light import Light

Array = NDArray[np.float64]
FloorKind = Literal["concrete", "dirt", "rubber"]
WallKind = Literal["boards", "blocks", "rails"]
Point = tuple[float, float]

FLOORS: tuple[FloorKind, ...] = ("concrete", "dirt", "rubber")
WALLS: tuple[WallKind, ...] = ("boards", "blocks", "rails")

_FLOOR_X, _FLOOR_Y = (-11.0, 11.0), (-3.4, 3.2)
_FLOOR_FINE = (200.0, 80.0)
_WALL_FINE = 130.0
_WALL_TOP = 3.2


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorMarks:
    """What was drawn on the floor.

    Parameters
    ----------
    crosses : tuple of (x, y)
        Middles of chalk crosses (m).
    stick : ((x, y), (x, y)) or None
        Ends of a stick of known length lying along the line of walk (m).
    """

    crosses: tuple[Point, ...] = ()
    stick: tuple[Point, Point] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Barn:
    """What the barn is made of.

    Parameters
    ----------
    floor, wall : kinds
    wall_y : float
        Where the wall stands behind the line of walk (m).
    marks : FloorMarks
    seed : int
        Of the painting.
    """

    floor: FloorKind
    wall: WallKind
    wall_y: float
    marks: FloorMarks
    seed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Surfaces:
    """The painted barn: floor over x −11…11 m and y −3.4…3.2 m, and wall; mirrored beyond their ends."""

    floor: Image
    wall: Image


def draw_barn(
    rng: np.random.Generator,
    marks: FloorMarks,
    floor: FloorKind | None = None,
    wall: WallKind | None = None,
) -> Barn:
    """Draw a barn; kinds of floor and wall are drawn unless given."""
    return Barn(
        floor=floor or FLOORS[rng.integers(len(FLOORS))],
        wall=wall or WALLS[rng.integers(len(WALLS))],
        wall_y=rng.uniform(1.1, 2.6),
        marks=marks,
        seed=int(rng.integers(2**31)),
    )


def paint_surfaces(barn: Barn, light: Light) -> Surfaces:
    """Paint floor and wall once, before the first frame."""
    rng = np.random.default_rng(barn.seed)
    return Surfaces(
        floor=_lit(_paint_floor(rng, barn.floor), light, _FLOOR_X),
        wall=_lit(_paint_wall(rng, barn.wall), light, _FLOOR_X),
    )


def paint_barn(view: View, barn: Barn, surfaces: Surfaces, *, fine: int = 1) -> Image:
    """The empty barn as the camera sees it, (H, W, 3) uint8.

    Parameters
    ----------
    view : View
    barn : Barn
    surfaces : Surfaces
    fine : int
        Supersampling: 2 for a picture that is kept, 1 for one of many.
    """
    width, height = (n * fine for n in view.size_px)
    shift = (fine - 1) / 2
    finer = np.array([[fine, 0.0, shift], [0.0, fine, shift], [0.0, 0.0, 1.0]])
    foot = view.to_px(np.array([[-40.0, barn.wall_y, 0.0], [40.0, barn.wall_y, 0.0]]))
    edge = _line_across(foot, view.size_px[0]) * fine + shift
    low, high = int(np.floor(edge.min())) - 1, int(np.ceil(edge.max())) + 2
    picture = np.empty((height, width, 3), np.uint8)
    split = int(np.clip(high, 0, height))
    top = int(np.clip(low, 0, height))
    if split > 0:
        wall_m = finer @ view.plane_to_px(
            (_FLOOR_X[0], barn.wall_y, _WALL_TOP), (1 / _WALL_FINE, 0, 0), (0, 0, -1 / _WALL_FINE)
        )
        picture[:split] = cv2.warpPerspective(
            surfaces.wall, wall_m, (width, split), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
        )
    if top < height:
        per_x, per_y = _FLOOR_FINE
        floor_m = finer @ view.plane_to_px(
            (_FLOOR_X[0], _FLOOR_Y[1], 0), (1 / per_x, 0, 0), (0, -1 / per_y, 0)
        )
        floor_m = np.array([[1.0, 0, 0], [0, 1.0, -top], [0, 0, 1.0]]) @ floor_m
        drawn = cv2.warpPerspective(
            surfaces.floor,
            floor_m,
            (width, height - top),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REFLECT,
        )
        picture[split:] = drawn[split - top :]
        if split > top:
            below = np.zeros((split - top, width), np.uint8)
            area = np.array([[0, edge[0] - top], [width, edge[1] - top], [width, 1e4], [0, 1e4]])
            cv2.fillPoly(below, [np.round(area * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
            cv2.copyTo(drawn[: split - top], below, picture[top:split])
    _paint_marks(picture, view, barn.marks, finer)
    if fine > 1:
        return np.asarray(cv2.resize(picture, view.size_px, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return picture


def _line_across(ends: Array, width: int) -> Array:
    """Height of the line through two points at the picture's left and right edge."""
    slope = (ends[1, 1] - ends[0, 1]) / (ends[1, 0] - ends[0, 0])
    return np.asarray(ends[0, 1] + slope * (np.array([0.0, width]) - ends[0, 0]))


def _paint_marks(picture: Image, view: View, marks: FloorMarks, finer: Array) -> None:
    def fill(corners: list[Point], colour: tuple[int, int, int]) -> None:
        spots = view.to_px(np.array([(*c, 0.0) for c in corners])) @ finer[:2, :2].T + finer[:2, 2]
        cv2.fillPoly(picture, [np.round(spots * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)

    arm, thick = 0.14, 0.010
    for x, y in marks.crosses:
        for dx, dy in ((arm, thick), (thick, arm)):
            fill([(x - dx, y - dy), (x + dx, y - dy), (x + dx, y + dy), (x - dx, y + dy)], (222, 226, 226))
    if marks.stick:
        (x0, y0), (x1, y1) = marks.stick
        parts = 8
        for i in range(parts):
            ends = [(x0 + (x1 - x0) * k / parts, y0 + (y1 - y0) * k / parts) for k in (i, i + 1)]
            colour = (60, 190, 220) if i % 2 else (40, 44, 150)
            (a, b), (c, d) = ends
            fill([(a, b - 0.015), (c, d - 0.015), (c, d + 0.015), (a, b + 0.015)], colour)


def _lit(surface: Array, light: Light, span: tuple[float, float]) -> Image:
    x = np.linspace(*span, surface.shape[1])
    gain = light.level * np.maximum(0.4, 1 + light.falloff * x)
    return np.clip(surface * gain[None, :, None], 2, 252).astype(np.uint8)


def _paint_floor(rng: np.random.Generator, kind: FloorKind) -> Array:
    per_x, per_y = _FLOOR_FINE
    shape = (round((_FLOOR_Y[1] - _FLOOR_Y[0]) * per_y), round((_FLOOR_X[1] - _FLOOR_X[0]) * per_x))
    stretch = per_x / per_y
    base = {"concrete": rng.uniform(120, 165), "dirt": rng.uniform(95, 130), "rubber": rng.uniform(52, 80)}[
        kind
    ]
    tint = {"concrete": (0.97, 1.0, 1.0), "dirt": (0.72, 0.90, 1.06), "rubber": (1.03, 1.0, 0.97)}[kind]
    rough = {"concrete": 1.0, "dirt": 1.5, "rubber": 0.8}[kind] * rng.uniform(0.7, 1.3)

    def noise(grain_m: float) -> Array:
        return smooth_noise(rng, shape, max(grain_m * per_y, 1.0), stretch)

    tone = base * (
        1 + rough * (0.075 * noise(0.9) + 0.06 * noise(0.25) + 0.05 * noise(0.07) + 0.045 * noise(0.02))
    )
    tone *= 1 - 0.30 * np.clip(noise(0.5) - 1.1, 0, 1)
    tone = tone + rough * 3.0 * rng.standard_normal(shape)
    floor = tone[..., None] * np.array(tint)
    if kind == "concrete":
        _rule(floor, rng, _FLOOR_X, per_x, axis=1, every=rng.uniform(2.0, 3.2), wide=0.012)
        _rule(floor, rng, _FLOOR_Y, per_y, axis=0, every=rng.uniform(1.6, 2.6), wide=0.014)
    if kind == "rubber":
        _rule(floor, rng, _FLOOR_X, per_x, axis=1, every=rng.uniform(1.0, 1.4), wide=0.008)
        _rule(floor, rng, _FLOOR_Y, per_y, axis=0, every=rng.uniform(1.2, 1.8), wide=0.012)
    return _litter(floor, rng, straws=int(rng.uniform(60, 500)), clods=int(rng.uniform(40, 260)))


def _rule(
    surface: Array,
    rng: np.random.Generator,
    span: Point,
    fine: float,
    *,
    axis: int,
    every: float,
    wide: float,
) -> None:
    """Joints or seams at regular places, a little uneven in tone."""
    for place in np.arange(span[0] + rng.uniform(0, every), span[1], every):
        at = (place - span[0]) if axis == 1 else (span[1] - place)
        start = round(at * fine)
        stop = start + max(1, round(wide * fine))
        part = surface[:, start:stop] if axis == 1 else surface[start:stop]
        part *= rng.uniform(0.5, 0.7)


def _litter(floor: Array, rng: np.random.Generator, *, straws: int, clods: int) -> Array:
    per_x, per_y = _FLOOR_FINE
    picture = np.clip(floor, 0, 255).astype(np.uint8)
    rows, columns = picture.shape[:2]
    for _ in range(clods):
        at = rng.uniform(0, [columns, rows])
        axes = rng.uniform(0.006, 0.04) * np.array([per_x, per_y]) * rng.uniform(0.6, 1.4, 2)
        dark = np.array([50, 66, 78]) * rng.uniform(0.5, 1.1)
        cv2.ellipse(
            picture, (tuple(map(float, at)), tuple(map(float, 2 * axes)), 0.0), dark.tolist(), -1, cv2.LINE_AA
        )
    for _ in range(straws):
        at = rng.uniform(0, [columns, rows])
        angle, length = rng.uniform(0, np.pi), rng.uniform(0.03, 0.16)
        end = at + length * np.array([np.cos(angle) * per_x, np.sin(angle) * per_y])
        tone = (np.array([110, 170, 190]) * rng.uniform(0.6, 1.2)).clip(0, 255)
        start, stop = ((int(p[0]), int(p[1])) for p in (at, end))
        cv2.line(picture, start, stop, tone.tolist(), 1, cv2.LINE_AA)
    return picture.astype(float)


def _paint_wall(rng: np.random.Generator, kind: WallKind) -> Array:
    shape = (round(_WALL_TOP * _WALL_FINE), round((_FLOOR_X[1] - _FLOOR_X[0]) * _WALL_FINE))
    base = rng.uniform(70, 150)
    hues = ((0.75, 0.9, 1.1), (0.95, 1.0, 1.0), (0.9, 1.0, 0.95), (0.6, 0.72, 1.1))
    tint = np.array(hues[rng.integers(len(hues))])
    tone = base * (
        1 + 0.06 * smooth_noise(rng, shape, 100.0) + 0.05 * smooth_noise(rng, shape, 25.0, 2.0)
        + 0.05 * smooth_noise(rng, shape, 4.0, 12.0 if kind == "boards" else 1.0)
    )  # fmt: skip
    wall = tone[..., None] * tint
    if kind == "rails":
        wall *= 0.42
        for height in np.arange(rng.uniform(0.25, 0.45), 1.5, rng.uniform(0.28, 0.40)):
            row = round((_WALL_TOP - height) * _WALL_FINE)
            half = round(0.028 * _WALL_FINE)
            ramp = np.sin(np.linspace(0.4, 2.6, 2 * half))[:, None, None]
            wall[row - half : row + half] = ramp * rng.uniform(120, 170) * np.array([1.0, 1.0, 0.97])
    if kind == "boards":
        step = rng.uniform(0.14, 0.22)
        for height in np.arange(0.0, _WALL_TOP, step):
            row, next_row = (round((_WALL_TOP - h) * _WALL_FINE) for h in (height, height + step))
            wall[max(next_row, 0) : row] *= rng.uniform(0.88, 1.12)
            wall[row - 2 : row] *= 0.55
    if kind == "blocks":
        _lay_blocks(wall, rng)
    _stand_posts(wall, rng)
    wall[-round(0.10 * _WALL_FINE) :] *= 0.72
    return wall


def _lay_blocks(wall: Array, rng: np.random.Generator) -> None:
    high, long = 0.20 * _WALL_FINE, 0.40 * _WALL_FINE
    for k, row in enumerate(np.arange(wall.shape[0], 0, -high)):
        low = round(row)
        wall[max(low - 2, 0) : low] *= 0.75
        for column in np.arange(-(k % 2) * long / 2, wall.shape[1], long):
            start = max(round(column), 0)
            part = wall[max(round(row - high), 0) : low, start : round(column + long)]
            part *= rng.uniform(0.93, 1.07)
            part[:, :2] *= 0.78


def _stand_posts(wall: Array, rng: np.random.Generator) -> None:
    """Uprights, buckets and boards against the wall: what a following camera holds on to."""
    every = rng.uniform(1.8, 3.2)
    for at in np.arange(rng.uniform(0, every), wall.shape[1] / _WALL_FINE, every):
        left, half = round(at * _WALL_FINE), round(0.06 * _WALL_FINE)
        part = wall[:, left : left + 2 * half]
        shade = 0.6 + 0.4 * np.sin(np.linspace(0.3, 2.8, part.shape[1]))
        part[...] = part.mean(axis=(1, 2), keepdims=True) * rng.uniform(0.7, 1.3) * shade[None, :, None]
    for _ in range(int(rng.integers(4, 14))):
        wide, tall = rng.uniform(0.15, 0.8), rng.uniform(0.15, 0.6)
        x, z = rng.uniform(0, wall.shape[1] / _WALL_FINE - wide), rng.uniform(0.0, 1.6)
        top = round((_WALL_TOP - z - tall) * _WALL_FINE)
        part = wall[
            top : top + round(tall * _WALL_FINE), round(x * _WALL_FINE) : round((x + wide) * _WALL_FINE)
        ]
        tone = rng.uniform(35, 190)
        part[...] = 0.25 * part + 0.75 * (tone + 0.18 * tone * rng.uniform(-1, 1, 3))
        part[-3:] *= 0.5
        part[:2] *= 1.2
