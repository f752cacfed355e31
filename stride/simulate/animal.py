"""The animal as it looks: cut-outs hung on its joints, back to front."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from ..walk.limbs import LIMBS, Limb, pair_of, side_of
from .camera import View
from .canvas import FINER, Canvas, Colour, Cutout, Image
from .coat import (
    COAT_WINDOW,
    PX_PER_M,
    CoatKind,
    Shade,
    cut_limb,
    cut_outline,
    draw_palette,
    mirrored,
    paint_coat,
)
from .gait import Walk
from .hoof import HoofPaint, mix_hoof, paint_hoof
from .light import Light
from .shapes import (
    HEAD,
    JOINT_HEIGHT,
    LEGS,
    NECK,
    REFERENCE_TRUNK,
    REST,
    TAIL,
    TRUNK,
    UDDER,
    Look,
    Point,
    hoof_outline,
)
from .skeleton import Build, Pose

Array = NDArray[np.float64]

_FAR_TONE = 0.62
_HOOF_COLOURS: tuple[Colour, ...] = (
    (38, 40, 42), (60, 66, 72), (84, 104, 120), (48, 56, 66), (96, 124, 142),
)  # fmt: skip
_COAT_SHARES: tuple[CoatKind, ...] = ("black", "red", "white", "patched", "patched", "roan", "brown")


@dataclass(frozen=True, slots=True, kw_only=True)
class Animal:
    """An animal ready to be painted: its build, its look, and what was cut and mixed for them."""

    build: Build
    look: Look
    light: Light
    near_right: bool
    trunk: Image
    legs: dict[Limb, tuple[Cutout, ...]]
    hooves: dict[Limb, HoofPaint]
    neck: Cutout
    head: Cutout
    tail: Cutout
    udder: Cutout
    ear: Colour

    def is_near(self, limb: Limb) -> bool:
        """Whether the limb is on the side that faces the camera."""
        return (side_of(limb) == "right") == self.near_right


def draw_look(rng: np.random.Generator, coat: CoatKind | None = None) -> Look:
    """Draw a look; the coat too unless it is given."""
    return Look(
        coat=coat or _COAT_SHARES[rng.integers(len(_COAT_SHARES))],
        mud=rng.uniform(0.0, 0.6),
        udder=bool(rng.random() < 0.6),
        horns=bool(rng.random() < 0.2),
        hoof_colour=_HOOF_COLOURS[rng.integers(len(_HOOF_COLOURS))],
        hoof_length=rng.uniform(0.112, 0.132),
        girth=rng.uniform(0.94, 1.15),
    )


def draw_build(rng: np.random.Generator, hip_height: float, trunk_length: float) -> Build:
    """Draw a build: hock straight to sickle, barrel shallow to deep."""
    return Build(
        hip_height=hip_height,
        trunk_length=trunk_length,
        hock_angle=math.radians(rng.uniform(138, 162)),
        depth=rng.uniform(0.92, 1.15),
        width=rng.uniform(0.9, 1.1),
        head_height=rng.uniform(-0.08, 0.08),
    )


def cut_animal(rng: np.random.Generator, walk: Walk, build: Build, look: Look, light: Light) -> Animal:
    """Paint the coat and cut every piece once, before the first frame."""
    near_right = walk.near_side == "right"
    facing = walk.direction == "left_to_right"
    towards = light.towards
    shade = Shade(
        light=(towards[0] if facing else -towards[0], towards[2], 0.6 - towards[1]), ambient=light.ambient
    )
    palette = draw_palette(rng, look.coat)
    near_coat, far_coat = (paint_coat(rng, palette, mud=look.mud) for _ in range(2))
    legs: dict[Limb, tuple[Cutout, ...]] = {}
    hooves: dict[Limb, HoofPaint] = {}
    hair = np.mean(near_coat[120:220, 300:500], axis=(0, 1))
    for limb in LIMBS:
        near = (side_of(limb) == "right") == near_right
        pieces = _cut_leg(near_coat if near else far_coat, limb, look, shade)
        legs[limb] = tuple(_turned(one, facing, 1.0 if near else _FAR_TONE) for one in pieces)
        hooves[limb] = mix_hoof(rng, look, hair, near=near)
    pink = np.full_like(near_coat, (128, 146, 186))
    neck = cut_limb(
        near_coat,
        _rest((0.62, 1.19)),
        _rest((1.12, 1.34)),
        NECK,
        shade=shade,
        soft=0.12,
        soft_until=0.25,
    )
    head = cut_limb(near_coat, _rest((1.10, 1.33)), _rest((1.41, 0.94)), HEAD, shade=shade)
    tail = cut_limb(near_coat, _rest((-0.78, 1.3)), _rest((-0.88, 0.48)), TAIL, shade=shade)
    udder = cut_limb(pink, _rest((-0.38, 0.74)), _rest((-0.40, 0.52)), UDDER, shade=shade)
    return Animal(
        build=build,
        look=look,
        light=light,
        near_right=near_right,
        trunk=cut_outline(near_coat, _smooth_outline(TRUNK, build.depth), thickness=0.30, shade=shade),
        legs=legs,
        hooves=hooves,
        neck=_turned(neck, facing),
        head=_turned(head, facing),
        tail=_turned(tail, facing),
        udder=_turned(udder, facing),
        ear=(float(hair[0] * 0.6), float(hair[1] * 0.6), float(hair[2] * 0.6)),
    )


def paint_legs(canvas: Canvas, view: View, animal: Animal, pose: Pose, *, near: bool) -> None:
    """Paint the two legs of one side, the farther first."""
    for limb in painting_order(animal.near_right, pose):
        if animal.is_near(limb) == near:
            leg = pose.legs[limb]
            paint_hoof(canvas, view, animal.hooves[limb], hoof_outline(animal.look, leg, pose), animal.light)
            spots, scales = view.to_px(leg.joints), view.px_per_m(leg.joints) * animal.build.size
            for i in (3, 2, 1, 0):
                scale = float(scales[i] + scales[i + 1]) / 2
                canvas.hang(animal.legs[limb][i], spots[i], spots[i + 1], scale)


def paint_body(canvas: Canvas, view: View, animal: Animal, pose: Pose) -> None:
    """Paint all that stands between far and near legs: tail, udder, trunk, neck and head."""
    size, half = animal.build.size, animal.build.trunk_length / 2
    _hang(canvas, view, animal.tail, (pose.tail_head, pose.tail_tip), size)
    if animal.look.udder:
        top, bottom = (pose.place(-half + x * size, z * size) for x, z in ((0.17, -0.56), (0.15, -0.78)))
        _hang(canvas, view, animal.udder, (top, bottom), size)
    _paint_trunk(canvas, view, animal, pose)
    _hang(canvas, view, animal.neck, (pose.place(half + 0.07 * size, -0.11 * size), pose.poll), size)
    _paint_head(canvas, view, animal, pose)


def painting_order(near_right: bool, pose: Pose) -> list[Limb]:
    """Limbs back to front: the far side's first, and of each side the one that stands farther."""
    far_first = sorted(LIMBS, key=lambda limb: -float(pose.legs[limb].joints[3][1]))
    return sorted(far_first, key=lambda limb: (side_of(limb) == "right") == near_right)


