"""What was seen of the camera in each frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..numeric.poses import Pose
from .keys import KeyPicture

Array = NDArray[np.float64]
Loss = Literal["bare", "blurred", "cut", "zoomed", "unsure"]

#: The pose of the first frame of a stretch.
ORIGIN = Pose(turn=np.eye(3), place=np.zeros(3))


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """What was seen of the camera in one frame.

    Parameters
    ----------
    stretch : int
        Unbroken stretch of following it belongs to; −1 where the camera was not followed.
    pose : Pose
        Against the first frame of the stretch, as far as followed.
    landmark : (K,) int32 array
        Points of key pictures seen in it.
    xy_px : (K, 2) float32 array
        Where, of the reduced picture.
    still_px : float
        By how much the picture seemed to have moved from the first one (px of the full picture); infinite where it
        had, or where that was not looked at.
    loss : {"bare", "blurred", "cut"} or None
        Why it was not followed.
    """

    stretch: int
    pose: Pose = ORIGIN
    landmark: NDArray[np.int32] = field(default_factory=lambda: np.empty(0, np.int32))
    xy_px: NDArray[np.float32] = field(default_factory=lambda: np.empty((0, 2), np.float32))
    still_px: float = np.inf
    loss: Loss | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """All that the settling of the motion needs.

    Parameters
    ----------
    times : (N,) float array
    frames : sequence of Followed
    keys : sequence of KeyPicture
    key_stretch : sequence of int
        The stretch each key picture belongs to.
    moved : bool
        Whether the camera moved at all.
    focal_px : float
        As far as learned (px of the reduced picture).
    reduced : int
        How many px of the full picture one of the reduced picture is.
    size_px : (int, int)
        Of the full picture.
    feet_row_px : float
        Row of the full picture about which hooves stand.
    """

    times: Array
    frames: Sequence[Followed]
    keys: Sequence[KeyPicture]
    key_stretch: Sequence[int]
    moved: bool
    focal_px: float
    reduced: int
    size_px: tuple[int, int]
    feet_row_px: float
