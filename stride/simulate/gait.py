"""A walking animal in numbers: prints, hoof paths and trunk path, all exact.

Floor coordinates: x as the picture runs (left to right), y away from the camera, z up; metres and seconds.
The camera looks along +y, so an animal going left to right turns its right side to it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from ..walk.limbs import LIMBS, Limb, Side, limb_at, pair_of, side_of
from ..walk.marks import Direction
from .plan import GaitPlan, Swing, draw_plan

__all__ = [
    "GaitPlan",
    "Swing",
    "TrueOverreach",
    "TruePrint",
    "TrueStride",
    "Walk",
    "draw_plan",
    "stand_animal",
    "true_overreaches",
    "true_strides",
    "walk_animal",
]

Array = NDArray[np.float64]

TRUNK_HEIGHT_SHARE = 0.94
"""Height of the trunk's joints as a share of hip height."""

HALT_REST = 2.0
"""How long a halting animal is kept standing after its last step (s)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TruePrint:
    """One print as it really is: place of the toe tip (m) and times (s).

    ``touch_down`` is ``-inf`` and ``lift_off`` ``inf`` where the hoof stood before or stays after the walk.
    """

    limb: Limb
    xy: tuple[float, float]
    touch_down: float
    lift_off: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueStride:
    """From one print of a limb to its next: length along the line of walk (m) and time (s)."""

    limb: Limb
    start: int
    end: int
    length: float
    time: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueOverreach:
    """Hind print minus the fore print it answers, along the line of walk (m); positive past it."""

    side: Side
    fore_print: int
    hind_print: int
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """One walk-by, exact at any time.

    Parameters
    ----------
    plan : GaitPlan
    direction : {"left_to_right", "right_to_left"}
    origin : (float, float)
        Floor point under the middle of the trunk at time 0, on the line of walk (m).
    prints : tuple of TruePrint
        Ordered by touch-down. Paths are complete from time 0 to ``duration``; outside, hooves keep their
        first and last place.
    cycles : float
        Strides from time 0 to ``duration``.
    duration : float
        (s)
    """

    plan: GaitPlan
    direction: Direction
    origin: tuple[float, float]
    prints: tuple[TruePrint, ...]
    cycles: float
    duration: float

    @property
    def heading(self) -> Array:
        """(2,) unit vector on the floor pointing where the animal goes."""
        return heading_of(self.plan, self.direction)

    @property
    def leftward(self) -> Array:
        """(2,) unit vector on the floor to the animal's left."""
        ahead = self.heading
        return np.array([-ahead[1], ahead[0]])

    @property
    def near_side(self) -> Side:
        """The animal's side that faces the camera."""
        return "right" if self.direction == "left_to_right" else "left"

    def hoof_at(self, limb: Limb, t: ArrayLike) -> Array:
        """Place of the toe tip.

        Parameters
        ----------
        limb : Limb
        t : (N,) array-like
            Times (s).

        Returns
        -------
        (N, 3) float array
            x, y and height z (m); exactly the print while the hoof stands.
        """
        times = np.atleast_1d(np.asarray(t, dtype=float))
        xy, touch_down, lift_off = _limb_arrays(self.prints, limb)
        held = np.clip(np.searchsorted(touch_down, times, side="right") - 1, 0, len(xy) - 1)
        place = np.column_stack([xy[held], np.zeros(len(times))])
        flying = np.flatnonzero((times > lift_off[held]) & (held < len(xy) - 1))
        if flying.size:
            start = held[flying]
            swing_time = touch_down[start + 1] - lift_off[start]
            share = (times[flying] - lift_off[start]) / swing_time
            swing = self.plan.swing(pair_of(limb))
            span = xy[start + 1] - xy[start]
            length = np.linalg.norm(span, axis=1)
            ahead = _swing_progress(swing, share, swing_time, length)
            outward = swing.outward * np.sin(math.pi * share) ** 2 * (1 if side_of(limb) == "left" else -1)
            place[flying, :2] = xy[start] + ahead[:, None] * span + outward[:, None] * self.leftward
            place[flying, 2] = _swing_height(swing, share, swing_time)
        return place

    def pitch_at(self, limb: Limb, t: ArrayLike) -> Array:
        """Angle of the sole to the floor, heel up positive.

        Parameters
        ----------
        limb : Limb
        t : (N,) array-like
            Times (s).

        Returns
        -------
        (N,) float array
            In rad; 0 flat.
        """
        times = np.atleast_1d(np.asarray(t, dtype=float))
        swing = self.plan.swing(pair_of(limb))
        _, touch_down, lift_off = _limb_arrays(self.prints, limb)
        knots, pitches = [-1e6], [0.0]
        for landing, leaving in zip(touch_down[1:], lift_off[:-1], strict=True):
            swing_time = landing - leaving
            knots += [leaving - swing.heel_rise_time, leaving, leaving + 0.3 * swing_time]
            pitches += [0.0, swing.pitch_lift_off, swing.pitch_top]
            knots += [leaving + 0.82 * swing_time, landing, landing + swing.settle_time]
            pitches += [swing.pitch_late, swing.pitch_touch_down, 0.0]
        curve = PchipInterpolator([*knots, 1e6], [*pitches, 0.0])
        return np.asarray(curve(times), dtype=float)

    def cycles_at(self, t: ArrayLike) -> Array:
        """Strides walked since time 0 at each time, (N,) float array."""
        times = np.atleast_1d(np.asarray(t, dtype=float))
        if self.cycles == 0:
            return np.zeros(len(times))
        grid = np.linspace(-1.0, self.cycles + 1.0, 40 * (int(self.cycles) + 3))
        return np.interp(times, _time_of(self.plan, self.cycles, grid), grid)

    def body_at(self, t: ArrayLike) -> Array:
        """Middle of the trunk, midway between shoulder and hip joints.

        Returns
        -------
        (N, 3) float array
            x, y and height z (m), with the trunk's bob and sway.
        """
        plan = self.plan
        done = self.cycles_at(t)
        ahead = _distance_of(plan, self.cycles, done)
        swaying = np.full(len(done), 0.0 if self.cycles == 0 else 1.0)
        if plan.halts and self.cycles:
            last = _distance_of(plan, self.cycles, np.array([self.cycles]))[0]
            room = 0.25 * plan.stride_length
            ahead = last - room * np.logaddexp(0.0, (last - ahead) / room)
            swaying = 1 / (1 + np.exp((done - self.cycles) * 8))
        turn = 2 * math.pi * (done + plan.phase("left_hind"))
        aside = swaying * plan.sway * np.sin(turn)
        height = plan.hip_height * TRUNK_HEIGHT_SHARE + swaying * plan.bob * np.cos(2 * turn)
        xy = np.asarray(self.origin) + ahead[:, None] * self.heading + aside[:, None] * self.leftward
        return np.column_stack([xy, height])


