"""Hooves found without a mark: what any finder takes and gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..imaging.strip import GroundStrip
from ..walk.camera import CameraMotion
from ..walk.clip import Frame
from ..walk.limbs import Side
from ..walk.marks import Direction, HoofMark, Marks

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundStance:
    """One stance of one limb.

    Parameters
    ----------
    mark : HoofMark
        The toe tip in a frame near the middle of the stance, in that frame's own pixels.
    xy_px : (2,) float array
        The same in the held picture.
    frames : (int, int)
        First and last frame in which the hoof stands, to about a tenth of a second.
    confidence : float
        Probability that the hoof really stood there, its toe tip within half a hoof, given that the walk as a whole
        is right.
    """

    mark: HoofMark
    xy_px: Array
    frames: tuple[int, int]
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A walk found in a clip.

    Parameters
    ----------
    stances : tuple of FoundStance
        By time.
    direction : {"left_to_right", "right_to_left"}
    near_side : {"left", "right"}
        The animal's side towards the camera.
    confidence : float
        Probability that the limbs of the walk are named correctly.
    notes : tuple of str
        What a mark would improve, in whole sentences.
    strip : GroundStrip
    """

    stances: tuple[FoundStance, ...]
    direction: Direction
    near_side: Side
    confidence: float
    notes: tuple[str, ...]
    strip: GroundStrip

    @property
    def hooves(self) -> tuple[HoofMark, ...]:
        """The found toe tips, as marks."""
        return tuple(one.mark for one in self.stances)


class HoofFinder(Protocol):
    """Finds the hooves of a walking animal in a clip fed to it once, frame by frame."""

    def add(self, frame: Frame) -> None:
        """Take one frame into account."""
        ...

    def finish(self, camera: CameraMotion, marks: Marks) -> Finding:
        """What was found, after the last frame; refuses in words where nothing can be measured."""
        ...
