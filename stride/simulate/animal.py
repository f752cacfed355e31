"""The animal as it looks: cut-outs hung on its joints, hooves as solid shapes, and its shadow."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..walk.limbs import Limb, pair_of, side_of
from .camera import View
from .canvas import FINER, Canvas, Colour, Cutout, Image
from .coat import COAT_WINDOW, PX_PER_M, CoatKind, cut_limb, cut_outline, mirrored, paint_coat
from .gait import TRUNK_HEIGHT_SHARE, Walk
from .light import Light
from .skeleton import REFERENCE_HIP_HEIGHT, Build, LegPose, Pose, hoof_points

Array = NDArray[np.float64]

_JOINT_HEIGHT = REFERENCE_HIP_HEIGHT * TRUNK_HEIGHT_SHARE

# Outline of the trunk from the tail head over the back, chest and belly: x of the middle, with trunk length 1.10 m,
# and height over the floor (m).
_TRUNK = np.array([
    (-0.77, 1.31), (-0.64, 1.375), (-0.50, 1.39), (-0.30, 1.375), (0.00, 1.345), (0.28, 1.355), (0.46, 1.385),
    (0.60, 1.37), (0.74, 1.27), (0.83, 1.12), (0.86, 0.98), (0.83, 0.84), (0.72, 0.72), (0.55, 0.655),
    (0.35, 0.615), (0.10, 0.585), (-0.15, 0.595), (-0.36, 0.655), (-0.52, 0.72), (-0.66, 0.78), (-0.765, 0.92),
    (-0.815, 1.06), (-0.83, 1.20),
])  # fmt: skip

# Half-widths (m) in front of and behind the line of joints, at shares of the way from one joint to the next.
_PIECES: dict[str, list[tuple[tuple[float, float, float], ...]]] = {
    "hind": [
        ((-0.28, 0.16, 0.18), (0.1, 0.23, 0.30), (0.5, 0.21, 0.27), (0.9, 0.13, 0.20), (1.12, 0.06, 0.13)),
        ((-0.22, 0.10, 0.13), (0.2, 0.095, 0.125), (0.6, 0.062, 0.07), (0.9, 0.05, 0.062), (1.07, 0.045, 0.045)),
        ((-0.10, 0.045, 0.05), (0.06, 0.050, 0.058), (0.3, 0.036, 0.037), (0.7, 0.031, 0.032), (1.06, 0.037, 0.04)),
        ((-0.25, 0.030, 0.038), (0.15, 0.040, 0.046), (0.6, 0.037, 0.04), (1.2, 0.048, 0.05)),
    ],
    "fore": [
        ((-0.10, 0.14, 0.16), (0.35, 0.22, 0.17), (0.8, 0.16, 0.12), (1.15, 0.09, 0.08)),
        ((-0.18, 0.09, 0.11), (0.2, 0.082, 0.085), (0.7, 0.055, 0.052), (0.95, 0.050, 0.048), (1.06, 0.047, 0.045)),
        ((-0.12, 0.045, 0.044), (0.02, 0.049, 0.047), (0.3, 0.033, 0.034), (0.7, 0.029, 0.031), (1.06, 0.036, 0.039)),
        ((-0.25, 0.028, 0.036), (0.15, 0.038, 0.045), (0.6, 0.035, 0.039), (1.2, 0.047, 0.049)),
    ],
}  # fmt: skip

# Joints at rest on the coat: x of the trunk's middle and height over the floor (m).
_REST: dict[str, list[tuple[float, float]]] = {
    "hind": [(-0.55, 1.137), (-0.36, 0.737), (-0.66, 0.49), (-0.68, 0.15), (-0.625, 0.064)],
    "fore": [(0.55, 1.317), (0.45, 0.787), (0.44, 0.44), (0.42, 0.15), (0.475, 0.064)],
}

# Rim of the hoof's sole and of its coronet, from the toe tip round one side to the heel: forward, left, up (m).
_SOLE = ((0.0, 0.006), (-0.024, 0.030), (-0.060, 0.046), (-0.100, 0.046), (-0.123, 0.030))
_CORONET = (
    (-0.046, 0.006, 0.070),
    (-0.056, 0.026, 0.069),
    (-0.082, 0.040, 0.062),
    (-0.116, 0.041, 0.052),
    (-0.136, 0.027, 0.046),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How the animal looks.

    Parameters
    ----------
    coat : CoatKind
    mud : float
        0 clean to 1 caked.
    udder : bool
    horns : bool
    hoof_colour : (blue, green, red)
    hoof_length : float
        Toe tip to heel (m).
    girth : float
        Scale of the legs' thickness.
    """

    coat: CoatKind
    mud: float = 0.3
    udder: bool = True
    horns: bool = False
    hoof_colour: Colour = (52, 58, 62)
    hoof_length: float = 0.123
    girth: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Animal:
    """An animal ready to be painted: its build, its look, and what was cut for them."""

    build: Build
    look: Look
    trunk: Image
    legs: dict[Limb, tuple[Cutout, ...]]
    neck: Cutout
    head: Cutout
    tail: Cutout
    udder: Cutout
    marks: Array
    hair: Colour
    light: Light
    near_right: bool


