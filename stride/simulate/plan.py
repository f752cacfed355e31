"""The plan of a walk: every number that decides how an animal moves, before any scatter is drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from ..walk.limbs import LIMBS, Limb, Pair, Side, pair_of, side_of

Gait = Literal["walk", "trot"]

MAX_ANSWER_GAP = 0.15
"""Longest time (s) a drawn plan leaves between a fore lift-off and the hind touch-down that answers it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """How a hoof travels from lift-off to touch-down.

    The toe tip leaves the floor at rest and gathers speed; it meets the floor while still moving, so that
    touch-down is a corner in its path, as it is in life.

    Parameters
    ----------
    lift : float
        Greatest height of the toe tip (m).
    late_lift : float
        How much of the lift is kept into late swing, 0 (early peak) to 1 (late peak).
    push : float
        Forward acceleration at lift-off, in units of swing length / swing time².
    landing_speed, landing_fall : float
        Forward and downward speed just before touch-down (m/s).
    landing_slowing : float
        Deceleration just before touch-down, in units of swing length / swing time².
    outward : float
        Greatest sideways excursion away from the body (m).
    heel_rise_time : float
        How long the heel rises about the standing toe tip before lift-off (s).
    pitch_lift_off, pitch_top, pitch_late, pitch_touch_down : float
        Angle of the sole to the floor, heel up positive (rad): at lift-off, at its greatest, late in swing,
        and at touch-down; after touch-down it falls flat within ``settle_time`` (s).
    settle_time : float
    """

    lift: float = 0.10
    late_lift: float = 0.5
    push: float = 2.0
    landing_speed: float = 0.4
    landing_fall: float = 0.4
    landing_slowing: float = 1.5
    outward: float = 0.02
    heel_rise_time: float = 0.12
    pitch_lift_off: float = 0.55
    pitch_top: float = 0.95
    pitch_late: float = 0.10
    pitch_touch_down: float = 0.04
    settle_time: float = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class GaitPlan:
    """What one animal intends to do with its feet.

    Parameters
    ----------
    stride_length, stride_time : float
        Of the middle of the walk (m, s).
    duty_fore, duty_hind : float
        Stance time / stride time.
    phases : (float, float, float, float)
        Touch-down of left fore, right fore, left hind and right hind as a share of the left hind's stride.
    overreach_left, overreach_right : float
        Hind print minus the fore print it answers, along the line of walk (m); positive past it.
    scatter_along, scatter_across : float
        Standard deviation of each print's own deviation (m); a hind print deviates from the fore print it
        answers.
    track_fore, track_hind : float
        Distance across the line of walk between left and right prints (m).
    offset : float
        Shift of the line of walk to the animal's left (m).
    speed_change : float
        Relative gain of speed from the start of the walk to its end, half by longer and half by quicker
        strides.
    heading : float
        Angle by which the line of walk drifts away from the camera (rad).
    halts : bool
        True where the animal stops at the end of the walk and stays.
    hip_height, trunk_length : float
        Floor to hip, and shoulder joint to hip joint (m).
    bob, sway : float
        Amplitude of the trunk's rise and fall, and of its sideways sway (m).
    swing_fore, swing_hind : Swing
    """

    stride_length: float = 1.40
    stride_time: float = 1.25
    duty_fore: float = 0.66
    duty_hind: float = 0.66
    phases: tuple[float, float, float, float] = (0.23, 0.73, 0.0, 0.5)
    overreach_left: float = 0.0
    overreach_right: float = 0.0
    scatter_along: float = 0.012
    scatter_across: float = 0.010
    track_fore: float = 0.34
    track_hind: float = 0.36
    offset: float = 0.0
    speed_change: float = 0.0
    heading: float = 0.0
    halts: bool = False
    hip_height: float = 1.38
    trunk_length: float = 1.10
    bob: float = 0.012
    sway: float = 0.015
    swing_fore: Swing = field(default_factory=Swing)
    swing_hind: Swing = field(default_factory=Swing)

    def __post_init__(self) -> None:
        if not (self.stride_length > 0 and self.stride_time > 0):
            raise ValueError(
                f"stride length and time must be above zero, got {self.stride_length} and "
                f"{self.stride_time}; use stand_animal for one that does not walk"
            )
        if not all(0 < duty < 1 for duty in (self.duty_fore, self.duty_hind)):
            raise ValueError(
                f"duty factors lie between 0 and 1, got {self.duty_fore} and {self.duty_hind}; "
                "a walk has about 0.66"
            )
        if abs(self.speed_change) > 0.5:
            raise ValueError(f"speed may change by half at most, got {self.speed_change}; plan two walks")

    def duty(self, limb: Limb) -> float:
        """Duty factor of the limb."""
        return self.duty_fore if pair_of(limb) == "fore" else self.duty_hind

    def phase(self, limb: Limb) -> float:
        """Touch-down of the limb as a share of the left hind's stride."""
        return self.phases[LIMBS.index(limb)]

    def overreach(self, side: Side) -> float:
        """Planned overreach of the side (m)."""
        return self.overreach_left if side == "left" else self.overreach_right

    def swing(self, pair: Pair) -> Swing:
        """How that pair of limbs swings."""
        return self.swing_fore if pair == "fore" else self.swing_hind

    def answer_gap(self, side: Side) -> float:
        """Time from fore lift-off to the hind touch-down that answers it (s), below zero if it stands."""
        fore, hind = (self.phase(limb) for limb in LIMBS if side_of(limb) == side)
        lead = (hind - fore) % 1.0
        return (lead - self.duty_fore) * self.stride_time


