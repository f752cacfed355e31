"""Whether a foot came and went: what stands where a foot stood before has not landed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..imaging.standing import Standing
from ..imaging.strip import STEP
from .gait import STRIDE_IN_HOOVES
from .occupancy import Occupancy
from .toes import Toe

Array = NDArray[np.float64]

# The hoof and what moves about it as it lands, in hoof lengths: behind the toe tip, ahead, above, below.
_BEHIND, _AHEAD, _ABOVE, _BELOW = 1.5, 0.5, 1.0, 0.3
# When a landing may be, about the expected start of the stance (stride times).
_EARLY, _LATE = 0.25, 0.10
# The least stir of a landing (grey levels from picture to picture).
_LEAST_STIR = 1.0


def measure_landings(standing: Standing, occupancy: Occupancy, toes: Sequence[Toe], heading: int) -> Array:
    """How much the picture stirred as each foot landed, against the other feet of the walk.

    Parameters
    ----------
    standing : Standing
    occupancy : Occupancy
    toes : sequence of Toe
    heading : int
        1 for an animal that walks to the right of the picture, −1 to the left.

    Returns
    -------
    (N,) float array
        Greatest change from picture to picture about the landing, as a share of the median of all landings; 1 for a
        foot that stood from the start of the clip.
    """
    stirs = np.array([_stir(standing, occupancy, toe, heading) for toe in toes], dtype=float)
    seen = np.isfinite(stirs)
    if not seen.any():
        return np.ones(len(toes))
    usual = max(_LEAST_STIR, float(np.median(stirs[seen])))
    return np.where(seen, stirs / usual, 1.0)


def _stir(standing: Standing, occupancy: Occupancy, toe: Toe, heading: int) -> float:
    """Greatest mean change about the landing (grey levels); infinite where the landing was not filmed."""
    footfall = toe.footfall
    count, height, width = standing.difference.shape
    begin = int(np.ceil((footfall.start - _EARLY * footfall.stride_time) / STEP))
    end = int((footfall.start + _LATE * footfall.stride_time) / STEP)
    begin, end = max(begin, 0), min(end + 1, count - 1)
    hoof = footfall.stride_px / STRIDE_IN_HOOVES
    row = footfall.level + occupancy.slope * (footfall.toe - occupancy.middle)
    ends = sorted((footfall.toe + heading * _AHEAD * hoof, footfall.toe - heading * _BEHIND * hoof))
    columns = slice(max(0, int(ends[0])), min(width, int(ends[1]) + 1))
    rows = slice(max(0, int(row - _ABOVE * hoof)), min(height, int(row + _BELOW * hoof) + 1))
    if footfall.start < 1.5 * STEP or end - begin < 2 or columns.start >= columns.stop or rows.start >= rows.stop:
        return np.inf
    part = standing.difference[begin : end + 1, rows, columns].astype(np.float32)
    return float(np.abs(np.diff(part, axis=0)).mean(axis=(1, 2)).max())
