"""First guesses of the walk in a ground strip, from pairs of bars that could be one foot's next stances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from ..imaging.standing import HOOF_SHARE
from .bars import Bar
from .gait import STRIDE_IN_HOOVES, WALK, Gait, Pattern
from .occupancy import Occupancy

Array = NDArray[np.float64]
Number = TypeVar("Number", float, Array)

# Strides counted to either side of the guessed stance: a guess is too rough to reach further.
_NUMBERS = np.arange(-3, 4, dtype=float)
# A stance counts by how much its fit exceeds this, so that empty floor costs and chance gains nothing.
WORTH = 0.35
# How the scale may change from one stride to the next, by perspective.
_GROWTHS = (-0.18, -0.12, -0.06, 0.0, 0.06, 0.12, 0.18)
_MOST_BARS, _MOST_GUESSES, _FINALISTS = 70, 20, 14
_OVERREACHES = np.arange(-0.2, 0.201, 0.05)
# The other side: how far it may be from half a stride in place and in time, and its distance in depth (band px).
_PLACES, _TIMES, _DEPTHS = (
    np.arange(-0.15, 0.151, 0.05),
    np.arange(-0.10, 0.121, 0.05),
    np.arange(-30.0, 31.0, 2.0),
)
# Rows from the horizon to the feet as a share of the picture's width: a phone at breast height, 5 m away.
_BELOW_HORIZON = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    """Guessed staircases of one side, (N,) float arrays; ``overreach`` as a share of the stride."""

    toe: Array
    start: Array
    stride_px: Array
    stride_time: Array
    growth: Array
    level: Array

    def take(self, which: NDArray[np.intp]) -> _Side:
        return _Side(**{name: getattr(self, name)[which] for name in self.__slots__})


def guess_gaits(
    bars: Sequence[Bar], occupancy: Occupancy, pattern: Pattern, headings: Sequence[int], most: int
) -> list[tuple[float, Gait]]:
    """The likeliest walks, best first, each with its score.

    Every pair of bars at one depth that one foot could have made in two strides running proposes a stride. A
    proposal's score is what its staircase of fore and hind stances finds filled in the strip, less what it finds
    empty; then the same is asked of the other side, half a stride away.

    Parameters
    ----------
    bars : sequence of Bar
    occupancy : Occupancy
    pattern : Pattern
    headings : sequence of int
        Ways of walk to try: 1, −1 or both.
    most : int
        How many to return.
    """
    found = []
    for heading in headings:
        pairs = _propose(bars, occupancy, pattern, heading)
        if pairs is None:
            continue
        for growth in _GROWTHS:
            side = _Side(**pairs, growth=np.full(len(pairs["toe"]), growth))
            score, overreach = _rate(occupancy, pattern, heading, side, _OVERREACHES[::2])
            found += [
                (score[i], heading, overreach[i], side.take(np.array([i])))
                for i in np.argsort(-score)[:_MOST_GUESSES]
            ]
    found.sort(key=lambda one: -one[0])
    finalists: list[tuple[float, int, float, _Side]] = []
    for one in found:
        if not any(one[1] == other[1] and _alike(one[3], other[3], one[1]) for other in finalists):
            finalists.append(one)
        if len(finalists) == _FINALISTS:
            break
    both = [_add_other_side(occupancy, pattern, *one) for one in finalists]
    return sorted(both, key=lambda one: -one[0])[:most]


def _propose(
    bars: Sequence[Bar], occupancy: Occupancy, pattern: Pattern, heading: int
) -> dict[str, Array] | None:
    """Pairs of bars that could be successive stances of one foot."""
    usable = [bar for bar in bars if bar.begun and bar.upright > 0.3]
    usable = sorted(usable, key=lambda bar: -bar.area * bar.upright)[:_MOST_BARS]
    if len(usable) < 2:
        return None
    toe = np.array([bar.right if heading > 0 else bar.left for bar in usable])
    start = np.array([bar.start for bar in usable])
    level = np.array([bar.row for bar in usable]) - occupancy.slope * (toe - occupancy.middle)
    shortest, longest = pattern.stride_time
    view = occupancy.view_width
    alike = np.abs(level[None] - level[:, None]) <= occupancy.tolerance + 2
    proposals = []
    for strides in (1, 2):
        length = heading * (toe[None] - toe[:, None]) / strides
        time = (start[None] - start[:, None]) / strides
        good = (time > shortest) & (time < longest) & (length > 0.05 * view) & (length < 0.6 * view)
        first, second = np.nonzero(good & alike)
        depth = 0.5 * (level[first] + level[second])
        proposals.append([toe[first], start[first], length[first, second], time[first, second], depth])
    names = ("toe", "start", "stride_px", "stride_time", "level")
    columns = [np.concatenate(column) for column in zip(*proposals, strict=True)]
    return dict(zip(names, columns, strict=True)) if len(columns[0]) else None


def _rate(
    occupancy: Occupancy, pattern: Pattern, heading: int, side: _Side, overreaches: Array
) -> tuple[Array, Array]:
    """Score of one side's staircases, and the best overreach of each."""
    steps = _NUMBERS + side.growth[:, None] * _NUMBERS * (_NUMBERS - 1) / 2
    toe = side.toe[:, None] + heading * side.stride_px[:, None] * steps
    time, level = side.stride_time[:, None], side.level[:, None]
    start = side.start[:, None] + time * _NUMBERS
    stride = side.stride_px[:, None] * (1 + side.growth[:, None] * (_NUMBERS - 0.5))
    hoof = np.maximum(side.stride_px[:, None] / STRIDE_IN_HOOVES, 3.0)
    fit, seen = occupancy.stance(heading, toe, level, start, start + pattern.duty * time, hoof)
    # A stance counts by the piece of the strip it explains: else two short ones would win over one long one.
    size = weigh(side.stride_px, side.stride_time, occupancy.view_width)
    score = _worth(fit, seen)
    # Before a fore foot lands nobody has stood there.
    early, _ = occupancy.stance(heading, toe, level, start - 0.45 * time, start - 0.05 * time, hoof)
    score -= 0.3 * np.where(seen > 0.5, np.maximum(early, 0.0), 0.0).sum(axis=1)
    if len(overreaches) == 0:
        return size * score, np.zeros(len(score))
    landing = start + pattern.delay * time
    hinds = []
    for overreach in overreaches:
        place = toe + heading * overreach * stride
        fit, seen = occupancy.stance(heading, place, level, landing, landing + pattern.duty * time, hoof)
        hinds.append(_worth(fit, seen))
    best = np.argmax(hinds, axis=0)
    return size * (score + np.max(hinds, axis=0)), overreaches[best]


