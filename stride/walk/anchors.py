"""Hand-placed marks of one limb held against one another, so that each click's error is known and shared out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..imaging.locate import cut_patch, refine_patch, search_patch
from .clip import Image
from .following import HoofShape

Array = NDArray[np.float64]

# Standard error of finding the same toe tip in two stances by its picture, beyond what noise explains: the hoof is
# seen from a slightly other side and in another light. Measured on rendered walks.
_LOOK_ERROR_SHARE = 0.03
_LOOK_ERROR_PX = 0.35
_ENOUGH_ALIKE = 0.70
# A tip found in another stance must be found back from there, to within this (hoof lengths).
_SAME_BOTH_WAYS = 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchor:
    """A marked toe tip with the picture about it.

    ``mark_in_band`` (2,) is the place in the band of rows it was cut from; ``window`` is the (h, w) piece about it;
    ``mark`` (2,) is the place within the window.
    """

    frame: int
    mark_in_band: Array
    window: Image
    mark: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkErrors:
    """What is known of the click errors of one limb's marks.

    Parameters
    ----------
    offset_px : (A, 2) float array
        To be added to each mark: its click error, as far as the other marks tell it, taken out.
    own_px2 : (A,) float array
        Variance per axis of each corrected mark that is its own.
    limb_px2 : float
        Variance per axis shared by all marks of the limb.
    """

    offset_px: Array
    own_px2: Array
    limb_px2: float


def keep_anchor(luma: Image, frame: int, xy_px: tuple[float, float], shape: HoofShape) -> Anchor:
    """Copy the piece of the frame about a mark that later comparison needs."""
    reach = int(np.ceil(2.2 * shape.length_px)) + 8
    height, width = luma.shape
    left, top = max(0, int(xy_px[0]) - reach), max(0, int(xy_px[1]) - reach)
    right, bottom = min(width, int(xy_px[0]) + reach + 1), min(height, int(xy_px[1]) + reach + 1)
    return Anchor(
        frame=frame,
        mark_in_band=np.array(xy_px, dtype=float),
        window=luma[top:bottom, left:right].copy(),
        mark=np.array([xy_px[0] - left, xy_px[1] - top]),
    )


def compare_anchors(anchors: Sequence[Anchor], shape: HoofShape) -> Array:
    """Where each mark's toe tip is found in the other marks' pictures, against the marks there.

    Returns
    -------
    (A, A, 2) float array
        ``[i, j]`` is (place of anchor j's tip in anchor i's picture) − (mark i), in px; NaN where it was not found.
    """
    weight, point = shape.weight()
    shift = np.full((len(anchors), len(anchors), 2), np.nan)
    patches = [cut_patch(a.window, a.mark, angle=0.0, weight=weight, point=point) for a in anchors]
    reach = max(6, round(0.35 * shape.length_px))
    for i, anchor in enumerate(anchors):
        for j, patch in enumerate(patches):
            if i == j:
                continue
            coarse, _ = search_patch(anchor.window, patch, anchor.mark, angle=0.0, reach_px=reach)
            found = refine_patch(anchor.window, patch, coarse, angle=0.0, turning=True)
            if found.similarity > _ENOUGH_ALIKE and abs(found.angle) < 0.35:
                shift[i, j] = found.xy_px - anchor.mark
    return shift


def estimate_mark_error(shifts: Sequence[Array], shape: HoofShape, assumed_px: float) -> float:
    """Standard error of a click per axis (px), from how the marks of all limbs disagree.

    A hoof is now and then found at a wrong place, so squares are cut off at those of three standard errors.
    ``assumed_px`` counts as two observations beside them.
    """
    pairs = np.concatenate([np.empty((0, 2)), *(_pair_up(shift, shape)[1] for shift in shifts)])
    freedom = 2.0 * sum(max(len(shift) - 1, 0) for shift in shifts) if len(pairs) else 0.0
    square = 0.0
    if len(pairs):
        # The median of a squared standard normal number is 0.455.
        square = float(np.median(pairs**2)) / 0.455
        for _ in range(10):
            square = float(np.minimum(pairs**2, 9 * square).mean())
    # A pair differs by two click errors.
    click = max((square - _look_variance(shape)) / 2, 0.0)
    return max(0.3, float(np.sqrt((2 * assumed_px**2 + freedom * click) / (2 + freedom))))


def share_out_errors(shift: Array, mark_error_px: float, shape: HoofShape) -> MarkErrors:
    """Most likely click errors of one limb's marks, and what stays unknown.

    Each click error is normal with ``mark_error_px``; each finding of tip j in picture i is their difference with
    the error of looking, which has long tails (Student t with two degrees of freedom, by reweighting). What all
    marks of the limb have in common cannot be told and stays as ``limb_px2``.
    """
    count = len(shift)
    index, both = _pair_up(shift, shape)
    difference = np.zeros((len(index), count))
    rows = np.arange(len(index))
    difference[rows, index[:, 0]], difference[rows, index[:, 1]] = -1.0, 1.0
    # Pairs of A pictures share them: together they hold A − 1 independent findings.
    look = _look_variance(shape) * max(1.0, count / 2)
    weight = np.full(len(index), 1.0 / look)
    covariance, error = np.eye(count), np.zeros((count, 2))
    for _ in range(8):
        precision = mark_error_px**-2 * np.eye(count) + difference.T @ (weight[:, None] * difference)
        covariance = np.asarray(np.linalg.inv(precision), dtype=float)
        error = covariance @ (difference.T @ (weight[:, None] * both))
        miss = ((both - difference @ error) ** 2).mean(axis=1)
        weight = 3.0 / (2.0 + miss / look) / look
    off = covariance[~np.eye(count, dtype=bool)]
    limb = float(np.clip(off.mean(), 0.0, covariance.diagonal().min())) if count > 1 else 0.0
    return MarkErrors(offset_px=-error, own_px2=covariance.diagonal() - limb, limb_px2=limb)


def _pair_up(shift: Array, shape: HoofShape) -> tuple[NDArray[np.intp], Array]:
    """Pairs (P, 2) of marks found in each other's pictures alike, and how far apart (P, 2) the two clicks are."""
    i, j = np.triu_indices(len(shift), 1)
    there, back = shift[i, j], shift[j, i]
    kept = np.hypot(*(there + back).T) < _SAME_BOTH_WAYS * shape.length_px
    return np.column_stack([i, j])[kept], 0.5 * (there - back)[kept]


def _look_variance(shape: HoofShape) -> float:
    return _LOOK_ERROR_PX**2 + (_LOOK_ERROR_SHARE * shape.length_px) ** 2
