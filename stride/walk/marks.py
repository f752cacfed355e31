"""What a user marked in a clip."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from ..errors import MarksError
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


def check_places(marks: Marks, size_px: tuple[int, int]) -> None:
    """Refuse marks that lie off a picture of ``size_px`` (width, height).

    Raises
    ------
    MarksError
        Naming the first of them.
    """
    width, height = size_px
    for what, frame, (x, y) in _every_point(marks):
        if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
            raise MarksError(
                f"{what} in frame {frame} lies at ({x:.0f}, {y:.0f}), off the picture of {width} × {height} px.",
                "Check that these are the marks of this clip; they count pixels of the upright picture.",
            )


def check_frames(marks: Marks, frames: int) -> None:
    """Refuse marks made in a frame that a clip of ``frames`` frames does not have.

    Raises
    ------
    MarksError
        Naming the latest of them.
    """
    what, frame, _ = max(_every_point(marks), key=lambda point: point[1], default=("", -1, None))
    if frame >= frames:
        raise MarksError(
            f"{what} is marked in frame {frame}, but the clip can be read up to frame {frames - 1} only.",
            "Check that these are the marks of this clip, and that its file was copied whole.",
        )


def _every_point(marks: Marks) -> Iterator[tuple[str, int, Point]]:
    """Every marked point: what it is, its frame and its place (px)."""
    for hoof in marks.hooves:
        yield f"The {hoof.limb.replace('_', ' ')}", hoof.frame, hoof.xy_px
    for number, spot in enumerate(marks.ground, 1):
        yield f"Floor point {number}", spot.frame, spot.xy_px
    for number, known in enumerate(marks.lengths, 1):
        yield f"An end of known length {number}", known.frame, known.from_px
        yield f"An end of known length {number}", known.frame, known.to_px
    for one in marks.landmarks:
        yield f"The {one.name}", one.frame, one.xy_px
