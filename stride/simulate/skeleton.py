"""Joints of the walking animal, hung between its trunk and its hooves."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..walk.limbs import LIMBS, Limb, Pair, pair_of, side_of
from .gait import TRUNK_HEIGHT_SHARE, Walk

Array = NDArray[np.float64]

REFERENCE_HIP_HEIGHT = 1.38
"""Hip height (m) of the animal whose measures the shapes are drawn to; others are scaled."""

HOOF_LENGTH = 0.125
HOOF_HEIGHT = 0.070

_PASTERN = {"fore": 0.098, "hind": 0.102}
_LEG_TOP = {"fore": 0.02, "hind": -0.16}
_SECOND_JOINT = {"fore": (-0.10, -0.53), "hind": (0.19, -0.40)}
_PASTERN_SLOPE = math.radians(62.0)
_STRETCH = 0.992
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """How the animal is put together.

    Parameters
    ----------
    hip_height, trunk_length : float
        (m)
    hock_angle : float
        Angle at the hock with the hind leg under the body (rad): about 2.85 post-legged, 2.6 usual,
        2.35 sickle-hocked.
    depth, width : float
        Scales of the barrel's depth and of the distance between the legs' upper ends.
    head_height : float
        Poll above (or below) the withers, as a share of hip height.
    """

    hip_height: float
    trunk_length: float
    hock_angle: float = 2.6
    depth: float = 1.0
    width: float = 1.0
    head_height: float = 0.02

    @property
    def size(self) -> float:
        """Scale against the reference animal."""
        return self.hip_height / REFERENCE_HIP_HEIGHT


@dataclass(frozen=True, slots=True, kw_only=True)
class Trunk:
    """Where the trunk is (m) and which way it points; unit vectors on the floor."""

    middle: Array
    ahead: Array
    left: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class LegPose:
    """Joints of one leg in the world (m), top to bottom, and its hoof.

    ``joints`` is (5, 3): hip, stifle, hock, fetlock, coronet behind; shoulder blade, elbow, knee, fetlock,
    coronet in front. ``toe`` is the toe tip (3,), ``pitch`` the hoof's (rad).
    """

    limb: Limb
    joints: Array
    toe: Array
    pitch: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """The animal at one time.

    Parameters
    ----------
    ahead, left : (3,) float arrays
        Unit vectors of its own directions on the floor.
    middle : (3,) float array
        Middle of the trunk at the height of its joints (m).
    poll, muzzle, neck_root, tail_head, tail_tip : (3,) float arrays
    legs : mapping of limb to LegPose
    """

    ahead: Array
    left: Array
    middle: Array
    poll: Array
    muzzle: Array
    neck_root: Array
    tail_head: Array
    tail_tip: Array
    legs: dict[Limb, LegPose]

    def place(self, forward: float, up: float, leftward: float = 0.0) -> Array:
        """World point at an offset from the middle of the trunk (m)."""
        return self.middle + forward * self.ahead + leftward * self.left + np.array([0.0, 0.0, up])


def poses_at(walk: Walk, build: Build, times: ArrayLike) -> list[Pose]:
    """The animal's joints at each of the times (s)."""
    t = np.atleast_1d(np.asarray(times, dtype=float))
    middle, turn = walk.body_at(t), 2 * math.pi * walk.cycles_at(t)
    toes = {limb: walk.hoof_at(limb, t) for limb in LIMBS}
    pitches = {limb: walk.pitch_at(limb, t) for limb in LIMBS}
    ahead, left = np.array([*walk.heading, 0.0]), np.array([*walk.leftward, 0.0])
    moving = 0.0 if walk.cycles == 0 else 1.0
    poses = []
    for i in range(len(t)):
        trunk = Trunk(middle=middle[i], ahead=ahead, left=left)
        legs = {limb: _leg_pose(build, limb, trunk, toes[limb][i], float(pitches[limb][i])) for limb in LIMBS}
        poses.append(_pose(build, trunk, legs, float(turn[i]), moving))
    return poses


def _pose(build: Build, trunk: Trunk, legs: dict[Limb, LegPose], turn: float, moving: float) -> Pose:
    size, half, up = build.size, build.trunk_length / 2, _UP
    middle, ahead, left = trunk.middle, trunk.ahead, trunk.left
    nod = moving * 0.035 * size * math.cos(2 * turn + 0.8)
    poll = middle + (half + 0.62 * size) * ahead + (build.head_height * build.hip_height + nod) * up
    droop = math.radians(52.0) + moving * 0.05 * math.sin(2 * turn)
    swing = moving * 0.07 * math.sin(turn + 1.0)
    tail_head = middle - (half + 0.22 * size) * ahead + 0.03 * size * up
    return Pose(
        ahead=ahead,
        left=left,
        middle=middle,
        poll=poll,
        muzzle=poll + 0.50 * size * (math.cos(droop) * ahead - math.sin(droop) * up),
        neck_root=middle + (half + 0.02 * size) * ahead + 0.02 * size * up,
        tail_head=tail_head,
        tail_tip=tail_head + size * ((-0.10 + 0.4 * swing) * ahead + swing * left - 0.85 * up),
        legs=legs,
    )


