"""The scene followed from picture to picture once the camera moves, by the points of key pictures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..imaging.flow import chase_points, find_common_shift, measure_sharpness
from ..imaging.overlap import find_shifts
from ..numeric.poses import FittedPose, Pose, PoseBelief, fit_pose, project_points
from ..numeric.turns import turn_by, vectors_of
from .clip import Image
from .followed import ORIGIN, Followed, Loss
from .keys import KeyPicture, Lens, Tries, join_targets, look_for, make_key, take_targets

Array = NDArray[np.float64]

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


class SceneTracer:
    """Follows the scene through pictures of one size that are fed to it once, in order.

    Parameters
    ----------
    size_px : (int, int)
        Width and height of the pictures.
    floor_row : int
        Row from which down they show floor.
    focal_px : float
        The usual focal length.
    """

    def __init__(self, size_px: tuple[int, int], floor_row: int, focal_px: float) -> None:
        self._size, self._floor_row = size_px, floor_row
        self.keys: list[KeyPicture] = []
        self.key_stretch: list[int] = []
        self.focal_px = focal_px
        self.away_px = 0.0
        self._focal_known = focal_px, _FOCAL_ERROR[0]
        self._stretch = -1
        self._track = _Track()

    def begin(self, picture: Image, t: float) -> bool:
        """Take the first picture; False where it shows too little to hold on to."""
        self._track.stand(ORIGIN, t)
        if self._start_stretch(picture, 0):
            return True
        self._track.lose("bare", t)
        return False

    def stand(self, t: float) -> None:
        """Take the first picture as seen again, exactly."""
        track = self._track
        track.primary, track.second, self._stretch = 0, -1, 0
        track.restart(ORIGIN, t)

    def follow(self, picture: Image, load_before: Callable[[], Image], index: int, t: float) -> Followed:
        """Follow the scene into the next picture; ``load_before`` gives the one before it, where that is needed."""
        track = self._track
        if track.lost:
            return self._recover(picture, index, t)
        joined = self._join_earlier(picture, index, t)
        if joined is not None:
            return joined
        ahead = track.predict(t)
        found = self._register(picture, index, ahead, self._from_frame_to_frame(t - track.t))
        if found is None:
            found = self._leap(picture, index, load_before(), track.pose, ahead)
        if found is None:
            return self._lose(picture, index, t)
        track.advance(found.pose, t)
        followed = self._accept(found)
        self._change_key(
            picture, index, narrow=self._columns_of(found.tries, found.good) < _FEWEST_COLUMNS + 2
        )
        return followed

    def _active(self, index: int) -> list[KeyPicture]:
        """The key pictures looked at in a frame: the one before the last only now and then once the last is proven."""
        primary = self.keys[self._track.primary]
        if self._track.second < 0 or (index % _SECOND_EVERY and primary.proven().sum() >= 2 * _FEWEST):
            return [primary]
        return [primary, self.keys[self._track.second]]

    @property
    def _lens(self) -> Lens:
        width, height = self._size
        return Lens(focal_px=self.focal_px, middle=np.array([(width - 1) / 2, (height - 1) / 2]))

    def _from_frame_to_frame(self, elapsed: float) -> PoseBelief:
        # A view that has hardly turned says nothing of the focal length, but would take it for an excuse.
        close = self._view_step(self.keys[self._track.primary], self._track.pose) < _FOCAL_STEP
        return PoseBelief(
            turn=0.03,
            roll=0.006,
            place=_SWAY_SPEED * elapsed,
            log_zoom=_ZOOM_SPEED * elapsed,
            focal_px=self.focal_px if close else self._focal_known[0],
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
        self, picture: Image, index: int, guess: Pose, belief: PoseBelief, *, share: float = 0.4
    ) -> _Found | None:
        """Find the active key pictures' points and the pose they agree on; None where they do not support one."""
        keys = self._active(index)
        tries = look_for(picture, keys, guess, self._lens, index)
        similar = tries.similar
        if similar.sum() < _FEWEST:
            return None
        trust = self._trust(tries, similar)[similar]
        found = tries.sightings.xy_px[similar]
        # Where most of them went, so that neither a poor guess nor the animal decides what is fitted to.
        common = find_common_shift(found - tries.guess_px[similar], trust, reach_px=2.5)
        fitted = fit_pose(
            _shifted(guess, common, self.focal_px),
            self.focal_px,
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
        return _Found(keys=keys, tries=tries, good=good, pose=fitted.pose)

    def _learn_focal(self, fitted: FittedPose, good: int) -> None:
        if good < 2 * _FEWEST or fitted.log_focal_error < 2 * _FIXED:
            return
        self.focal_px = float(np.clip(fitted.focal_px / max(self._size), 0.4, 3.0)) * max(self._size)
        # Neighbouring frames see the same points with the same errors: they do not add up.
        error = max(4.0 * fitted.log_focal_error, _FOCAL_ERROR[1])
        if error < self._focal_known[1]:
            self._focal_known = self.focal_px, error

    def _trust(self, tries: Tries, similar: NDArray[np.bool_]) -> Array:
        """How much each point counts: one that never fitted may sit on the animal, the less so the lower it lies."""
        if (tries.proven & similar).sum() >= _FEWEST:
            return np.where(tries.proven, 1.0, 0.1)
        return np.where(tries.proven, 1.0, np.where(tries.on_floor, 0.5, 0.2))

    def _supported(self, tries: Tries, good: NDArray[np.bool_], share: float) -> bool:
        """Whether the agreeing points are the scene and not the animal: many, spread wide, and on the floor too."""
        width = self._size[0]
        expected = np.maximum(tries.proven.sum(), 1)
        if good.sum() < _FEWEST or (tries.proven & good).sum() < share * expected * (expected >= _FEWEST):
            return False
        if not tries.proven.any() and good.sum() < share * len(good):
            return False
        if (tries.proven & tries.similar & ~good).sum() > (tries.proven & good).sum():
            return False
        xy = tries.sightings.xy_px
        low = good & (xy[:, 1] >= self._floor_row - 0.03 * width)
        return bool(
            low.sum() >= _FEWEST_ON_FLOOR
            and self._columns_of(tries, good) >= _FEWEST_COLUMNS
            and self._columns_of(tries, low) >= _FEWEST_LOW_COLUMNS
        )

    def _columns_of(self, tries: Tries, which: NDArray[np.bool_]) -> int:
        """In how many columns of the picture these points lie."""
        return len(np.unique((tries.sightings.xy_px[which, 0] * _COLUMNS / self._size[0]).astype(int)))

    def _leap(self, picture: Image, index: int, before: Image, from_pose: Pose, guess: Pose) -> _Found | None:
        """Follow the active key pictures' points coarsely from a picture of known pose, then look for them as usual."""
        lens = self._lens
        targets, spots, votes = [], [], []
        for key in self._active(index):
            every = key.targets(lens)
            xy = project_points(from_pose, lens.focal_px, every) + lens.middle
            awake = ((xy > 4) & (xy < np.array(self._size) - 4)).all(axis=1) & key.awake(index)
            targets.append(take_targets(every, awake))
            spots.append(xy[awake])
            votes.append(np.where(key.on_floor[awake], 2.0, 1.0) * np.where(key.proven()[awake], 3.0, 1.0))
        source, vote, points = np.concatenate(spots), np.concatenate(votes), join_targets(targets)
        expected = project_points(guess, lens.focal_px, points) + lens.middle
        target, seen = chase_points(before, picture, source, expected)
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
        return self._register(picture, index, fitted.pose, self._from_frame_to_frame(0.1), share=0.25)

    def _accept(self, found: _Found) -> Followed:
        tries, good = found.tries, found.good
        landmark = np.empty(len(good), np.int32)
        for k, key in enumerate(found.keys):
            own = tries.key == k
            key.note(tries.number[own], good[own])
            landmark[own] = key.first_landmark + tries.number[own]
        first = good & (tries.key == 0)
        if first.any():
            away = tries.sightings.xy_px[first] - found.keys[0].patches.xy_px[tries.number[first]]
            self.away_px = float(np.median(np.abs(away).max(axis=1)))
        return Followed(
            stretch=self._stretch,
            pose=found.pose,
            landmark=landmark[good],
            xy_px=tries.sightings.xy_px[good].astype(np.float32),
        )

    def _change_key(self, picture: Image, index: int, *, narrow: bool) -> None:
        """Take another key picture where the view has moved on, or the points of the last have grown few or narrow."""
        track = self._track
        primary = self.keys[track.primary]
        moved = self._view_step(primary, track.pose)
        few = np.count_nonzero((primary.misses == 0) & primary.on_floor) < 10
        fading = (few and index - primary.frame > 12) or (narrow and index - primary.frame > 6)
        if track.second >= 0 and self._view_step(self.keys[track.second], track.pose) > 4 * _KEY_STEP:
            track.second = -1
        if (moved < _KEY_STEP and not fading) or len(self.keys) >= _MOST_KEYS:
            return
        if not fading and self._reuse_key(picture, index):
            return
        key = make_key(picture, index, self._next_landmark(), self._floor_row, track.pose)
        self._keep_key(key)
        track.second, track.primary = track.primary, len(self.keys) - 1

    def _reuse_key(self, picture: Image, index: int) -> bool:
        """Go back to an earlier key picture of this stretch that shows nearly this view."""
        track = self._track
        steps = {
            k: self._view_step(key, track.pose)
            for k, key in enumerate(self.keys)
            if self.key_stretch[k] == self._stretch and k != track.primary
        }
        best = min(steps, key=lambda k: steps[k], default=-1)
        if best < 0 or steps[best] > 0.6 * _KEY_STEP:
            return False
        kept = track.primary, track.second
        track.primary, track.second = best, track.primary
        self.keys[best].wake()
        found = self._register(picture, index, track.pose, self._from_frame_to_frame(0.1), share=0.3)
        if found is None or (found.good & (found.tries.key == 0)).sum() < _FEWEST:
            track.primary, track.second = kept
            return False
        return True

    def _view_step(self, key: KeyPicture, pose: Pose) -> float:
        """How far the middle of a key picture's view has moved, as a share of the picture's width."""
        ahead = pose.turn @ key.pose.turn[2]
        if ahead[2] <= 0.1:
            return np.inf
        focal = self.focal_px * float(np.exp(pose.log_zoom))
        return focal * float(np.hypot(*ahead[:2])) / float(ahead[2]) / self._size[0]

    def _lose(self, picture: Image, index: int, t: float) -> Followed:
        key = self.keys[self._track.primary]
        loss: Loss = "cut"
        if self._clearness(picture) < _BLURRED:
            loss = "blurred"
        elif len(make_key(picture, index, 0, self._floor_row, ORIGIN).patches) < 0.4 * len(key.patches):
            loss = "bare"
        self._track.lose(loss, t)
        return self._recover(picture, index, t)

    def _clearness(self, picture: Image) -> float:
        """Sharpness of a picture against the key picture in use, in the direction that has lost most."""
        if self._track.primary < 0:
            return 1.0
        return float((measure_sharpness(picture) / self.keys[self._track.primary].sharpness).min())

    def _recover(self, picture: Image, index: int, t: float) -> Followed:
        """Find the scene again by its key pictures, or begin a new stretch in another scene."""
        track = self._track
        lost = Followed(stretch=-1, loss=track.loss)
        if t < track.next_try:
            return lost
        track.next_try = t + _pause(t - track.lost_since)
        keys = sorted(range(len(self.keys)), key=lambda k: (k != track.primary, -k))
        again = self._find_again(picture, index, t, keys[:4])
        if again is not None:
            return again
        if self._clearness(picture) < _CLEAR:
            track.clear_since = t
        settled = t - track.clear_since > _CLEAR_FOR or t - track.lost_since > _PATIENCE
        if settled and self._start_stretch(picture, index):
            track.restart(ORIGIN, t)
            return Followed(stretch=self._stretch)
        return lost

    def _find_again(self, picture: Image, index: int, t: float, keys: Sequence[int]) -> Followed | None:
        """Take up the first of some key pictures whose floor is seen in this frame."""
        track = self._track
        for k in keys:
            key = self.keys[k]
            for shift in find_shifts(key.picture, picture, top_row=self._floor_row):
                kept = track.primary, track.second, self._stretch
                track.primary, track.second, self._stretch = k, -1, self.key_stretch[k]
                key.wake()
                guess = _shifted(key.pose, shift, self.focal_px)
                found = self._leap(picture, index, key.picture, key.pose, guess)
                if found is not None:
                    track.restart(found.pose, t)
                    return self._accept(found)
                track.primary, track.second, self._stretch = kept
        return None

    def _join_earlier(self, picture: Image, index: int, t: float) -> Followed | None:
        """In a stretch just begun, see whether it is not an earlier one after all."""
        first = next(k for k, one in enumerate(self.key_stretch) if one == self._stretch)
        since = index - self.keys[first].frame
        if self._stretch == 0 or since > _JOIN_WITHIN or since % _JOIN_EVERY:
            return None
        return self._find_again(picture, index, t, range(first - 1, max(first - 4, -1), -1))

    def _start_stretch(self, picture: Image, index: int) -> bool:
        key = make_key(picture, index, self._next_landmark(), self._floor_row, ORIGIN)
        if len(key.patches) < 2 * _FEWEST or len(self.keys) >= _MOST_KEYS:
            return False
        self._stretch += 1
        self._keep_key(key)
        self._track.primary, self._track.second = len(self.keys) - 1, -1
        return True

    def _keep_key(self, key: KeyPicture) -> None:
        self.keys.append(key)
        self.key_stretch.append(self._stretch)

    def _next_landmark(self) -> int:
        return self.keys[-1].first_landmark + len(self.keys[-1].patches) if self.keys else 0


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

    def lose(self, loss: Loss, t: float) -> None:
        self.lost, self.loss, self.next_try = True, loss, 0.0
        self.lost_since = self.clear_since = t

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
    """Key pictures whose points were looked for in a frame, those that agree, and the pose they agree on."""

    keys: list[KeyPicture]
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