def draw_look(rng: np.random.Generator, coat: CoatKind | None = None) -> Look:
    """Draw a look; the coat too unless it is given."""
    kinds: tuple[CoatKind, ...] = ("black", "red", "white", "patched", "patched", "roan", "brown")
    hooves: tuple[Colour, ...] = ((38, 40, 42), (60, 66, 72), (84, 104, 120), (48, 56, 66), (96, 124, 142))
    return Look(
        coat=coat or kinds[rng.integers(len(kinds))],
        mud=rng.uniform(0.0, 0.6),
        udder=bool(rng.random() < 0.6),
        horns=bool(rng.random() < 0.2),
        hoof_colour=hooves[rng.integers(len(hooves))],
        hoof_length=rng.uniform(0.112, 0.132),
        girth=rng.uniform(0.92, 1.12),
    )


def cut_animal(rng: np.random.Generator, walk: Walk, build: Build, look: Look, light: Light) -> Animal:
    """Paint the coat and cut every piece once, before the first frame."""
    near_right = walk.near_side == "right"
    facing = walk.direction == "left_to_right"
    sun = light.towards
    side_light = (sun[0] if facing else -sun[0], sun[2], -sun[1])
    coats = {near: paint_coat(rng, look.coat, mud=look.mud) for near in (True, False)}
    legs: dict[Limb, tuple[Cutout, ...]] = {}
    limbs: tuple[Limb, ...] = ("left_fore", "right_fore", "left_hind", "right_hind")
    for limb in limbs:
        near = (side_of(limb) == "right") == near_right
        legs[limb] = _cut_leg(rng, coats[near], pair_of(limb), look, side_light, light.ambient, facing, near)
    shade = {"light": side_light, "ambient": light.ambient, "size": 1.0, "rng": rng}
    neck = cut_limb(coats[True], *_at([(0.60, 1.20), (1.10, 1.33)]), [
        (-0.35, 0.20, 0.20), (0.0, 0.20, 0.30), (0.5, 0.15, 0.23), (1.0, 0.11, 0.12), (1.12, 0.06, 0.07)],
        faded=0.25, **shade)  # type: ignore[arg-type]  # fmt: skip
    head = cut_limb(coats[True], *_at([(1.10, 1.33), (1.41, 0.94)]), [
        (-0.12, 0.05, 0.06), (0.0, 0.09, 0.10), (0.25, 0.105, 0.125), (0.6, 0.075, 0.09), (0.9, 0.07, 0.075),
        (1.02, 0.06, 0.05), (1.08, 0.025, 0.025)], **shade)  # type: ignore[arg-type]  # fmt: skip
    tail = cut_limb(coats[True], *_at([(-0.78, 1.3), (-0.88, 0.48)]), [
        (-0.04, 0.03, 0.03), (0.1, 0.026, 0.026), (0.6, 0.018, 0.018), (0.72, 0.035, 0.035), (0.9, 0.04, 0.045),
        (1.05, 0.008, 0.008)], **shade)  # type: ignore[arg-type]  # fmt: skip
    pink = np.full_like(coats[True], (128, 146, 186))
    udder = cut_limb(pink, *_at([(-0.38, 0.74), (-0.40, 0.52)]), [
        (-0.3, 0.17, 0.15), (0.4, 0.17, 0.15), (0.85, 0.10, 0.09), (1.0, 0.04, 0.04)], **shade)  # type: ignore[arg-type]  # fmt: skip
    trunk = cut_outline(
        coats[True],
        _smooth_outline(_TRUNK, build.depth),
        thickness=0.30,
        light=side_light,
        ambient=light.ambient,
    )
    pieces = [neck, head, tail, udder]
    if not facing:
        pieces = [mirrored(one) for one in pieces]
    spot = np.mean(coats[True][120:220, 300:500], axis=(0, 1))
    return Animal(
        build=build,
        look=look,
        trunk=trunk,
        legs=legs,
        neck=pieces[0],
        head=pieces[1],
        tail=pieces[2],
        udder=pieces[3],
        marks=rng.uniform(0.0, 1.0, (4, 10, 3)),
        hair=(float(spot[0]), float(spot[1]), float(spot[2])),
        light=light,
        near_right=near_right,
    )


