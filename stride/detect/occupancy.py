"""How much of a piece of the ground strip a standing foot fills, at any place, depth and time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..imaging.standing import HOOF_SHARE, Standing
from ..imaging.strip import STEP

Array = NDArray[np.float64]

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
    """

    def __init__(self, standing: Standing, seen: NDArray[np.bool_], slope: float, view_width: int) -> None:
        lowest = standing.lowest
        self.hold = standing.hold
        self.view_width = view_width
        self.tolerance = max(_LEAST_TOLERANCE, round(_TOLERANCE * HOOF_SHARE * view_width))
        self.pictures, self.width = lowest.shape
        self.slope = slope
        self.middle = (self.width - 1) / 2
        level = lowest - np.float32(slope) * (
            np.arange(self.width, dtype=np.float32) - np.float32(self.middle)
        )
        stands = lowest >= 0
        found = level[stands]
        low, high = np.percentile(found, [5.0, 99.8]) if found.size else (0.0, 0.0)
        self._first = int(np.floor(low)) - 3
        self._layers = int(np.ceil(high)) + 3 - self._first + 1
        sums = np.zeros((2, self._layers, self.pictures + 1, self.width + 1), dtype=np.int32)
        for k in range(self._layers):
            above = level - (self._first + k)
            sums[0, k, 1:, 1:] = _integrate(stands & (np.abs(above) <= self.tolerance))
            sums[1, k, 1:, 1:] = _integrate(stands & (above >= -self.tolerance))
        self._sums, self._nearer = sums[0].ravel(), sums[1].ravel()
        self._seen = np.zeros((self.pictures + 1, self.width + 1), dtype=np.int32)
        self._seen[1:, 1:] = _integrate(seen)
        self._seen = self._seen.ravel()

    @property
    def duration(self) -> float:
        """Of the strip (s)."""
        return self.pictures * STEP

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
        wide = self.width + 1
        layer = np.clip(np.rint(level - self._first).astype(np.int64), 0, self._layers - 1)
        layer = layer * (self.pictures + 1) * wide
        t0 = np.rint(start / STEP).astype(np.int64) + self.hold
        t1 = np.rint(end / STEP).astype(np.int64) - self.hold + 1
        x0, x1 = np.rint(left).astype(np.int64), np.rint(right).astype(np.int64) + 1
        whole = np.maximum(t1 - t0, 1) * np.maximum(x1 - x0, 1)
        t0 = np.clip(t0, 0, self.pictures)
        t1 = np.maximum(np.clip(t1, 0, self.pictures), t0)
        x0 = np.clip(x0, 0, self.width)
        x1 = np.maximum(np.clip(x1, 0, self.width), x0)
        top, bottom = t0 * wide, t1 * wide
        corners = (bottom + x1, top + x1, bottom + x0, top + x0)
        seen = _box(self._seen, corners)
        filled = _box(self._nearer if nearer else self._sums, tuple(layer + corner for corner in corners))
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
        hoof, seen = self.cover(level, *_span(heading, toe, hoof_px, HOOF_SPAN), start, end)
        ahead, _ = self.cover(level, *_span(heading, toe, hoof_px, AHEAD_SPAN), start, end, nearer=True)
        return hoof - _AHEAD_WEIGHT * ahead, seen


def _span(heading: int, toe: Array, hoof_px: Array, behind: tuple[float, float]) -> tuple[Array, Array]:
    near, far = toe - heading * behind[0] * hoof_px, toe - heading * behind[1] * hoof_px
    return (far, near) if heading > 0 else (near, far)


def _integrate(mask: NDArray[np.bool_]) -> NDArray[np.int32]:
    return mask.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, dtype=np.int32)


def _box(sums: NDArray[np.int32], corners: tuple[NDArray[np.int64], ...]) -> NDArray[np.int32]:
    a, b, c, d = corners
    return np.asarray(sums[a] - sums[b] - sums[c] + sums[d])
