"""Hoof points followed through the clip from the marks."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import MarksError
from ..numeric.smoothing import smooth_paths
from .anchors import Anchor, MarkErrors, compare_anchors, estimate_mark_error, keep_anchor, share_out_errors
from .clip import Frame
from .following import (
    Corridor,
    HoofShape,
    Picture,
    Standing,
    Swinging,
    find_clear,
    follow_swinging,
    watch_standing,
)
from .limbs import LIMBS, Limb
from .marks import HoofMark
from .settings import Settings

Array = NDArray[np.float64]

Source = Literal["marked", "found"]

# Frames kept for following both ways between two marks of a hoof (s, and bytes of their bands).
_KEPT_TIME = 2.5
_KEPT_BYTES = 320_000_000
# A finder sees all toes of one limb with the same eye: what it mistakes for their tip it mistakes every time (hoof
# lengths).
_FOUND_BIAS = 0.04
# A mark is followed once so many frames after it are there; in those nearer than so long before and after it (s) its
# hoof is looked for free of what passes by.
_AHEAD, _AHEAD_TIME = 8, 0.14
# A swing takes no longer than this (s); what is longer holds another stance. The usual one, and the way and the
# height of a toe in hoof lengths, only bound the search where no mark does.
_LONGEST_SWING = 0.9
_USUAL_SWING = 0.42
_STRIDE = 11.5
_LIFT = 0.9
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
    source: Source
    offset_px2: Array
    limb_px2: float


class HoofFollower:
    """Follows every marked hoof through a clip that is fed to it once, frame by frame.

    Parameters
    ----------
    marks : sequence of HoofMark
        At least one.
    shape : HoofShape
    size_px : (int, int)
        Width and height of the picture.
    settings : Settings
    source : {"marked", "found"}

    Raises
    ------
    MarksError
        Where a mark lies off the picture or, from ``finish``, after the end of the clip.
    """

    def __init__(
        self,
        marks: Sequence[HoofMark],
        shape: HoofShape,
        size_px: tuple[int, int],
        settings: Settings,
        source: Source = "marked",
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
        self._room = max(30, _KEPT_BYTES // ((self._bottom - self._top) * size_px[0]))
        self._kept: deque[Picture] = deque()
        self._limbs: dict[Limb, _LimbState] = {}
        self._times: list[float] = []

    def add(self, frame: Frame, to_first: Array | None = None) -> None:
        """Take in the next frame, and follow what it completes.

        Parameters
        ----------
        frame : Frame
        to_first : (3, 3) float array or None
            From its pixels to the first frame's, as far as is known yet; None while the camera stands still.
        """
        self._times.append(frame.t)
        band = np.ascontiguousarray(frame.luma[self._top : self._bottom])
        if to_first is not None:
            to_first = to_first @ np.array([[1.0, 0, 0], [0, 1, self._top], [0, 0, 1]])
        self._kept.append(Picture(index=frame.index, t=frame.t, luma=band, to_first=to_first))
        for mark in self._due.pop(frame.index - _AHEAD, []):
            self._anchor(mark)
        while len(self._kept) > self._room or (
            self._kept[-1].t - self._kept[0].t > _KEPT_TIME and len(self._kept) > 2 * _AHEAD
        ):
            leaving = self._kept[0].index
            for state in self._limbs.values():
                if state.waiting and state.anchors[-1].frame <= leaving:
                    self._follow_on(state)
            self._kept.popleft()

    def finish(self) -> tuple[HoofTrack, ...]:
        """The tracks, one for each marked limb, after the last frame."""
        for number in sorted(number for number in self._due if number < len(self._times)):
            for mark in self._due.pop(number):
                self._anchor(mark)
        if self._due:
            late = min(self._due)
            raise MarksError(
                f"A hoof is marked in frame {late}, but the clip ends after {len(self._times)} frames.",
                "Check that these are the marks of this clip.",
            )
        for state in self._limbs.values():
            if state.waiting:
                self._follow_on(state)
        _settle_claims(self._limbs, 0.6 * self._shape.length_px)
        limbs = [limb for limb in LIMBS if limb in self._limbs]
        shifts = {limb: compare_anchors(self._limbs[limb].anchors, self._shape) for limb in limbs}
        error = estimate_mark_error(list(shifts.values()), self._shape, self._settings.mark_error_px)
        times = np.array(self._times)
        return tuple(
            _join(
                limb,
                self._limbs[limb].paths,
                share_out_errors(shifts[limb], error, self._shape),
                times,
                self._shape,
                self._source,
                self._top,
            )
            for limb in limbs
        )

    def _anchor(self, mark: HoofMark) -> None:
        """A mark has come: join its stance to the one before it, through the swing between."""
        state = self._limbs.setdefault(mark.limb, _LimbState())
        here = next(one for one in self._kept if one.index == mark.frame)
        xy = np.array([mark.xy_px[0], mark.xy_px[1] - self._top])
        about = [
            one
            for one in self._kept
            if abs(one.index - mark.frame) <= 2
            or (abs(one.index - mark.frame) <= _AHEAD and abs(one.t - here.t) <= _AHEAD_TIME)
        ]
        clear = find_clear(about, here, xy, self._shape)
        state.anchors.append(keep_anchor(clear.luma, mark.frame, (float(xy[0]), float(xy[1])), self._shape))
        state.clear.append(clear)
        number = len(state.anchors) - 1
        before = state.anchors[-2] if number else None
        reachable = [one for one in self._kept if (before.frame if before else 0) <= one.index <= mark.frame]
        back = reachable[::-1]
        standing = watch_standing(back, xy, self._shape, clear)
        state.add_standing(number, back, standing)
        forth: list[Picture] = []
        if before is not None and state.waiting and reachable[0].index == before.frame:
            forth = reachable
        ahead = None
        if before is not None and forth:
            ahead = watch_standing(forth, before.mark_in_band, self._shape, state.clear[-2])
            state.add_standing(number - 1, forth, ahead)
        self._swing_between(state, number, forth, ahead, back, standing)
        state.waiting = True

    def _swing_between(
        self,
        state: _LimbState,
        number: int,
        forth: list[Picture],
        ahead: Standing | None,
        back: list[Picture],
        standing: Standing,
    ) -> None:
        """Follow the swing between two standings from both its ends; or from each end alone, into the open."""
        rest = back[len(standing.xy_px) - 1 :]
        if ahead is None:
            self._swing_open(state, number, rest, standing)
            return
        leave, land = forth[len(ahead.xy_px) - 1], rest[0]
        if land.index <= leave.index:
            return
        if land.t - leave.t > _LONGEST_SWING:
            self._swing_open(state, number - 1, forth[len(ahead.xy_px) - 1 :], ahead)
            self._swing_open(state, number, rest, standing)
            return
        a, b = ahead.xy_px[-1], standing.xy_px[-1]
        height = _LIFT * self._shape.length_px
        onward = Corridor(
            start=a,
            end=land.carry(b, leave),
            begin=leave.t,
            finish=land.t,
            height_px=height,
            loose=0.15,
        )
        backward = Corridor(
            start=b,
            end=leave.carry(a, land),
            begin=land.t,
            finish=leave.t,
            height_px=height,
            loose=0.15,
        )
        span = [one for one in forth if leave.index <= one.index <= land.index]
        if not ahead.brief:
            state.add_swing(number - 1, span, follow_swinging(span, ahead, onward, self._shape))
        if not standing.brief:
            swing = follow_swinging(span[::-1], standing, backward, self._shape)
            state.add_swing(number, span[::-1], swing)

    def _swing_open(
        self, state: _LimbState, number: int, pictures: list[Picture], standing: Standing
    ) -> None:
        """Follow a swing of which only one end is known."""
        if len(pictures) < 2 or standing.brief:
            return
        start, begin = standing.xy_px[-1], pictures[0].t
        onward = 1 if pictures[1].index > pictures[0].index else -1
        way = np.array([onward * self._shape.facing * _STRIDE * self._shape.length_px, 0.0])
        corridor = Corridor(
            start=start,
            end=start + way,
            begin=begin,
            finish=begin + onward * _USUAL_SWING,
            height_px=_LIFT * self._shape.length_px,
            loose=0.25,
        )
        span = [one for one in pictures if abs(one.t - begin) <= _USUAL_SWING]
        swing = follow_swinging(span, standing, corridor, self._shape)
        state.add_swing(number, span, swing)

    def _follow_on(self, state: _LimbState) -> None:
        """Follow the last mark's hoof forward with no later mark in sight."""
        number = len(state.anchors) - 1
        anchor = state.anchors[number]
        state.waiting = False
        forth = [one for one in self._kept if one.index >= anchor.frame]
        if not forth or forth[0].index != anchor.frame:
            return
        standing = watch_standing(forth, anchor.mark_in_band, self._shape, state.clear[number])
        state.add_standing(number, forth, standing)
        self._swing_open(state, number, forth[len(standing.xy_px) - 1 :], standing)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """A stretch followed from one anchor; ``firm`` where the hoof stood at the marked place."""

    number: int
    frames: NDArray[np.intp]
    xy_px: Array
    variance_px2: Array
    seen: NDArray[np.bool_]
    firm: bool


