"""The camera followed against the floor and what stands behind it, frame by frame."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..imaging.flow import (
    Patches,
    chase_points,
    cut_patches,
    find_common_shift,
    measure_sharpness,
    read_shift,
    shrink,
)
from ..imaging.overlap import find_shifts
from ..numeric.poses import FittedPose, Pose, PoseBelief, fit_pose, project_points
from ..numeric.turns import turn_by, vectors_of
from .camera import CameraMotion
from .clip import Frame, Image
from .followed import ORIGIN, Followed, Loss, Record
from .keys import KeyPicture, Lens, Tries, join_targets, look_for, make_key, take_targets
from .settling import FOCAL_SHARE, settle_motion

Array = NDArray[np.float64]

# The picture is worked on at about this width (px).
_WORK_WIDTH = 1100
# Part of the picture that shows floor where nothing is known of the feet: below this share of its height.
_FLOOR_SHARE = 0.72
# A picture is the first one still while its points stay within this (px of the full picture, at 1920 px width).
_STILL_PX = 0.3
_FEWEST_STILL = 8
# A new key picture is taken when the view has moved by this share of the picture's width.
_KEY_STEP = 0.14
_MOST_KEYS = 64
_SECOND_EVERY = 2
_FEWEST = 14
_FEWEST_ON_FLOOR = 5
# Columns the picture is thought of in, and how many of them must show agreeing points, in all and on the floor: more
# than an animal fills.
_COLUMNS, _FEWEST_COLUMNS, _FEWEST_LOW_COLUMNS = 12, 7, 5
# Sharpness against the key picture's below which a picture is blurred, and above which it is clear again.
_BLURRED, _CLEAR = 0.45, 0.6
# A new view must be clear for this long (s) to begin a stretch; one that stays unclear for longer is taken as it is.
_CLEAR_FOR, _PATIENCE = 0.06, 1.5
# A new stretch is held against the earlier ones every so many frames, for so many.
_JOIN_EVERY, _JOIN_WITHIN = 6, 60
# How well the focal length is known before anything is seen, and at best while following (as a share).
_FOCAL_ERROR = (0.25, 0.015)
# It is learned from views turned by at least this share of the width, and else held to this (as a share).
_FOCAL_STEP, _FIXED = 0.03, 1e-3
# How fast a lens in the hand moves (distances to the floor, 1/s), and how fast a zoom goes (1/s).
_SWAY_SPEED = 0.12
_ZOOM_SPEED = 0.2


class CameraFollower:
    """Follows the camera through a clip that is fed to it once, frame by frame.

    While the picture stands still only a few strong points are looked at. Once it moves, the points of key pictures
    are looked for in every frame; the animal and anyone beside it do not move with the floor and drop out.

    Parameters
    ----------
    size_px : (int, int)
        Width and height of the picture.
    feet_rows_px : (float, float), optional
        Highest and lowest picture row in which hooves were marked; by default the lower part of the picture.
    """

    def __init__(self, size_px: tuple[int, int], feet_rows_px: tuple[float, float] | None = None) -> None:
        self._size = size_px
        self._reduced = max(1, round(max(size_px) / _WORK_WIDTH))
        self._work_size = (size_px[0] // self._reduced, size_px[1] // self._reduced)
        height = size_px[1]
        top, bottom = feet_rows_px or (0.80 * height, 0.88 * height)
        self._feet_row = 0.5 * (top + bottom)
        floor_top = _FLOOR_SHARE * height if feet_rows_px is None else top - 0.05 * height
        self._floor_row = int(np.clip(floor_top, 0.3 * height, 0.85 * height) / self._reduced)
        self._times: list[float] = []
        self._frames: list[Followed] = []
        self._watch: Patches | None = None
        self._moved = False
        self._keys: list[KeyPicture] = []
        self._key_stretch: list[int] = []
        self._stretch = -1
        self._track = _Track()
        self._last: Image | None = None
        self._focal = FOCAL_SHARE * max(self._work_size)
        self._focal_known = self._focal, _FOCAL_ERROR[0]

    def add(self, frame: Frame) -> None:
        """Follow the camera into the next frame."""
        self._times.append(frame.t)
        if not self._frames:
            self._begin(frame.luma)
            return
        shift = np.inf if self._moved or self._watch is None else self._watch_shift(frame.luma)
        if shift < self._still_limit:
            self._frames.append(Followed(stretch=0, still_px=shift))
            self._track.stand(ORIGIN, frame.t)
        else:
            self._frames.append(self._follow(frame))
        self._last = frame.luma

    @property
    def moved(self) -> bool:
        """Whether the camera has moved so far."""
        return self._moved

    def finish(self) -> CameraMotion:
        """The motion of the whole clip, after the last frame."""
        return settle_motion(self.record())

    def record(self) -> Record:
        """What has been seen so far."""
        return Record(
            times=np.array(self._times),
            frames=self._frames,
            keys=self._keys,
            key_stretch=self._key_stretch,
            moved=self._moved,
            focal_px=self._focal,
            reduced=self._reduced,
            size_px=self._size,
            feet_row_px=self._feet_row,
        )

    # --- a picture that stands still

    def _begin(self, luma: Image) -> None:
        work = shrink(luma, self._work_size)
        if self._start_stretch(work, 0):
            self._watch = self._cut_watch(luma)
            self._frames.append(Followed(stretch=0, still_px=0.0))
        else:
            self._moved = True
            self._track.lost, self._track.loss, self._track.lost_since = True, "bare", self._times[-1]
            self._frames.append(Followed(stretch=-1, loss="bare"))
        self._track.stand(ORIGIN, self._times[-1])
        self._last = luma

    @property
    def _still_limit(self) -> float:
        return _STILL_PX * max(self._size) / 1920

    def _cut_watch(self, luma: Image) -> Patches:
        """The strongest points, spread over the picture, cut from it at full size."""
        patches = self._keys[0].patches
        cell = (patches.xy_px // (self._work_size[0] / 8)).astype(int)
        order = np.argsort(np.trace(patches.cov_px2, axis1=1, axis2=2), kind="stable")
        _, first = np.unique(cell[order] @ [100, 1], return_index=True)
        scale = np.array(self._size) / self._work_size
        return cut_patches(luma, np.round((patches.xy_px[order[first]] + 0.5) * scale - 0.5))

    def _watch_shift(self, luma: Image) -> float:
        """How far the picture seems to have moved from the first one (px); infinite where it cannot be told."""
        assert self._watch is not None
        shift, similarity = read_shift(luma, self._watch)
        alike = similarity > 0.7
        if alike.sum() < max(_FEWEST_STILL, 0.3 * len(shift)):
            return np.inf
        middle = np.median(shift[alike], axis=0)
        about = np.median(np.abs(shift[alike]).max(axis=1))
        return float(max(np.abs(middle).max(), 0.7 * about))

    # --- a picture that moves

    def _follow(self, frame: Frame) -> Followed:
        work = shrink(frame.luma, self._work_size)
        index, track = len(self._frames), self._track
        if track.lost:
            return self._recover(work, index)
        joined = self._join_earlier(work, index)
        if joined is not None:
            return joined
        ahead = track.predict(frame.t)
        found = self._register(work, index, ahead, self._from_frame_to_frame(frame.t - track.t))
        if found is None:
            found = self._chase(work, index, ahead)
        if found is None:
            return self._lose(work, index)
        track.advance(found.pose, frame.t)
        followed = self._accept(found, index)
        self._change_key(work, index)
        return followed

    def _active(self, index: int = 0) -> list[KeyPicture]:
        """The key pictures looked at in a frame: the one before the last only now and then once the last is proven."""
        primary = self._keys[self._track.primary]
        if self._track.second < 0 or (index % _SECOND_EVERY and primary.proven().sum() >= 2 * _FEWEST):
            return [primary]
        return [primary, self._keys[self._track.second]]

    @property
    def _lens(self) -> Lens:
        width, height = self._work_size
        return Lens(focal_px=self._focal, middle=np.array([(width - 1) / 2, (height - 1) / 2]))

    def _from_frame_to_frame(self, elapsed: float) -> PoseBelief:
        # A view that has hardly turned says nothing of the focal length, but would take it for an excuse.
        close = self._view_step(self._keys[self._track.primary], self._track.pose) < _FOCAL_STEP
        return PoseBelief(
            turn=0.03,
            roll=0.006,
            place=_SWAY_SPEED * elapsed,
            log_zoom=_ZOOM_SPEED * elapsed,
            focal_px=self._focal if close else self._focal_known[0],
            log_focal=_FIXED if close else self._focal_known[1],
            softness_px=(4.0, 2.0, 1.5),
        )

    def _in_a_jump(self) -> PoseBelief:
        """After a jerk or a gap: turned by any amount."""
        return PoseBelief(
            turn=0.3,
            roll=0.1,
            place=0.03,
            log_zoom=0.02,
            focal_px=self._focal_known[0],
            log_focal=self._focal_known[1],
            softness_px=(12.0, 8.0, 5.0, 3.0, 2.0, 1.5),
        )

    def _register(
        self, work: Image, index: int, guess: Pose, belief: PoseBelief, *, share: float = 0.4
    ) -> _Found | None:
        """Find the active key pictures' points and the pose they agree on; None where they do not support one."""
        tries = look_for(work, self._active(index), guess, self._lens, index)
        similar = tries.similar
        if similar.sum() < _FEWEST:
            return None
        trust = self._trust(tries, similar)[similar]
        found = tries.sightings.xy_px[similar]
        # Where most of them went, so that neither a poor guess nor the animal decides what is fitted to.
        common = find_common_shift(found - tries.guess_px[similar], trust, reach_px=2.5)
        fitted = fit_pose(
            _shifted(guess, common, self._focal),
            self._focal,
            take_targets(tries.targets, similar),
            found - self._lens.middle,
            tries.cov_px2[similar] / trust[:, None, None] ** 2,
            belief,
        )
        good = np.zeros(len(similar), dtype=bool)
        good[similar] = fitted.weight > 0.25
        if not self._supported(tries, good, share):
            return None
        self._learn_focal(fitted, int(good.sum()))
        return _Found(tries=tries, good=good, pose=fitted.pose)

    def _learn_focal(self, fitted: FittedPose, good: int) -> None:
        if good < 2 * _FEWEST or fitted.log_focal_error < 2 * _FIXED:
            return
        self._focal = float(np.clip(fitted.focal_px / max(self._work_size), 0.4, 3.0)) * max(self._work_size)
        # Neighbouring frames see the same points with the same errors: they do not add up.
        error = max(4.0 * fitted.log_focal_error, _FOCAL_ERROR[1])
        if error < self._focal_known[1]:
            self._focal_known = self._focal, error

    def _trust(self, tries: Tries, similar: NDArray[np.bool_]) -> Array:
        """How much each point counts: one that never fitted may sit on the animal, the less so the lower it lies."""
        if (tries.proven & similar).sum() >= _FEWEST:
            return np.where(tries.proven, 1.0, 0.1)
        return np.where(tries.proven, 1.0, np.where(tries.on_floor, 0.5, 0.2))

    def _supported(self, tries: Tries, good: NDArray[np.bool_], share: float) -> bool:
        """Whether the agreeing points are the scene and not the animal: many, spread wide, and on the floor too."""
        width = self._work_size[0]
        expected = np.maximum(tries.proven.sum(), 1)
        if good.sum() < _FEWEST or (tries.proven & good).sum() < share * expected * (expected >= _FEWEST):
            return False
        if not tries.proven.any() and good.sum() < share * len(good):
            return False
        if (tries.proven & tries.similar & ~good).sum() > (tries.proven & good).sum():
            return False
        xy = tries.sightings.xy_px
        low = good & (xy[:, 1] >= self._floor_row - 0.03 * width)
        columns, low_columns = (
            len(np.unique((xy[which, 0] * _COLUMNS / width).astype(int))) for which in (good, low)
        )
        return bool(
            low.sum() >= _FEWEST_ON_FLOOR
            and columns >= _FEWEST_COLUMNS
            and low_columns >= _FEWEST_LOW_COLUMNS
        )

    def _chase(self, work: Image, index: int, ahead: Pose) -> _Found | None:
        """Bridge a jump the prediction missed: coarse flow from the frame before, then the key pictures again."""
        assert self._last is not None
        before = shrink(self._last, self._work_size)
        return self._leap(work, index, before, self._track.pose, ahead)

    def _leap(self, work: Image, index: int, before: Image, from_pose: Pose, guess: Pose) -> _Found | None:
        """Follow the active key pictures' points coarsely from a picture of known pose, then look for them as usual."""
        lens = self._lens
        targets, spots, votes = [], [], []
        for key in self._active(index):
            every = key.targets(lens)
            xy = project_points(from_pose, lens.focal_px, every) + lens.middle
            awake = ((xy > 4) & (xy < np.array(self._work_size) - 4)).all(axis=1) & key.awake(index)
            targets.append(take_targets(every, awake))
            spots.append(xy[awake])
            votes.append(np.where(key.on_floor[awake], 2.0, 1.0) * np.where(key.proven()[awake], 3.0, 1.0))
        source, vote, points = np.concatenate(spots), np.concatenate(votes), join_targets(targets)
        expected = project_points(guess, lens.focal_px, points) + lens.middle
        target, seen = chase_points(before, work, source, expected)
        if seen.sum() < _FEWEST:
            return None
        common = find_common_shift((target - source)[seen], vote[seen], reach_px=4.0)
        fitted = fit_pose(
            _shifted(from_pose, common, lens.focal_px),
            lens.focal_px,
            take_targets(points, seen),
            target[seen] - lens.middle,
            np.eye(2) / vote[seen][:, None, None],
            self._in_a_jump(),
        )
        return self._register(work, index, fitted.pose, self._from_frame_to_frame(0.1), share=0.25)

    def _accept(self, found: _Found, index: int) -> Followed:
        tries, good = found.tries, found.good
        landmark = np.empty(len(good), np.int32)
        for k, key in enumerate(self._active(index)):
            own = tries.key == k
            key.note(tries.number[own], good[own])
            landmark[own] = key.first_landmark + tries.number[own]
        if not self._moved:
            anchor = self._keys[self._track.primary].patches.xy_px
            at = tries.number[good & (tries.key == 0)]
            away = tries.sightings.xy_px[good & (tries.key == 0)] - anchor[at]
            self._moved = bool(np.median(np.abs(away).max(axis=1)) * self._reduced > 3 * self._still_limit)
        return Followed(
            stretch=self._stretch,
            pose=found.pose,
            landmark=landmark[good],
            xy_px=tries.sightings.xy_px[good].astype(np.float32),
        )

    def _change_key(self, work: Image, index: int) -> None:
        """Take another key picture where the view has moved on."""
        track = self._track
        primary = self._keys[track.primary]
        moved = self._view_step(primary, track.pose)
        fading = (
            np.count_nonzero((primary.misses == 0) & primary.on_floor) < 10 and index - primary.frame > 12
        )
        if track.second >= 0 and self._view_step(self._keys[track.second], track.pose) > 4 * _KEY_STEP:
            track.second = -1
        if (moved < _KEY_STEP and not fading) or len(self._keys) >= _MOST_KEYS:
            return
        if not fading and self._reuse_key(work, index):
            return
        key = make_key(work, index, self._next_landmark(), self._floor_row, track.pose)
        self._keep_key(key)
        track.second, track.primary = track.primary, len(self._keys) - 1

    def _reuse_key(self, work: Image, index: int) -> bool:
        """Go back to an earlier key picture of this stretch that shows nearly this view."""
        track = self._track
        steps = {
            k: self._view_step(key, track.pose)
            for k, key in enumerate(self._keys)
            if self._key_stretch[k] == self._stretch and k != track.primary
        }
        best = min(steps, key=lambda k: steps[k], default=-1)
        if best < 0 or steps[best] > 0.6 * _KEY_STEP:
            return False
        kept = track.primary, track.second
        track.primary, track.second = best, track.primary
        self._keys[best].wake()
        found = self._register(work, index, track.pose, self._from_frame_to_frame(0.1), share=0.3)
        if found is None or (found.good & (found.tries.key == 0)).sum() < _FEWEST:
            track.primary, track.second = kept
            return False
        return True

    def _view_step(self, key: KeyPicture, pose: Pose) -> float:
        """How far the middle of a key picture's view has moved, as a share of the picture's width."""
        ahead = pose.turn @ key.pose.turn[2]
        if ahead[2] <= 0.1:
            return np.inf
        return float(np.hypot(*(self._focal * ahead[:2] / ahead[2]))) / self._work_size[0]

    # --- a camera that was lost

    def _lose(self, work: Image, index: int) -> Followed:
        track, key = self._track, self._keys[self._track.primary]
        track.lost, track.next_try = True, 0.0
        track.lost_since = track.clear_since = self._times[-1]
        if self._clearness(work) < _BLURRED:
            track.loss = "blurred"
        elif len(make_key(work, index, 0, self._floor_row, ORIGIN).patches) < 0.4 * len(key.patches):
            track.loss = "bare"
        else:
            track.loss = "cut"
        return self._recover(work, index)

    def _clearness(self, work: Image) -> float:
        """Sharpness of a picture against the key picture in use, in the direction that has lost most."""
        if self._track.primary < 0:
            return 1.0
        return float((measure_sharpness(work) / self._keys[self._track.primary].sharpness).min())

    def _recover(self, work: Image, index: int) -> Followed:
        """Find the scene again by its key pictures, or begin a new stretch in another scene."""
        track, t = self._track, self._times[-1]
        lost = Followed(stretch=-1, loss=track.loss)
        if t < track.next_try:
            return lost
        track.next_try = t + _pause(t - track.lost_since)
        keys = sorted(range(len(self._keys)), key=lambda k: (k != track.primary, -k))
        again = self._find_again(work, index, keys[:4])
        if again is not None:
            return again
        if self._clearness(work) < _CLEAR:
            track.clear_since = t
        settled = t - track.clear_since > _CLEAR_FOR or t - track.lost_since > _PATIENCE
        if settled and self._start_stretch(work, index):
            track.restart(ORIGIN, t)
            return Followed(stretch=self._stretch)
        return lost

    def _find_again(self, work: Image, index: int, keys: list[int]) -> Followed | None:
        """Take up the first of some key pictures whose floor is seen in this frame."""
        track = self._track
        for k in keys:
            key = self._keys[k]
            for shift in find_shifts(key.picture, work, top_row=self._floor_row):
                kept = track.primary, track.second, self._stretch
                track.primary, track.second, self._stretch = k, -1, self._key_stretch[k]
                key.wake()
                guess = _shifted(key.pose, shift, self._focal)
                found = self._leap(work, index, key.picture, key.pose, guess)
                if found is not None:
                    track.restart(found.pose, self._times[-1])
                    return self._accept(found, index)
                track.primary, track.second, self._stretch = kept
        return None

    def _join_earlier(self, work: Image, index: int) -> Followed | None:
        """In a stretch just begun, see whether it is not an earlier one after all."""
        first = next(k for k, one in enumerate(self._key_stretch) if one == self._stretch)
        since = index - self._keys[first].frame
        if self._stretch == 0 or since > _JOIN_WITHIN or since % _JOIN_EVERY:
            return None
        return self._find_again(work, index, list(range(first - 1, max(first - 4, -1), -1)))

    def _start_stretch(self, work: Image, index: int) -> bool:
        key = make_key(work, index, self._next_landmark(), self._floor_row, ORIGIN)
        if len(key.patches) < 2 * _FEWEST or len(self._keys) >= _MOST_KEYS:
            return False
        self._stretch += 1
        self._keep_key(key)
        self._track.primary, self._track.second = len(self._keys) - 1, -1
        return True

    def _keep_key(self, key: KeyPicture) -> None:
        self._keys.append(key)
        self._key_stretch.append(self._stretch)

    def _next_landmark(self) -> int:
        return self._keys[-1].first_landmark + len(self._keys[-1].patches) if self._keys else 0


