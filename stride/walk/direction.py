"""Which way the animal walks in the picture, and how large its hooves are there."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..errors import MarksError
from .following import HoofShape
from .limbs import Side, pair_of
from .marks import Direction, HoofMark, Marks

Array = NDArray[np.float64]

# Length of a cattle hoof on the ground (m), for the size of the picture patches only: 10 to 13 cm, from memory.
_HOOF_LENGTH = 0.12
# Length of a cattle stride in hoof lengths, where nothing else gives the size (group means near 1.4 m).
_STRIDE_IN_HOOVES = 11.5
_HOOF_SHARE_OF_WIDTH = 0.02


def find_direction(marks: Marks) -> Direction:
    """The way of walk: as the user said, else from the marked hooves.

    In one and the same moment the fore feet are ahead of the hind feet; and over time every foot goes forward.

    Raises
    ------
    MarksError
        Where the marks cannot tell.
    """
    if marks.direction is not None:
        return marks.direction
    hooves = marks.hooves
    x = np.array([mark.xy_px[0] for mark in hooves])
    frame = np.array([mark.frame for mark in hooves], dtype=float)
    fore = np.array([pair_of(mark.limb) == "fore" for mark in hooves])
    columns = [np.ones_like(x)]
    if np.ptp(frame) > 0:
        columns.append((frame - frame.mean()) / np.ptp(frame))
    if fore.any() and not fore.all():
        columns.append(fore.astype(float))
    if len(columns) > 1 and len(x) >= len(columns):
        solved, _, rank, _ = np.linalg.lstsq(np.column_stack(columns), x, rcond=None)
        slope = solved[-1]
        if rank == len(columns) and abs(slope) > 5:
            return "left_to_right" if slope > 0 else "right_to_left"
    raise MarksError(
        f"The {len(hooves)} marked hooves do not tell which way the animal walks.",
        'Add "direction": "left_to_right" or "right_to_left" to the marks, or mark a fore and a hind hoof of one '
        "frame.",
    )


def side_towards_camera(direction: Direction) -> Side:
    """The animal's side facing the camera.

    >>> side_towards_camera("left_to_right")
    'right'
    """
    return "right" if direction == "left_to_right" else "left"


def estimate_shape(marks: Marks, direction: Direction, size_px: tuple[int, int]) -> HoofShape:
    """Hoof length in the picture from the marked scale, else from the marked strides, else a usual value."""
    facing = 1 if direction == "left_to_right" else -1
    per_metre = _px_per_metre(marks)
    if per_metre is not None:
        length = _HOOF_LENGTH * per_metre
    else:
        stride = _stride_px(marks.hooves)
        length = stride / _STRIDE_IN_HOOVES if stride is not None else _HOOF_SHARE_OF_WIDTH * max(size_px)
    return HoofShape(length_px=float(np.clip(length, 8.0, 0.06 * max(size_px))), facing=facing)


def _px_per_metre(marks: Marks) -> float | None:
    """Median px per metre of the known lengths, or of floor points marked in one frame."""
    scales = [
        float(np.hypot(*np.subtract(k.to_px, k.from_px))) / k.length for k in marks.lengths if k.length > 0
    ]
    for i, a in enumerate(marks.ground):
        for b in marks.ground[i + 1 :]:
            along = abs(a.xy_m[0] - b.xy_m[0])
            if a.frame == b.frame and along > 2 * abs(a.xy_m[1] - b.xy_m[1]):
                scales.append(float(np.hypot(*np.subtract(a.xy_px, b.xy_px))) / along)
    return float(np.median(scales)) if scales else None


def _stride_px(hooves: tuple[HoofMark, ...]) -> float | None:
    """Median distance between neighbouring stances of one limb, from marks further apart than any hoof is long."""
    steps: list[float] = []
    for limb in {mark.limb for mark in hooves}:
        own = sorted((mark for mark in hooves if mark.limb == limb), key=lambda mark: mark.frame)
        jumps = [abs(b.xy_px[0] - a.xy_px[0]) for a, b in pairwise(own)]
        steps += [jump for jump in jumps if jump > 60]
    return float(np.median(steps)) if steps else None