def walk_animal(
    plan: GaitPlan,
    rng: np.random.Generator,
    *,
    start_x: float = 0.0,
    prints_per_limb: int | None = None,
    span: float | None = None,
    direction: Direction = "left_to_right",
) -> Walk:
    """Walk an animal by its plan, scattering its prints.

    Parameters
    ----------
    plan : GaitPlan
    rng : numpy.random.Generator
        Draws the scatter.
    start_x : float
        Where the middle of the trunk is at time 0 (m, picture coordinates).
    prints_per_limb : int, optional
    span : float, optional
        At least so far the trunk travels (m). Give exactly one of the two.
    direction : {"left_to_right", "right_to_left"}

    Raises
    ------
    ValueError
        If neither or both of ``prints_per_limb`` and ``span`` are given, or fewer than two prints asked for.
    """
    first, last = _cycle_window(plan, 0)
    if (prints_per_limb is None) == (span is None):
        raise ValueError(
            f"give one of prints_per_limb and span, got {prints_per_limb} and {span}; the other follows"
        )
    if prints_per_limb is None:
        slowest = plan.stride_length * (1 - abs(plan.speed_change) / 4)
        prints_per_limb = 1 + math.ceil((span or 0.0) / slowest - (last - first))
        prints_per_limb = max(prints_per_limb, 2)
    if prints_per_limb < 2:
        raise ValueError(f"a walk has two prints a limb or more, got {prints_per_limb}; or use stand_animal")
    begin, end = _cycle_window(plan, prints_per_limb - 1)
    cycles = end - begin
    origin = (start_x, plan.offset if direction == "left_to_right" else -plan.offset)
    prints = _scattered_prints(
        plan, rng, per_limb=prints_per_limb, begin=begin, cycles=cycles, origin=origin, direction=direction
    )
    duration = float(_time_of(plan, cycles, np.array([cycles]))[0]) + (HALT_REST if plan.halts else 0.0)
    return Walk(
        plan=plan, direction=direction, origin=origin, prints=prints, cycles=cycles, duration=duration
    )