def paint_animal(canvas: Canvas, view: View, animal: Animal, pose: Pose) -> None:
    """Paint the animal on the canvas, far side first."""
    for limb in _by_depth(pose, animal, near=False):
        _paint_leg(canvas, view, animal, pose, limb)
    size = animal.build.size
    scale = float(view.px_per_m(pose.middle)[0]) * size
    _hang(canvas, view, animal.tail, pose.tail_head, pose.tail_tip, size)
    if animal.look.udder:
        half = animal.build.trunk_length / 2
        _hang(
            canvas, view, animal.udder, pose.place(-half + 0.17 * size, -0.56 * size),
            pose.place(-half + 0.15 * size, -0.78 * size), size,
        )  # fmt: skip
    _paint_head(canvas, view, animal, pose, scale)
    _paint_trunk(canvas, view, animal, pose)
    root = pose.place(animal.build.trunk_length / 2 + 0.05 * size, -0.10 * size)
    _hang(canvas, view, animal.neck, root, pose.poll, size)
    for limb in _by_depth(pose, animal, near=True):
        _paint_leg(canvas, view, animal, pose, limb)


def hoof_outline(look: Look, leg: LegPose, pose: Pose) -> Array:
    """Corners of the hoof in the world, (20, 3) m: the sole's rim, then the coronet's."""
    scale = look.hoof_length / 0.123
    sole = np.array([(*p, 0.0) for p in _SOLE])
    rim = np.vstack([sole, (sole * [1, -1, 1])[::-1]])
    top = np.array(_CORONET)
    crown = np.vstack([top, (top * [1, -1, 1])[::-1]])
    return hoof_points(leg.toe, leg.pitch, pose.ahead, pose.left, np.vstack([rim, crown]) * scale)


def leg_pieces(build: Build, look: Look, leg: LegPose) -> list[tuple[Array, Array, float]]:
    """Each piece of a leg as (upper end, lower end, half-width m), for shadows and hiding."""
    rows = _PIECES[pair_of(leg.limb)]
    scale = build.size * look.girth
    widths = [float(np.median([(r[1] + r[2]) / 2 for r in piece])) * scale for piece in rows]
    return [(leg.joints[i], leg.joints[i + 1], widths[i]) for i in range(4)]


def trunk_points(build: Build, pose: Pose) -> Array:
    """Points about the trunk in the world, (N, 3) m, for its shadow."""
    size, wide = build.size, 0.32 * build.width * build.size
    stretch = build.trunk_length / 1.10
    points = []
    for x, z in _TRUNK[::2]:
        middle = 1 - ((z - 1.0) / 0.42) ** 2
        for aside in (-wide, wide):
            points.append(
                pose.place(x * stretch, (z - _JOINT_HEIGHT) * size, aside * math.sqrt(max(middle, 0.05)))
            )
    return np.array(points)


