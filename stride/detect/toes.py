"""The toe tip of each found stance, from what all stances of one foot show together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..imaging.standing import Standing
from ..imaging.strip import STEP
from .gait import FEET, STRIDE_IN_HOOVES
from .occupancy import Occupancy
from .refine import LEAST_FIT, LEAST_SEEN, FittedGait, Footfall

Array = NDArray[np.float64]
Look = NDArray[np.float32]

# Part of a stance in which the toe lies still and the heel is down.
_CORE = (0.20, 0.75)
# Window about the expected toe tip, in hoof lengths: behind it, ahead, above, below.
_BEHIND, _AHEAD, _ABOVE, _BELOW = 2.0, 1.0, 1.8, 0.7
# Where ahead of the toe nothing but floor and shadow can be, in hoof lengths.
_CLEAR = (0.4, 1.0)
# A difference of this many thresholds is surely no floor.
_SURE = 3.0
# How far stances are shifted to lie on one another, and how far that is likely (hoof lengths, along and down).
_REACH, _LIKELY = 0.8, (0.5, 0.3)
_SHIFT_COST = 0.15
_ROUNDS = 4
# How far below its expected row the sole is looked for, what share of the hoof's silhouette is still sole, and how high
# above it the toe tip may be (hoof lengths).
_SOLE_BELOW, _SOLE_LEVEL, _TOE_HEIGHT = 0.65, 0.35, 0.5
# The tip lies where the silhouette falls to this share of what it is behind: above one half, since a silhouette that
# counts every difference reaches into the blur about a hoof.
_TIP_LEVEL = 0.65
# Floor that must be in view ahead of a toe tip, in hoof lengths.
_ROOM_AHEAD = 0.6
# A stance too weak in the strip is taken if it looks like the others of its foot.
LEAST_LIKENESS = 0.55


@dataclass(frozen=True, slots=True, kw_only=True)
class Toe:
    """The toe tip of one stance.

    Parameters
    ----------
    footfall : Footfall
    xy : (2,) float array
        In the band (px).
    picture : int
        Of the band, in which it is least hidden near the middle of the stance.
    likeness : float
        Correlation of its silhouette with the other stances of the foot; 1 for the same, NaN-free, 0 where there is
        no other.
    alone : bool
        True where the foot has no other stance to be held against.
    """

    footfall: Footfall
    xy: Array
    picture: int
    likeness: float
    alone: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """One stance cut out: its silhouette, 1 where it is surely no floor, and the window's first column and row."""

    footfall: Footfall
    look: Look
    corner: tuple[int, int]
    picture: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Window:
    """Size of the window about a toe tip, and where the tip is expected in it (px)."""

    hoof: float
    heading: int

    @property
    def toe(self) -> tuple[int, int]:
        back = _BEHIND if self.heading > 0 else _AHEAD
        return round(back * self.hoof), round(_ABOVE * self.hoof)

    @property
    def shape(self) -> tuple[int, int]:
        return round((_ABOVE + _BELOW) * self.hoof) + 1, round((_BEHIND + _AHEAD) * self.hoof) + 1

    def columns(self, behind: float, ahead: float) -> slice:
        """Columns between two distances from the expected toe tip (hoof lengths)."""
        ends = sorted(self.toe[0] + self.heading * round(d * self.hoof) for d in (-behind, ahead))
        return slice(max(0, ends[0]), max(0, ends[1] + 1))


def find_toes(standing: Standing, occupancy: Occupancy, fitted: FittedGait) -> list[Toe]:
    """Toe tips of the stances that are really there.

    The silhouettes of all stances of a foot are laid on one another, which averages out what each floor hides; the tip
    is then read once for the foot, where the mean silhouette ends ahead, and carried back to each stance.

    Parameters
    ----------
    standing : Standing
    occupancy : Occupancy
    fitted : FittedGait

    Returns
    -------
    list of Toe
        By foot, then by time.
    """
    strides = [one.stride_px for one in fitted.footfalls]
    window = _Window(hoof=max(4.0, float(np.median(strides)) / STRIDE_IN_HOOVES), heading=fitted.gait.heading)
    groups = []
    for foot in range(len(FEET)):
        own = [one for one in fitted.footfalls if one.foot == foot and one.seen > LEAST_SEEN]
        cuts = [cut for one in own if (cut := _cut(standing, occupancy, one, window)) is not None]
        strong = [cut for cut in cuts if cut.footfall.fit > LEAST_FIT]
        if strong:
            shifts, mean = _lay_together([cut.look for cut in strong], window)
            weak = [cut for cut in cuts if cut.footfall.fit <= LEAST_FIT]
            groups.append(_Group(strong=strong, weak=weak, shifts=shifts, mean=mean))
    tips = _read_tips([group.mean for group in groups], window)
    toes = [toe for group, tip in zip(groups, tips, strict=True) for toe in _place(group, tip, window)]
    # A hoof at the edge of the picture may end beyond it.
    room = fitted.gait.heading * _ROOM_AHEAD * window.hoof
    return [toe for toe in toes if occupancy.in_view(toe.picture, float(toe.xy[0]) + room)]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Group:
    """The stances of one foot, with the shift (x, y) of each strong one against their mean silhouette."""

    strong: list[_Cut]
    weak: list[_Cut]
    shifts: Array
    mean: Look