def weigh(stride_px: Number, stride_time: Number, view_width: int) -> Number:
    """Place and time that one stance takes up in the strip, in those of a usual one."""
    return stride_px / (STRIDE_IN_HOOVES * HOOF_SHARE * view_width) * stride_time / WALK.usual_time


def _worth(fit: Array, seen: Array) -> Array:
    return np.asarray(np.where(seen > 0.5, fit - WORTH, 0.0).sum(axis=1))


def _alike(a: _Side, b: _Side, heading: int) -> bool:
    """Whether two guesses are the same staircase, counted from different stances."""
    stride, time = float(b.stride_px[0]), float(b.stride_time[0])
    if abs(a.stride_px[0] / stride - 1) > 0.08 or abs(a.stride_time[0] / time - 1) > 0.06:
        return False
    later, further = a.start[0] - b.start[0], heading * (a.toe[0] - b.toe[0])
    number = np.rint(later / time)
    return bool(
        abs(later - number * time) < 0.1 * time
        and abs(further - number * stride) < 0.12 * stride
        and abs(a.level[0] - b.level[0]) <= 2
    )


def _add_other_side(
    occupancy: Occupancy, pattern: Pattern, score: float, heading: int, overreach: float, side: _Side
) -> tuple[float, Gait]:
    """The whole walk: the side that was guessed, and the best place for the other one."""
    place, time, depth = (grid.ravel() for grid in np.meshgrid(_PLACES, _TIMES, _DEPTHS, indexing="ij"))
    one = {name: float(getattr(side, name)[0]) for name in side.__slots__}
    count = np.ones(len(place))
    scale = 1 + depth / (_BELOW_HORIZON * occupancy.view_width)
    others = _Side(
        toe=one["toe"] + heading * (0.5 + place) * one["stride_px"],
        start=one["start"] + (0.5 + time) * one["stride_time"],
        stride_px=one["stride_px"] * scale,
        stride_time=one["stride_time"] * count,
        growth=one["growth"] * count,
        level=one["level"] + depth,
    )
    fores, _ = _rate(occupancy, pattern, heading, others, np.empty(0))
    best = np.argsort(-fores)[:60]
    rated, reaches = _rate(occupancy, pattern, heading, others.take(best), _OVERREACHES)
    rated = rated - 0.5 * (np.abs(depth[best]) < 2)
    top = int(np.argmax(rated))
    i = best[top]
    guessed_near = depth[i] < 0
    mine, its = (0, 1) if guessed_near else (1, 0)
    stride, period, growth = one["stride_px"], one["stride_time"], one["growth"]
    places = np.empty((2, 3))
    places[mine] = heading * one["toe"], stride * (1 - growth / 2), stride * growth / 2
    # Half a stride on, where the other side's own count of strides stands at one half.
    places[its] = places[mine] * [1.0, scale[i], scale[i]]
    half_on = heading * one["toe"] + (0.5 + place[i]) * stride
    places[its, 0] = half_on - 0.5 * places[its, 1] - 0.25 * places[its, 2]
    reach, levels, half = np.empty(2), np.empty(2), np.empty(2)
    reach[mine], reach[its] = overreach * stride, reaches[top] * stride * scale[i]
    levels[mine], levels[its] = one["level"], one["level"] + depth[i]
    half[mine], half[its] = 0.0, 0.5
    later = np.empty(2)
    later[mine], later[its] = 0.0, time[i] * period
    gait = Gait(
        pattern=pattern,
        heading=heading,
        place=places,
        reach=reach,
        time=np.array([one["start"], period, 0.0]),
        time_shift=np.concatenate([later, later + pattern.delay * period]),
        half=np.tile(half, 2),
        level=np.column_stack([np.tile(levels, 2), np.zeros(4)]),
        middle=occupancy.middle,
    )
    return score + float(rated[top]), gait