@dataclass(slots=True)
class _LimbState:
    """What has been followed of one limb so far; ``waiting`` while the last anchor has not been followed forward."""

    anchors: list[Anchor] = field(default_factory=list)
    clear: list[Picture] = field(default_factory=list)
    paths: list[_Piece] = field(default_factory=list)
    waiting: bool = False

    def add_standing(self, number: int, pictures: Sequence[Picture], standing: Standing) -> None:
        frames = np.array([one.index for one in pictures[: len(standing.xy_px)]])
        self.paths.append(
            _Piece(
                number=number,
                frames=frames,
                xy_px=standing.xy_px,
                variance_px2=standing.variance_px2,
                seen=standing.seen,
                firm=True,
            )
        )

    def add_swing(self, number: int, pictures: Sequence[Picture], swing: Swinging) -> None:
        if len(swing.xy_px) == 0:
            return
        frames = np.array([one.index for one in pictures[1 : 1 + len(swing.xy_px)]])
        self.paths.append(
            _Piece(
                number=number,
                frames=frames,
                xy_px=swing.xy_px,
                variance_px2=swing.variance_px2,
                seen=swing.seen,
                firm=False,
            )
        )


def _settle_claims(limbs: Mapping[Limb, _LimbState], near_px: float) -> None:
    """Where two limbs claim one place at one time, the one seen there without a break from its mark has it."""
    cores = [
        (limb, piece, *_core_of(piece))
        for limb, state in limbs.items()
        for piece in state.paths
        if piece.firm
    ]
    for limb, piece, first, last in cores:
        for other, rival, begin, end in cores:
            if other == limb or np.hypot(*(piece.xy_px[0] - rival.xy_px[0])) > near_px:
                continue
            outside = (piece.frames < first) | (piece.frames > last)
            piece.seen[outside & (piece.frames >= begin) & (piece.frames <= end)] = False