def _place(group: _Group, tip: Array, window: _Window) -> list[Toe]:
    """The toe tip of a foot carried back to its stances; of the weak ones, to those that look like the others."""
    count = len(group.strong)
    found = []
    for cut, shift in zip(group.strong, group.shifts, strict=True):
        likeness = 0.0
        if count > 1:
            laid = _shifted(cut.look, -shift)
            likeness = _likeness(laid, (group.mean * count - laid) / np.float32(count - 1))
        found.append(_toe(cut, tip + shift, likeness, alone=count == 1))
    for cut in group.weak if count > 1 else ():
        shift = _find_shift(cut.look, group.mean, window)
        likeness = _likeness(_shifted(cut.look, -shift), group.mean)
        if likeness > LEAST_LIKENESS:
            found.append(_toe(cut, tip + shift, likeness, alone=False))
    return sorted(found, key=lambda one: one.footfall.start)


def _read_tips(means: Sequence[Look], window: _Window) -> list[Array]:
    """The toe tip of each foot's mean silhouette.

    All four hooves of an animal look much alike, so what one shows unclearly the others tell: each tip is the mean of
    its own reading and those of the other feet, laid on it, by how well they lie.
    """
    own = [_read_tip(mean, window) for mean in means]
    tips = []
    for i, mean in enumerate(means):
        total, weights = own[i].copy(), 1.0
        for j, other in enumerate(means):
            if j != i:
                shift = _find_shift(mean, other, window)
                weight = max(0.0, _likeness(_shifted(mean, -shift), other)) ** 2
                total += weight * (own[j] + shift)
                weights += weight
        tips.append(total / weights)
    return tips


def _toe(cut: _Cut, place: Array, likeness: float, *, alone: bool) -> Toe:
    return Toe(
        footfall=cut.footfall,
        xy=np.array(cut.corner, dtype=float) + place,
        picture=cut.picture,
        likeness=likeness,
        alone=alone,
    )


def _cut(standing: Standing, occupancy: Occupancy, footfall: Footfall, window: _Window) -> _Cut | None:
    """Silhouette of one stance: the median difference from the floor over its core; None where it is not in view."""
    count, height, width = standing.difference.shape
    long = footfall.end - footfall.start
    first = max(0, int(np.ceil((footfall.start + _CORE[0] * long) / STEP)))
    last = min(count - 1, int((footfall.start + _CORE[1] * long) / STEP))
    row = footfall.level + occupancy.slope * (footfall.toe - occupancy.middle)
    left, top = round(footfall.toe) - window.toe[0], round(row) - window.toe[1]
    rows, columns = window.shape
    inside = (slice(max(0, top), min(height, top + rows)), slice(max(0, left), min(width, left + columns)))
    if last - first < 2 or not 0 <= row < height or not 0 <= footfall.toe < width:
        return None
    part = standing.difference[first : last + 1, inside[0], inside[1]]
    median = np.median(part, axis=0)
    pad = (
        (inside[0].start - top, top + rows - inside[0].stop),
        (inside[1].start - left, left + columns - inside[1].stop),
    )
    look = np.pad(np.clip(np.abs(median) / (_SURE * standing.threshold), 0.0, 1.0), pad).astype(np.float32)
    # A shadow that goes on ahead of the toe is taken out of the whole row.
    look -= look[:, window.columns(-_CLEAR[0], _CLEAR[1])].mean(axis=1, keepdims=True)
    apart = np.abs(part - median).mean(axis=(1, 2))
    middle = 0.5 * (first + last)
    hidden = apart > 1.5 * np.median(apart) + 1.0
    order = np.abs(np.arange(first, last + 1) - middle) + np.where(hidden, 100.0, 0.0)
    return _Cut(
        footfall=footfall,
        look=np.maximum(look, 0.0),
        corner=(left, top),
        picture=first + int(order.argmin()),
    )


