"""The whole measurement of one walk-by, and the chain that makes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..quantity import Quantity
from .camera import CameraMotion
from .clip import Clip
from .ground import Ground
from .limbs import Side
from .marks import Direction, Marks
from .prints import Print
from .settings import Settings
from .strides import Overreach, Stride
from .tracks import HoofTrack
from .verdict import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """Everything measured in one walk-by.

    ``measures`` maps a name (``overreach_left``, ``stride_length``, …) to a :class:`~stride.quantity.Measured`
    or the reason it could not be measured. ``prints`` are ordered by touch-down; ``strides`` and ``overreaches``
    index into them. ``heading`` is the unit vector of the line of walk on the floor, pointing where the animal goes.
    """

    clip: Clip
    camera: CameraMotion
    ground: Ground
    marks: Marks
    direction: Direction
    near_side: Side
    heading: tuple[float, float]
    tracks: tuple[HoofTrack, ...]
    prints: tuple[Print, ...]
    strides: tuple[Stride, ...]
    overreaches: tuple[Overreach, ...]
    measures: Mapping[str, Quantity]
    verdict: Verdict
    settings: Settings
    made_by: str
