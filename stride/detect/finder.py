"""Hooves found without a mark: what a finder gives, and the finder that reads the ground strip."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..imaging.standing import HOOF_SHARE, Floor, Standing, estimate_floor, find_standing
from ..imaging.strip import STEP, Band, BandRecorder
from ..numeric.homography import apply_homography
from ..walk.camera import CameraMotion
from ..walk.clip import Frame
from ..walk.direction import side_towards_camera
from ..walk.limbs import Limb, Side, limb_at
from ..walk.marks import Direction, HoofMark, Marks
from .bars import find_bars, find_slope
from .belief import believe_stances, believe_walk
from .gait import FEET, TROT, WALK, Pattern
from .landings import measure_landings
from .occupancy import Occupancy
from .refine import FittedGait, fit_gait
from .refusals import Evidence, check_walk
from .search import guess_gaits
from .toes import Toe, find_toes

Array = NDArray[np.float64]

_MOST_GUESSES = 6
# Part of the strip about a found stance that a second animal cannot have, in hoof lengths and stride times.
_TAKEN_AHEAD, _TAKEN_BEHIND, _TAKEN_TIME = 0.8, 2.2, 0.15
# Below this a stance is not reported.
_LEAST_CONFIDENCE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundStance:
    """One stance of one limb.

    Parameters
    ----------
    mark : HoofMark
        The toe tip in a frame near the middle of the stance, in that frame's own pixels.
    xy_px : (2,) float array
        The same in the held picture.
    frames : (int, int)
        First and last frame in which the hoof stands, to about a tenth of a second.
    confidence : float
        Probability that this limb really stood there, its toe tip within half a hoof.
    """

    mark: HoofMark
    xy_px: Array
    frames: tuple[int, int]
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundStrip:
    """The strip that the stances were found in, for showing.

    Parameters
    ----------
    t : (n,) float array
        Times (s).
    lowest_px : (n, w) float array
        Lowest standing row of each column, in rows of the held picture at that column; NaN where nothing stood.
    x_px : (w,) float array
        Columns of the strip in the held picture (px), at the depth of the line of walk.
    """

    t: Array
    lowest_px: Array
    x_px: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A walk found in a clip.

    Parameters
    ----------
    stances : tuple of FoundStance
        By time.
    direction : {"left_to_right", "right_to_left"}
    near_side : {"left", "right"}
        The animal's side towards the camera.
    confidence : float
        Probability that the walk as a whole is right: its limbs named correctly and followed in step.
    notes : tuple of str
        What a mark would improve, in whole sentences.
    strip : GroundStrip
    """

    stances: tuple[FoundStance, ...]
    direction: Direction
    near_side: Side
    confidence: float
    notes: tuple[str, ...]
    strip: GroundStrip

    @property
    def hooves(self) -> tuple[HoofMark, ...]:
        """The found toe tips, as marks."""
        return tuple(one.mark for one in self.stances)


class HoofFinder(Protocol):
    """Finds the hooves of a walking animal in a clip fed to it once, frame by frame."""

    def add(self, frame: Frame) -> None:
        """Take one frame into account."""
        ...

    def finish(self, camera: CameraMotion, marks: Marks) -> Finding:
        """What was found, after the last frame; refuses in words where nothing can be measured."""
        ...


class StripFinder:
    """Finds hooves in the ground strip, by their standing still.

    Parameters
    ----------
    size_px : (int, int)
        Width and height of the picture.
    """

    def __init__(self, size_px: tuple[int, int]) -> None:
        self._recorder = BandRecorder(size_px)
        self._size = size_px

    def add(self, frame: Frame) -> None:
        """Take one frame into account; of most frames a small copy of the floor is kept, of some nothing."""
        self._recorder.add(frame.index, frame.t, frame.luma)

    def finish(self, camera: CameraMotion, marks: Marks | None = None) -> Finding:
        """Find the walk after the last frame.

        Parameters
        ----------
        camera : CameraMotion
        marks : Marks, optional
            A marked direction of walk is kept to.

        Raises
        ------
        RefusedError
            Where no walk can be measured: no animal, one that stands or trots, two animals, less than a stride.
        """
        marks = marks or Marks()
        band = self._recorder.finish(camera.to_first, camera.held)
        headings = {None: (1, -1), "left_to_right": (1,), "right_to_left": (-1,)}[marks.direction]
        floor = estimate_floor(band)
        standing = find_standing(band, floor)
        scene = _Scene(band=band, floor=floor, standing=standing)
        fitted = scene.fit(WALK, headings)
        toes: list[Toe] = []
        belief = np.empty(0)
        if fitted is not None:
            toes = find_toes(standing, scene.occupancy, fitted)
            landed = measure_landings(standing, scene.occupancy, toes, fitted.gait.heading)
            belief = believe_stances(toes, landed, fitted)
        sure = [toe for toe, chance in zip(toes, belief, strict=True) if chance >= _LEAST_CONFIDENCE]
        check_walk(
            Evidence(
                moved=floor.moved,
                walk=fitted,
                toes=tuple(sure),
                trot=lambda: scene.look_again(hold=1).fit(TROT, headings),
                other=lambda: scene.without(fitted).fit(WALK, (1, -1)) if fitted else None,
            )
        )
        assert fitted is not None
        stances = [
            (toe, float(chance)) for toe, chance in zip(toes, belief, strict=True) if chance >= _LEAST_CONFIDENCE
        ]
        return _report(band, scene.occupancy, fitted, stances, camera, self._size)