def _at(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Heights over the floor → heights over the trunk's joints, as coats are painted."""
    return [(x, z - _JOINT_HEIGHT) for x, z in points]


def _cut_leg(
    rng: np.random.Generator,
    coat: Image,
    pair: str,
    look: Look,
    light: tuple[float, float, float],
    ambient: float,
    facing: bool,
    near: bool,
) -> tuple[Cutout, ...]:
    rest = _at(_REST[pair])
    pieces = []
    for i, outline in enumerate(_PIECES[pair]):
        cut = cut_limb(
            coat, rest[i], rest[i + 1], [*outline], light=light, ambient=ambient,
            size=look.girth if i else 1.0, faded=0.45 if i == 0 else 0.0, rng=rng,
        )  # fmt: skip
        if not near:
            cut.image[..., :3] = (cut.image[..., :3] * 0.62).astype(np.uint8)
        pieces.append(cut if facing else mirrored(cut))
    return tuple(pieces)


def _smooth_outline(points: Array, depth: float) -> Array:
    """A closed smooth curve through the outline, its belly lowered by ``depth``, heights over the joints."""
    from scipy.interpolate import CubicSpline

    scaled = points - [0.0, _JOINT_HEIGHT]
    belly = scaled[:, 1] < -0.3
    scaled[belly, 1] = -0.3 + (scaled[belly, 1] + 0.3) * depth
    closed = np.vstack([scaled, scaled[:1]])
    chord = np.r_[0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    return np.asarray(CubicSpline(chord, closed, bc_type="periodic")(np.linspace(0, chord[-1], 240)))


def _by_depth(pose: Pose, animal: Animal, *, near: bool) -> list[Limb]:
    """Limbs of one side, the farther first."""
    own = [limb for limb in pose.legs if ((side_of(limb) == "right") == animal.near_right) == near]
    return sorted(own, key=lambda limb: -float(pose.legs[limb].joints[3][1]))


def _hang(canvas: Canvas, view: View, cutout: Cutout, start: Array, end: Array, size: float) -> None:
    spots = view.to_px(np.stack([start, end]))
    scale = float(np.mean(view.px_per_m(np.stack([start, end])))) * size
    canvas.hang(cutout, spots[0], spots[1], scale)


def _paint_trunk(canvas: Canvas, view: View, animal: Animal, pose: Pose) -> None:
    x0, _, _, z1 = COAT_WINDOW
    size, stretch = animal.build.size, animal.build.trunk_length / 1.10
    up = np.array([0.0, 0.0, 1.0])
    plane = view.plane_to_px(
        pose.place(x0 * stretch, z1 * size), pose.ahead * stretch / PX_PER_M, -up * size / PX_PER_M
    )
    shift = (FINER - 1) / 2
    to_fine = np.array(
        [
            [FINER, 0.0, shift - FINER * canvas.corner_px[0]],
            [0.0, FINER, shift - FINER * canvas.corner_px[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    canvas.paste(animal.trunk, to_fine @ plane)


def _paint_head(canvas: Canvas, view: View, animal: Animal, pose: Pose, scale: float) -> None:
    size = animal.build.size
    up = np.array([0.0, 0.0, 1.0])
    dark = tuple(0.55 * c for c in animal.hair)
    ear = pose.poll - 0.02 * size * pose.ahead - 0.05 * size * up
    if animal.look.horns:
        horn = [pose.poll + 0.03 * size * up, pose.poll + size * (0.06 * pose.ahead + 0.16 * up)]
        canvas.paint_line(view.to_px(np.array(horn)), (150, 175, 185), 0.04 * scale)
    _hang(canvas, view, animal.head, pose.poll, pose.muzzle, size)
    near = -pose.left if animal.near_right else pose.left
    tip = ear - size * (0.16 * pose.ahead + 0.03 * up)
    side = view.to_px(
        np.array([ear, 0.5 * (ear + tip) + 0.05 * size * up, tip, 0.5 * (ear + tip) - 0.05 * size * up])
    )
    canvas.paint_shape(side, (dark[0], dark[1], dark[2]))
    eye = pose.poll + 0.33 * (pose.muzzle - pose.poll) + size * (0.045 * pose.ahead + 0.04 * up) + 0.08 * near
    canvas.paint_disc(view.to_px(eye)[0], (18, 18, 20), 0.020 * scale)
    nose = pose.muzzle - 0.02 * size * up
    canvas.paint_disc(view.to_px(nose)[0], (70, 72, 84), 0.055 * scale)
    canvas.paint_disc(view.to_px(nose + 0.02 * size * (pose.ahead + up))[0], (25, 25, 30), 0.014 * scale)


def _paint_leg(canvas: Canvas, view: View, animal: Animal, pose: Pose, limb: Limb) -> None:
    leg = pose.legs[limb]
    near = (side_of(limb) == "right") == animal.near_right
    size = animal.build.size
    pieces = animal.legs[limb]
    _paint_hoof(canvas, view, animal, pose, limb, near)
    for i in (3, 2, 1, 0):
        _hang(canvas, view, pieces[i], leg.joints[i], leg.joints[i + 1], size)


def _paint_hoof(canvas: Canvas, view: View, animal: Animal, pose: Pose, limb: Limb, near: bool) -> None:
    """Paint the hoof as a solid: walls facing the camera, in rings from sole to coronet."""
    leg = pose.legs[limb]
    world = hoof_outline(animal.look, leg, pose)
    centre = world.mean(axis=0)
    shade = 1.0 if near else 0.66
    colour = np.array(animal.look.hoof_colour, dtype=float)
    marks = animal.marks[("left_fore", "right_fore", "left_hind", "right_hind").index(limb)]
    sole, crown = world[:10], world[10:]
    _paint_flat(canvas, view, sole, colour * 0.45 * shade, centre)
    for i in range(10):
        j = (i + 1) % 10
        quad = np.stack([sole[i], sole[j], crown[j], crown[i]])
        normal = np.cross(quad[1] - quad[0], quad[3] - quad[0])
        if normal @ (quad.mean(axis=0) - centre) < 0:
            normal = -normal
        if normal @ (view.place - quad.mean(axis=0)) <= 0:
            continue
        normal /= np.linalg.norm(normal)
        lit = animal.light.ambient + (1 - animal.light.ambient) * max(float(normal @ animal.light.unit), 0.0)
        for band in range(5):
            low, high = band / 5, (band + 1) / 5
            ring = 1 + 0.22 * (marks[i, 0] - 0.5) + 0.20 * (marks[band, 1] - 0.5)
            tone = colour * lit * ring * shade
            if band == 0:
                tone = (
                    tone * (1 - 0.5 * animal.look.mud)
                    + 0.5 * animal.look.mud * np.array([60, 76, 90]) * shade
                )
            strip = np.stack([
                quad[0] + low * (quad[3] - quad[0]), quad[1] + low * (quad[2] - quad[1]),
                quad[1] + high * (quad[2] - quad[1]), quad[0] + high * (quad[3] - quad[0]),
            ])  # fmt: skip
            canvas.paint_shape(view.to_px(strip), _colour(tone))
    _paint_flat(canvas, view, crown, np.array(animal.hair) * 0.5 * shade, centre)


def _paint_flat(canvas: Canvas, view: View, corners: Array, colour: Array, centre: Array) -> None:
    normal = np.cross(corners[1] - corners[0], corners[5] - corners[0])
    if normal @ (corners.mean(axis=0) - centre) < 0:
        normal = -normal
    if normal @ (view.place - corners.mean(axis=0)) > 0:
        canvas.paint_shape(view.to_px(corners), _colour(colour))


def _colour(values: Array) -> Colour:
    clipped = np.clip(values, 3, 250)
    return float(clipped[0]), float(clipped[1]), float(clipped[2])