def stand_animal(
    plan: GaitPlan,
    *,
    x: float = 0.0,
    y: float = 0.0,
    duration: float = 5.0,
    direction: Direction = "left_to_right",
) -> Walk:
    """An animal that stands square for ``duration`` seconds with the middle of its trunk at ``x``, ``y`` (m)."""
    ahead = heading_of(plan, direction)
    left = np.array([-ahead[1], ahead[0]])
    prints = []
    for limb in LIMBS:
        fore = pair_of(limb) == "fore"
        aside = (plan.track_fore if fore else plan.track_hind) / 2 * (1 if side_of(limb) == "left" else -1)
        along = plan.trunk_length / 2 * (1 if fore else -1)
        xy = np.array([x, y]) + along * ahead + aside * left
        prints.append(
            TruePrint(limb=limb, xy=(float(xy[0]), float(xy[1])), touch_down=-math.inf, lift_off=math.inf)
        )
    return Walk(
        plan=plan, direction=direction, origin=(x, y), prints=tuple(prints), cycles=0.0, duration=duration
    )


def heading_of(plan: GaitPlan, direction: Direction) -> Array:
    """(2,) unit vector on the floor pointing where the animal goes."""
    sign = 1.0 if direction == "left_to_right" else -1.0
    return np.array([sign * math.cos(plan.heading), math.sin(plan.heading)])


def true_strides(walk: Walk) -> tuple[TrueStride, ...]:
    """Every stride of the walk, straight from its prints; ``start`` and ``end`` index ``walk.prints``."""
    strides = []
    for limb in LIMBS:
        own = [i for i, one in enumerate(walk.prints) if one.limb == limb]
        for start, end in itertools.pairwise(own):
            before, after = walk.prints[start], walk.prints[end]
            length = float(np.subtract(after.xy, before.xy) @ walk.heading)
            strides.append(
                TrueStride(
                    limb=limb,
                    start=start,
                    end=end,
                    length=length,
                    time=after.touch_down - before.touch_down,
                )
            )
    return tuple(strides)


def true_overreaches(walk: Walk) -> tuple[TrueOverreach, ...]:
    """Every overreach of the walk, straight from its prints.

    A hind print answers the fore print of its side whose lift-off is nearest its touch-down, if that is less
    than half a stride away.
    """
    found = []
    for i, hind in enumerate(walk.prints):
        side = side_of(hind.limb)
        if hind.limb != limb_at(side, "hind") or not math.isfinite(hind.touch_down):
            continue
        fores = [
            j
            for j, one in enumerate(walk.prints)
            if one.limb == limb_at(side, "fore")
            and abs(one.lift_off - hind.touch_down) < walk.plan.stride_time / 2
            and one.touch_down < hind.touch_down
        ]
        if fores:
            j = min(fores, key=lambda j: abs(walk.prints[j].lift_off - hind.touch_down))
            value = float(np.subtract(hind.xy, walk.prints[j].xy) @ walk.heading)
            found.append(TrueOverreach(side=side, fore_print=j, hind_print=i, value=value))
    return tuple(found)


def _cycle_window(plan: GaitPlan, last_index: int) -> tuple[float, float]:
    """Cycles between which all four feet have a first and still have a last print."""
    begin = max(plan.phases)
    end = last_index + min(plan.phase(limb) + plan.duty(limb) for limb in LIMBS)
    if plan.halts:
        end = last_index + float(np.mean([plan.phase(limb) + plan.duty(limb) / 2 for limb in LIMBS]))
    return begin, end


def _time_of(plan: GaitPlan, cycles: float, done: Array) -> Array:
    """Time (s) at which ``done`` cycles are walked, half the speed change in it."""
    gain = plan.speed_change / 2
    middle = done - gain / cycles * (done - cycles) * done / 2
    return plan.stride_time * middle


def _distance_of(plan: GaitPlan, cycles: float, done: Array) -> Array:
    """Distance the trunk has travelled (m) after ``done`` cycles."""
    if cycles == 0:
        return np.zeros(len(done))
    gain = plan.speed_change / 2
    return plan.stride_length * (done + gain / cycles * (done - cycles) * done / 2)


