"""Hoof points followed through the clip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .limbs import Limb

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoofTrack:
    """Where one hoof point was in each frame of an unbroken run of frames.

    Parameters
    ----------
    limb : Limb
    frames : (K,) int array
        Frame indices, rising by one.
    t : (K,) float array
        Presentation times (s).
    xy_px : (K, 2) float array
        Smoothed place of the toe tip in that frame's own pixels.
    cov_px2 : (K, 2, 2) float array
        Its covariance (px²), the part that differs from frame to frame.
    seen : (K,) bool array
        False where the hoof was hidden or lost and the place is bridged from both sides.
    source : {"marked", "found"}
    """

    limb: Limb
    frames: NDArray[np.intp]
    t: Array
    xy_px: Array
    cov_px2: Array
    seen: NDArray[np.bool_]
    source: Literal["marked", "found"]