def draw_plan(
    rng: np.random.Generator,
    *,
    gait: Gait = "walk",
    overreach: tuple[float, float] | None = None,
    scatter: tuple[float, float] | None = None,
    heading: float | None = None,
    halts: bool = False,
) -> GaitPlan:
    """Draw a plausible animal and its walk.

    Stride length follows from trunk length, limb phase and overreach: the trunk must travel so far that each
    hind foot, standing under the hip, meets the place the fore foot had under the shoulder.

    Parameters
    ----------
    rng : numpy.random.Generator
    gait : {"walk", "trot"}
    overreach : (left, right) floats, optional
        In metres; drawn when absent, with one side different from the other in about one animal of four.
    scatter : (along, across) floats, optional
        Standard deviations (m); drawn when absent.
    heading : float, optional
        In rad; drawn small when absent.
    halts : bool
        Whether the animal stops at the end.
    """
    hip_height = rng.uniform(1.22, 1.50)
    trunk = hip_height * rng.uniform(0.76, 0.84)
    if overreach is None:
        mean = rng.uniform(-0.22, 0.18)
        apart = rng.uniform(-0.16, 0.16) if rng.random() < 0.25 else rng.normal(0.0, 0.015)
        overreach = (mean + apart / 2, mean - apart / 2)
    phase = rng.uniform(0.20, 0.26) if gait == "walk" else rng.uniform(0.46, 0.52)
    half = 0.5 + rng.normal(0.0, 0.008)
    phases = (phase, (phase + half + rng.normal(0.0, 0.008)) % 1.0, 0.0, half)
    slack = rng.uniform(-0.08, 0.08)
    longest = hip_height * (1.22 if gait == "walk" else 1.8)
    stride_length = min((trunk + float(np.mean(overreach)) + slack) / (1 - phase), longest)
    pace = rng.uniform(0.92, 1.12) * math.sqrt(hip_height / 1.38)
    stride_time = (1.25 if gait == "walk" else 0.78) * pace
    duty_fore, duty_hind = _draw_duties(rng, gait, max(1 - phase, half - phases[1] + 1), stride_time)
    along, across = scatter or (rng.uniform(0.006, 0.025), rng.uniform(0.006, 0.018))
    return GaitPlan(
        stride_length=stride_length,
        stride_time=stride_time,
        duty_fore=duty_fore,
        duty_hind=duty_hind,
        phases=phases,
        overreach_left=overreach[0],
        overreach_right=overreach[1],
        scatter_along=along,
        scatter_across=across,
        track_fore=rng.uniform(0.26, 0.38),
        track_hind=rng.uniform(0.28, 0.42),
        offset=rng.normal(0.0, 0.05),
        speed_change=rng.normal(0.0, 0.04),
        heading=rng.normal(0.0, 0.02) if heading is None else heading,
        halts=halts,
        hip_height=hip_height,
        trunk_length=trunk,
        bob=rng.uniform(0.006, 0.018),
        sway=rng.uniform(0.005, 0.025),
        swing_fore=_draw_swing(rng, lift=rng.uniform(0.06, 0.14)),
        swing_hind=_draw_swing(rng, lift=rng.uniform(0.05, 0.12)),
    )


def _draw_duties(
    rng: np.random.Generator, gait: Gait, lead: float, stride_time: float
) -> tuple[float, float]:
    if gait == "trot":
        return rng.uniform(0.42, 0.47), rng.uniform(0.41, 0.46)
    widest = 0.9 * MAX_ANSWER_GAP / stride_time
    fore = float(np.clip(rng.uniform(0.62, 0.71), lead - widest, lead + 0.25 * widest))
    return fore, float(np.clip(fore + rng.normal(0.0, 0.012), 0.60, 0.73))


def _draw_swing(rng: np.random.Generator, lift: float) -> Swing:
    pitch_lift_off = rng.uniform(0.40, 0.75)
    return Swing(
        lift=lift,
        late_lift=rng.uniform(0.2, 0.9),
        push=rng.uniform(0.5, 4.0),
        landing_speed=rng.uniform(0.1, 0.8),
        landing_fall=rng.uniform(0.2, 0.6),
        landing_slowing=rng.uniform(0.0, 3.0),
        outward=rng.uniform(0.0, 0.04),
        heel_rise_time=rng.uniform(0.10, 0.15),
        pitch_lift_off=pitch_lift_off,
        pitch_top=pitch_lift_off + rng.uniform(0.2, 0.6),
        pitch_late=rng.uniform(-0.05, 0.20),
        pitch_touch_down=rng.uniform(0.0, 0.08),
        settle_time=rng.uniform(0.03, 0.05),
    )
