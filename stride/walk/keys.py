"""Key pictures: frames whose strong points are looked for in the frames about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..imaging.flow import (
    REACH_PX,
    Patches,
    Sightings,
    cut_patches,
    find_strong_points,
    gather_patches,
    locate_patches,
    measure_sharpness,
)
from ..numeric.poses import Pose, Targets, project_points
from .clip import Image

Array = NDArray[np.float64]

#: Points that cannot be found to this (px) are left out: the codec drags them along.
WORST_PX = 0.6
#: Down, to a floor seen by a level camera, in its axes.
LEVEL = np.array([0.0, 1.0, 0.0])
# Cells across the picture in which points are chosen, and points in each on the floor and above it.
_CELLS = 16
_PER_CELL = (3, 1)
# Points looked for in each frame, of the key picture in use and of the one before it: on the floor and above it.
_MOST = ((40, 14), (28, 8))
# Correlation, and share of the slopes' energy left in any direction, from which a place shows the point looked for.
_ALIKE, _SHARP = 0.6, 0.3
# A point missed so often in a row is only tried now and then; one that never fitted is given up.
_PATIENCE = 4
_RETRY = 5
_PROVEN = 3
# A point found farther than this from where it was expected is another one (px).
_GONE_PX = 6.0
# Inverse depth of what stands behind the floor (1 / distance to the floor), and how wrong it may be there and on it.
_BEHIND = 0.12
_BEHIND_ERROR, _FLOOR_ERROR = 0.10, 0.03


@dataclass(slots=True)
class KeyPicture:
    """One key picture and how its points have fared.

    Parameters
    ----------
    frame : int
    first_landmark : int
        Number of its first point among the points of all key pictures.
    patches : Patches
    on_floor : (N,) bool array
        In the floor's part of the picture.
    picture : (H, W) uint8 array
        Itself, by which it is found again after the camera was lost.
    sharpness : (2,) float array
        Of the picture, across and down; see :func:`~stride.imaging.flow.measure_sharpness`.
    pose : Pose
        As far as followed.
    """

    frame: int
    first_landmark: int
    patches: Patches
    on_floor: NDArray[np.bool_]
    picture: Image
    sharpness: Array
    pose: Pose
    hits: NDArray[np.int_] = field(init=False)
    misses: NDArray[np.int_] = field(init=False)

    def __post_init__(self) -> None:
        self.hits = np.zeros(len(self.patches), dtype=int)
        self.misses = np.zeros(len(self.patches), dtype=int)

    def proven(self) -> NDArray[np.bool_]:
        """Which points have moved with the scene so far."""
        return np.asarray(self.hits >= _PROVEN)

    def awake(self, frame: int) -> NDArray[np.bool_]:
        """Which points are worth looking for in this frame."""
        number = np.arange(len(self.patches))
        tried_again = (number + frame) % _RETRY == 0
        hopeless = ~self.proven() & (self.misses >= 3 * _PATIENCE)
        return np.asarray(~hopeless & ((self.misses < _PATIENCE) | tried_again))

    def wake(self) -> None:
        """Look for all proven points again."""
        self.misses[self.proven()] = 0

    def note(self, tried: NDArray[np.intp], good: NDArray[np.bool_]) -> None:
        """Remember which of the tried points fitted."""
        self.hits[tried[good]] += 1
        self.misses[tried[good]] = 0
        self.misses[tried[~good]] += 1

    def targets(self, lens: Lens) -> Targets:
        """Its points in the scene: on a level floor, or at one depth behind it."""
        focal = lens.focal_px * float(np.exp(self.pose.log_zoom))
        ray = np.column_stack([(self.patches.xy_px - lens.middle) / focal, np.ones(len(self.patches))])
        direction = ray @ self.pose.turn
        floor = np.maximum(direction @ LEVEL / (1.0 - float(LEVEL @ self.pose.place)), _BEHIND)
        nearness = np.where(self.on_floor, floor, _BEHIND)
        return Targets(
            origin=direction + nearness[:, None] * self.pose.place,
            nearness=nearness,
            by_focal=-(ray * [1.0, 1.0, 0.0]) @ self.pose.turn,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """Focal length (px) and middle of the picture (px) as they are believed at present."""

    focal_px: float
    middle: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Tries:
    """Points of some key pictures looked for in one frame.

    ``key`` (M,) counts the key pictures given, ``number`` (M,) the point in it; ``guess_px`` (M, 2) is where it was
    expected and ``sightings`` where it was found; ``cov_px2`` (M, 2, 2) how well such a point is found and placed;
    ``proven`` (M,) whether it has fitted before; ``on_floor`` (M,) whether it lies in the floor's part of its key
    picture; ``targets`` are the points in the scene.
    """

    key: NDArray[np.intp]
    number: NDArray[np.intp]
    guess_px: Array
    sightings: Sightings
    cov_px2: Array
    proven: NDArray[np.bool_]
    on_floor: NDArray[np.bool_]
    targets: Targets

    @property
    def similar(self) -> NDArray[np.bool_]:
        """Those whose picture is the same."""
        gone = np.abs(self.sightings.xy_px - self.guess_px).max(axis=1, initial=0.0) > _GONE_PX
        alike = (self.sightings.similarity > _ALIKE) & (self.sightings.sharpness > _SHARP)
        return np.asarray(alike & ~gone)


def make_key(work: Image, frame: int, first_landmark: int, floor_row: int, pose: Pose) -> KeyPicture:
    """Choose and cut the points of a key picture, more of them on the floor than above."""
    cell = max(8, work.shape[1] // _CELLS)
    above, _ = find_strong_points(work[:floor_row], cell_px=cell, per_cell=_PER_CELL[1], worst_px=WORST_PX)
    below, _ = find_strong_points(work[floor_row:], cell_px=cell, per_cell=_PER_CELL[0], worst_px=WORST_PX)
    xy = np.concatenate([above, below + [0.0, floor_row]])
    return KeyPicture(
        frame=frame,
        first_landmark=first_landmark,
        patches=cut_patches(work, xy),
        on_floor=xy[:, 1] >= floor_row,
        picture=work,
        sharpness=measure_sharpness(work),
        pose=pose,
    )


def look_for(work: Image, keys: Sequence[KeyPicture], pose: Pose, lens: Lens, frame: int) -> Tries:
    """Look for the points of key pictures where a guessed pose puts them."""
    height, width = work.shape
    low, high = REACH_PX + 2, np.array([width, height]) - (REACH_PX + 2)
    chosen, targets, spots, shapes, covs = [], [], [], [], []
    for key, most in zip(keys, _MOST, strict=False):
        all_targets = key.targets(lens)
        spot = project_points(pose, lens.focal_px, all_targets) + lens.middle
        inside = (spot >= low).all(axis=1) & (spot < high).all(axis=1)
        number = _first_few(np.flatnonzero(inside & key.awake(frame)), key.on_floor, most)
        own = Targets(
            origin=all_targets.origin[number],
            nearness=all_targets.nearness[number],
            by_focal=all_targets.by_focal[number],
        )
        chosen.append(number)
        targets.append(own)
        spots.append(spot[number])
        shapes.append(_patch_shapes(key, pose, lens, own, key.on_floor[number]))
        sway = lens.focal_px * float(np.linalg.norm(pose.place - key.pose.place))
        doubt = np.where(key.on_floor[number], _FLOOR_ERROR, _BEHIND_ERROR) * sway
        covs.append(key.patches.cov_px2[number] + doubt[:, None, None] ** 2 * np.eye(2))
    guess_px = np.concatenate(spots)
    sightings = locate_patches(
        work,
        gather_patches([key.patches for key in keys], chosen),
        guess_px,
        np.concatenate(shapes),
    )
    return Tries(
        key=np.repeat(np.arange(len(keys)), [len(number) for number in chosen]),
        number=np.concatenate(chosen),
        guess_px=guess_px,
        sightings=sightings,
        cov_px2=np.concatenate(covs),
        proven=np.concatenate([key.proven()[number] for key, number in zip(keys, chosen, strict=True)]),
        on_floor=np.concatenate([key.on_floor[number] for key, number in zip(keys, chosen, strict=True)]),
        targets=join_targets(targets),
    )


def join_targets(parts: Sequence[Targets]) -> Targets:
    """Several sets of points in one."""
    return Targets(
        origin=np.concatenate([part.origin for part in parts]),
        nearness=np.concatenate([part.nearness for part in parts]),
        by_focal=np.concatenate([part.by_focal for part in parts]),
    )


def take_targets(targets: Targets, which: NDArray[np.bool_]) -> Targets:
    """Some of the points."""
    return Targets(
        origin=targets.origin[which], nearness=targets.nearness[which], by_focal=targets.by_focal[which]
    )


def _first_few(
    number: NDArray[np.intp], on_floor: NDArray[np.bool_], most: tuple[int, int]
) -> NDArray[np.intp]:
    floor = on_floor[number]
    return np.concatenate([number[floor][: most[0]], number[~floor][: most[1]]])


def _patch_shapes(
    key: KeyPicture, pose: Pose, lens: Lens, targets: Targets, on_floor: NDArray[np.bool_]
) -> Array:
    """How a small offset in the key picture appears from a pose, (M, 2, 2)."""
    seen = (targets.origin - targets.nearness[:, None] * pose.place) @ pose.turn.T
    zoom = float(np.exp(pose.log_zoom - key.pose.log_zoom))
    base = key.pose.place - pose.place
    slope = np.where(on_floor[:, None], LEVEL / (1.0 - float(LEVEL @ key.pose.place)), 0.0)
    by_anchor = pose.turn @ (np.eye(3) + base[:, None] * slope[:, None, :]) @ key.pose.turn.T[:, :2]
    depth = np.maximum(seen[:, 2], 1e-3)[:, None, None]
    flat = (seen[:, :2] / np.maximum(seen[:, 2:], 1e-3))[:, :, None]
    return np.asarray(zoom * (by_anchor[:, :2] - flat * by_anchor[:, 2:]) / depth)
