"""The band of floor along the line of walk, kept small while a clip is read, then laid frame on frame."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..numeric.homography import apply_homography

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

#: Time between two kept pictures (s): the fastest stance of a walk spans six of them.
STEP = 1 / 15
# A frame this much (s) before its time is taken, so that uneven frame rates give even steps.
_EARLY = 0.02
# Part of the picture above which nobody films hooves.
_TOP_SHARE = 0.35
_WORK_WIDTH, _WORK_HEIGHT = 640, 360
# The laid band may grow by so much over one picture when the camera turns.
_WIDEST, _TALLEST = 4.5, 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The lower part of the picture over time, at reduced size, held still.

    Parameters
    ----------
    t : (n,) float array
        Times (s), even steps of ``STEP`` from the first frame.
    frames : (n,) int array
        The clip's frame shown at each of them.
    pixels : (n, h, w) uint8 array
        Brightness, 1 to 255; 0 where the camera did not look or its motion was lost.
    to_held : (3, 3) float array
        Homography from the band's pixels to the held picture (px).
    reduction : int
        Picture pixels for one pixel of the band, where the band is seen at its own scale.
    view_width : int
        Columns of one picture; a camera that turns sees more than these.
    """

    t: Array
    frames: NDArray[np.intp]
    pixels: Image
    to_held: Array
    reduction: int
    view_width: int

    @property
    def width(self) -> int:
        """Columns of the band."""
        return int(self.pixels.shape[2])


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundStrip:
    """The floor along the line of walk over time: where in it something stood, and how near.

    Parameters
    ----------
    t : (n,) float array
        Times (s).
    line_px : (w, 2) float array
        Place of each column on the line of walk, in the held picture (px).
    nearness : (n, w) float array
        Lowest standing row of each column, as its distance below the line of walk (px of the held picture, negative
        above it); NaN where nothing stood.
    """

    t: Array
    line_px: Array
    nearness: Array


class BandRecorder:
    """Keeps what later stages need of a clip fed to it once, frame by frame.

    Parameters
    ----------
    size_px : (int, int)
        Width and height of the picture.
    """

    def __init__(self, size_px: tuple[int, int]) -> None:
        width, height = size_px
        self._reduction = max(1, round((width * height / (_WORK_WIDTH * _WORK_HEIGHT)) ** 0.5))
        self._top = int(_TOP_SHARE * height)
        rows, columns = (height - self._top) // self._reduction, width // self._reduction
        self._shape = (rows, columns)
        self._kept: list[Image] = []
        self._frames: list[int] = []
        self._times: list[float] = []
        self._due = 0.0

    def add(self, index: int, t: float, luma: Image) -> None:
        """Take one frame into account.

        Parameters
        ----------
        index : int
            Counted from 0.
        t : float
            Its time (s).
        luma : (H, W) uint8 array
        """
        if t < self._due - _EARLY:
            return
        self._due = max(self._due + STEP, t)
        rows, columns = self._shape
        part = luma[self._top : self._top + rows * self._reduction, : columns * self._reduction]
        small = (
            cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA) if self._reduction > 1 else part
        )
        self._kept.append(np.maximum(small, 1))
        self._frames.append(index)
        self._times.append(t)

    def finish(self, to_held: Array, held: NDArray[np.bool_]) -> Band:
        """Lay the kept pictures over one another.

        Parameters
        ----------
        to_held : (N, 3, 3) float array
            Of every frame of the clip, from its pixels to the held picture.
        held : (N,) bool array
            False where that map is not known.
        """
        times = np.array(self._times)
        even = np.arange(0.0, times[-1] + 0.5 * STEP, STEP)
        nearest = np.abs(times[None, :] - even[:, None]).argmin(axis=1)
        frames = np.array(self._frames, dtype=np.intp)
        maps, known = to_held[frames], held[frames]
        down = self._enlarge()
        if known.all() and np.abs(maps - np.eye(3)).max() < 1e-9:
            pictures = np.stack(self._kept)
        else:
            pictures, down = self._lay(maps, known, down)
        return Band(
            t=even,
            frames=frames[nearest],
            pixels=pictures if len(nearest) == len(pictures) else pictures[nearest],
            to_held=down,
            reduction=self._reduction,
            view_width=self._shape[1],
        )

    def _enlarge(self) -> Array:
        """Homography from reduced pixels of the kept part to pixels of the picture."""
        scale = float(self._reduction)
        shift = (scale - 1) / 2
        return np.array([[scale, 0, shift], [0, scale, shift + self._top], [0, 0, 1]])

    def _lay(self, maps: Array, known: NDArray[np.bool_], down: Array) -> tuple[Image, Array]:
        """All kept pictures in the reduced picture of that frame in which they need the least room."""
        rows, columns = self._shape
        if not known.any():
            return np.zeros((len(maps), rows, columns), np.uint8), down
        up = np.linalg.inv(down)
        inverse = np.linalg.inv(maps)
        tries = np.flatnonzero(known)[:: max(1, int(known.sum()) // 8)]
        spans = {int(k): self._span(up @ inverse[k] @ maps[known] @ down) for k in tries}
        best = min(spans, key=lambda k: float(np.prod(spans[k][1] - spans[k][0])))
        low, high = spans[best]
        middle = np.array([columns - 1, rows - 1]) / 2
        reach = np.array([_WIDEST * columns, _TALLEST * rows]) / 2
        low, high = np.maximum(low, middle - reach), np.minimum(high, middle + reach)
        shift = np.array([[1, 0, -np.floor(low[0])], [0, 1, -np.floor(low[1])], [0, 0, 1]])
        size = (int(np.ceil(high[0]) - np.floor(low[0])) + 1, int(np.ceil(high[1]) - np.floor(low[1])) + 1)
        laid = np.zeros((len(maps), size[1], size[0]), np.uint8)
        inside = np.full(self._shape, 255, np.uint8)
        inside[[0, -1]] = 0
        inside[:, [0, -1]] = 0
        for k in np.flatnonzero(known):
            matrix = shift @ up @ inverse[best] @ maps[k] @ down
            picture = cv2.warpPerspective(self._kept[k], matrix, size, flags=cv2.INTER_LINEAR)
            seen = cv2.warpPerspective(inside, matrix, size, flags=cv2.INTER_LINEAR)
            picture[seen < 255] = 0
            laid[k] = picture
        return laid, maps[best] @ down @ np.linalg.inv(shift)

    def _span(self, matrices: Array) -> tuple[Array, Array]:
        """Least and greatest column and row that the kept pictures reach under the given maps."""
        rows, columns = self._shape
        corners = np.array([[0, 0], [columns - 1, 0], [0, rows - 1], [columns - 1, rows - 1]], dtype=float)
        if (matrices[:, 2, :2] @ corners.T + matrices[:, 2, 2:] <= 0.1 * matrices[:, 2, 2:]).any():
            return np.full(2, -1e6), np.full(2, 1e6)
        places = np.concatenate([apply_homography(one, corners) for one in matrices])
        return places.min(axis=0), places.max(axis=0)