def _scattered_prints(
    plan: GaitPlan,
    rng: np.random.Generator,
    *,
    per_limb: int,
    begin: float,
    cycles: float,
    origin: tuple[float, float],
    direction: Direction,
) -> tuple[TruePrint, ...]:
    ahead = heading_of(plan, direction)
    frame = np.stack([ahead, [-ahead[1], ahead[0]]])
    deviation = np.array([plan.scatter_along, plan.scatter_across])
    prints = []
    for side in ("left", "right"):
        fore, hind = limb_at(side, "fore"), limb_at(side, "hind")
        outward = 1.0 if side == "left" else -1.0
        lag = round(plan.phase(hind) - plan.phase(fore) - plan.duty_fore)
        index = np.arange(-2.0, per_limb + 2)
        middle = index + plan.phase(fore) + plan.duty_fore / 2 - begin
        along = _distance_of(plan, cycles, middle) + _under_shoulder(plan, side)
        across = np.full(len(index), outward * plan.track_fore / 2)
        fores = np.column_stack([along, across]) + deviation * rng.standard_normal((len(index), 2))
        reach = [plan.overreach(side), outward * (plan.track_hind - plan.track_fore) / 2]
        hinds = fores + reach + deviation * rng.standard_normal((len(index), 2))
        for limb, places, shift in ((fore, fores, 0), (hind, hinds, lag)):
            for k in range(per_limb):
                events = _time_of(
                    plan, cycles, k + plan.phase(limb) - begin + np.array([0.0, plan.duty(limb)])
                )
                xy = np.asarray(origin) + places[k + shift + 2] @ frame
                stays = plan.halts and k == per_limb - 1
                prints.append(
                    TruePrint(
                        limb=limb,
                        xy=(float(xy[0]), float(xy[1])),
                        touch_down=float(events[0]),
                        lift_off=math.inf if stays else float(events[1]),
                    )
                )
    return tuple(sorted(prints, key=lambda one: (one.touch_down, LIMBS.index(one.limb))))


def _under_shoulder(plan: GaitPlan, side: Side) -> float:
    """Where the fore foot stands at mid-stance ahead of the trunk's middle (m).

    What trunk length leaves over is shared evenly between shoulder and hip, so that both legs lean alike.
    """
    lead = (plan.phase(limb_at(side, "hind")) - plan.phase(limb_at(side, "fore"))) % 1.0
    travelled = plan.stride_length * (lead + (plan.duty_hind - plan.duty_fore) / 2)
    return float((travelled - np.mean([plan.overreach_left, plan.overreach_right])) / 2)


def _limb_arrays(prints: Sequence[TruePrint], limb: Limb) -> tuple[Array, Array, Array]:
    own = [one for one in prints if one.limb == limb]
    return (
        np.array([one.xy for one in own], dtype=float),
        np.array([one.touch_down for one in own]),
        np.array([one.lift_off for one in own]),
    )


def _swing_progress(swing: Swing, share: Array, swing_time: Array, length: Array) -> Array:
    """Share of the way covered: a fifth-degree path with given speed and acceleration at both ends."""
    landing = np.minimum(swing.landing_speed * swing_time / np.maximum(length, 1e-6), 0.8)
    place = 1 - swing.push / 2
    speed = landing - swing.push
    bend = -swing.landing_slowing - swing.push
    cubic = 10 * place - 4 * speed + bend / 2
    quartic = -15 * place + 7 * speed - bend
    quintic = 6 * place - 3 * speed + bend / 2
    return share**2 * (swing.push / 2 + share * (cubic + share * (quartic + share * quintic)))


def _swing_height(swing: Swing, share: Array, swing_time: Array) -> Array:
    """Height (m): a fifth-degree Bernstein curve, never below the floor, falling on at ``landing_fall``."""
    grid = np.linspace(0.0, 1.0, 101)
    basis = [math.comb(5, k) * grid**k * (1 - grid) ** (5 - k) for k in (2, 3)]
    shape = basis[0] + swing.late_lift * basis[1]
    early = swing.lift / shape.max()
    last = np.minimum(swing.landing_fall * swing_time / 5, swing.lift / 2)
    rise = 10 * share**2 * (1 - share) ** 3 * early
    keep = 10 * share**3 * (1 - share) ** 2 * early * swing.late_lift
    return rise + keep + 5 * share**4 * (1 - share) * last
