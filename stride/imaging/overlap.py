"""How far one picture of a scene is shifted against another, without any idea of how the camera moved between them."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

_WIDTH = 240
# Pieces of the target looked for in the source: where they begin and end, as shares of the width.
_PIECES = ((0.35, 0.65), (0.0, 0.3), (0.175, 0.475), (0.525, 0.825), (0.7, 1.0))
# The source may be shifted up or down by this share of the width.
_UP_DOWN = 0.05
_ALIKE = 0.3
# Shifts nearer to one another than this share of the width are one, and so many are given at most.
_SAME = 0.03
_MOST = 3


def find_shifts(source: Image, target: Image, *, top_row: int) -> list[Array]:
    """Shifts that may bring the lower part of one picture onto another's, to a few hundredths of the width.

    Parameters
    ----------
    source, target : (H, W) uint8 array
    top_row : int
        Only what lies below this row is compared: floor, and little of an animal.

    Returns
    -------
    list of (2,) float array
        From ``source`` to ``target`` (px), the most alike first; empty where nothing looks alike.
    """
    factor = max(1.0, source.shape[1] / _WIDTH)
    size = (round(source.shape[1] / factor), max(8, round((source.shape[0] - top_row) / factor)))
    before, after = (
        cv2.resize(one[top_row:], size, interpolation=cv2.INTER_AREA) for one in (source, target)
    )
    margin = round(_UP_DOWN * size[0])
    wide = cv2.copyMakeBorder(before, margin, margin, 0, 0, cv2.BORDER_REPLICATE)
    found: list[tuple[float, Array]] = []
    for first, last in _PIECES:
        left, right = round(first * size[0]), round(last * size[0])
        score = cv2.matchTemplate(wide, np.ascontiguousarray(after[:, left:right]), cv2.TM_CCOEFF_NORMED)
        score[~np.isfinite(score)] = -1.0
        row, column = np.unravel_index(int(score.argmax()), score.shape)
        if score[row, column] > _ALIKE:
            found.append(
                (float(score[row, column]), factor * np.array([left - column, margin - row], dtype=float))
            )
    distinct: list[Array] = []
    for _, shift in sorted(found, key=lambda one: -one[0]):
        if all(np.abs(shift - other).max() > _SAME * source.shape[1] for other in distinct):
            distinct.append(shift)
    return distinct[:_MOST]
