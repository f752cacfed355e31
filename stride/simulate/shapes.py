"""Shapes of the animal in metres, drawn to the reference hip height: outlines, joints at rest, hooves."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..walk.limbs import Pair, pair_of
from .canvas import Colour
from .coat import CoatKind
from .gait import TRUNK_HEIGHT_SHARE
from .skeleton import REFERENCE_HIP_HEIGHT, Build, LegPose, Pose, hoof_points

Array = NDArray[np.float64]
Outline = tuple[tuple[float, float, float], ...]
Point = tuple[float, float]

JOINT_HEIGHT: Final = REFERENCE_HIP_HEIGHT * TRUNK_HEIGHT_SHARE
REFERENCE_TRUNK: Final = 1.10
REFERENCE_HOOF: Final = 0.123

# Outline of the trunk from the tail head over back, chest and belly: x of its middle and height over the floor.
TRUNK: Final = np.array([
    (-0.76, 1.32), (-0.66, 1.375), (-0.50, 1.39), (-0.30, 1.375), (0.00, 1.35), (0.26, 1.355), (0.46, 1.38),
    (0.60, 1.37), (0.74, 1.28), (0.84, 1.13), (0.88, 0.98), (0.87, 0.82), (0.78, 0.685), (0.60, 0.61),
    (0.38, 0.575), (0.10, 0.55), (-0.16, 0.565), (-0.36, 0.63), (-0.52, 0.72), (-0.66, 0.78), (-0.755, 0.92),
    (-0.80, 1.06), (-0.805, 1.20),
])  # fmt: skip

# Half-widths before and behind the line of joints, at shares of the way from one joint to the next.
LEGS: Final[dict[Pair, tuple[Outline, ...]]] = {
    "hind": (
        ((-0.22, 0.10, 0.09), (0.1, 0.20, 0.16), (0.5, 0.21, 0.19), (0.9, 0.135, 0.18), (1.14, 0.06, 0.12)),
        ((-0.22, 0.10, 0.14), (0.2, 0.100, 0.130), (0.6, 0.066, 0.075), (0.9, 0.052, 0.064), (1.07, 0.046, 0.046)),
        ((-0.10, 0.045, 0.05), (0.06, 0.052, 0.060), (0.3, 0.038, 0.039), (0.7, 0.033, 0.034), (1.06, 0.040, 0.043)),
        ((-0.25, 0.032, 0.040), (0.15, 0.042, 0.048), (0.6, 0.039, 0.042), (1.2, 0.049, 0.051)),
    ),
    "fore": (
        ((-0.10, 0.08, 0.10), (0.30, 0.19, 0.17), (0.75, 0.17, 0.14), (1.15, 0.09, 0.09)),
        ((-0.20, 0.10, 0.12), (0.2, 0.088, 0.092), (0.7, 0.058, 0.056), (0.95, 0.053, 0.050), (1.06, 0.049, 0.047)),
        ((-0.12, 0.046, 0.045), (0.02, 0.051, 0.049), (0.3, 0.035, 0.036), (0.7, 0.031, 0.033), (1.06, 0.039, 0.042)),
        ((-0.25, 0.030, 0.038), (0.15, 0.040, 0.047), (0.6, 0.037, 0.041), (1.2, 0.048, 0.050)),
    ),
}  # fmt: skip

NECK: Final[Outline] = (
    (-0.35, 0.14, 0.22), (0.0, 0.18, 0.34), (0.35, 0.165, 0.31), (0.7, 0.135, 0.22), (1.0, 0.11, 0.14),
    (1.10, 0.06, 0.08),
)  # fmt: skip
HEAD: Final[Outline] = (
    (-0.12, 0.03, 0.05), (-0.02, 0.080, 0.12), (0.2, 0.090, 0.160), (0.5, 0.070, 0.125), (0.75, 0.062, 0.090),
    (0.92, 0.070, 0.085), (1.03, 0.055, 0.055), (1.07, 0.02, 0.02),
)  # fmt: skip
TAIL: Final[Outline] = (
    (-0.04, 0.03, 0.03), (0.1, 0.026, 0.026), (0.6, 0.018, 0.018), (0.72, 0.035, 0.035), (0.9, 0.04, 0.045),
    (1.05, 0.008, 0.008),
)  # fmt: skip
UDDER: Final[Outline] = ((-0.3, 0.17, 0.15), (0.4, 0.17, 0.15), (0.85, 0.10, 0.09), (1.0, 0.04, 0.04))

# Joints at rest on the coat: x of the trunk's middle and height over the floor.
REST: Final[dict[Pair, tuple[Point, ...]]] = {
    "hind": ((-0.55, 1.137), (-0.36, 0.737), (-0.66, 0.49), (-0.67, 0.155), (-0.625, 0.064)),
    "fore": ((0.55, 1.317), (0.45, 0.787), (0.44, 0.44), (0.42, 0.15), (0.475, 0.064)),
}

# Rim of the sole and of the coronet on one side, from the toe tip to the heel: forward, left, up.
_SOLE = np.array(
    [(0.0, 0.005, 0), (-0.024, 0.029, 0), (-0.060, 0.046, 0), (-0.100, 0.046, 0), (-0.123, 0.030, 0)]
)
_CORONET = np.array([
    (-0.046, 0.006, 0.070), (-0.056, 0.026, 0.069), (-0.082, 0.040, 0.062), (-0.116, 0.041, 0.052),
    (-0.136, 0.027, 0.046),
])  # fmt: skip
_OTHER_SIDE = np.array([1.0, -1.0, 1.0])
_HOOF = np.vstack([_SOLE, (_SOLE * _OTHER_SIDE)[::-1], _CORONET, (_CORONET * _OTHER_SIDE)[::-1]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How the animal looks.

    Parameters
    ----------
    coat : CoatKind
    mud : float
        0 clean to 1 caked.
    udder, horns : bool
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
    hoof_length: float = REFERENCE_HOOF
    girth: float = 1.0


def hoof_outline(look: Look, leg: LegPose, pose: Pose) -> Array:
    """Corners of the hoof in the world, (20, 3) m: ten about the sole from the toe tip, ten about the coronet."""
    return hoof_points(leg.toe, leg.pitch, pose.ahead, pose.left, _HOOF * (look.hoof_length / REFERENCE_HOOF))


def leg_pieces(build: Build, look: Look, leg: LegPose) -> list[tuple[Array, Array, float]]:
    """Each piece of a leg as (upper end, lower end, half-width m), for shadows and hiding."""
    scale = build.size * look.girth
    widths = [
        scale * float(np.median([(row[1] + row[2]) / 2 for row in piece]))
        for piece in LEGS[pair_of(leg.limb)]
    ]
    return [(leg.joints[i], leg.joints[i + 1], widths[i]) for i in range(4)]


def trunk_points(build: Build, pose: Pose) -> Array:
    """Points about the trunk in the world, (N, 3) m, for its shadow."""
    size, wide = build.size, 0.32 * build.width * build.size
    stretch = build.trunk_length / REFERENCE_TRUNK
    points = []
    for x, z in TRUNK[::2]:
        round_off = math.sqrt(max(1 - ((z - 1.0) / 0.42) ** 2, 0.05))
        for aside in (-wide, wide):
            points.append(pose.place(x * stretch, (z - JOINT_HEIGHT) * size, aside * round_off))
    return np.array(points)
