"""The camera's motion over a whole clip, made consistent between all key pictures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray

from ..numeric.bundle import Beliefs, Bundle, adjust_bundle
from ..numeric.resection import resect_views
from ..numeric.views import SHARED, VIEW, Landmarks, Sights, Views, keep_landmarks
from .camera import CameraMotion
from .followed import Loss, Record
from .losses import describe_losses, drop_scraps

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]

#: A phone's focal length as a share of the picture's longer side.
FOCAL_SHARE = 0.85
# Views that are adjusted together; the others are placed among them.
_MOST_VIEWS = 28
# Beyond this turn (rad) from the first frame the held picture is a frame from the middle of the turn.
_WIDE_TURN = 0.42
_FEWEST_SIGHTS = 12
# A lens held in the hand moves less than this between neighbouring adjusted views (distances to the floor).
_SWAY = 0.02
# Log zoom of an unzoomed view, that of a zoomed one about what was followed, and how much is a zoom at all.
_ZOOM_ERROR, _ZOOMED_ERROR, _ZOOM = 0.002, 0.05, 0.03
# No zoom is over sooner (s).
_ZOOMS_FOR = 0.25
# Errors that neighbouring sights share make the formal error this much too small. Measured on rendered clips.
_SHARED_ERRORS = 1.8
# What all frames share with the held one, whose own points were picked with an error, as a share of the width.
_SHARED = 6e-5
# What a phone's lens still bends: error of the map per radian turned, as a share of the width. It is what a first
# radial coefficient of 0.0025 at the half width does.
_LENS = 4e-4
# A still picture is known to this (px), and a frame is not held where its map is worse than this share of the width.
_STILL_ERROR_PX = 0.05
_WORST_SHARE = 0.004
# A stretch followed for less than this (s) shows that there is little to follow.
_SHORTEST = 0.5
# A standing camera hidden for no longer than this (s) is taken to have stood all the while.
_HIDDEN = 1.0


def settle_motion(record: Record) -> CameraMotion:
    """The motion of every frame, from all that was seen in all of them.

    The longest unbroken stretch is held. Its key pictures and some frames between them are adjusted together with the
    points seen in them, so that no error runs on from frame to frame; every other frame is then placed among them.

    Parameters
    ----------
    record : Record
    """
    stretch = np.array([one.stretch for one in record.frames])
    losses: list[Loss | None] = [one.loss for one in record.frames]
    if (stretch < 0).all():
        return _nothing_held(record, losses)
    best = int(np.bincount(stretch[stretch >= 0]).argmax())
    frames = np.flatnonzero(stretch == best)
    _name_other_stretches(record, stretch, best, losses)
    if record.times[frames[-1]] - record.times[frames[0]] < _SHORTEST and len(frames) < len(stretch):
        return _nothing_held(record, _all_bare(losses))
    if not record.moved:
        return _stood(record, frames, losses)
    keys = np.flatnonzero(np.array(record.key_stretch) == best)
    if sum(len(one.landmark) for one in record.frames if one.stretch == best) < 8 * _FEWEST_SIGHTS:
        return _nothing_held(record, ["unsure" if loss is None else loss for loss in losses])
    return _Settling(record, frames, keys).motion(losses)


def _name_other_stretches(record: Record, stretch: Indices, best: int, losses: list[Loss | None]) -> None:
    """Say of frames followed in another stretch than the held one why: another view, or a scene too bare to last."""
    for other in np.unique(stretch[(stretch >= 0) & (stretch != best)]):
        inside = np.flatnonzero(stretch == other)
        brief = record.times[inside[-1]] - record.times[inside[0]] < _SHORTEST
        for i in inside:
            losses[i] = "bare" if brief else "cut"
        if brief:
            # What ended a brief stretch was no cut either.
            for step in (-1, 1):
                i = inside[0 if step < 0 else -1] + step
                while 0 <= i < len(losses) and losses[i] == "cut" and stretch[i] < 0:
                    losses[i] = "bare"
                    i += step


def _all_bare(losses: list[Loss | None]) -> list[Loss | None]:
    """The losses of a clip of which next to nothing could be followed: what looked like cuts was none."""
    return ["bare" if loss is None or loss == "cut" else loss for loss in losses]


def _nothing_held(record: Record, losses: list[Loss | None]) -> CameraMotion:
    count = len(record.frames)
    return CameraMotion(
        to_first=np.tile(np.eye(3), (count, 1, 1)),
        residual_px=np.zeros(count),
        held=np.zeros(count, dtype=bool),
        moving=True,
        notes=describe_losses(record.times, losses),
    )


def _stood(record: Record, frames: Indices, losses: list[Loss | None]) -> CameraMotion:
    """A camera on a stand: every frame is the first one, and so are those in which something hid the scene."""
    count, times = len(record.frames), record.times
    held = np.zeros(count, dtype=bool)
    held[frames] = True
    for before, after in pairwise(frames):
        if times[after] - times[before] < _HIDDEN:
            held[before : after + 1] = True
    shift = np.array([one.still_px for one in record.frames])
    shift = shift[np.isfinite(shift)]
    error = float(np.hypot(_STILL_ERROR_PX, 0.5 * np.median(shift))) if len(shift) else _STILL_ERROR_PX
    return CameraMotion(
        to_first=np.tile(np.eye(3), (count, 1, 1)),
        residual_px=np.full(count, error),
        held=held,
        moving=False,
        held_frame=int(frames[0]),
        notes=describe_losses(
            times, [None if ok else loss or "cut" for ok, loss in zip(held, losses, strict=True)]
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Adjusted:
    """A bundle, which of the stretch's frames are its views, and its landmarks and sights."""

    bundle: Bundle
    chosen: Indices
    landmarks: Landmarks
    sights: Sights
    beliefs: Beliefs
    reference: int


