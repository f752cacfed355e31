"""A guessed walk brought into line with the strip: each stance looked for near its place, then all fitted together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .gait import STRIDE_IN_HOOVES, Gait
from .occupancy import Occupancy
from .search import WORTH, weigh

Array = NDArray[np.float64]

# Round by round: how many strides from the guessed stance are looked at, and how far a stance may be from its expected
# place, time and depth (strides, stride times, tolerances of depth).
_ROUNDS = ((2.6, 0.14, 0.14, 2.0), (4.6, 0.09, 0.10, 1.5), (8.6, 0.09, 0.10, 1.5), (99.0, 0.09, 0.10, 1.5))
_FINE_PLACE, _FINE_TIME, _FINE_DEPTH = 0.02, 0.045, 0.5
# How unlikely each such deviation is: it costs 0.08 of the fit at these.
_LIKELY = (0.06, 0.08, 1.0)
_DEVIATION_COST, _CLEAR_WEIGHT = 0.08, 0.3
# A stance takes part in the common fit from this fit on.
LEAST_FIT = 0.3
LEAST_SEEN = 0.5
# Deviation beyond which a stance is believed less, as a share of the stride (place, time).
_WILD = 0.05
# Stances nearer than this in place and time are the same (strides, stride times).
_SAME_PLACE, _SAME_TIME = 0.12, 0.20
# Cost of a fitted number at one standard deviation from what is usual.
_ODDITY_COST = 0.15
# Weight of the two sides' common stride, in stances.
_TIE = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Footfall:
    """One stance as the strip shows it.

    Parameters
    ----------
    foot : int
        Index into ``FEET``.
    number : int
        Counted in strides of this foot.
    toe, level : float
        Column of the toe tip and depth (band px).
    start, end : float
        (s)
    fit : float
        1 for a stance that fills its place, 0 and less for none.
    seen : float
        Share of its place and time that was in view.
    stride_px, stride_time : float
        Of the walk, there.
    """

    foot: int
    number: int
    toe: float
    level: float
    start: float
    end: float
    fit: float
    seen: float
    stride_px: float
    stride_time: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedGait:
    """A walk with its stances, those not seen in the strip too.

    ``explained`` tells how much of the strip it fills, less what it finds empty; ``odd`` how unlike a walking animal
    its numbers are; ``score`` is the one less the cost of the other.
    """

    gait: Gait
    footfalls: tuple[Footfall, ...]
    explained: float
    odd: float

    @property
    def score(self) -> float:
        return self.explained - _ODDITY_COST * self.odd


def fit_gait(occupancy: Occupancy, gait: Gait) -> FittedGait | None:
    """Fit a guessed walk to the strip.

    Parameters
    ----------
    occupancy : Occupancy
    gait : Gait

    Returns
    -------
    FittedGait or None
        None where too few stances are seen to fit anything.
    """
    footfalls: list[Footfall] = []
    known = 0
    for span, *reach in _ROUNDS:
        footfalls = [one for foot in range(4) for one in _look(occupancy, gait, foot, span, reach)]
        if span > 5 and len(footfalls) == known:
            break
        known = len(footfalls)
        good = [one for one in footfalls if one.fit > LEAST_FIT and one.seen > LEAST_SEEN]
        if len(good) < 4:
            return None
        gait = _fit_together(gait, good)
    explained = sum(
        (one.fit - WORTH) * weigh(one.stride_px, one.stride_time, occupancy.view_width)
        for one in footfalls
        if one.seen > LEAST_SEEN
    )
    return FittedGait(gait=gait, footfalls=tuple(footfalls), explained=explained, odd=_measure_oddity(gait))


def agree(one: FittedGait, other: FittedGait) -> float:
    """Share of the seen stances of a walk that another has at the same place and time, as the same foot's."""
    seen, others = (
        [fall for fall in fit.footfalls if fall.fit > LEAST_FIT and fall.seen > LEAST_SEEN]
        for fit in (one, other)
    )
    if not seen or one.gait.heading != other.gait.heading:
        return 0.0
    same = [
        any(
            b.foot == a.foot
            and abs(b.toe - a.toe) < _SAME_PLACE * a.stride_px
            and abs(b.start - a.start) < _SAME_TIME * a.stride_time
            for b in others
        )
        for a in seen
    ]
    return sum(same) / len(same)