class _Scene:
    """A band with what stands in it, ready to be searched for a walk."""

    def __init__(self, *, band: Band, floor: Floor, standing: Standing, slope: float | None = None) -> None:
        self._band, self._floor, self._standing = band, floor, standing
        hoof = HOOF_SHARE * band.view_width
        self._bars = find_bars(standing, hoof)
        if slope is None:
            slope = find_slope(self._bars, (band.width - 1) / 2) if self._bars else 0.0
        self._slope = slope
        seen = (band.pixels[:, ::4] > 0).mean(axis=1) > 0.7
        self.occupancy = Occupancy(standing, seen, slope, band.view_width)

    def fit(self, pattern: Pattern, headings: tuple[int, ...]) -> FittedGait | None:
        """The walk that explains the strip best."""
        if not self._bars:
            return None
        guesses = guess_gaits(self._bars, self.occupancy, pattern, headings, _MOST_GUESSES)
        fits = [fit for _, gait in guesses if (fit := fit_gait(self.occupancy, gait)) is not None]
        return max(fits, key=lambda one: one.score, default=None)

    def look_again(self, hold: int) -> _Scene:
        """The same for feet that stand more shortly."""
        return _Scene(band=self._band, floor=self._floor, standing=find_standing(self._band, self._floor, hold))

    def without(self, fitted: FittedGait) -> _Scene:
        """The same without what a walk explains."""
        lowest = self._standing.lowest.copy()
        for one in fitted.footfalls:
            hoof = one.stride_px / fitted.gait.stride_px * fitted.gait.hoof_px
            spare = _TAKEN_TIME * one.stride_time
            first, last = int((one.start - spare) / STEP), int((one.end + spare) / STEP)
            heading = fitted.gait.heading
            ends = sorted((one.toe + heading * _TAKEN_AHEAD * hoof, one.toe - heading * _TAKEN_BEHIND * hoof))
            lowest[max(0, first) : max(0, last + 1), max(0, int(ends[0])) : max(0, int(ends[1]) + 1)] = -1
        return _Scene(
            band=self._band, floor=self._floor, standing=replace(self._standing, lowest=lowest), slope=self._slope
        )


def _report(
    band: Band,
    occupancy: Occupancy,
    fitted: FittedGait,
    stances: list[tuple[Toe, float]],
    camera: CameraMotion,
    size_px: tuple[int, int],
) -> Finding:
    direction: Direction = "left_to_right" if fitted.gait.heading > 0 else "right_to_left"
    near = side_towards_camera(direction)
    found = [
        stance
        for toe, chance in stances
        if (stance := _stance(band, toe, chance, near, camera, size_px)) is not None
    ]
    found.sort(key=lambda one: one.frames)
    return Finding(
        stances=tuple(found),
        direction=direction,
        near_side=near,
        confidence=believe_walk(fitted, [chance for _, chance in stances]),
        notes=_notes(fitted, found),
        strip=_strip(band, occupancy),
    )


def _stance(
    band: Band, toe: Toe, chance: float, near: Side, camera: CameraMotion, size_px: tuple[int, int]
) -> FoundStance | None:
    frame = int(band.frames[toe.picture])
    held = apply_homography(band.to_held, toe.xy[None])[0]
    own = apply_homography(np.asarray(np.linalg.inv(camera.to_first[frame])), held[None])[0]
    if not (0 <= own[0] <= size_px[0] - 1 and 0 <= own[1] <= size_px[1] - 1):
        return None
    pictures = np.clip(
        np.rint(np.array([toe.footfall.start, toe.footfall.end]) / STEP).astype(int), 0, len(band.frames) - 1
    )
    return FoundStance(
        mark=HoofMark(
            limb=_limb(toe.footfall.foot, near), frame=frame, xy_px=(float(own[0]), float(own[1]))
        ),
        xy_px=held,
        frames=(int(band.frames[pictures[0]]), int(band.frames[pictures[1]])),
        confidence=chance,
    )


def _limb(foot: int, near: Side) -> Limb:
    far: Side = "left" if near == "right" else "right"
    return limb_at(near if FEET[foot].startswith("near") else far, "fore" if foot < 2 else "hind")


def _notes(fitted: FittedGait, found: list[FoundStance]) -> tuple[str, ...]:
    raise NotImplementedError


def _strip(band: Band, occupancy: Occupancy) -> GroundStrip:
    raise NotImplementedError
