"""Hoof points followed through the clip from the marks."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import MarksError
from ..numeric.smoothing import smooth_paths
from .anchors import Anchor, MarkErrors, compare_anchors, estimate_mark_error, keep_anchor, share_out_errors
from .clip import Frame, Image
from .following import Following, HoofShape, Path
from .limbs import LIMBS, Limb
from .marks import HoofMark
from .settings import Settings

Array = NDArray[np.float64]

# Frames kept for following backward from a mark; what a gap between marks needs beyond this is bridged.
_KEPT_BYTES = 192_000_000
# Velocity a hoof may gain or lose in 1 s^(1/2), in hoof lengths: from standing to four times walking speed in 0.15 s.
_ACCELERATION = 90.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HoofTrack:
    """Where one hoof point was in each frame of an unbroken run of frames.

    Parameters
    ----------
    limb : Limb
    frames : (K,) int array
        Frame indices, rising by one.
    t : (K,) float array
        Presentation times (s).
    xy_px : (K, 2) float array
        Smoothed place of the toe tip in that frame's own pixels.
    cov_px2 : (K, 2, 2) float array
        Its covariance (px²), the part that differs from frame to frame.
    seen : (K,) bool array
        False where the hoof was hidden or lost and the place is bridged from both sides.
    source : {"marked", "found"}
    offset_px2 : (K,) float array
        Variance per axis that neighbouring frames share: of the mark they were followed from.
    limb_px2 : float
        Variance per axis that all frames share: of the idea of where this limb's toe tip is.
    """

    limb: Limb
    frames: NDArray[np.intp]
    t: Array
    xy_px: Array
    cov_px2: Array
    seen: NDArray[np.bool_]
    source: Literal["marked", "found"]
    offset_px2: Array
    limb_px2: float


class HoofFollower:
    """Follows every marked hoof through a clip that is fed to it once, frame by frame.

    Parameters
    ----------
    marks : sequence of HoofMark
        At least one; several in one limb and frame are averaged by whoever marks, not here.
    shape : HoofShape
    size_px : (int, int)
        Width and height of the picture.
    settings : Settings
    source : {"marked", "found"}

    Raises
    ------
    MarksError
        From ``add`` or ``finish``, where a mark lies off the picture or after the end of the clip.
    """

    def __init__(
        self,
        marks: Sequence[HoofMark],
        shape: HoofShape,
        size_px: tuple[int, int],
        settings: Settings,
        source: Literal["marked", "found"] = "marked",
    ) -> None:
        self._shape, self._settings, self._source = shape, settings, source
        self._due: dict[int, list[HoofMark]] = {}
        for mark in marks:
            _check_inside(mark, size_px)
            self._due.setdefault(mark.frame, []).append(mark)
        rows = [mark.xy_px[1] for mark in marks]
        margin = 4.0 * shape.length_px + 0.05 * size_px[1]
        self._top = max(0, int(min(rows) - margin))
        self._bottom = min(size_px[1], int(max(rows) + margin) + 1)
        self._kept: deque[tuple[int, float, Image]] = deque()
        self._room = max(30, _KEPT_BYTES // ((self._bottom - self._top) * size_px[0]))
        self._first_marks = dict.fromkeys({mark.limb for mark in marks}, 0)
        self._ahead: dict[Limb, Following] = {}
        self._anchors: dict[Limb, list[Anchor]] = {limb: [] for limb in LIMBS}
        self._paths: dict[Limb, list[tuple[int, Path]]] = {limb: [] for limb in LIMBS}
        self._times: list[float] = []

    def add(self, frame: Frame) -> None:
        """Follow all hooves into the next frame."""
        band = np.ascontiguousarray(frame.luma[self._top : self._bottom])
        self._times.append(frame.t)
        for following in self._ahead.values():
            following.step(band, frame.index, frame.t)
        for mark in self._due.pop(frame.index, []):
            self._anchor(mark, band, frame.t)
        self._kept.append((frame.index, frame.t, band))
        self._forget()

    def finish(self) -> tuple[HoofTrack, ...]:
        """The tracks, one for each marked limb, after the last frame."""
        if self._due:
            late = min(self._due)
            raise MarksError(
                f"A hoof is marked in frame {late}, but the clip ends after {len(self._times)} frames.",
                "Check that these are the marks of this clip.",
            )
        for limb, following in self._ahead.items():
            self._paths[limb].append((len(self._anchors[limb]) - 1, following.path()))
        shifts = {limb: compare_anchors(kept, self._shape) for limb, kept in self._anchors.items() if kept}
        error = estimate_mark_error(list(shifts.values()), self._shape, self._settings.mark_error_px)
        return tuple(
            _join(
                limb,
                self._paths[limb],
                share_out_errors(shift, error, self._shape),
                np.array(self._times),
                self._shape,
                self._source,
                self._top,
            )
            for limb, shift in shifts.items()
        )

    def _anchor(self, mark: HoofMark, band: Image, t: float) -> None:
        limb, xy = mark.limb, (mark.xy_px[0], mark.xy_px[1] - self._top)
        number = len(self._anchors[limb])
        self._anchors[limb].append(keep_anchor(band, mark.frame, xy, self._shape))
        if limb in self._ahead:
            self._paths[limb].append((number - 1, self._ahead[limb].path()))
        back_to = self._anchors[limb][-2].frame if number else -1
        back = Following(luma=band, frame=mark.frame, t=t, xy_px=np.array(xy), shape=self._shape)
        for index, when, luma in reversed(self._kept):
            if index < back_to or back.finished:
                break
            back.step(luma, index, when)
        self._paths[limb].append((number, back.path()))
        self._ahead[limb] = Following(luma=band, frame=mark.frame, t=t, xy_px=np.array(xy), shape=self._shape)

    def _forget(self) -> None:
        """Drop kept frames that no later mark of any limb can need."""
        latest: Mapping[Limb, int] = {limb: kept[-1].frame for limb, kept in self._anchors.items() if kept}
        waiting = [latest.get(mark.limb, 0) for marks in self._due.values() for mark in marks]
        needed = min(waiting) if waiting else len(self._times)
        while self._kept and (self._kept[0][0] < needed or len(self._kept) > self._room):
            self._kept.popleft()


def _check_inside(mark: HoofMark, size_px: tuple[int, int]) -> None:
    x, y = mark.xy_px
    if not (-0.5 <= x <= size_px[0] - 0.5 and -0.5 <= y <= size_px[1] - 0.5):
        raise MarksError(
            f"A mark of the {mark.limb.replace('_', ' ')} in frame {mark.frame} lies at ({x:.0f}, {y:.0f}), "
            f"off the picture of {size_px[0]} × {size_px[1]} px.",
            "Check that these are the marks of this clip; they are counted in pixels of the upright picture.",
        )


def _join(
    limb: Limb,
    paths: Sequence[tuple[int, Path]],
    errors: MarkErrors,
    times: Array,
    shape: HoofShape,
    source: Literal["marked", "found"],
    top: int,
) -> HoofTrack:
    """One track from all paths of a limb: what agrees is averaged, what disagrees is not seen, gaps are bridged."""
    first = min(int(path.frames.min()) for _, path in paths)
    last = max(int(path.frames.max()) for _, path in paths)
    count = last - first + 1
    place = np.full((len(paths), count, 2), np.nan)
    variance = np.full((len(paths), count), np.inf)
    trusted = np.zeros((len(paths), count), dtype=bool)
    for row, (number, path) in enumerate(paths):
        seen = path.seen
        at = path.frames[seen] - first
        place[row, at] = path.xy_px[seen] + errors.offset_px[number]
        variance[row, at] = path.variance_px2[seen]
        trusted[row, at] = path.anchored[seen]
    xy, var, own = _fuse(place, variance, trusted, np.array([errors.own_px2[n] for n, _ in paths]), shape)
    t = times[first : last + 1]
    smooth, smooth_var = smooth_paths(
        t, np.nan_to_num(xy), np.repeat(var[:, None], 2, axis=1), acceleration=_ACCELERATION * shape.length_px
    )
    return HoofTrack(
        limb=limb,
        frames=np.arange(first, last + 1),
        t=t,
        xy_px=smooth + [0.0, top],
        cov_px2=smooth_var[:, :, None] * np.eye(2),
        seen=np.isfinite(var),
        source=source,
        offset_px2=own,
        limb_px2=errors.limb_px2,
    )


def _fuse(
    place: Array, variance: Array, trusted: NDArray[np.bool_], own: Array, shape: HoofShape
) -> tuple[Array, Array, Array]:
    """Weighted mean of the paths in each frame; unseen where paths disagree and none is beyond doubt."""
    any_trusted = trusted.any(axis=0)
    usable = np.isfinite(variance) & (trusted | ~any_trusted)
    total = np.where(usable, variance + own[:, None], np.inf)
    weight = np.where(usable, 1.0 / total, 0.0)
    sum_weight = weight.sum(axis=0)
    seen = sum_weight > 0
    safe = np.where(seen, sum_weight, 1.0)
    xy = np.nansum(weight[..., None] * np.nan_to_num(place), axis=0) / safe[:, None]
    apart = np.where(usable, np.hypot(*np.moveaxis(np.nan_to_num(place) - xy, -1, 0)), 0.0).max(axis=0)
    seen &= any_trusted | (apart < max(3.0, 0.3 * shape.length_px))
    frame_weight = np.where(usable, 1.0 / np.where(usable, variance, np.inf), 0.0).sum(axis=0)
    var = np.where(seen, 1.0 / np.where(seen & (frame_weight > 0), frame_weight, 1.0), np.inf)
    share = weight / safe
    shared = (share**2 * own[:, None]).sum(axis=0)
    return xy, var, np.where(seen, shared, own.max())