def _measure_oddity(gait: Gait) -> float:
    """How unlike a walking animal the fitted numbers are: a sum of squares, each 1 at a usual deviation.

    The two sides of an animal step at half a stride from one another, answer after the same time and reach alike;
    fore and hind feet walk on one line, and the far side stands clear above the near one with strides a little
    shorter; pace and stride change little from stride to stride.
    """
    period, stride = gait.stride_time, gait.stride_px
    delay = (gait.time_shift[2:] - gait.time_shift[:2]) / period
    reach = gait.reach / gait.place[:, 1]
    lag = (gait.time_shift[1] - gait.time_shift[0]) / period
    apart = (gait.level[0, 0] - gait.level[1, 0]) / gait.hoof_px
    odd = [
        (delay[0] - delay[1]) / 0.06,
        *((delay - gait.pattern.delay) / 0.07),
        (reach[0] - reach[1]) / 0.10,
        *(reach / 0.20),
        lag / 0.04,
        *((gait.level[2:, 0] - gait.level[:2, 0]) / (0.15 * gait.hoof_px)),
        max(0.0, 0.30 - apart) / 0.10,
        (gait.place[1, 1] / gait.place[0, 1] - 0.94) / 0.05,
        np.log(period / gait.pattern.usual_time) / 0.25,
        2 * gait.time[2] / period / 0.03,
        *(2 * gait.place[:, 2] / stride / 0.12),
    ]
    return float(np.square(odd).sum())


def _look(occupancy: Occupancy, gait: Gait, foot: int, span: float, reach: Sequence[float]) -> list[Footfall]:
    """The best place of every stance of one foot that could be in view."""
    numbers = np.arange(-14.0, 15.0)
    expected = gait.expect(foot, numbers)
    hoof = np.maximum(expected.stride_px / STRIDE_IN_HOOVES, 3.0)
    possible = (
        (np.abs(numbers + gait.half[foot]) < span)
        & (expected.stride_px > 0.4 * gait.stride_px)
        & (expected.stride_time > 0.5 * gait.stride_time)
        & (expected.toe > -0.5 * hoof)
        & (expected.toe < occupancy.width + 0.5 * hoof)
        & (expected.start + 0.6 * (expected.end - expected.start) > 0)
        & (expected.start + 0.4 * (expected.end - expected.start) < occupancy.duration)
    )
    if not possible.any():
        return []
    fine = max(1, round(_FINE_DEPTH * occupancy.tolerance))
    depths = fine * round(reach[2] * occupancy.tolerance / fine)
    columns = {name: getattr(expected, name)[possible][:, None] for name in expected.__slots__}
    place, time, depth = (
        grid.ravel()[None]
        for grid in np.meshgrid(
            np.arange(-reach[0], reach[0] + 1e-9, _FINE_PLACE),
            np.arange(-reach[1], reach[1] + 1e-9, _FINE_TIME),
            np.arange(-depths, depths + 1.0, fine),
            indexing="ij",
        )
    )
    period, length = columns["stride_time"], columns["stride_px"]
    toe = columns["toe"] + gait.heading * place * length
    level, start = columns["level"] + depth, columns["start"] + time * period
    end = start + columns["end"] - columns["start"]
    hooves = hoof[possible][:, None]
    fit, seen = occupancy.stance(gait.heading, toe, level, start, end, hooves)
    # A fore foot lands where nobody stood; nobody comes after the hind foot.
    clear = (start - 0.35 * period, start - 0.02 * period)
    if foot >= 2:
        clear = (end + 0.02 * period, end + 0.35 * period)
    other, _ = occupancy.stance(gait.heading, toe, level, *clear, hooves)
    cost = (
        (place / _LIKELY[0]) ** 2
        + (time / _LIKELY[1]) ** 2
        + (depth / (_LIKELY[2] * occupancy.tolerance)) ** 2
    )
    rated = fit - _CLEAR_WEIGHT * np.maximum(other, 0.0) - _DEVIATION_COST * cost
    best = rated.argmax(axis=1)
    row = np.arange(len(best))
    return [
        Footfall(
            foot=foot,
            number=int(number),
            toe=float(toe[i, j]),
            level=float(level[i, j]),
            start=float(start[i, j]),
            end=float(end[i, j]),
            fit=float(fit[i, j]),
            seen=float(seen[i, j]),
            stride_px=float(length[i, 0]),
            stride_time=float(period[i, 0]),
        )
        for i, j, number in zip(row, best, numbers[possible], strict=True)
    ]


