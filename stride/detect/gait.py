"""The one walk that all found stances belong to: four staircases with one stride."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Foot = Literal["near_fore", "far_fore", "near_hind", "far_hind"]

FEET: Final[tuple[Foot, ...]] = ("near_fore", "far_fore", "near_hind", "far_hind")
#: Length of a stride in hoof lengths: 1.4 m to 0.12 m.
STRIDE_IN_HOOVES: Final = 11.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """The order in which feet fall.

    Parameters
    ----------
    name : str
    delay : float
        From the touch-down of a fore foot to that of the hind foot which answers it, as a share of stride time.
    duty : float
        Stance time / stride time.
    stride_time : (float, float)
        Shortest and longest (s).
    usual_time : float
        Usual stride time of cattle (s).
    """

    name: Literal["walk", "trot"]
    delay: float
    duty: float
    stride_time: tuple[float, float]
    usual_time: float


#: Limb phase of cattle at the walk is near 0.23 of a stride, so the answer comes 0.77 after the fore foot.
WALK: Final = Pattern(name="walk", delay=0.76, duty=0.65, stride_time=(0.75, 2.4), usual_time=1.25)
TROT: Final = Pattern(name="trot", delay=0.51, duty=0.45, stride_time=(0.55, 1.05), usual_time=0.8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gait:
    """Where and when each foot is expected to stand, in the band.

    With s strides walked (a number that rises by one from stance to stance of one foot, and is half a stride further
    on for the other side), a fore toe tip stands ``p[0] + p[1]·s + p[2]·s²`` columns along the way of walk, where p is
    ``place`` of its side, from ``time[0] + time[1]·s + time[2]·s²`` seconds on; a hind one ``reach`` further. The near
    side has the longer strides in the picture; the quadratic terms take up perspective and a changing pace.

    Parameters
    ----------
    pattern : Pattern
    heading : int
        1 for an animal that walks to the right of the picture, −1 to the left. Places along the way count from the
        left for 1, from the right, below zero, for −1.
    place : (2, 3) float array
        Of the near and of the far side (band px).
    reach : (2,) float array
        Hind place minus fore place of the near and of the far side (band px).
    time : (3,) float array
        (s)
    time_shift : (4,) float array
        By which each foot of ``FEET`` is later than that (s).
    half : (4,) float array
        Strides by which each foot is ahead: 0, or 0.5 for the two feet of one side.
    level : (4, 2) float array
        For each foot: depth in the middle column, and its growth per column.
    middle : float
        The middle column.
    """

    pattern: Pattern
    heading: int
    place: Array
    reach: Array
    time: Array
    time_shift: Array
    half: Array
    level: Array
    middle: float

    @property
    def stride_px(self) -> float:
        """Length of a stride at s = 0, midway between the sides (band px)."""
        return float(self.place[:, 1].mean())

    @property
    def stride_time(self) -> float:
        """Time of a stride at s = 0 (s)."""
        return float(self.time[1])

    @property
    def hoof_px(self) -> float:
        """Rough length of a hoof (band px)."""
        return max(3.0, self.stride_px / STRIDE_IN_HOOVES)

    def way_at(self, t: float) -> float:
        """How far along the way of walk the fore feet are at a time (band px)."""
        s = (t - self.time[0]) / self.time[1]
        middle = self.place.mean(axis=0)
        return float(middle[0] + middle[1] * s + middle[2] * s**2)

    def expect(self, foot: int, number: Array) -> Expected:
        """Stances of one foot by their number (whole numbers, any sign)."""
        s = np.asarray(number, dtype=float) + self.half[foot]
        p = self.place[foot % 2]
        ahead = p[0] + p[1] * s + p[2] * s**2 + (self.reach[foot % 2] if foot >= 2 else 0.0)
        x = self.heading * ahead
        time = self.time[1] + 2 * self.time[2] * s
        start = self.time[0] + self.time[1] * s + self.time[2] * s**2 + self.time_shift[foot]
        own = self.level[foot]
        return Expected(
            toe=x,
            level=own[0] + own[1] * (x - self.middle),
            start=start,
            end=start + self.pattern.duty * time,
            stride_px=p[1] + 2 * p[2] * s,
            stride_time=time,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """Expected stances, (N,) float arrays: toe column, depth, start and end (s), and the stride there."""

    toe: Array
    level: Array
    start: Array
    end: Array
    stride_px: Array
    stride_time: Array
