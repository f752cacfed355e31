"""The floor: the map from the held picture to metres along and across the walk."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A map from the held picture to the floor.

    Floor coordinates: x along the walk as the picture runs (left to right), y away from the camera.

    Parameters
    ----------
    kind : {"plane", "length", "none"}
        Floor points were marked; only a known length was; or neither.
    matrix : (3, 3) float array
        Homography, held picture (px) → floor. Unit ``unit``.
    parameters : (K, 3, 3) float array
        Derivative of ``matrix`` by each of its K uncertain parameters.
    covariance : (K, K) float array
        Of those parameters. It is common to the whole clip and never averages out.
    scale_error : float
        Relative standard error of a length along the walk; 0 where ``kind`` is "none".
    trusted_px : (M, 2) float array
        Corners of the part of the held picture in which the map is interpolated, not extrapolated; empty for all.
    unit : {"m", "stride"}
        "stride" where the clip has no scale: lengths are then in mean stride lengths once those are known.
    """

    kind: Literal["plane", "length", "none"]
    matrix: Array
    parameters: Array
    covariance: Array
    scale_error: float
    trusted_px: Array
    unit: Literal["m", "stride"]
