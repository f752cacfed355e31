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

    ``assumed_px`` counts as four observations beside them.
    """
    look = _look_variance(shape)
    total, weight = 4 * assumed_px**2, 4.0
    for shift in shifts:
        count = len(shift)
        both = 0.5 * (shift - shift.transpose(1, 0, 2))
        pairs = both[np.triu_indices(count, 1)]
        pairs = pairs[np.isfinite(pairs).all(axis=1)]
        if len(pairs) == 0:
            continue
        # Each pair differs by two click errors; A marks hold A − 1 independent differences per axis.
        freedom = 2.0 * (count - 1) * len(pairs) / (count * (count - 1) / 2)
        mean_square = (
            float(np.median(pairs**2, axis=0).mean()) / 0.455 if len(pairs) > 2 else float((pairs**2).mean())
        )
        total += freedom * max(mean_square / 2 - look / 4, 0.0)
        weight += freedom
    return max(0.3, float(np.sqrt(total / weight)))


def share_out_errors(shift: Array, mark_error_px: float, shape: HoofShape) -> MarkErrors:
    """Most likely click errors of one limb's marks, and what stays unknown.

    Each click error is normal with ``mark_error_px``; each finding of tip j in picture i is their difference with
    the error of looking. What all marks of the limb have in common cannot be told and stays as ``limb_px2``.
    """
    count = len(shift)
    prior = mark_error_px**-2
    precision = prior * np.eye(count)
    pull = np.zeros((count, 2))
    both = 0.5 * (shift - shift.transpose(1, 0, 2))
    # The two directions of a pair share their pictures: together they count little more than one.
    strength = 1.0 / _look_variance(shape) / max(1.0, (count - 1) / 2)
    for i in range(count):
        for j in range(i + 1, count):
            if not np.isfinite(both[i, j]).all():
                continue
            difference = np.zeros(count)
            difference[i], difference[j] = -1.0, 1.0
            precision += strength * np.outer(difference, difference)
            pull += strength * np.outer(difference, both[i, j])
    covariance = np.asarray(np.linalg.inv(precision), dtype=float)
    error = covariance @ pull
    off = covariance[~np.eye(count, dtype=bool)]
    limb = float(np.clip(off.mean(), 0.0, covariance.diagonal().min())) if count > 1 else 0.0
    return MarkErrors(offset_px=-error, own_px2=covariance.diagonal() - limb, limb_px2=limb)


def _look_variance(shape: HoofShape) -> float:
    return _LOOK_ERROR_PX**2 + (_LOOK_ERROR_SHARE * shape.length_px) ** 2
