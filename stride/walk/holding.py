"""The camera followed against the floor and what stands behind it, frame by frame."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from ..imaging.flow import Patches, chase_points, cut_patches, read_shift
from ..imaging.overlap import Outlook, match_outlooks
from ..numeric.alignment import align_points, find_common_shift
from ..numeric.homography import apply_homography, differentiate_by_point
from ..numeric.turns import guess_focal, nearest_turns, turn_maps
from .camera import CameraMotion
from .clip import Frame, Image
from .keys import KeyPicture, Tries, look_for, make_key

Array = NDArray[np.float64]
Loss = Literal["bare", "blurred", "cut"]

# The picture is worked on at about this width (px).
_WORK_WIDTH = 1100
# Part of the picture that shows floor where nothing is known of the feet: below this share of its height.
_FLOOR_SHARE = 0.72
# A picture is the first one still while its points stay within this (px of the full picture, at 1920 px width).
_STILL_PX = 0.3
_FEWEST_STILL = 8
# A new key picture is taken when the view has moved by this share of the picture's width.
_KEY_STEP = 0.14
_FEWEST = 14
_FEWEST_ON_FLOOR = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """What was seen of the camera in one frame.

    Parameters
    ----------
    stretch : int
        Unbroken stretch of following it belongs to; −1 where the camera was not followed.
    key : int
        Number of the key picture that ``from_key`` starts from; −1 where not followed.
    from_key : (3, 3) float array
        From that key picture's pixels to this frame's (of the reduced picture).
    landmark : (K,) int32 array
        Points of key pictures seen in it.
    xy_px : (K, 2) float32 array
        Where (of the reduced picture).
    log_scale : float
        How much larger than in the first key picture of the stretch things appear, as a natural logarithm.
    loss : {"bare", "blurred", "cut"} or None
    """

    stretch: int
    key: int
    from_key: Array
    landmark: NDArray[np.int32]
    xy_px: NDArray[np.float32]
    log_scale: float = 0.0
    loss: Loss | None = None


_NO_POINTS = (np.empty(0, np.int32), np.empty((0, 2), np.float32))


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """All that the settling of the motion needs: what was seen in each frame, and the key pictures.

    ``still`` (N,) bool marks frames in which the picture had not moved from the first one, ``still_px`` (N,) by how
    much it seemed to (px of the full picture). ``moved`` tells whether the camera moved at all.
    """

    times: Array
    frames: list[Followed]
    keys: list[KeyPicture]
    key_stretch: list[int]
    still: NDArray[np.bool_]
    still_px: Array
    moved: bool
    reduced: int
    size_px: tuple[int, int]
    feet_row: float


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
        height = size_px[1]
        top, bottom = feet_rows_px or (0.80 * height, 0.88 * height)
        self._feet_row = 0.5 * (top + bottom)
        floor_top = _FLOOR_SHARE * height if feet_rows_px is None else top - 0.05 * height
        self._floor_row = int(np.clip(floor_top, 0.3 * height, 0.85 * height) / self._reduced)
        self._times: list[float] = []
        self._frames: list[Followed] = []
        self._still_px: list[float] = []
        self._watch: Patches | None = None
        self._moved = False
        self._keys: list[KeyPicture] = []
        self._key_stretch: list[int] = []
        self._stretch = -1
        self._track = _Track()
        self._last: Image | None = None
        self._focal = 0.85 * max(self._work_size)
        self._focal_maps: list[Array] = []

    def add(self, frame: Frame) -> None:
        """Follow the camera into the next frame."""
        self._times.append(frame.t)
        if not self._frames:
            self._begin(frame.luma)
            return
        shift = np.inf if self._moved or self._watch is None else self._watch_shift(frame.luma)
        if shift < self._still_limit:
            self._still_px.append(shift)
            self._frames.append(self._unmoved())
            self._track.stand(frame.t)
        else:
            self._still_px.append(np.inf)
            self._frames.append(self._follow(frame))
        self._last = frame.luma

    def finish(self) -> CameraMotion:
        """The motion of the whole clip, after the last frame."""
        from .settling import settle_motion

        return settle_motion(self.record())

    def record(self) -> Record:
        """What has been seen so far."""
        return Record(
            times=np.array(self._times),
            frames=self._frames,
            keys=self._keys,
            key_stretch=self._key_stretch,
            still=np.isfinite(self._still_px),
            still_px=np.array(self._still_px),
            moved=self._moved,
            reduced=self._reduced,
            size_px=self._size,
            feet_row=self._feet_row,
        )

    # --- a picture that stands still

    def _begin(self, luma: Image) -> None:
        work = self._reduce(luma)
        self._still_px.append(0.0)
        if not self._start_stretch(work, 0):
            self._frames.append(_not_followed("bare"))
            self._still_px[-1] = np.inf
            self._moved = True
        else:
            self._watch = self._cut_watch(luma)
            self._frames.append(self._unmoved())
        self._track.stand(self._times[-1])
        self._last = luma

    @property
    def _still_limit(self) -> float:
        return _STILL_PX * max(self._size) / 1920

    def _cut_watch(self, luma: Image) -> Patches:
        """The strongest points, spread over the picture, cut from it at full size."""
        patches = self._keys[0].patches
        width = self._size[0] / self._reduced
        cell = (patches.xy_px // (width / 8)).astype(int)
        order = np.argsort(np.trace(patches.spread, axis1=1, axis2=2), kind="stable")
        _, first = np.unique(cell[order] @ [100, 1], return_index=True)
        xy = self._to_full(patches.xy_px[order[first]])
        return cut_patches(luma, xy)

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

    def _unmoved(self) -> Followed:
        return Followed(
            stretch=0, key=0, from_key=np.eye(3), landmark=_NO_POINTS[0], xy_px=_NO_POINTS[1]
        )

    # --- a picture that moves

    def _follow(self, frame: Frame) -> Followed:
        work = self._reduce(frame.luma)
        index, track = len(self._frames), self._track
        if track.lost:
            return self._recover(work, index)
        primary = self._keys[track.primary]
        ahead = track.predict(frame.t)
        found = self._register(work, index, [ahead @ key.to_frame for key in self._active()])
        if found is None:
            found = self._chase(work, index, ahead)
        if found is None:
            return self._lose(work, index)
        step = found.maps[0] @ np.linalg.inv(primary.to_frame)
        track.advance(step, frame.t)
        followed = self._accept(found, index)
        self._change_key(work, index)
        return followed

    def _active(self) -> list[KeyPicture]:
        track = self._track
        return [self._keys[k] for k in (track.primary, track.second) if k >= 0]

    def _register(
        self, work: Image, index: int, guesses: list[Array], *, share: float = 0.4
    ) -> _Found | None:
        """Find the active key pictures' points and the maps they agree on; None where they do not support one."""
        keys = self._active()
        tries = look_for(work, keys, guesses, index)
        similar = tries.similar
        if similar.sum() < _FEWEST:
            return None
        cov = tries.cov_px2 / self._trust(tries, similar)[:, None, None] ** 2
        joint, weight = self._align(
            tries.guess_px[similar], tries.sightings.xy_px[similar], cov[similar], softness_px=(6.0, 2.5, 1.5)
        )
        good = np.zeros(len(similar), dtype=bool)
        good[similar] = weight > 0.25
        if not self._supported(tries, good, share):
            return None
        maps = [
            self._fit_key(keys[k], joint @ guess, tries, good & (tries.key == k) & tries.proven)
            for k, guess in enumerate(guesses)
        ]
        return _Found(tries=tries, good=good, maps=maps)

    def _align(
        self, source: Array, target: Array, cov: Array, *, softness_px: tuple[float, ...], loose_px: float = 0.0
    ) -> tuple[Array, Array]:
        """The motion of the picture; ``loose_px`` is how far from a turn it may be beyond sway and noise."""
        return align_points(
            source,
            target,
            cov,
            size_px=self._work_size,
            focal_px=self._focal,
            softness_px=softness_px,
            stretch_px=1.0 + 2.0 * loose_px,
            bend_px=0.3 + loose_px,
        )

    def _fit_key(self, key: KeyPicture, guess: Array, tries: Tries, own: NDArray[np.bool_]) -> Array:
        """A key picture's map to the frame from its own proven points: near a turn of the camera as a whole."""
        if own.sum() < 10:
            return _scaled(guess)
        turn = self._turn_only(guess)
        source = apply_homography(turn, key.patches.xy_px[tries.number[own]])
        step = self._view_step(guess) * self._work_size[0]
        fitted, _ = self._align(
            source,
            tries.sightings.xy_px[own],
            tries.cov_px2[own],
            softness_px=(2.5, 1.5),
            loose_px=(0.02 if self._focal_maps else 0.06) * step,
        )
        return _scaled(fitted @ turn)

    def _turn_only(self, guess: Array) -> Array:
        from_middle = self._from_middle
        centred = np.linalg.inv(from_middle) @ guess @ from_middle
        turned = turn_maps(nearest_turns(centred[None], self._focal), self._focal)[0]
        return np.asarray(from_middle @ turned @ np.linalg.inv(from_middle))

    @property
    def _from_middle(self) -> Array:
        width, height = self._work_size
        return np.array([[1.0, 0, (width - 1) / 2], [0, 1.0, (height - 1) / 2], [0, 0, 1.0]])

    def _trust(self, tries: Tries, similar: NDArray[np.bool_]) -> Array:
        """How much each point counts: one that never fitted may sit on the animal, the less so the lower it lies."""
        if (tries.proven & similar).sum() >= _FEWEST:
            return np.where(tries.proven, 1.0, 0.1)
        return np.where(tries.proven, 1.0, np.where(tries.on_floor, 0.5, 0.2))

    def _supported(self, tries: Tries, good: NDArray[np.bool_], share: float) -> bool:
        """Whether the agreeing points are the scene and not the animal: many, spread wide, and on the floor too."""
        width = self._size[0] / self._reduced
        expected = np.maximum(tries.proven.sum(), 1)
        if good.sum() < _FEWEST or (tries.proven & good).sum() < share * expected * (expected >= _FEWEST):
            return False
        if not tries.proven.any() and good.sum() < share * len(good):
            return False
        if (tries.proven & tries.similar & ~good).sum() > (tries.proven & good).sum():
            return False
        xy = tries.sightings.xy_px
        low = good & (xy[:, 1] >= self._floor_row - 0.03 * width)
        columns = np.unique((xy[good, 0] * 8 / width).astype(int))
        low_columns = np.unique((xy[low, 0] * 8 / width).astype(int))
        return bool(low.sum() >= _FEWEST_ON_FLOOR and len(low_columns) >= 3 and len(columns) >= 4)

    def _chase(self, work: Image, index: int, ahead: Array) -> _Found | None:
        """Bridge a jump the prediction missed: coarse flow from the frame before, then the key pictures again."""
        assert self._last is not None
        before = self._reduce(self._last)
        spots, votes = [], []
        for key in self._active():
            xy = apply_homography(key.to_frame, key.patches.xy_px)
            inside = ((xy > 4) & (xy < np.array([work.shape[1], work.shape[0]]) - 4)).all(axis=1)
            awake = inside & key.awake(index)
            spots.append(xy[awake])
            votes.append(np.where(key.on_floor[awake], 2.0, 1.0) * np.where(key.hits[awake] >= 3, 2.0, 1.0))
        source, vote = np.concatenate(spots), np.concatenate(votes)
        target, seen = chase_points(before, work, source, apply_homography(ahead, source))
        if seen.sum() < _FEWEST:
            return None
        source, target, vote = source[seen], target[seen], vote[seen]
        common = find_common_shift(target - source, vote, reach_px=4.0)
        start = np.array([[1.0, 0, common[0]], [0, 1.0, common[1]], [0, 0, 1.0]])
        motion, _ = self._align(
            source + common, target, np.eye(2) / vote[:, None, None], softness_px=(12.0, 8.0, 5.0, 3.0, 3.0), loose_px=2.0
        )
        motion = motion @ start
        guesses = [motion @ key.to_frame for key in self._active()]
        return self._register(work, index, guesses, share=0.25)

    def _accept(self, found: _Found, index: int) -> Followed:
        tries, good = found.tries, found.good
        landmark = np.empty(len(good), np.int32)
        for k, key in enumerate(self._active()):
            own = tries.key == k
            key.note(tries.number[own], good[own])
            key.to_frame = found.maps[k]
            landmark[own] = key.first_landmark + tries.number[own]
        primary = self._keys[self._track.primary]
        if not self._moved:
            corner = apply_homography(primary.to_frame, primary.patches.xy_px) - primary.patches.xy_px
            self._moved = bool(np.abs(corner).max() * self._reduced > 3 * self._still_limit)
        return Followed(
            stretch=self._stretch,
            key=self._track.primary,
            from_key=primary.to_frame,
            landmark=landmark[good],
            xy_px=tries.sightings.xy_px[good].astype(np.float32),
            log_scale=self._scale_of(primary),
        )

    def _scale_of(self, key: KeyPicture) -> float:
        return self._track.key_scale[self._track.primary] + _log_scale(key.to_frame, self._work_size)

    @property
    def _work_size(self) -> tuple[int, int]:
        return self._size[0] // self._reduced, self._size[1] // self._reduced

    def _change_key(self, work: Image, index: int) -> None:
        """Take another key picture where the view has moved on."""
        track = self._track
        primary = self._keys[track.primary]
        moved = self._view_step(primary.to_frame)
        fading = np.count_nonzero((primary.misses == 0) & primary.on_floor) < 10 and index - primary.frame > 12
        if track.second >= 0 and self._view_step(self._keys[track.second].to_frame) > 4 * _KEY_STEP:
            track.second = -1
        if moved < _KEY_STEP and not fading:
            return
        chain = primary.chain @ np.linalg.inv(primary.to_frame)
        if not fading and self._reuse_key(work, index, chain):
            return
        scale = self._scale_of(primary)
        self._learn_focal(primary)
        key = make_key(work, index, self._next_landmark(), self._floor_row, chain)
        self._keep_key(key, scale)
        track.second, track.primary = track.primary, len(self._keys) - 1

    def _learn_focal(self, key: KeyPicture) -> None:
        """Take the focal length from how the picture bent while the view moved away from a key picture."""
        if self._view_step(key.to_frame) > 0.7 * _KEY_STEP:
            from_middle = self._from_middle
            self._focal_maps.append(np.linalg.inv(from_middle) @ key.to_frame @ from_middle)
            self._focal = guess_focal(np.stack(self._focal_maps[-8:]), 0.85 * max(self._work_size))

    def _reuse_key(self, work: Image, index: int, chain: Array) -> bool:
        """Go back to an earlier key picture of this stretch that shows nearly this view."""
        track = self._track
        best, nearest = -1, 0.6 * _KEY_STEP
        for k, key in enumerate(self._keys):
            if self._key_stretch[k] != self._stretch or k == track.primary:
                continue
            to_frame = key.to_frame if k == track.second else np.linalg.inv(chain) @ key.chain
            step = self._view_step(to_frame)
            if step < nearest:
                best, nearest, guess = k, step, to_frame
        if best < 0:
            return False
        kept = track.primary, track.second
        track.primary, track.second = best, track.primary if best != track.second else track.primary
        self._keys[best].misses[self._keys[best].hits >= 3] = 0
        guesses = [_scaled(guess), self._keys[track.second].to_frame]
        found = self._register(work, index, guesses, share=0.3)
        if found is None or (found.good & (found.tries.key == 0)).sum() < _FEWEST:
            track.primary, track.second = kept
            return False
        for k, key in enumerate(self._active()):
            key.to_frame = found.maps[k]
        return True

    def _view_step(self, to_frame: Array) -> float:
        """How far the middle of the view has moved, as a share of the picture's width."""
        width, height = self._work_size
        middle = np.array([[(width - 1) / 2, (height - 1) / 2]])
        return float(np.hypot(*(apply_homography(to_frame, middle) - middle)[0])) / width

    # --- a camera that was lost

    def _lose(self, work: Image, index: int) -> Followed:
        followed = self._track.now_seen
        strong = make_key(work, index, 0, self._floor_row, np.eye(3))
        before = len(self._keys[self._track.primary].patches)
        self._track.lost = True
        self._track.lost_frames = 0
        if len(strong.patches) >= 0.5 * before:
            self._track.loss = "cut"
        else:
            self._track.loss = "blurred" if followed >= 0.4 * before else "bare"
        return self._recover(work, index)

    def _recover(self, work: Image, index: int) -> Followed:
        """Find the scene again by its key pictures, or begin a new stretch in another scene."""
        track = self._track
        outlook = Outlook.of(work)
        candidates = [k for k in range(len(self._keys)) if self._key_stretch[k] >= 0]
        for k in sorted(candidates, key=lambda k: (k != track.primary, -k))[:6]:
            guess = match_outlooks(self._keys[k].outlook, outlook)
            if guess is None:
                continue
            primary, second, stretch = track.primary, track.second, self._stretch
            track.primary, track.second, self._stretch = k, -1, self._key_stretch[k]
            self._keys[k].misses[self._keys[k].hits >= 3] = 0
            found = self._register(work, index, [guess], share=0.25)
            if found is not None:
                track.restart(self._times[-1])
                return self._accept(found, index)
            track.primary, track.second, self._stretch = primary, second, stretch
        track.lost_frames += 1
        if track.loss == "cut" and track.lost_frames >= 3 and self._start_stretch(work, index):
            track.restart(self._times[-1])
            return Followed(
                stretch=self._stretch,
                key=track.primary,
                from_key=np.eye(3),
                landmark=_NO_POINTS[0],
                xy_px=_NO_POINTS[1],
            )
        if track.lost_frames % 10 == 0 or track.loss != "cut":
            strong = make_key(work, index, 0, self._floor_row, np.eye(3))
            if len(strong.patches) >= 40 and strong.on_floor.sum() >= 10:
                track.loss, track.lost_frames = "cut", max(track.lost_frames, 3) if track.lost_frames > 5 else 0
        return _not_followed(track.loss)

    def _start_stretch(self, work: Image, index: int) -> bool:
        key = make_key(work, index, self._next_landmark(), self._floor_row, np.eye(3))
        if len(key.patches) < 2 * _FEWEST:
            return False
        self._stretch += 1
        self._keep_key(key, 0.0)
        self._track.primary, self._track.second = len(self._keys) - 1, -1
        return True

    def _keep_key(self, key: KeyPicture, scale: float) -> None:
        self._keys.append(key)
        self._key_stretch.append(self._stretch)
        self._track.key_scale[len(self._keys) - 1] = scale

    def _next_landmark(self) -> int:
        return self._keys[-1].first_landmark + len(self._keys[-1].patches) if self._keys else 0

    def _reduce(self, luma: Image) -> Image:
        if self._reduced == 1:
            return luma
        return np.asarray(cv2.resize(luma, self._work_size, interpolation=cv2.INTER_AREA))

    def _to_full(self, xy: Array) -> Array:
        scale = np.array(self._size) / self._work_size
        return np.round((xy + 0.5) * scale - 0.5)


