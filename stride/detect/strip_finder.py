"""The finder that reads the ground strip: hooves known by their standing still."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..imaging.standing import HOOF_SHARE, Floor, Standing, estimate_floor, find_standing, raise_threshold
from ..imaging.strip import STEP, Band, BandRecorder, GroundStrip
from ..numeric.homography import apply_homography
from ..walk.camera import CameraMotion
from ..walk.clip import Frame
from ..walk.direction import side_towards_camera
from ..walk.limbs import LIMBS, Limb, Side, limb_at
from ..walk.marks import Direction, HoofMark, Marks
from .bars import find_bars, find_levels, find_slope
from .belief import believe_stances, believe_walk
from .finder import Finding, FoundStance
from .gait import FEET, STRIDE_IN_HOOVES, TROT, WALK, Pattern
from .landings import measure_stir
from .occupancy import Occupancy
from .refine import LEAST_FIT, LEAST_SEEN, FittedGait, agree, fit_gait
from .refusals import (
    check_alone,
    check_length,
    check_motion,
    check_strides,
    is_walk,
    mean_fit,
    refuse_no_walk,
)
from .search import guess_gaits
from .toes import Toe, find_toes

Array = NDArray[np.float64]

_HEADINGS: Final = {None: (1, -1), "left_to_right": (1,), "right_to_left": (-1,)}
_MOST_GUESSES = 6
# The strip is also read with only what stands out this much more: a floor may show through its own detail.
_THRESHOLDS = (2.0, 4.0)
# Part of the strip about a found stance that a second animal cannot have, in hoof lengths and stride times.
_TAKEN_AHEAD, _TAKEN_BEHIND, _TAKEN_TIME = 0.8, 2.2, 0.15
# Below the first a walk is refused; below the second a stance is not reported; below the third it is called unsure.
_LEAST_BELIEF, _LEAST_CONFIDENCE, _UNSURE = 0.7, 0.5, 0.8
# Depths of the two sides closer than this cannot surely be told apart (hoof lengths).
_SIDES_APART = 0.25
_LEAST_KNOWN = 0.4
# A second animal is looked for where so much of the strip is left unexplained, in bars at least so large.
_LEFT_OVER, _FOOT_AREA = 0.35, 30
# Depth about the feet within which the strip is shown (hoof lengths).
_SHOWN_ABOUT = 0.6
# A walk so clear needs no second reading of the strip: mean fit, oddity, stances.
_CLEAR_FIT, _CLEAR_ODDITY, _CLEAR_STANCES = 0.80, 8.0, 10


class StripFinder:
    """Finds hooves in the ground strip.

    Parameters
    ----------
    size_px : (int, int)
        Width and height of the picture.
    """

    def __init__(self, size_px: tuple[int, int]) -> None:
        self._recorder = BandRecorder(size_px)
        self._size = size_px

    def add(self, frame: Frame) -> None:
        """Take one frame into account: of fifteen a second, a small copy of the floor is kept."""
        self._recorder.add(frame.index, frame.t, frame.luma)

    def finish(self, camera: CameraMotion, marks: Marks | None = None) -> Finding:
        """Find the walk, after the last frame.

        Parameters
        ----------
        camera : CameraMotion
        marks : Marks, optional
            A direction of walk that was marked is kept to.

        Raises
        ------
        RefusedError
            Where no walk can be measured: no animal, one that stands or trots, two animals, less than a stride.
        """
        headings = _HEADINGS[marks.direction if marks else None]
        band = self._recorder.finish(camera.to_first, camera.held)
        check_length(float(band.t[-1]), float(camera.held.mean()))
        floor = estimate_floor(band)
        check_motion(floor.travel)
        first = Scene(band, floor, find_standing(band, floor))
        scene, fitted, belief = _find_walk(first, headings)
        if fitted is None or not is_walk(fitted) or belief < _LEAST_BELIEF:
            hasty = first.with_hold(1)
            raise refuse_no_walk(hasty.fit(TROT, headings), hasty.fit(WALK, headings))
        toes = find_toes(scene.standing, scene.occupancy, fitted)
        stir = measure_stir(scene.standing, scene.occupancy, toes, fitted.gait.heading)
        chances = believe_stances(toes, stir)
        sure = [(toe, float(one)) for toe, one in zip(toes, chances, strict=True) if one >= _LEAST_CONFIDENCE]
        check_strides([toe for toe, _ in sure])
        rest = scene.without(fitted)
        if rest.strength > _LEFT_OVER * scene.strength:
            check_alone(fitted, rest.fit(WALK, (1, -1)))
        return _report(scene, fitted, belief, sure, camera, self._size)


def _find_walk(first: Scene, headings: Sequence[int]) -> tuple[Scene, FittedGait | None, float]:
    """The best walk over several thresholds, the scene it was found in, and how far it can be believed."""
    fitted = first.fit(WALK, headings)
    if fitted is not None and _is_clear(fitted):
        return first, fitted, believe_walk(fitted, agreement=1.0)
    walks = [] if fitted is None else [(first, fitted)]
    for factor in _THRESHOLDS:
        scene = first.with_threshold(factor)
        other = scene.fit(WALK, headings)
        if other is not None:
            walks.append((scene, other))
    if not walks:
        return first, None, 0.0
    scene, best = max(walks, key=lambda one: one[1].score)
    agreement = max((agree(best, other) for _, other in walks if other is not best), default=0.0)
    return scene, best, believe_walk(best, agreement)


def _is_clear(fitted: FittedGait) -> bool:
    seen = sum(one.fit > LEAST_FIT and one.seen > LEAST_SEEN for one in fitted.footfalls)
    return mean_fit(fitted) >= _CLEAR_FIT and fitted.odd <= _CLEAR_ODDITY and seen >= _CLEAR_STANCES


class Scene:
    """A band with what stands in it, ready to be searched for a walk.

    Parameters
    ----------
    band : Band
    floor : Floor
    standing : Standing
    slope : float, optional
        Of the line of walk (rows per column); found when absent.
    """

    def __init__(self, band: Band, floor: Floor, standing: Standing, slope: float | None = None) -> None:
        self.band, self.floor, self.standing = band, floor, standing
        self._bars = find_bars(standing, HOOF_SHARE * band.view_width)
        middle = (band.width - 1) / 2
        if slope is None:
            slope = find_slope(self._bars, middle) if self._bars else 0.0
        seen = (band.pixels[:, ::4] > 0).mean(axis=1) > 0.7
        levels = find_levels(self._bars, slope, middle)
        self.occupancy = Occupancy(standing, seen, slope, band.view_width, levels)

    @property
    def strength(self) -> float:
        """Area of the bars that could be feet (band px × pictures)."""
        return float(sum(bar.area for bar in self._bars if bar.upright > 0.3 and bar.area >= _FOOT_AREA))

    def fit(self, pattern: Pattern, headings: Sequence[int]) -> FittedGait | None:
        """The walk that explains the strip best."""
        if not self._bars:
            return None
        guesses = guess_gaits(self._bars, self.occupancy, pattern, headings, _MOST_GUESSES)
        fits = [fit for _, gait in guesses if (fit := fit_gait(self.occupancy, gait)) is not None]
        return max(fits, key=lambda one: one.score, default=None)

    def with_hold(self, hold: int) -> Scene:
        """The same for feet that need to stand for ``hold`` pictures only."""
        return Scene(self.band, self.floor, find_standing(self.band, self.floor, hold))

    def with_threshold(self, factor: float) -> Scene:
        """The same with only what stands out from the floor ``factor`` times as much."""
        return Scene(self.band, self.floor, raise_threshold(self.standing, factor))

    def without(self, fitted: FittedGait) -> Scene:
        """The same without the part of the strip that a walk has taken."""
        lowest = self.standing.lowest.copy()
        heading = fitted.gait.heading
        for one in fitted.footfalls:
            hoof, spare = one.stride_px / STRIDE_IN_HOOVES, _TAKEN_TIME * one.stride_time
            first, last = int((one.start - spare) / STEP), int((one.end + spare) / STEP)
            ends = sorted((one.toe + heading * _TAKEN_AHEAD * hoof, one.toe - heading * _TAKEN_BEHIND * hoof))
            lowest[max(0, first) : max(0, last + 1), max(0, int(ends[0])) : max(0, int(ends[1]) + 1)] = -1
        return Scene(self.band, self.floor, replace(self.standing, lowest=lowest), self.occupancy.slope)


def _report(
    scene: Scene,
    fitted: FittedGait,
    belief: float,
    sure: Sequence[tuple[Toe, float]],
    camera: CameraMotion,
    size_px: tuple[int, int],
) -> Finding:
    direction: Direction = "left_to_right" if fitted.gait.heading > 0 else "right_to_left"
    near = side_towards_camera(direction)
    stances = []
    for toe, chance in sure:
        stance = _place(scene.band, toe, chance, near, camera)
        x, y = stance.mark.xy_px
        if 0 <= x <= size_px[0] - 1 and 0 <= y <= size_px[1] - 1:
            stances.append(stance)
    stances.sort(key=lambda one: one.frames)
    return Finding(
        stances=tuple(stances),
        direction=direction,
        near_side=near,
        confidence=belief,
        notes=_advise(scene, fitted, stances),
        strip=_show_strip(scene, fitted),
    )


def _place(band: Band, toe: Toe, chance: float, near: Side, camera: CameraMotion) -> FoundStance:
    """A toe of the band in the pixels of its frame and of the held picture."""
    frame = int(band.frames[toe.picture])
    held = apply_homography(band.to_held, toe.xy[None])
    own = apply_homography(np.linalg.inv(camera.to_first[frame]), held)[0]
    last = len(band.frames) - 1
    ends = [int(np.clip(round(t / STEP), 0, last)) for t in (toe.footfall.start, toe.footfall.end)]
    return FoundStance(
        mark=HoofMark(limb=_name(toe.footfall.foot, near), frame=frame, xy_px=(float(own[0]), float(own[1]))),
        xy_px=held[0],
        frames=(int(band.frames[ends[0]]), int(band.frames[ends[1]])),
        confidence=chance,
    )


def _name(foot: int, near: Side) -> Limb:
    far: Side = "left" if near == "right" else "right"
    return limb_at(near if FEET[foot].startswith("near") else far, "fore" if foot < 2 else "hind")


def _advise(scene: Scene, fitted: FittedGait, stances: Sequence[FoundStance]) -> tuple[str, ...]:
    """What a mark would improve."""
    notes = []
    few = [limb for limb in LIMBS if sum(one.mark.limb == limb for one in stances) < 2]
    if few:
        named = ", ".join(limb.replace("_", " ") for limb in few)
        notes.append(f"Fewer than two stances were found of: {named}. Marks there would complete the walk.")
    unsure = sum(one.confidence < _UNSURE for one in stances)
    if unsure:
        notes.append(
            f"{unsure} of {len(stances)} stances were found unsurely; marks on them would settle it."
        )
    depth = fitted.gait.level[:2, 0]
    if depth[0] - depth[1] < _SIDES_APART * fitted.gait.hoof_px:
        notes.append(
            "The near and the far side stand at nearly one depth in the picture; a mark on one near hoof would make "
            "sure that the sides are not mixed up."
        )
    if scene.floor.known.mean() < _LEAST_KNOWN:
        notes.append("Much of the floor was never seen empty; marks would make the toe tips surer.")
    return tuple(notes)


def _show_strip(scene: Scene, fitted: FittedGait) -> GroundStrip:
    """What stood at about the depth of the feet."""
    band, occupancy, lowest = scene.band, scene.occupancy, scene.standing.lowest
    columns = np.arange(band.width, dtype=float)
    slant = occupancy.slope * (columns - occupancy.middle)
    level = np.where(lowest >= 0, lowest - slant, np.nan)
    feet = fitted.gait.level[:, 0]
    spare = _SHOWN_ABOUT * fitted.gait.hoof_px
    shown = (level > feet.min() - spare) & (level < feet.max() + spare)
    middle = float(feet.mean())
    line = apply_homography(band.to_held, np.column_stack([columns, middle + slant]))
    return GroundStrip(
        t=band.t, line_px=line, nearness=np.where(shown, (level - middle) * band.reduction, np.nan)
    )
