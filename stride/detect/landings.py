"""Whether a foot came and went: what stands where a foot stood before has not landed, and what stays has halted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..imaging.standing import Standing
from ..imaging.strip import STEP
from .gait import STRIDE_IN_HOOVES
from .occupancy import Occupancy
from .toes import Toe

Array = NDArray[np.float64]

# The hoof and what moves about it as it comes and goes, in hoof lengths: behind the toe tip, ahead, above, below.
_BEHIND, _AHEAD, _ABOVE, _BELOW = 1.5, 0.5, 1.0, 0.3
# How long before and after the expected start it may land, and after and before the expected end it may leave, in
# stride times.
_OUTSIDE, _INSIDE = 0.25, 0.10
# The least stir of a landing (grey levels from picture to picture).
_LEAST_STIR = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stir:
    """How much the picture changed as each foot came and went, against the other feet of the walk.

    Parameters
    ----------
    landing, leaving : (N,) float array
        Greatest change from picture to picture, as a share of the median over all feet; 1 where it was not filmed.
    """

    landing: Array
    leaving: Array


def measure_stir(standing: Standing, occupancy: Occupancy, toes: Sequence[Toe], heading: int) -> Stir:
    """How much the picture changed as each foot landed and left.

    Parameters
    ----------
    standing : Standing
    occupancy : Occupancy
    toes : sequence of Toe
    heading : int
        1 for an animal that walks to the right of the picture, −1 to the left.
    """
    landing, leaving = [], []
    for toe in toes:
        one = toe.footfall
        outside, inside = _OUTSIDE * one.stride_time, _INSIDE * one.stride_time
        changes = _changes(standing, occupancy, toe, heading)
        landing.append(_greatest(changes, one.start - outside, one.start + inside))
        leaving.append(_greatest(changes, one.end - inside, one.end + outside))
    both = np.array([landing, leaving])
    seen = np.isfinite(both)
    usual = max(_LEAST_STIR, float(np.median(both[seen]))) if seen.any() else _LEAST_STIR
    shares = np.where(seen, both / usual, 1.0)
    return Stir(landing=shares[0], leaving=shares[1])


def _changes(standing: Standing, occupancy: Occupancy, toe: Toe, heading: int) -> Array:
    """Mean change about one hoof from each picture to the next (grey levels), (n − 1,)."""
    one = toe.footfall
    _, height, width = standing.difference.shape
    hoof = one.stride_px / STRIDE_IN_HOOVES
    row = one.level + occupancy.slope * (one.toe - occupancy.middle)
    ends = sorted((one.toe + heading * _AHEAD * hoof, one.toe - heading * _BEHIND * hoof))
    columns = slice(max(0, int(ends[0])), min(width, int(ends[1]) + 1))
    rows = slice(max(0, int(row - _ABOVE * hoof)), min(height, int(row + _BELOW * hoof) + 1))
    part = standing.difference[:, rows, columns].astype(np.float32)
    return np.asarray(np.abs(np.diff(part, axis=0)).mean(axis=(1, 2)), dtype=float)


def _greatest(changes: Array, start: float, end: float) -> float:
    """Greatest change between two times; infinite where they are not wholly in the clip."""
    first, last = int(np.floor(start / STEP)), int(np.ceil(end / STEP))
    if first < 0 or last > len(changes):
        return np.inf
    return float(changes[first:last].max())
