"""Where and when one hoof stood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .limbs import Limb

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """One hoof's place on the floor and the time it stood there.

    Parameters
    ----------
    limb : Limb
    xy : (2,) float array
        Place of the toe tip on the floor (m, or the ground's unit): x along the picture, y away from the camera.
    cov : (2, 2) float array
        Covariance of this print alone (m²): independent of every other print.
    limb_cov : (2, 2) float array
        Covariance shared by all prints of this limb (m²), from the one idea of where its toe tip is;
        it cancels in stride lengths and stays in overreach.
    ground_jacobian : (2, K) float array
        Derivative of ``xy`` by the ground's K parameters: the error common to the whole clip.
    xy_px : (2,) float array
        The same place in the held picture (px).
    touch_down, lift_off : float or None
        Seconds; None where the event lies outside the clip or was not seen.
    touch_down_error, lift_off_error : float or None
        Standard errors (s).
    frames : (int, int)
        First and last frame in which the hoof was seen standing.
    source : {"marked", "found"}
    confidence : float
        Probability that this is a print of this limb; 1.0 for a marked one.
    """

    limb: Limb
    xy: Array
    cov: Array
    limb_cov: Array
    ground_jacobian: Array
    xy_px: Array
    touch_down: float | None
    touch_down_error: float | None
    lift_off: float | None
    lift_off_error: float | None
    frames: tuple[int, int]
    source: Literal["marked", "found"]
    confidence: float = 1.0
