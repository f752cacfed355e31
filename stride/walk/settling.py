"""The camera's motion over a whole clip, made consistent between all key pictures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..numeric.bundle import (
    SHARED,
    VIEW,
    Beliefs,
    Bundle,
    Landmarks,
    Sights,
    Views,
    adjust_bundle,
    resect_views,
    turn_by,
)
from ..numeric.homography import apply_homography
from ..numeric.turns import guess_focal, nearest_turns
from .camera import CameraMotion, still_camera
from .holding import Record
from .keys import sighting_cov

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

# A phone's focal length as a share of the picture's longer side.
_FOCAL_SHARE = 0.85
# Views that are adjusted together; the others are placed among them.
_MOST_VIEWS = 28
# Beyond this turn (rad) from the first frame the held picture is a frame from the middle of the turn.
_WIDE_TURN = 0.42
_FEWEST_SIGHTS = 12
# A lens held in the hand moves less than this between neighbouring adjusted views (distances to the floor).
_SWAY = 0.02


def settle_motion(record: Record) -> CameraMotion:
    """The motion of every frame from all that was seen."""
    count = len(record.frames)
    if not record.moved:
        return still_camera(count, residual_px=0.05)
    return _Settling(record).motion()


class _Settling:
    def __init__(self, record: Record) -> None:
        self.record = record
        stretch = np.array([one.stretch for one in record.frames])
        counts = np.bincount(stretch[stretch >= 0], minlength=1)
        self.stretch = int(counts.argmax())
        self.held = stretch == self.stretch
        self.frames = np.flatnonzero(self.held)
        width, height = (side // record.reduced for side in record.size_px)
        self.middle = (np.array([width, height]) - 1) / 2
        self.focal = _FOCAL_SHARE * max(width, height)
        self.size = (width, height)
        self.row = (record.feet_row + 0.5) / record.reduced - 0.5 - self.middle[1]

    def motion(self) -> CameraMotion:
        record = self.record
        keys, of_key = record.keys, np.array([one.key for one in record.frames])
        to_middle = np.array([[1.0, 0, self.middle[0]], [0, 1.0, self.middle[1]], [0, 0, 1.0]])
        from_key = np.stack([np.linalg.inv(to_middle) @ record.frames[i].from_key @ to_middle for i in self.frames])
        self.focal = guess_focal(from_key[_far(from_key)], self.focal)
        turn = nearest_turns(from_key, self.focal)
        # chain rotations through keys
        place_of = {int(f): n for n, f in enumerate(self.frames)}
        mine = [k for k, s in enumerate(record.key_stretch) if s == self.stretch]
        rotation = np.tile(np.eye(3), (len(self.frames), 1, 1))
        key_turn = {mine[0]: np.eye(3)}
        for n, i in enumerate(self.frames):
            k = int(of_key[i])
            rotation[n] = turn[n] @ key_turn[k]
            for other in mine:
                if keys[other].frame == i and other not in key_turn:
                    key_turn[other] = rotation[n]
        self.place_of, self.mine = place_of, mine
        reference = self._reference(rotation)
        rotation = rotation @ rotation[reference].T
        views = Views(
            focal_px=self.focal,
            normal=np.array([0.0, 1.0, 0.0]),
            readout=0.0,
            rotation=rotation,
            place=np.zeros((len(rotation), 3)),
            log_zoom=np.zeros(len(rotation)),
            drift_px=self._drift(rotation),
            row_px=self.row,
        )
        bundle, chosen, landmarks, numbers = self._adjust(views, reference)
        self.bundle, self.chosen = bundle, chosen
        views, own = self._place_all(views, bundle, chosen, landmarks, numbers)
        variance = self._variance(views, bundle, chosen, own)
        return self._hold(views, variance, reference)

    def _reference(self, rotation: Array) -> int:
        """The frame whose pixels are the held picture: the first, or one from the middle of a wide turn."""
        ahead = rotation[:, 2, :]
        away = np.arccos(np.clip(ahead @ ahead.T, -1, 1)).max(axis=1)
        if away[0] <= _WIDE_TURN:
            return 0
        keyed = [self.place_of[self.record.keys[k].frame] for k in self.mine if self.record.keys[k].frame in self.place_of]
        return keyed[int(np.argmin(away[keyed]))]

    def _drift(self, rotation: Array) -> Array:
        """Speed of the picture (px/s) from the turn between neighbouring frames."""
        t = self.record.times[self.frames]
        if len(t) < 3:
            return np.zeros((len(t), 2))
        turn = rotation[1:] @ rotation[:-1].transpose(0, 2, 1)
        step = self.focal * turn[:, :2, 2] / turn[:, 2:, 2] / np.diff(t)[:, None]
        return 0.5 * (np.vstack([step[:1], step]) + np.vstack([step, step[-1:]]))

    def _sights(self, frames: Indices, numbers: dict[int, int] | None) -> tuple[Indices, Indices, Array]:
        """Frame (as counted in ``frames``), landmark and place from the middle, of all sights in these frames."""
        parts = [self.record.frames[i] for i in frames]
        view = np.repeat(np.arange(len(frames)), [len(one.landmark) for one in parts])
        landmark = np.concatenate([one.landmark for one in parts]).astype(np.intp)
        xy = np.concatenate([one.xy_px for one in parts]).astype(float) - self.middle
        return view, landmark, xy

    def _adjust(self, views: Views, reference: int) -> tuple[Bundle, Indices, Landmarks, Indices]:
        record = self.record
        key_places = [self.place_of[record.keys[k].frame] for k in self.mine if record.keys[k].frame in self.place_of]
        spread = np.linspace(0, len(self.frames) - 1, max(4, _MOST_VIEWS - len(key_places))).round().astype(int)
        chosen = np.unique(np.r_[key_places, spread, reference])
        position = np.full(len(self.frames), -1)
        position[chosen] = np.arange(len(chosen))
        view, landmark, xy = self._sights(self.frames[chosen], None)
        total = record.keys[-1].first_landmark + len(record.keys[-1].patches)
        own_view = np.full(total, -1)
        own_xy, floor, cov = np.zeros((total, 2)), np.zeros(total, bool), np.zeros((total, 2, 2))
        for k in self.mine:
            key = record.keys[k]
            part = slice(key.first_landmark, key.first_landmark + len(key.patches))
            own_view[part] = position[self.place_of[key.frame]]
            own_xy[part] = key.patches.xy_px - self.middle
            floor[part] = key.on_floor
            cov[part] = sighting_cov(key.patches.spread)
        often = np.bincount(landmark, minlength=total) >= 2
        keep = often[landmark] & (own_view[landmark] != view)
        view, landmark, xy = view[keep], landmark[keep], xy[keep]
        used, compact = np.unique(landmark, return_inverse=True)
        landmarks = Landmarks(view=own_view[used], xy_px=own_xy[used], on_floor=floor[used], cov_px2=cov[used])
        sights = Sights(view=view, landmark=compact, xy_px=xy, cov_px2=cov[landmark])
        numbers = np.full(total, -1)
        numbers[used] = np.arange(len(used))
        start = _take(views, chosen)
        bundle = adjust_bundle(start, landmarks, sights, Beliefs(), reference=int(position[reference]))
        return bundle, chosen, landmarks, numbers

    def _place_all(
        self, views: Views, bundle: Bundle, chosen: Indices, landmarks: Landmarks, numbers: Indices
    ) -> tuple[Views, Array]:
        """Every frame's view, and the covariance of its own numbers from its own sights."""
        record = self.record
        adjusted = bundle.views
        rotation = views.rotation.copy()
        of_key = np.array([record.frames[i].key for i in self.frames])
        for k in self.mine:
            if record.keys[k].frame not in self.place_of:
                continue
            n = self.place_of[record.keys[k].frame]
            better = adjusted.rotation[np.flatnonzero(chosen == n)[0]]
            same = of_key == k
            rotation[same] = rotation[same] @ views.rotation[n].T @ better
        t = record.times[self.frames]
        place = np.column_stack([np.interp(t, t[chosen], adjusted.place[:, axis]) for axis in range(3)])
        start = replace(adjusted, rotation=rotation, place=place, log_zoom=np.zeros(len(t)), drift_px=views.drift_px)
        view, landmark, xy = self._sights(self.frames, None)
        keep = numbers[landmark] >= 0
        view, landmark, xy = view[keep], numbers[landmark[keep]], xy[keep]
        sights = Sights(view=view, landmark=landmark, xy_px=xy, cov_px2=landmarks.cov_px2[landmark])
        placed = resect_views(start, bundle, landmarks, sights, place_error=_SWAY, zoom_error=0.002)
        self.counts = np.bincount(view, minlength=len(t))
        final = placed.views
        for name in ("rotation", "place", "log_zoom"):
            getattr(final, name)[chosen] = getattr(adjusted, name)
        return final, placed.covariance

    def _variance(self, views: Views, bundle: Bundle, chosen: Indices, own: Array) -> Array:
        """Variance per axis (px² of the held picture) of the map of a floor point in the band of the feet."""
        band = np.column_stack([np.linspace(-0.25, 0.25, 3) * self.size[0], np.full(3, self.row)])
        shared, each = _derive_map(views, band)
        local = np.einsum("nbik,nkl,nbil->n", each, own, each) / (2 * len(band))
        total = np.empty(len(chosen))
        for n, frame in enumerate(chosen):
            rows = np.r_[np.arange(SHARED), SHARED + VIEW * n + np.arange(VIEW)]
            covariance = bundle.covariance[np.ix_(rows, rows)]
            jacobian = np.concatenate([shared[frame], each[frame]], axis=2)
            total[n] = np.einsum("bik,kl,bil->", jacobian, covariance, jacobian) / (2 * len(band))
        common = np.maximum(total - local[chosen], 0.0)
        t = self.record.times[self.frames]
        variance = np.interp(t, t[chosen], common) + local
        variance[chosen] = total
        return variance

    def _hold(self, views: Views, variance: Array, reference: int) -> CameraMotion:
        record, count = self.record, len(self.record.frames)
        reduced = record.reduced
        to_middle = np.array([[1.0, 0, self.middle[0]], [0, 1.0, self.middle[1]], [0, 0, 1.0]])
        full = np.array([[reduced, 0, (reduced - 1) / 2], [0, reduced, (reduced - 1) / 2], [0, 0, 1.0]])
        outer = full @ to_middle
        to_held = np.tile(np.eye(3), (count, 1, 1))
        maps = outer @ views.floor_maps() @ np.linalg.inv(outer)
        to_held[self.frames] = maps / maps[:, 2:, 2:]
        residual = np.zeros(count)
        residual[self.frames] = np.sqrt(variance) * reduced
        held = self.held.copy()
        return CameraMotion(
            to_first=to_held, residual_px=residual, held=held, moving=True, held_frame=int(self.frames[reference])
        )