def hoof_points(toe: Array, pitch: float, ahead: Array, left: Array, local: Array) -> Array:
    """World places of points given in the hoof's own frame.

    Parameters
    ----------
    toe : (3,) float array
        Toe tip (m).
    pitch : float
        Heel up positive (rad).
    ahead, left : (3,) float arrays
    local : (N, 3) float array
        Forward, left and up of the toe tip when the hoof lies flat (m).
    """
    forward = math.cos(pitch) * local[:, 0] + math.sin(pitch) * local[:, 2]
    up = -math.sin(pitch) * local[:, 0] + math.cos(pitch) * local[:, 2]
    return toe + forward[:, None] * ahead + local[:, 1, None] * left + up[:, None] * _UP


def _leg_pose(build: Build, limb: Limb, trunk: Trunk, toe: Array, pitch: float) -> LegPose:
    pair, size = pair_of(limb), build.size
    middle, ahead, left, up = trunk.middle, trunk.ahead, trunk.left, _UP
    slope = np.array([-math.cos(_PASTERN_SLOPE), 0.0, math.sin(_PASTERN_SLOPE)]) * _PASTERN[pair] * size
    coronet_local = np.array([-0.075, 0.0, HOOF_HEIGHT * 0.92]) * size
    coronet, fetlock = hoof_points(toe, pitch, ahead, left, np.stack([coronet_local, coronet_local + slope]))
    half = build.trunk_length / 2 * (1 if pair == "fore" else -1)
    aside = 0.15 * size * build.width * (1 if side_of(limb) == "left" else -1)
    top = middle + half * ahead + aside * left + _LEG_TOP[pair] * size * up
    upper, lower = _leg_lengths(build, pair)
    reach = fetlock - top
    lean = math.atan2(float(reach @ ahead), -float(reach @ up))
    second = _second_joint(pair, size, lean)
    second_at = top + second[0] * ahead + second[1] * up
    second_at = second_at + 0.35 * float((fetlock - top) @ left) * left
    third_at, second_at = _bend(second_at, fetlock, upper, lower, ahead, forward=pair == "fore")
    return LegPose(
        limb=limb, joints=np.stack([top, second_at, third_at, fetlock, coronet]), toe=toe, pitch=pitch
    )


def _second_joint(pair: Pair, size: float, lean: float) -> tuple[float, float]:
    """Elbow or stifle from the leg's top, swung by a share of the whole leg's lean (m)."""
    x, z = _SECOND_JOINT[pair]
    angle = lean * (0.75 if pair == "fore" else 0.8)
    return (
        size * (x * math.cos(angle) - z * math.sin(angle)),
        size * (x * math.sin(angle) + z * math.cos(angle)),
    )


def _leg_lengths(build: Build, pair: Pair) -> tuple[float, float]:
    """Lengths of forearm and cannon, or gaskin and cannon (m), from the leg standing under the body."""
    size = build.size
    fetlock_height = HOOF_HEIGHT * 0.92 + _PASTERN[pair] * math.sin(_PASTERN_SLOPE)
    second_x, second_z = _SECOND_JOINT[pair]
    drop = build.hip_height * TRUNK_HEIGHT_SHARE + (_LEG_TOP[pair] + second_z - fetlock_height) * size
    if pair == "fore":
        return 0.56 * drop, 0.45 * drop
    gap = math.hypot(drop, (second_x + 0.13) * size)
    share = 0.53
    unit = math.sqrt(share**2 + (1 - share) ** 2 - 2 * share * (1 - share) * math.cos(build.hock_angle))
    whole = gap / unit
    return share * whole, (1 - share) * whole


def _bend(
    start: Array, end: Array, upper: float, lower: float, ahead: Array, *, forward: bool
) -> tuple[Array, Array]:
    """Middle joint between two ends; the upper end gives way where the leg is too short."""
    line = end - start
    gap = float(np.linalg.norm(line))
    unit = line / gap
    longest = (upper + lower) * _STRETCH
    if gap > longest:
        start = end - unit * longest
        gap = longest
    along = (upper**2 - lower**2 + gap**2) / (2 * gap)
    aside = math.sqrt(max(upper**2 - along**2, 0.0))
    across = ahead - (ahead @ unit) * unit
    across /= np.linalg.norm(across)
    return start + along * unit + aside * across * (1 if forward else -1), start
