"""The camera followed against the floor and what stands behind it, frame by frame."""

from __future__ import annotations

from functools import partial

import numpy as np

from ..imaging.flow import Patches, cut_patches, read_shift, shrink
from .camera import CameraMotion
from .clip import Frame, Image
from .followed import Followed, Record
from .settling import FOCAL_SHARE, settle_motion
from .tracing import SceneTracer

# The picture is worked on at about this width (px).
_WORK_WIDTH = 1100
# Part of the picture that shows floor where nothing is known of the feet: below this share of its height.
_FLOOR_SHARE = 0.72
# A picture is the first one still while its points stay within this (px of the full picture, at 1920 px width).
_STILL_PX = 0.3
# So many of the watched points must be as alike as this to tell; and it has surely moved at so many times the above.
_FEWEST_STILL, _WATCH_ALIKE = 8, 0.7
_SURELY_MOVED = 3.0


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
        floor_row = int(np.clip(floor_top, 0.3 * height, 0.85 * height) / self._reduced)
        self._scene = SceneTracer(self._work_size, floor_row, FOCAL_SHARE * max(self._work_size))
        self._still_limit = _STILL_PX * max(size_px) / 1920
        self._times: list[float] = []
        self._frames: list[Followed] = []
        self._watch: Patches | None = None
        self._moved = False
        self._last: Image | None = None

    @property
    def moved(self) -> bool:
        """Whether the camera has moved so far."""
        return self._moved

    def add(self, frame: Frame) -> None:
        """Follow the camera into the next frame."""
        self._times.append(frame.t)
        self._frames.append(self._begin(frame) if self._last is None else self._follow(frame, self._last))
        self._last = frame.luma

    def finish(self) -> CameraMotion:
        """The motion of the whole clip, after the last frame."""
        return settle_motion(self.record())

    def record(self) -> Record:
        """What has been seen so far."""
        return Record(
            times=np.array(self._times),
            frames=self._frames,
            keys=self._scene.keys,
            key_stretch=self._scene.key_stretch,
            moved=self._moved,
            focal_px=self._scene.focal_px,
            reduced=self._reduced,
            size_px=self._size,
            feet_row_px=self._feet_row,
        )

    def _begin(self, frame: Frame) -> Followed:
        if self._scene.begin(shrink(frame.luma, self._work_size), frame.t):
            self._watch = self._cut_watch(frame.luma)
            return Followed(stretch=0, still_px=0.0)
        self._moved = True
        return Followed(stretch=-1, loss="bare")

    def _follow(self, frame: Frame, before: Image) -> Followed:
        shift = np.inf if self._moved or self._watch is None else _read_motion(frame.luma, self._watch)
        if shift < self._still_limit:
            self._scene.stand(frame.t)
            return Followed(stretch=0, still_px=shift)
        picture = shrink(frame.luma, self._work_size)
        load_before = partial(shrink, before, self._work_size)
        followed = self._scene.follow(picture, load_before, len(self._frames), frame.t)
        away = self._scene.away_px * self._reduced
        self._moved |= followed.stretch >= 0 and away > _SURELY_MOVED * self._still_limit
        return followed

    def _cut_watch(self, luma: Image) -> Patches:
        """The strongest points, spread over the picture, cut from it at full size."""
        patches = self._scene.keys[0].patches
        cell = (patches.xy_px // (self._work_size[0] / 8)).astype(int)
        order = np.argsort(np.trace(patches.cov_px2, axis1=1, axis2=2), kind="stable")
        _, first = np.unique(cell[order] @ [100, 1], return_index=True)
        scale = np.array(self._size) / self._work_size
        return cut_patches(luma, np.round((patches.xy_px[order[first]] + 0.5) * scale - 0.5))


def _read_motion(luma: Image, watch: Patches) -> float:
    """How far the picture seems to have moved from the first one (px); infinite where it cannot be told."""
    shift, similarity = read_shift(luma, watch)
    alike = similarity > _WATCH_ALIKE
    if alike.sum() < max(_FEWEST_STILL, 0.3 * len(shift)):
        return np.inf
    middle = np.median(shift[alike], axis=0)
    about = np.median(np.abs(shift[alike]).max(axis=1))
    return float(max(np.abs(middle).max(), 0.7 * about))
