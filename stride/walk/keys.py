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
)
from ..imaging.overlap import Outlook
from ..numeric.homography import apply_homography, differentiate_by_point
from .clip import Image

Array = NDArray[np.float64]

#: Points weaker than this are dragged along by the codec (grey levels per px).
WEAKEST = 14.0
# Standard error of the sharpest points (px), and noise in grey levels that would explain the errors of weak ones.
_SHARPEST = 0.12
_DRAG = 12.0
# Cells across the picture in which points are chosen, and points in each on the floor and above it.
_CELLS = 16
_PER_CELL = (3, 1)
# Points looked for in each frame, of the key picture in use and of the one before it: on the floor and above it.
_MOST = ((44, 16), (32, 10))
# A point missed so often in a row is only tried now and then; one that never fitted is given up.
_PATIENCE = 4
_RETRY = 5


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
    outlook : Outlook
        By which it is found again after the camera was lost.
    to_frame : (3, 3) float array
        From its pixels to the present frame's, as far as followed.
    chain : (3, 3) float array
        From its pixels to those of the first key picture of its stretch; good to a few pixels.
    """

    frame: int
    first_landmark: int
    patches: Patches
    on_floor: NDArray[np.bool_]
    outlook: Outlook
    to_frame: Array
    chain: Array
    hits: NDArray[np.int_] = field(init=False)
    misses: NDArray[np.int_] = field(init=False)

    def __post_init__(self) -> None:
        self.hits = np.zeros(len(self.patches), dtype=int)
        self.misses = np.zeros(len(self.patches), dtype=int)

    def awake(self, frame: int) -> NDArray[np.bool_]:
        """Which points are worth looking for in this frame."""
        number = np.arange(len(self.patches))
        tried_again = (number + frame) % _RETRY == 0
        hopeless = (self.hits < 3) & (self.misses >= 3 * _PATIENCE)
        return np.asarray(~hopeless & ((self.misses < _PATIENCE) | tried_again))

    def note(self, tried: NDArray[np.intp], good: NDArray[np.bool_]) -> None:
        """Remember which of the tried points fitted."""
        self.hits[tried[good]] += 1
        self.misses[tried[good]] = 0
        self.misses[tried[~good]] += 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Tries:
    """Points of some key pictures looked for in one frame.

    ``key`` (M,) counts the key pictures given, ``number`` (M,) the point in it; ``guess_px`` (M, 2) where it was
    expected, ``sightings`` where it was found, ``cov_px2`` (M, 2, 2) how well such a point is found, ``proven`` (M,)
    whether it has fitted before, ``on_floor`` (M,) whether it lies in the floor's part of its key picture.
    """

    key: NDArray[np.intp]
    number: NDArray[np.intp]
    guess_px: Array
    sightings: Sightings
    cov_px2: Array
    proven: NDArray[np.bool_]
    on_floor: NDArray[np.bool_]

    @property
    def similar(self) -> NDArray[np.bool_]:
        """Those whose picture is the same."""
        gone = np.abs(self.sightings.xy_px - self.guess_px).max(axis=1, initial=0.0) > 6.0
        return np.asarray((self.sightings.similarity > 0.6) & ~gone)


def make_key(
    work: Image, frame: int, first_landmark: int, floor_row: int, chain: Array, weakest: float = WEAKEST
) -> KeyPicture:
    """Choose and cut the points of a key picture, more of them on the floor than above."""
    cell = max(8, work.shape[1] // _CELLS)
    above, _ = find_strong_points(work[:floor_row], cell_px=cell, per_cell=_PER_CELL[1], weakest=weakest)
    below, _ = find_strong_points(work[floor_row:], cell_px=cell, per_cell=_PER_CELL[0], weakest=weakest)
    xy = np.concatenate([above, below + [0.0, floor_row]])
    return KeyPicture(
        frame=frame,
        first_landmark=first_landmark,
        patches=cut_patches(work, xy),
        on_floor=xy[:, 1] >= floor_row,
        outlook=Outlook.of(work),
        to_frame=np.eye(3),
        chain=chain,
    )


def sighting_cov(spread: Array) -> Array:
    """Covariance (px²) with which points of a given spread are found in compressed video, (N, 2, 2).

    Measured on rendered clips: a floor that the sharpest reach, and drag by the codec that grows with weakness.
    """
    return np.asarray(_SHARPEST**2 * np.eye(2) + _DRAG**2 * spread)


def look_for(
    work: Image, keys: Sequence[KeyPicture], guesses: Sequence[Array], frame: int, *, iterations: int = 3
) -> Tries:
    """Look for the points of key pictures where guessed maps (key → frame) put them."""
    height, width = work.shape
    margin = REACH_PX + 2
    chosen, parts, spots, shapes = [], [], [], []
    for key, guess, most in zip(keys, guesses, _MOST, strict=False):
        spot = apply_homography(guess, key.patches.xy_px)
        inside = (spot >= margin).all(axis=1) & (spot < np.array([width, height]) - margin).all(axis=1)
        number = _first_few(np.flatnonzero(inside & key.awake(frame)), key.on_floor, most)
        chosen.append(number)
        parts.append(key.patches)
        spots.append(spot[number])
        shapes.append(differentiate_by_point(guess, key.patches.xy_px[number]))
    patches = gather_patches(parts, chosen)
    guess_px = np.concatenate(spots)
    sightings = locate_patches(work, patches, guess_px, np.concatenate(shapes), iterations=iterations)
    return Tries(
        key=np.repeat(np.arange(len(keys)), [len(number) for number in chosen]),
        number=np.concatenate(chosen),
        guess_px=guess_px,
        sightings=sightings,
        cov_px2=sighting_cov(patches.spread),
        proven=np.concatenate([key.hits[number] >= 3 for key, number in zip(keys, chosen, strict=True)]),
        on_floor=np.concatenate([key.on_floor[number] for key, number in zip(keys, chosen, strict=True)]),
    )


def _first_few(
    number: NDArray[np.intp], on_floor: NDArray[np.bool_], most: tuple[int, int]
) -> NDArray[np.intp]:
    floor = on_floor[number]
    return np.concatenate([number[floor][: most[0]], number[~floor][: most[1]]])
