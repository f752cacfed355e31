"""What a user marked in a clip."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from .limbs import Limb

Direction = Literal["left_to_right", "right_to_left"]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorPoint:
    """A floor point whose place was measured: ``xy_m`` with x along the walk, y away from the camera."""

    frame: int
    xy_px: Point
    xy_m: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownLength:
    """A known length (m) lying on the floor along the line of walk."""

    frame: int
    from_px: Point
    to_px: Point
    length: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HoofMark:
    """The tip of a toe, marked in one frame (px of that frame)."""

    limb: Limb
    frame: int
    xy_px: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Landmark:
    """A named point of the body, marked in one frame; ``limb`` is None for points of the trunk."""

    name: str
    frame: int
    xy_px: Point
    limb: Limb | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Animal:
    """What the user said of the animal; hip height in m."""

    tag: str | None = None
    hip_height: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """Everything marked in one clip; any part may be empty."""

    clip_name: str | None = None
    clip_sha256: str | None = None
    direction: Direction | None = None
    ground: tuple[FloorPoint, ...] = ()
    lengths: tuple[KnownLength, ...] = ()
    hooves: tuple[HoofMark, ...] = ()
    landmarks: tuple[Landmark, ...] = ()
    animal: Animal = field(default_factory=Animal)