class _Settling:
    """The settling of one stretch; frames are counted within it."""

    def __init__(self, record: Record, frames: Indices, keys: Indices) -> None:
        self.record, self.frames, self.keys = record, frames, keys
        self.size = np.array([side // record.reduced for side in record.size_px])
        self.middle = (self.size - 1) / 2
        self.row = (record.feet_row_px + 0.5) / record.reduced - 0.5 - self.middle[1]
        self.times = record.times[frames]
        self.still = np.isfinite([record.frames[i].still_px for i in frames])
        self.key_frames = np.searchsorted(frames, [record.keys[k].frame for k in keys])
        log_zoom = np.array([record.frames[i].pose.log_zoom for i in frames])
        self.steady, zoom = _find_zoom(self.times, log_zoom)
        poses = [record.frames[i].pose for i in frames]
        turn, place = np.stack([pose.turn for pose in poses]), np.stack([pose.place for pose in poses])
        self.reference = self._choose_reference(turn)
        held = turn[self.reference]
        turn = turn @ held.T
        self.start = Views(
            focal_px=record.focal_px * float(np.exp(zoom)),
            normal=np.array([0.0, 1.0, 0.0]),
            readout=0.0,
            turn=turn,
            place=(place - place[self.reference]) @ held.T,
            log_zoom=np.where(self.steady, 0.0, log_zoom - zoom),
            drift_px=self._drift(turn, record.focal_px),
            row_px=self.row,
        )
        self.zoom_error = np.where(self.steady, _ZOOM_ERROR, _ZOOMED_ERROR)

    def motion(self, losses: list[Loss | None]) -> CameraMotion:
        record, count = self.record, len(self.record.frames)
        adjusted = self._adjust()
        views, own, seen = self._place_all(adjusted)
        error = np.sqrt(self._variance(views, adjusted, own)) * record.reduced
        error[self.reference] = 0.0
        key = np.isin(np.arange(len(self.frames)), self.key_frames)
        sure = (seen >= _FEWEST_SIGHTS) | self.still | key
        sure &= error < _WORST_SHARE * max(record.size_px)
        for n, i in enumerate(self.frames):
            losses[i] = "zoomed" if not self.steady[n] else None if sure[n] else "unsure"
        losses = drop_scraps(record.times, losses, 0.5 * _SHORTEST)
        to_held, residual = np.tile(np.eye(3), (count, 1, 1)), np.zeros(count)
        to_held[self.frames], residual[self.frames] = self._full_maps(views), error
        held = np.array([loss is None for loss in losses])
        if held.sum() * float(np.median(np.diff(record.times))) < _SHORTEST and not held.all():
            return _nothing_held(record, _all_bare(losses))
        if held.any():
            # Whoever looks for a thing in a frame that is not held finds it best where the nearest held one has it.
            known = np.flatnonzero(held)
            nearest = np.abs(record.times[:, None] - record.times[known]).argmin(axis=1)
            to_held = to_held[known[nearest]]
        return CameraMotion(
            to_first=to_held,
            residual_px=residual,
            held=held,
            moving=True,
            held_frame=int(self.frames[self.reference]),
            notes=(*describe_losses(record.times, losses), *self._describe_shutter(adjusted)),
        )

    def _choose_reference(self, turn: Array) -> int:
        """The frame whose pixels are the held picture: the first, or one from the middle of a wide turn."""
        steady = np.flatnonzero(self.steady)
        ahead = turn[steady, 2, :]
        away = np.arccos(np.clip(ahead @ ahead.T, -1, 1)).max(axis=1)
        if away[0] <= _WIDE_TURN:
            return int(steady[0])
        keyed = np.isin(steady, self.key_frames)
        candidates = np.flatnonzero(keyed) if keyed.any() else np.arange(len(steady))
        return int(steady[candidates[away[candidates].argmin()]])

    def _drift(self, turn: Array, focal: float) -> Array:
        """Speed of the picture (px/s) from the turn between neighbouring frames."""
        if len(turn) < 3:
            return np.zeros((len(turn), 2))
        step = turn[1:] @ turn[:-1].transpose(0, 2, 1)
        speed = focal * step[:, :2, 2] / step[:, 2:, 2] / np.diff(self.times)[:, None]
        return 0.5 * (np.vstack([speed[:1], speed]) + np.vstack([speed, speed[-1:]]))

    def _sights(self, frames: Indices) -> tuple[Indices, Indices, Array]:
        """Which of ``frames``, which landmark, and where from the middle: all sights in these frames."""
        parts = [self.record.frames[i] for i in self.frames[frames]]
        view = np.repeat(np.arange(len(frames)), [len(one.landmark) for one in parts])
        landmark = np.concatenate([one.landmark for one in parts]).astype(np.intp)
        return view, landmark, np.concatenate([one.xy_px for one in parts]).astype(float) - self.middle

    def _adjust(self) -> _Adjusted:
        seen = np.array([len(self.record.frames[i].landmark) for i in self.frames])
        rich = np.flatnonzero(seen >= _FEWEST_SIGHTS)
        spread = np.linspace(0, len(rich) - 1, max(6, _MOST_VIEWS - len(self.key_frames))).round().astype(int)
        # Of neighbours the one that sees most: it ties two key pictures together.
        near = np.clip(np.unique(spread)[:, None] + np.arange(-1, 2), 0, len(rich) - 1)
        best = rich[near[np.arange(len(near)), seen[rich[near]].argmax(axis=1)]]
        # The last key picture is seen in few frames, and its points still need to be seen more than once.
        end = np.linspace(self.key_frames[-1], len(self.frames) - 1, 4).astype(int)[1:]
        chosen = np.unique(np.r_[self.key_frames, best, self.reference, end[seen[end] >= _FEWEST_SIGHTS]])
        position = np.full(len(self.frames), -1)
        position[chosen] = np.arange(len(chosen))
        landmarks, sights = self._meet(chosen, position)
        beliefs = Beliefs(focal_px=FOCAL_SHARE * float(self.size.max()), log_zoom=self.zoom_error[chosen])
        reference = int(position[self.reference])
        bundle = adjust_bundle(self.start.only(chosen), landmarks, sights, beliefs, reference=reference)
        return _Adjusted(
            bundle=bundle,
            chosen=chosen,
            landmarks=landmarks,
            sights=sights,
            beliefs=beliefs,
            reference=reference,
        )

    def _meet(self, chosen: Indices, position: Indices) -> tuple[Landmarks, Sights]:
        """All points of the key pictures, and the sights of them in the chosen frames.

        Landmarks keep the numbers they were followed under, so that later sights find them.
        """
        total = sum(len(key.patches) for key in self.record.keys)
        view, xy, cov = np.zeros(total, np.intp), np.zeros((total, 2)), np.tile(np.eye(2), (total, 1, 1))
        on_floor = np.zeros(total, dtype=bool)
        for number, frame in zip(self.keys, self.key_frames, strict=True):
            key = self.record.keys[number]
            part = slice(key.first_landmark, key.first_landmark + len(key.patches))
            view[part], xy[part] = position[frame], key.patches.xy_px - self.middle
            cov[part], on_floor[part] = key.patches.cov_px2, key.on_floor
        seen_in, landmark, seen_at = self._sights(chosen)
        often = np.bincount(landmark, minlength=total) >= 2
        keep = often[landmark] & (view[landmark] != seen_in)
        seen_in, landmark, seen_at = seen_in[keep], landmark[keep], seen_at[keep]
        return Landmarks(view=view, xy_px=xy, on_floor=on_floor, cov_px2=cov), Sights(
            view=seen_in, landmark=landmark, xy_px=seen_at, cov_px2=cov[landmark]
        )

    def _place_all(self, adjusted: _Adjusted) -> tuple[Views, Array, Indices]:
        """Every frame's view, the covariance of its own numbers from its own sights, and how many those are."""
        fixed, chosen = adjusted.bundle.views, adjusted.chosen
        nearest = np.abs(np.arange(len(self.frames))[:, None] - chosen).argmin(axis=1)
        aside = self.start.turn @ self.start.turn[chosen[nearest]].transpose(0, 2, 1)
        place = np.column_stack(
            [np.interp(self.times, self.times[chosen], fixed.place[:, axis]) for axis in range(3)]
        )
        start = replace(
            fixed,
            turn=aside @ fixed.turn[nearest],
            place=place,
            log_zoom=self.start.log_zoom,
            drift_px=self.start.drift_px,
        )
        used = np.bincount(adjusted.sights.landmark, minlength=len(adjusted.landmarks)) > 0
        view, landmark, xy = self._sights(np.arange(len(self.frames)))
        keep = used[landmark]
        view, landmark, xy = view[keep], landmark[keep], xy[keep]
        sights = Sights(view=view, landmark=landmark, xy_px=xy, cov_px2=adjusted.landmarks.cov_px2[landmark])
        placed = resect_views(
            start, adjusted.bundle, adjusted.landmarks, sights, place_error=_SWAY, zoom_error=self.zoom_error
        )
        seen = np.bincount(view, minlength=len(self.frames))
        turn, place, zoom = placed.views.turn, placed.views.place, placed.views.log_zoom
        turn[chosen], place[chosen], zoom[chosen] = fixed.turn, fixed.place, fixed.log_zoom
        # A picture that had not moved from the first one is that one.
        turn[self.still], place[self.still], zoom[self.still] = turn[0], place[0], zoom[0]
        return replace(placed.views, turn=turn, place=place, log_zoom=zoom), placed.covariance, seen

    def _variance(self, views: Views, adjusted: _Adjusted, own: Array) -> Array:
        """Variance per axis (px² of the reduced held picture) of the map of a floor point in the band of the feet."""
        band = np.column_stack([np.linspace(-0.25, 0.25, 3) * self.size[0], np.full(3, self.row)])
        chosen, bundle = adjusted.chosen, adjusted.bundle
        by_shared, by_own = _derive_map(views, band)
        local = _mean_variance(by_own, own)
        rows = SHARED + VIEW * np.arange(len(chosen))[:, None] + np.arange(VIEW)
        rows = np.hstack([np.broadcast_to(np.arange(SHARED), (len(chosen), SHARED)), rows])
        covariance = bundle.covariance[rows[:, :, None], rows[:, None, :]]
        total = _mean_variance(np.concatenate([by_shared[chosen], by_own[chosen]], axis=3), covariance)
        common = np.maximum(total - local[chosen], 0.0)
        variance = np.interp(self.times, self.times[chosen], common) + local
        variance[chosen] = total
        factor = _SHARED_ERRORS**2 + _compare_halves(adjusted, band) / max(float(total.mean()), 1e-9)
        turned = np.arccos(np.clip(views.turn[:, 2, 2], -1.0, 1.0))
        variance = factor * variance + (_LENS * float(self.size.max()) * turned) ** 2
        variance += (_SHARED * float(self.size.max())) ** 2
        shift = np.array([self.record.frames[i].still_px for i in self.frames[self.still]])
        variance[self.still] = variance[0] + (shift / self.record.reduced) ** 2
        return np.asarray(variance)

    def _full_maps(self, views: Views) -> Array:
        """Maps between full pictures, of the pixels of each frame to those of the held one."""
        scale, middle = self.record.reduced, self.middle
        from_middle = np.array(
            [
                [scale, 0, scale * middle[0] + (scale - 1) / 2],
                [0, scale, scale * middle[1] + (scale - 1) / 2],
                [0, 0, 1.0],
            ]
        )
        maps = from_middle @ views.floor_maps() @ np.linalg.inv(from_middle)
        maps = maps / maps[:, 2:, 2:]
        maps[self.reference] = np.eye(3)
        return np.asarray(maps)

    def _describe_shutter(self, adjusted: _Adjusted) -> tuple[str, ...]:
        views, error = adjusted.bundle.views, float(np.sqrt(adjusted.bundle.covariance[3, 3]))
        speed = float(np.quantile(np.abs(self.start.drift_px).max(axis=1), 0.95))
        lean = abs(views.readout) * speed * float(self.size[1]) * self.record.reduced
        if lean < 2.0 or abs(views.readout) < 4 * _SHARED_ERRORS * error:
            return ()
        return (
            f"The camera reads its picture row by row (rolling shutter), which made it lean by up to {lean:.0f} px "
            "while it turned; that was taken out.",
        )


def _find_zoom(times: Array, log_zoom: Array) -> tuple[Mask, float]:
    """Which frames share the zoom that most have, and that zoom; a moment's excursion is an error of the following."""
    if np.ptp(log_zoom) < _ZOOM:
        return np.ones(len(log_zoom), dtype=bool), 0.0
    near = np.abs(log_zoom[:, None] - log_zoom) < _ZOOM / 3
    common = float(np.median(log_zoom[near[int(near.sum(axis=1).argmax())]]))
    steady = np.abs(log_zoom - common) < _ZOOM / 2
    for same, run in groupby(range(len(steady)), key=lambda n: bool(steady[n])):
        frames = list(run)
        if not same and times[frames[-1]] - times[frames[0]] < _ZOOMS_FOR:
            steady[frames] = True
    return steady, common


def _compare_halves(adjusted: _Adjusted, band: Array) -> float:
    """Mean square of the whole's error (px² per axis) as two halves of the landmarks, adjusted apart, suggest it."""
    maps = []
    for half in (0, 1):
        which = np.arange(len(adjusted.landmarks)) % 2 == half
        landmarks, sights = keep_landmarks(adjusted.landmarks, adjusted.sights, which)
        bundle = adjust_bundle(
            adjusted.bundle.views, landmarks, sights, adjusted.beliefs, reference=adjusted.reference, rounds=4
        )
        maps.append(_map_points(bundle.views.floor_maps(), band))
    return float(np.mean((0.5 * (maps[0] - maps[1])) ** 2))


def _map_points(maps: Array, points: Array) -> Array:
    """Points (P, 2) by each of N homographies: (N, P, 2)."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ maps.transpose(0, 2, 1)
    return np.asarray(mapped[..., :2] / mapped[..., 2:])


def _derive_map(views: Views, points: Array) -> tuple[Array, Array]:
    """Change of mapped points with the shared numbers (N, P, 2, 4) and with each view's own (N, P, 2, 7)."""
    columns = []
    for column in range(SHARED + VIEW):
        by = 1e-9 if column == SHARED - 1 else 1e-5
        step = np.zeros(SHARED + VIEW)
        step[column] = by
        shared, own = step[:SHARED], np.tile(step[SHARED:], (len(views), 1))
        ahead, behind = views.moved(shared, own), views.moved(-shared, -own)
        gap = _map_points(ahead.floor_maps(), points) - _map_points(behind.floor_maps(), points)
        columns.append(gap / (2 * by))
    jacobian = np.stack(columns, axis=-1)
    return jacobian[..., :SHARED], jacobian[..., SHARED:]


def _mean_variance(jacobian: Array, covariance: Array) -> Array:
    """(N,) variance per axis, mean over points, of (N, P, 2, K) derivatives under (N, K, K) covariances."""
    carried = jacobian @ covariance[:, None]
    return np.asarray((carried * jacobian).sum(axis=(1, 2, 3)) / (2 * jacobian.shape[1]))