def _core_of(piece: _Piece) -> tuple[int, int]:
    """First and last frame of the stretch seen from the mark on with no break of more than three frames."""
    seen = np.flatnonzero(piece.seen)
    breaks = np.flatnonzero(np.diff(seen) > 4)
    end = int(seen[breaks[0]]) if len(breaks) else int(seen[-1])
    frames = piece.frames[[0, end]]
    return int(frames.min()), int(frames.max())


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
    paths: Sequence[_Piece],
    errors: MarkErrors,
    times: Array,
    shape: HoofShape,
    source: Source,
    top: int,
) -> HoofTrack:
    """One track from all paths of a limb: what agrees is averaged, what disagrees is not seen, gaps are bridged."""
    first = min(int(path.frames.min()) for path in paths)
    last = max(int(path.frames.max()) for path in paths)
    count = last - first + 1
    place = np.full((len(paths), count, 2), np.nan)
    variance = np.full((len(paths), count), np.inf)
    trusted = np.zeros((len(paths), count), dtype=bool)
    for row, path in enumerate(paths):
        at = path.frames[path.seen] - first
        place[row, at] = path.xy_px[path.seen] + errors.offset_px[path.number]
        variance[row, at] = path.variance_px2[path.seen]
        trusted[row, at] = path.firm
    xy, var, own = _fuse(
        place, variance, trusted, np.array([errors.own_px2[path.number] for path in paths]), shape
    )
    t = times[first : last + 1]
    smooth, smooth_var = smooth_paths(
        t, np.nan_to_num(xy), np.repeat(var[:, None], 2, axis=1), acceleration=_ACCELERATION * shape.length_px
    )
    smooth = _keep_between(smooth, np.isfinite(var), shape.length_px)
    return HoofTrack(
        limb=limb,
        frames=np.arange(first, last + 1),
        t=t,
        xy_px=smooth + [0.0, top],
        cov_px2=smooth_var[:, :, None] * np.eye(2),
        seen=np.isfinite(var),
        source=source,
        offset_px2=own,
        limb_px2=errors.limb_px2 + (_FOUND_BIAS * shape.length_px) ** 2 * (source == "found"),
    )


def _keep_between(xy: Array, seen: NDArray[np.bool_], hoof_px: float) -> Array:
    """Keep a bridged hoof between the places at both ends of the gap: it may not run on past its landing."""
    known = np.flatnonzero(seen)
    kept = xy.copy()
    for a, b in pairwise(known):
        if b - a > 1:
            low, high = np.sort(xy[[a, b], 0]) + np.array([-0.2, 0.2]) * hoof_px
            kept[a + 1 : b, 0] = np.clip(xy[a + 1 : b, 0], low, high)
    return kept


def _fuse(
    place: Array, variance: Array, trusted: NDArray[np.bool_], own: Array, shape: HoofShape
) -> tuple[Array, Array, Array]:
    """Weighted mean of the paths in each frame, of the firm ones where there are any; unseen where they disagree."""
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