def _take(views: Views, which: Indices) -> Views:
    return replace(
        views,
        rotation=views.rotation[which],
        place=views.place[which],
        log_zoom=views.log_zoom[which],
        drift_px=views.drift_px[which],
    )


def _derive_map(views: Views, points: Array) -> tuple[Array, Array]:
    """Derivatives of mapped points: by the shared numbers (N, P, 2, 4) and by each view's own (N, P, 2, 7)."""
    count = len(views.rotation)

    def mapped(one: Views) -> Array:
        return np.stack([apply_homography(matrix, points) for matrix in one.floor_maps()])

    def moved(column: int, by: float) -> Views:
        if column < SHARED:
            tilt = np.zeros((1, 3))
            if column in (1, 2):
                tilt[0, 0 if column == 1 else 2] = by
            return replace(
                views,
                focal_px=views.focal_px * np.exp(by if column == 0 else 0.0),
                normal=turn_by(tilt)[0] @ views.normal,
                readout=views.readout + (by if column == 3 else 0.0),
            )
        step = np.zeros(VIEW)
        step[column - SHARED] = by
        return replace(
            views,
            rotation=turn_by(np.tile(step[:3], (count, 1))) @ views.rotation,
            place=views.place + step[3:6],
            log_zoom=views.log_zoom + step[6],
        )

    columns = []
    for column in range(SHARED + VIEW):
        by = 1e-9 if column == 3 else 1e-5
        columns.append((mapped(moved(column, by)) - mapped(moved(column, -by))) / (2 * by))
    jacobian = np.stack(columns, axis=-1)
    return jacobian[..., :SHARED], jacobian[..., SHARED:]


def _far(maps: Array) -> NDArray[np.bool_]:
    step = np.abs(maps[:, :2, 2]).max(axis=1)
    return np.asarray(step > 0.6 * step.max())
