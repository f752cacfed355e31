"""One frame of a clip, the facts about a clip, and what the measurement asks of a source of frames."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One picture of the clip, upright.

    Parameters
    ----------
    index : int
        Counted from 0 in presentation order.
    t : float
        Presentation time (s) from the first frame, after any slow-motion correction; steps may be irregular.
    luma : (H, W) uint8 array
        Brightness, read-only.
    load_image : callable
        Makes the (H, W, 3) uint8 picture in OpenCV's blue-green-red order; only called when colour is needed.
    repeated : bool
        True when this picture is a copy of the one before it (a duplicated frame).
    """

    index: int
    t: float
    luma: Image
    load_image: Callable[[], Image]
    repeated: bool = False

    @property
    def image(self) -> Image:
        """(H, W, 3) uint8, blue-green-red."""
        return self.load_image()


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """Where the times of a clip come from.

    Parameters
    ----------
    source : {"container", "capture_tag", "told"}
        Presentation times as stored; corrected by the phone's capture-rate tag; or by a rate the user gave.
    slowed : float
        How many times slower than life the stored times run (1.0 for none); times are already divided by it.
    frame_rate : float
        Median frames per second of life, for information only; nothing computes with it.
    irregular, repeated : int
        Frames whose step differs from the median by more than a tenth; frames that repeat the one before.
    note : str
        One plain sentence for the report.
    """

    source: Literal["container", "capture_tag", "told"]
    slowed: float
    frame_rate: float
    irregular: int
    repeated: int
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """Facts about a clip once it has been read to its end.

    Parameters
    ----------
    name : str
        File name without folder.
    sha256 : str
        Of the file's bytes.
    frames : int
    duration : float
        From the first to the last frame (s).
    size_px : (int, int)
        Width and height, upright.
    timing : Timing
    """

    name: str
    sha256: str
    frames: int
    duration: float
    size_px: tuple[int, int]
    timing: Timing


class FrameSource(Protocol):
    """A clip that can be read from the start as often as needed, one frame at a time."""

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height (px), upright."""
        ...

    def __iter__(self) -> Iterator[Frame]: ...

    def describe(self) -> Clip:
        """The facts about the clip; complete once it has been read to its end."""
        ...