@dataclass(slots=True)
class _Track:
    """Where the following stands: the key pictures in use and the motion from frame to frame."""

    primary: int = -1
    second: int = -1
    motion: Array = field(default_factory=lambda: np.eye(3))
    step: float = 0.0
    t: float = 0.0
    lost: bool = False
    loss: Loss = "cut"
    lost_frames: int = 0
    now_seen: int = 0
    key_scale: dict[int, float] = field(default_factory=dict)

    def stand(self, t: float) -> None:
        self.motion, self.step, self.t = np.eye(3), 0.0, t

    def restart(self, t: float) -> None:
        self.lost = False
        self.stand(t)

    def predict(self, t: float) -> Array:
        """The motion expected since the last frame: as between the last two, for as long as it took."""
        share = (t - self.t) / self.step if self.step > 0 else 0.0
        return _scaled(np.eye(3) + np.clip(share, 0.0, 3.0) * (self.motion - np.eye(3)))

    def advance(self, motion: Array, t: float) -> None:
        self.motion, self.step, self.t = _scaled(motion), t - self.t, t


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """Points found in a frame, those that agree, and the map of each active key picture to the frame."""

    tries: Tries
    good: NDArray[np.bool_]
    maps: list[Array]


def _not_followed(loss: Loss) -> Followed:
    return Followed(
        stretch=-1,
        key=-1,
        from_key=np.full((3, 3), np.nan),
        landmark=_NO_POINTS[0],
        xy_px=_NO_POINTS[1],
        loss=loss,
    )


def _scaled(matrix: Array) -> Array:
    return np.asarray(matrix / matrix[2, 2])


def _log_scale(to_frame: Array, size_px: tuple[int, int]) -> float:
    """How much larger a frame shows things than its key picture.

    Averaged over what both show: a turn enlarges one side as it shrinks the other, so only zoom or approach is left.
    """
    width, height = size_px
    x, y = np.meshgrid(np.linspace(0.05, 0.95, 7) * width, np.linspace(0.2, 0.9, 4) * height)
    here = np.column_stack([x.ravel(), y.ravel()])
    there = apply_homography(to_frame, here)
    both = ((there > 0) & (there < np.array([width, height]))).all(axis=1)
    if not both.any():
        return 0.0
    area = np.linalg.det(differentiate_by_point(to_frame, here[both]))
    return float(np.mean(0.5 * np.log(np.maximum(area, 1e-3))))