def _fit_together(gait: Gait, good: Sequence[Footfall]) -> Gait:
    """One walk through all seen stances, by robust least squares that stays near the walk it began with."""
    foot = np.array([one.foot for one in good])
    s = np.array([one.number for one in good]) + gait.half[foot]
    weight = np.array([one.fit * one.seen for one in good])
    ahead = gait.heading * np.array([one.toe for one in good])
    start = np.array([one.start for one in good])
    powers = np.column_stack([np.ones_like(s), s, s**2])
    place, reach = _fit_places(gait, foot, powers, ahead, weight)
    design = np.column_stack([powers, *(foot == k for k in (1, 2, 3))]).astype(float)
    guess = np.concatenate([gait.time, gait.time_shift[1:] - gait.time_shift[0]])
    hold = np.array([0.02, 0.02, 30.0, 0.05, 0.05, 0.05])
    times = _solve_robustly(design, start, weight, _WILD * gait.stride_time, hold, guess)
    level = gait.level.copy()
    for side in (0, 1):
        own = foot % 2 == side
        if own.sum() >= 2:
            x = gait.heading * ahead[own] - gait.middle
            hind = (foot[own] >= 2).astype(float)
            lines = np.column_stack([np.ones_like(x), x, hind])
            rows = np.array([one.level for one in good])[own]
            old = np.array([*level[side], level[side + 2, 0] - level[side, 0]])
            hold = np.array([0.02, 0.2 * (gait.middle / 2) ** 2, 0.6])
            found = _solve_robustly(lines, rows, weight[own], 1.5, hold, old)
            level[side], level[side + 2] = found[:2], (found[0] + found[2], found[1])
    shift = np.concatenate([[0.0], times[3:]])
    return replace(gait, place=place, reach=reach, time=times[:3], time_shift=shift, level=level)


def _fit_places(
    gait: Gait, foot: NDArray[np.intp], powers: Array, ahead: Array, weight: Array
) -> tuple[Array, Array]:
    """Places and reaches of the near and the far side, whose strides go together."""
    far, hind = foot % 2 == 1, foot >= 2
    design = np.column_stack([powers * ~far[:, None], powers * far[:, None], hind & ~far, hind & far])
    # The far side's stride and its growth are those of the near side, smaller by one factor.
    factor = gait.place[1, 1] / gait.place[0, 1]
    ties = np.zeros((3, 8))
    ties[0, [1, 4]] = ties[1, [2, 5]] = ties[2, [6, 7]] = -factor, 1.0
    design = np.vstack([design, ties])
    seen = np.concatenate([ahead, np.zeros(3)])
    weights = np.concatenate([weight, [_TIE, 4 * _TIE, 0.3 * _TIE]])
    guess = np.concatenate([gait.place.ravel(), gait.reach])
    hold = np.array([0.02, 0.02, 1.5, 0.02, 0.02, 1.5, 0.05, 0.05])
    found = _solve_robustly(design, seen, weights, _WILD * gait.stride_px, hold, guess)
    return found[:6].reshape(2, 3), found[6:]


def _solve_robustly(
    design: Array, seen: Array, weight: Array, scale: float, hold: Array, guess: Array
) -> Array:
    """Least squares with Cauchy weights about a guess that each unknown is held to."""
    current = weight
    found = guess
    for _ in range(6):
        normal = design.T @ (current[:, None] * design) + np.diag(hold)
        found = np.asarray(np.linalg.solve(normal, design.T @ (current * seen) + hold * guess), dtype=float)
        current = weight / (1 + ((seen - design @ found) / scale) ** 2)
    return found