@dataclass(slots=True)
class _Track:
    """Where the following stands: the key pictures in use, the pose and how it turns."""

    primary: int = -1
    second: int = -1
    pose: Pose = ORIGIN
    turning: Array = field(default_factory=lambda: np.zeros(3))
    t: float = 0.0
    lost: bool = False
    loss: Loss = "cut"
    lost_since: float = 0.0
    clear_since: float = 0.0
    next_try: float = 0.0

    def stand(self, pose: Pose, t: float) -> None:
        self.pose, self.turning, self.t = pose, np.zeros(3), t

    def restart(self, pose: Pose, t: float) -> None:
        self.lost = False
        self.stand(pose, t)

    def predict(self, t: float) -> Pose:
        """The pose expected now: turning on as before."""
        ahead = turn_by(self.turning * (t - self.t))
        return Pose(turn=ahead @ self.pose.turn, place=self.pose.place, log_zoom=self.pose.log_zoom)

    def advance(self, pose: Pose, t: float) -> None:
        step = pose.turn @ self.pose.turn.T
        fresh = vectors_of(step[None])[0] / max(t - self.t, 1e-6)
        known = bool(self.turning.any())
        self.turning = 0.75 * fresh + 0.25 * self.turning if known else fresh
        self.pose, self.t = pose, t


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """Points looked for in a frame, those that agree, and the pose they agree on."""

    tries: Tries
    good: NDArray[np.bool_]
    pose: Pose


def _pause(lost_for: float) -> float:
    """How long to wait (s) before a scene lost for so long (s) is looked for again; at first in every frame."""
    return 0.0 if lost_for < 0.15 else 0.15 if lost_for < 1.0 else 0.5


def _shifted(pose: Pose, shift_px: Array, focal_px: float) -> Pose:
    """A pose turned so that the picture shifts by so much."""
    turned = turn_by(np.array([-shift_px[1], shift_px[0], 0.0]) / focal_px)
    return Pose(turn=turned @ pose.turn, place=pose.place, log_zoom=pose.log_zoom)
