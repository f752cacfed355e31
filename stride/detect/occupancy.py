"""How much of a piece of the ground strip a standing foot fills, at any place, depth and time."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from ..imaging.standing import HOOF_SHARE, Standing
from ..imaging.strip import STEP

Array = NDArray[np.float64]
Counts = NDArray[np.int32]

# Rows about a level that still belong to it, in hoof lengths and at least (band px).
_TOLERANCE, _LEAST_TOLERANCE = 0.2, 2
# Parts of the floor looked at for one foot, in hoof lengths behind its toe tip: the hoof, and the place just ahead.
HOOF_SPAN = (0.15, 0.75)
AHEAD_SPAN = (-0.90, -0.40)
_AHEAD_WEIGHT = 0.5


class Occupancy:
    """Sums of the strip over boxes of place and time, one layer for each depth.

    Depth is told by the *level*: the lowest row with the slope of the line of walk taken out, as it would be in the
    middle column. A nearer foot has a greater level.

    Parameters
    ----------
    standing : Standing
    seen : (n, w) bool array
        Where the camera looked.
    slope : float
        Of the line of walk (rows per column).
    view_width : int
        Columns of one picture.
    levels : (float, float)
        Least and greatest level at which feet are to be looked for.
    """

    def __init__(
        self,
        standing: Standing,
        seen: NDArray[np.bool_],
        slope: float,
        view_width: int,
        levels: tuple[float, float],
    ) -> None:
        lowest = standing.lowest
        self.view_width, self.slope, self.hold = view_width, slope, standing.hold
        self.tolerance = max(_LEAST_TOLERANCE, round(_TOLERANCE * HOOF_SHARE * view_width))
        self.pictures, self.width = lowest.shape
        self.middle = (self.width - 1) / 2
        slant = np.float32(slope) * (np.arange(self.width, dtype=np.float32) - np.float32(self.middle))
        level = np.where(lowest >= 0, lowest - slant, np.float32(-1e6))
        self._first = int(np.floor(levels[0])) - self.tolerance - 1
        self._layers = int(np.ceil(levels[1])) + self.tolerance + 1 - self._first + 1
        sums = np.empty((2, self._layers, self.pictures + 1, self.width + 1), dtype=np.int32)
        for k in range(self._layers):
            above = level - np.float32(self._first + k)
            near = above >= -self.tolerance
            sums[1, k] = _integrate(near)
            sums[0, k] = _integrate(near & (above <= self.tolerance))
        self._at, self._nearer = sums[0].ravel(), sums[1].ravel()
        self._in_view = seen
        self._seen = _integrate(seen).ravel()

    @property
    def duration(self) -> float:
        """Of the strip (s)."""
        return self.pictures * STEP

    def in_view(self, picture: int, column: float) -> bool:
        """Whether the camera looked at a column in a picture."""
        inside = 0 <= round(column) < self.width
        return inside and bool(self._in_view[picture, round(column)])

    def cover(
        self, level: Array, left: Array, right: Array, start: Array, end: Array, *, nearer: bool = False
    ) -> tuple[Array, Array]:
        """Share of a box that is filled, and share of it that was seen.

        Parameters
        ----------
        level, left, right, start, end : float arrays, shapes that go together
            Depth; first and last column; times (s) between which a foot stands. Only pictures in which it can show
            count: those ``hold`` and more from both.
        nearer : bool
            Whether feet nearer than ``level`` count as well.

        Returns
        -------
        filled, seen : float arrays
            ``filled`` is a share of what was seen.
        """
        layer, times = self._layer(level), self._times(start, end)
        filled, seen, whole = self._sum(layer, times, left, right, nearer)
        return filled / np.maximum(seen, 1), seen / whole

    def stance(
        self, heading: int, toe: Array, level: Array, start: Array, end: Array, hoof_px: Array
    ) -> tuple[Array, Array]:
        """How well one standing foot fits: the hoof's place filled, the place ahead of it empty.

        What is nearer than the foot counts as ahead of it, too: else a pastern, overhanging its hoof, would pass for
        a foot farther away.

        Parameters
        ----------
        heading : int
            1 for an animal that walks to the right of the picture, −1 to the left.
        toe, level, start, end, hoof_px : float arrays, shapes that go together
            Column of the toe tip, depth, times (s), length of a hoof (band px).

        Returns
        -------
        fit, seen : float arrays
            ``fit`` is 1 for a perfect stance, 0 and less for none.
        """
        layer, times = self._layer(level), self._times(start, end)
        hoof, seen, whole = self._sum(layer, times, *_span(heading, toe, hoof_px, HOOF_SPAN), False)
        ahead, open_floor, _ = self._sum(layer, times, *_span(heading, toe, hoof_px, AHEAD_SPAN), True)
        fit = hoof / np.maximum(seen, 1) - _AHEAD_WEIGHT * ahead / np.maximum(open_floor, 1)
        return fit, seen / whole

    def _layer(self, level: Array) -> NDArray[np.intp]:
        """Where the sums of the layer of each level begin."""
        layer = np.rint(level).astype(np.intp) - self._first
        return np.minimum(np.maximum(layer, 0), self._layers - 1) * ((self.pictures + 1) * (self.width + 1))

    def _times(self, start: Array, end: Array) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
        """First picture and the one after the last in the clip, as places in the sums; pictures of the whole stance."""
        first = np.rint(start / STEP).astype(np.intp) + self.hold
        after = np.rint(end / STEP).astype(np.intp) - (self.hold - 1)
        whole = np.maximum(after - first, 1)
        first = np.minimum(np.maximum(first, 0), self.pictures)
        after = np.maximum(np.minimum(after, self.pictures), first)
        return first * (self.width + 1), after * (self.width + 1), whole

    def _sum(
        self,
        layer: NDArray[np.intp],
        times: tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]],
        left: Array,
        right: Array,
        nearer: bool,
    ) -> tuple[Counts, Counts, NDArray[np.intp]]:
        """Filled and seen pixels of boxes, and their whole size."""
        x0, x1 = np.rint(left).astype(np.intp), np.rint(right).astype(np.intp) + 1
        top, bottom, pictures = times
        whole = pictures * np.maximum(x1 - x0, 1)
        x0 = np.minimum(np.maximum(x0, 0), self.width)
        x1 = np.maximum(np.minimum(x1, self.width), x0)
        corners = (bottom + x1, top + x1, bottom + x0, top + x0)
        seen = _box(self._seen, corners)
        filled = _box(self._nearer if nearer else self._at, tuple(layer + corner for corner in corners))
        return filled, seen, whole


def _span(heading: int, toe: Array, hoof_px: Array, behind: tuple[float, float]) -> tuple[Array, Array]:
    near, far = toe - heading * behind[0] * hoof_px, toe - heading * behind[1] * hoof_px
    return (far, near) if heading > 0 else (near, far)


def _integrate(mask: NDArray[np.bool_]) -> Counts:
    return np.asarray(cv2.integral(mask.view(np.uint8)), dtype=np.int32)


def _box(sums: Counts, corners: tuple[NDArray[np.intp], ...]) -> Counts:
    a, b, c, d = corners
    return np.asarray(sums.take(a) - sums.take(b) - sums.take(c) + sums.take(d))