def _lay_together(looks: Sequence[Look], window: _Window) -> tuple[Array, Look]:
    """Shift (x, y) of each silhouette against the mean of all, and that mean."""
    shifts = np.zeros((len(looks), 2))
    for _ in range(_ROUNDS if len(looks) > 1 else 0):
        laid = np.stack([_shifted(look, -shift) for look, shift in zip(looks, shifts, strict=True)])
        total = laid.sum(axis=0)
        for i, look in enumerate(looks):
            shifts[i] = _find_shift(look, (total - laid[i]) / np.float32(len(looks) - 1), window)
        shifts -= np.median(shifts, axis=0)
    laid = np.stack([_shifted(look, -shift) for look, shift in zip(looks, shifts, strict=True)])
    return shifts, np.asarray(laid.mean(axis=0), dtype=np.float32)


def _find_shift(look: Look, template: Look, window: _Window) -> Array:
    """Shift (x, y) at which a silhouette lies best on a template, to a fraction of a pixel."""
    reach = round(_REACH * window.hoof)
    padded = cv2.copyMakeBorder(look, reach, reach, reach, reach, cv2.BORDER_CONSTANT, value=0.0)
    match = cv2.matchTemplate(padded, template, cv2.TM_CCORR)
    away = np.arange(-reach, reach + 1) / window.hoof
    unlikely = (away[None, :] / _LIKELY[0]) ** 2 + (away[:, None] / _LIKELY[1]) ** 2
    score = np.asarray(match / max(1e-6, float((template**2).sum())) - _SHIFT_COST * unlikely, dtype=float)
    row, column = np.unravel_index(int(score.argmax()), score.shape)
    return np.array([_peak(score[row], int(column)), _peak(score[:, column], int(row))]) - reach


def _peak(values: Array, k: int) -> float:
    """Place of a maximum at index k, by a parabola through its neighbours."""
    if not 0 < k < len(values) - 1:
        return float(k)
    bend = values[k - 1] - 2 * values[k] + values[k + 1]
    return float(k + 0.5 * (values[k - 1] - values[k + 1]) / bend) if bend < 0 else float(k)


def _shifted(look: Look, shift: Array) -> Look:
    matrix = np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]]])
    return np.asarray(
        cv2.warpAffine(look, matrix, look.shape[::-1], flags=cv2.INTER_LINEAR), dtype=np.float32
    )


def _likeness(a: Look, b: Look) -> float:
    a, b = a - a.mean(), b - b.mean()
    size = float(np.sqrt((a**2).sum() * (b**2).sum()))
    return float((a * b).sum()) / size if size > 0 else 0.0


def _read_tip(mean: Look, window: _Window) -> Array:
    """Column and row of the toe tip in the mean silhouette: where it ends ahead, near the sole."""
    column, row = window.toe
    hoof = window.hoof
    look = np.asarray(cv2.blur(mean, (1, 3)), dtype=np.float32)
    if window.heading < 0:
        look, column = look[:, ::-1], mean.shape[1] - 1 - column
    sole = _find_sole(look, column, row, hoof)
    top = max(0, sole - round(_TOE_HEIGHT * hoof))
    zone = look[top : sole + 1]
    profile = zone.max(axis=0)
    begin = max(0, column - round(0.9 * hoof))
    solid = float(np.percentile(profile[max(0, column - round(hoof)) : column + 1], 80))
    level = _TIP_LEVEL * solid
    filled = profile[begin:] >= level
    start = int(filled.argmax()) if filled.any() else 0
    gone = np.flatnonzero(~filled[start:])
    last = begin + start + (int(gone[0]) - 1 if len(gone) else len(filled) - start - 1)
    tip = float(last)
    if last + 1 < len(profile) and profile[last] > profile[last + 1]:
        tip += float((profile[last] - level) / (profile[last] - profile[last + 1]))
    edge = int(np.clip(round(tip - 1), 0, zone.shape[1] - 1))
    weight = np.maximum(zone[:, max(0, edge - 1) : edge + 1].mean(axis=1) - 0.3 * solid, 0.0)
    middle = float(weight @ np.arange(len(weight)) / weight.sum()) if weight.sum() > 0 else len(weight) - 1.0
    return np.array([mean.shape[1] - 1 - tip if window.heading < 0 else tip, top + middle])


def _find_sole(look: Look, column: int, row: int, hoof: float) -> int:
    """Lowest row that the hoof behind the tip still fills; it may lie below the row in which the strip showed it."""
    behind = slice(max(0, column - round(0.8 * hoof)), max(1, column - round(0.1 * hoof) + 1))
    profile = look[:, behind].mean(axis=1)
    top = max(0, row - round(hoof))
    bottom = min(len(profile), row + round(_SOLE_BELOW * hoof) + 1)
    solid = float(np.percentile(profile[top : row + 1], 80))
    filled = np.flatnonzero(profile[top:bottom] >= _SOLE_LEVEL * solid)
    return top + int(filled[-1]) if len(filled) else row
