"""One hoof followed away from a mark: first while it stands, then through the swing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..imaging.locate import (
    Patch,
    Sighting,
    correlate_looks,
    cut_look,
    cut_patch,
    refine_patch,
    search_patch,
)
from .clip import Image

Array = NDArray[np.float64]

# Similarity above which a standing hoof is still the one that was marked: it may fall short of 1 by so many times
# what it does in the frames next to the mark, within these bounds. A dark hoof on a dark floor is found again less
# alike than a bright one.
_FALL = 3.0
_LEAST_SAME, _MOST_SAME = 0.60, 0.93
# Similarity above which a moving hoof is the one of the frame before.
_LIKE = 0.60
# A toe that moves by more than this from one frame to the next has left the floor (hoof lengths).
_LEAVING = 0.06
# A hoof turned by less than this (rad) may still be standing flat.
_TURNED = 0.06
# A standing hoof hidden by another leg is waited for this long (s); one in the air only so many frames.
_WAIT_STANDING = 0.9
_LOST_FRAMES = 4
# A hoof that gives into the floor, or whose pastern bends over it, seems to move a little though its toe stands
# (hoof lengths; variance then stated for its place, px²).
_ROCKING = 0.10
_ROCKING_PX2 = 0.7**2
# A stance and what comes before or after it, from a mark somewhere in it (s).
_STANCE = 1.3
# Frames below which a hoof was not watched standing, but only marked.
_BRIEF = 4
# Time next to the mark in which the hoof still stands as it was marked (s), and the least of frames it is.
_CLEAR_TIME = 0.14
_CLEAR_FRAMES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class HoofShape:
    """The size of a hoof in the picture and the way it points.

    Parameters
    ----------
    length_px : float
    facing : int
        1 where the toe points to the right of the picture, −1 where it points to the left.
    """

    length_px: float
    facing: int

    def weight(self) -> tuple[NDArray[np.float32], tuple[float, float]]:
        """How much each pixel about the toe tip counts, and where the tip is: the hoof lies behind and above it.

        The pastern is left out: it bends over the hoof while that stands.
        """
        left, right = round(1.2 * self.length_px), round(0.35 * self.length_px)
        up, down = round(0.75 * self.length_px), round(0.30 * self.length_px)
        columns = np.arange(-left, right + 1) / self.length_px
        rows = np.arange(-up, down + 1) / self.length_px
        plateau = np.outer(_plateau(rows, -0.55, 0.05, 0.12), _plateau(columns, -1.0, 0.05, 0.12))
        weight: NDArray[np.float32] = plateau.astype(np.float32)
        if self.facing < 0:
            return np.ascontiguousarray(weight[:, ::-1]), (float(right), float(up))
        return weight, (float(left), float(up))


def _plateau(x: Array, low: float, high: float, soft: float) -> Array:
    """1 between low and high, falling off as a bell outside."""
    outside = np.maximum(np.maximum(low - x, x - high), 0.0)
    return np.exp(-0.5 * (outside / soft) ** 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One kept frame: the band of rows in which hooves are, and how the floor lies in it.

    Parameters
    ----------
    index : int
    t : float
        (s)
    luma : (h, W) uint8 array
    to_first : (3, 3) float array or None
        From pixels of the band to a picture in which the floor stands still; None for a camera that stands still.
    """

    index: int
    t: float
    luma: Image
    to_first: Array | None = None

    def carry(self, xy_px: Array, other: Picture) -> Array:
        """Where a floor point (2,) of this picture is in another."""
        if self.to_first is None or other.to_first is None or self is other:
            return xy_px
        there = np.linalg.solve(other.to_first, self.to_first @ np.array([xy_px[0], xy_px[1], 1.0]))
        return np.asarray(there[:2] / there[2], dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A hoof watched while it stands, from the marked frame on in one direction of time.

    One entry for each frame up to the last in which it was seen: ``xy_px`` (K, 2), ``variance_px2`` (K,) against
    the marked frame, ``seen`` (K,). ``angle`` (rad) is how far the hoof was turned about its toe at the end.
    """

    xy_px: Array
    variance_px2: Array
    seen: NDArray[np.bool_]
    angle: float

    @property
    def brief(self) -> bool:
        """Whether it was seen too briefly to be sure that it is the hoof that stood there."""
        return len(self.xy_px) < _BRIEF


def watch_standing(
    pictures: Sequence[Picture], xy_px: Array, shape: HoofShape, clear: Picture | None = None
) -> Standing:
    """Watch one place on the floor for as long as the marked hoof is seen there.

    A hoof that stands can be hidden for a while and seen again, but it cannot be elsewhere meanwhile; so only the
    place itself is looked at, and nothing that passes by can be taken for it. While the heel rises the hoof turns
    about its toe, which still stands: then the toe alone is watched, turning.

    Parameters
    ----------
    pictures : sequence of Picture
        From the marked frame on, in the direction of following.
    xy_px : (2,) float array
        The marked toe tip, in pixels of the bands.
    shape : HoofShape
    clear : Picture or None
        Where the hoof is seen best standing at that place; by default the marked frame.
    """
    standing = _watch(pictures, np.array(xy_px, dtype=float), shape, clear or pictures[0], learn=True)
    if standing.brief and len(pictures) >= _BRIEF:
        # No stance is so brief: the hoof looks less alike from frame to frame than could be learned.
        standing = _watch(pictures, np.array(xy_px, dtype=float), shape, clear or pictures[0], learn=False)
    return standing


def _watch(
    pictures: Sequence[Picture], xy_px: Array, shape: HoofShape, clear: Picture, *, learn: bool
) -> Standing:
    onward = len(pictures) > 1 and pictures[1].t > pictures[0].t
    watch = _Watch(clear, pictures[0].carry(xy_px, clear), shape, heel_rises=onward)
    if learn:
        watch.learn([one for one in pictures if one is not clear and abs(one.t - pictures[0].t) < _STANCE])
    rows: list[tuple[Array, float, bool]] = [(xy_px, 0.05**2, True)]
    last_seen = 0
    for number, picture in enumerate(pictures[1:], start=1):
        if abs(picture.t - pictures[last_seen].t) > _WAIT_STANDING:
            break
        variance = watch.look(picture, just_seen=last_seen == number - 1)
        if variance is not None:
            last_seen = number
        place = watch.place_in(picture)
        rows.append((place, np.inf if variance is None else variance, variance is not None))
    rows = rows[: last_seen + 1]
    return Standing(
        xy_px=np.array([row[0] for row in rows]),
        variance_px2=np.array([row[1] for row in rows]),
        seen=np.array([row[2] for row in rows], dtype=bool),
        angle=watch.angle,
    )


def find_clear(pictures: Sequence[Picture], marked: Picture, xy_px: Array, shape: HoofShape) -> Picture:
    """The picture in which the standing hoof is seen best among those about the marked one.

    Just when a hoof is marked in the middle of its stance, the opposite leg swings past and may hide part of it.
    Taken is the picture most like the marked one and like the best quarter of all.

    Parameters
    ----------
    pictures : sequence of Picture
        A few frames before and after the marked one, and it.
    marked : Picture
    xy_px : (2,) float array
    shape : HoofShape
    """
    weight, point = shape.weight()
    looks = np.stack(
        [cut_look(one.luma, marked.carry(xy_px, one), weight=weight, point=point) for one in pictures]
    )
    alike = correlate_looks(looks, weight)
    own = next(number for number, one in enumerate(pictures) if one is marked)
    score = alike[own] + np.quantile(alike, 0.75, axis=1)
    return pictures[int(score.argmax())]


class _Watch:
    """The hoof at one place: how it looked when marked, and how it looked a moment ago."""

    def __init__(self, clear: Picture, place: Array, shape: HoofShape, *, heel_rises: bool) -> None:
        self.angle = 0.0
        self._clear, self._mark = clear, place
        self._place, self._before = place, clear
        self._shape, self._heel_rises = shape, heel_rises
        self._weight, self._point = shape.weight()
        self._anchor = self._cut(clear, place)
        self._same = _LEAST_SAME

    def place_in(self, picture: Picture) -> Array:
        """Where the toe was last seen, in the pixels of a picture."""
        return self._before.carry(self._place, picture)

    def learn(self, pictures: Sequence[Picture]) -> None:
        """Learn how alike the hoof stays while it stands, from the frames next to the mark, and without it.

        A bare dark floor can look much like a dark hoof on it; but then it does so for many frames at one level
        below that of the hoof, and the bar is set between the two.
        """
        looks = [
            cut_look(one.luma, self._clear.carry(self._mark, one), weight=self._weight, point=self._point)
            for one in pictures
        ]
        weighted = self._anchor.template * self._weight.reshape(-1)
        alike = np.array([float(look @ weighted) for look in looks]) / float(self._weight.sum())
        next_to = sum(abs(one.t - self._clear.t) <= _CLEAR_TIME for one in pictures)
        usual = float(np.median(alike[: max(next_to, _CLEAR_FRAMES)])) if len(alike) else 1.0
        bar = 1 - _FALL * (1 - usual)
        below = alike[alike < usual - 0.04]
        if len(below) >= 5:
            bar = max(bar, 0.5 * (usual + float(np.quantile(below, 0.75))))
        self._same = float(np.clip(bar, _LEAST_SAME, _MOST_SAME))

    def look(self, picture: Picture, *, just_seen: bool) -> float | None:
        """Whether the hoof is seen standing here: its variance, or None."""
        place = self.place_in(picture)
        if abs(self.angle) < _TURNED:
            found = self._try(picture, place, self._anchor, self._same)
            if found is not None and not just_seen:
                # The hind hoof may land where the fore hoof has stood, looking like it, but never on the same spot.
                apart = float(np.hypot(*(found.xy_px - place)))
                found = found if apart < 0.015 * self._shape.length_px + 0.25 else None
            if found is None and just_seen:
                # The light on a hoof that stands changes slowly; compare with how it looked a moment ago.
                recent = self._cut(self._before, self._place)
                found = self._try(picture, place, recent, 0.5 * (1 + self._same))
            if found is not None:
                self.angle = 0.0
                return self._take(picture, found)
        return self._look_turning(picture, place) if just_seen and self._heel_rises else None

    def _look_turning(self, picture: Picture, place: Array) -> float | None:
        """Whether the hoof turns about its toe here, heel rising, and the toe has not yet left."""
        recent = self._cut(self._before, self._place)
        turned = refine_patch(picture.luma, recent, place, angle=self.angle, turning=True, shifting=False)
        risen = (turned.angle - self.angle) * self._shape.facing
        if turned.similarity < 1 - 1.5 * (1 - self._same) or not -0.06 < risen < 0.35:
            return None
        free = refine_patch(picture.luma, recent, place, angle=turned.angle, turning=True)
        gone = float(np.hypot(*(free.xy_px - place)))
        if free.similarity > turned.similarity and gone > _LEAVING * self._shape.length_px:
            return None
        self.angle, self._place, self._before = turned.angle, place, picture
        return 0.3**2

    def _take(self, picture: Picture, found: Sighting) -> float:
        """Keep the place of a standing hoof. One that seems to rock about its place stands there all the same."""
        marked = self._clear.carry(self._mark, picture)
        rocks = np.abs(found.xy_px - marked).max() > self._slack(picture)
        self._place, self._before = (marked if rocks else found.xy_px), picture
        return _ROCKING_PX2 if rocks else max(float(np.trace(found.cov_px2)) / 2, 0.05**2)

    def _slack(self, picture: Picture) -> float:
        """How far from its mark a standing toe is measured at most; a moving camera is known to about a pixel."""
        return 0.03 * self._shape.length_px + (0.5 if picture.to_first is None else 2.0)

    def _try(self, picture: Picture, place: Array, patch: Patch, enough: float) -> Sighting | None:
        found = refine_patch(picture.luma, patch, place, angle=0.0, turning=False, iterations=4)
        away = found.xy_px - self._clear.carry(self._mark, picture)
        slack = self._slack(picture)
        # Before it lands a hoof is behind its place and above it: followed backward, that is not rocking.
        coming = not self._heel_rises and (away[0] * self._shape.facing < -slack or away[1] < -slack)
        allowed = slack + _ROCKING * self._shape.length_px
        return found if found.similarity > enough and np.abs(away).max() < allowed and not coming else None

    def _cut(self, picture: Picture, place: Array) -> Patch:
        return cut_patch(picture.luma, place, angle=self.angle, weight=self._weight, point=self._point)


@dataclass(frozen=True, slots=True, kw_only=True)
class Corridor:
    """Where a swinging toe can be: about a smooth carry from one place to the next, as seen in the first picture.

    Parameters
    ----------
    start, end : (2,) float arrays
        Places of the toe at lift-off and touch-down, in the direction of following (px).
    begin, finish : float
        Times of leaving ``start`` and reaching ``end`` (s); ``finish`` is before ``begin`` when followed backward.
    height_px : float
        How high a toe is usually carried.
    loose : float
        How far beside the carry it may be, as a share of the way; larger where ``end`` is only supposed.
    """

    start: Array
    end: Array
    begin: float
    finish: float
    height_px: float
    loose: float

    def centre(self, t: float) -> Array:
        """Expected place at a time (px)."""
        share = float(np.clip((t - self.begin) / (self.finish - self.begin), 0.0, 1.0))
        ease = share**3 * (10 - 15 * share + 6 * share**2)
        rise = 4 * share * (1 - share) * self.height_px
        return self.start + ease * (self.end - self.start) - np.array([0.0, rise])

    def holds(self, xy_px: Array, t: float, hoof_px: float) -> bool:
        """Whether a place is possible at a time."""
        share = float(np.clip((t - self.begin) / (self.finish - self.begin), 0.0, 1.0))
        way = abs(float(self.end[0] - self.start[0]))
        off = np.abs(xy_px - self.centre(t))
        beside = self.loose * way * float(np.sqrt(4 * share * (1 - share) + 0.02)) + 0.6 * hoof_px
        return bool(off[0] < beside and off[1] < 1.0 * self.height_px + 0.5 * hoof_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class Swinging:
    """A hoof followed through the air: ``xy_px`` (K, 2), ``variance_px2`` (K,), ``seen`` (K,), one entry a frame."""

    xy_px: Array
    variance_px2: Array
    seen: NDArray[np.bool_]


def follow_swinging(
    pictures: Sequence[Picture], standing: Standing, corridor: Corridor, shape: HoofShape
) -> Swinging:
    """Follow a hoof from the last frame in which it stood into the air, as far as it is seen.

    Parameters
    ----------
    pictures : sequence of Picture
        From the last standing frame on (that one included), in the direction of following.
    standing : Standing
        How it stood there.
    corridor : Corridor
    shape : HoofShape
    """
    home = pictures[0]
    xy, angle, variance_px2 = corridor.start.copy(), standing.angle, float(standing.variance_px2[-1])
    weight, point = shape.weight()
    patch = cut_patch(home.luma, xy, angle=angle, weight=weight, point=point)
    velocity: Array | None = None
    rows: list[tuple[Array, float, bool]] = []
    lost, before = 0, home.t
    for picture in pictures[1:]:
        elapsed = picture.t - before
        carry = corridor.centre(picture.t) - corridor.centre(before)
        step = carry if velocity is None else 0.5 * (carry + velocity * elapsed)
        before = picture.t
        guess = home.carry(xy + step, picture)
        found = _look(picture, patch, guess, angle, float(np.hypot(*step)), shape, lost)
        place = picture.carry(found[0], home) if found is not None else xy
        if (
            found is None
            or not _goes_on(place, xy, step, carry, shape.length_px, lost)
            or not corridor.holds(place, picture.t, shape.length_px)
        ):
            lost += 1
            xy, variance_px2 = xy + step, variance_px2 + 1.0 + (0.3 * float(np.hypot(*step))) ** 2
            velocity = None
            rows.append((guess, np.inf, False))
            if lost > _LOST_FRAMES or not 0 <= guess[0] < picture.luma.shape[1]:
                break
            continue
        _, angle, own = found
        shift = place - xy
        variance_px2 += own + 0.08**2 + (0.02 * float(np.hypot(*shift))) ** 2
        velocity = shift / elapsed if elapsed and not lost else None
        xy, lost = place, 0
        patch = cut_patch(picture.luma, found[0], angle=angle, weight=weight, point=point)
        rows.append((found[0], variance_px2, True))
    while rows and not rows[-1][2]:
        rows.pop()
    return Swinging(
        xy_px=np.array([row[0] for row in rows]).reshape(-1, 2),
        variance_px2=np.array([row[1] for row in rows]),
        seen=np.array([row[2] for row in rows], dtype=bool),
    )


def _goes_on(place: Array, xy: Array, step: Array, carry: Array, hoof_px: float, lost: int) -> bool:
    """Whether a swinging hoof can have gone there: it neither jumps nor stops, as another hoof or a shadow would."""
    jump = float(np.hypot(*(place - xy - step)))
    dawdles = abs(float(place[0] - xy[0])) < 0.35 * abs(float(carry[0])) and abs(float(carry[0])) > 3.0
    return jump < 0.3 * hoof_px + 0.45 * float(np.hypot(*step)) + 0.12 * hoof_px * lost and not dawdles


def _look(
    picture: Picture, patch: Patch, guess: Array, angle: float, step_px: float, shape: HoofShape, lost: int
) -> tuple[Array, float, float] | None:
    """Place, angle and variance of the hoof near a guess, or None."""
    reach = int(np.clip(3 + 0.5 * step_px + 3 * lost, 3, 1.2 * shape.length_px))
    coarse, _ = search_patch(picture.luma, patch, guess, angle=angle, reach_px=reach)
    found = refine_patch(picture.luma, patch, coarse, angle=angle, turning=True)
    if np.hypot(*(found.xy_px - coarse)) > 3.0 or found.similarity < _LIKE + 0.05 * lost:
        return None
    return found.xy_px, float(np.clip(found.angle, -1.6, 1.6)), float(np.trace(found.cov_px2)) / 2