def _rest(point: Point) -> Point:
    """Height over the floor → height over the trunk's joints, as coats are painted."""
    return point[0], point[1] - JOINT_HEIGHT


def _cut_leg(coat: Image, limb: Limb, look: Look, shade: Shade) -> list[Cutout]:
    rest = [_rest(point) for point in REST[pair_of(limb)]]
    return [
        cut_limb(
            coat,
            rest[i],
            rest[i + 1],
            outline,
            shade=shade,
            girth=look.girth if i else 1.0,
            soft=0.0 if i else 0.09,
        )
        for i, outline in enumerate(LEGS[pair_of(limb)])
    ]


def _turned(cutout: Cutout, facing: bool, tone: float = 1.0) -> Cutout:
    """The cut-out as this animal needs it: mirrored if it walks to the left, dimmed on the far side."""
    if tone != 1.0:
        cutout.image[..., :3] = (cutout.image[..., :3] * tone).astype(np.uint8)
    return cutout if facing else mirrored(cutout)


def _smooth_outline(points: Array, depth: float) -> Array:
    """A closed smooth curve through the outline, its belly lowered by ``depth``, heights over the joints."""
    scaled = points - [0.0, JOINT_HEIGHT]
    belly = scaled[:, 1] < -0.3
    scaled[belly, 1] = -0.3 + (scaled[belly, 1] + 0.3) * depth
    closed = np.vstack([scaled, scaled[:1]])
    chord = np.r_[0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    return np.asarray(CubicSpline(chord, closed, bc_type="periodic")(np.linspace(0, chord[-1], 240)))


def _hang(canvas: Canvas, view: View, cutout: Cutout, ends: tuple[Array, Array], size: float) -> None:
    world = np.stack(ends)
    spots = view.to_px(world)
    canvas.hang(cutout, spots[0], spots[1], float(np.mean(view.px_per_m(world))) * size)


def _paint_trunk(canvas: Canvas, view: View, animal: Animal, pose: Pose) -> None:
    x0, _, _, z1 = COAT_WINDOW
    size, stretch = animal.build.size, animal.build.trunk_length / REFERENCE_TRUNK
    plane = view.plane_to_px(
        pose.place(x0 * stretch, z1 * size),
        pose.ahead * stretch / PX_PER_M,
        np.array([0.0, 0.0, -size / PX_PER_M]),
    )
    shift = (FINER - 1) / 2
    x, y = canvas.corner_px
    finer = np.array([[FINER, 0.0, shift - FINER * x], [0.0, FINER, shift - FINER * y], [0.0, 0.0, 1.0]])
    canvas.paste(animal.trunk, finer @ plane)


def _paint_head(canvas: Canvas, view: View, animal: Animal, pose: Pose) -> None:
    size, up = animal.build.size, np.array([0.0, 0.0, 1.0])
    near = -pose.left if animal.near_right else pose.left
    scale = float(view.px_per_m(pose.poll)[0]) * size
    if animal.look.horns:
        horn = [pose.poll + 0.03 * size * up, pose.poll + size * (0.07 * pose.ahead + 0.15 * up)]
        canvas.paint_line(view.to_px(np.array(horn)), (150, 175, 185), 0.035 * scale)
    _hang(canvas, view, animal.head, (pose.poll, pose.muzzle), size)
    root = pose.poll + size * (0.01 * pose.ahead - 0.03 * up) + 0.10 * size * near
    tip = root + size * (-0.17 * pose.ahead - 0.02 * up + 0.08 * near)
    middle = (root + tip) / 2
    leaf = [
        root + 0.03 * size * up,
        middle + 0.045 * size * up,
        tip,
        middle - 0.055 * size * up,
        root - 0.035 * size * up,
    ]
    canvas.paint_shape(view.to_px(np.array(leaf)), animal.ear)
    along = pose.muzzle - pose.poll
    eye = pose.poll + 0.30 * along + size * (0.02 * pose.ahead + 0.02 * up) + 0.09 * size * near
    canvas.paint_disc(view.to_px(eye)[0], (16, 16, 18), 0.019 * scale)
    nose = pose.poll + 0.97 * along
    canvas.paint_disc(view.to_px(nose)[0], (66, 68, 80), 0.058 * scale)
    nostril = nose + 0.03 * size * pose.ahead + 0.01 * size * up
    canvas.paint_disc(view.to_px(nostril)[0], (24, 24, 28), 0.014 * scale)
