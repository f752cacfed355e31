"""Rendered clips spoiled in ways that phone clips are."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from stride.simulate.scene import RenderedFrame

Image = NDArray[np.uint8]


def cut_to(
    frames: Iterator[RenderedFrame], other: Iterator[RenderedFrame], at: float
) -> Iterator[RenderedFrame]:
    """Pictures of another clip from time ``at`` (s) on."""
    for frame, instead in zip(frames, other, strict=False):
        yield RenderedFrame(index=frame.index, t=frame.t, image=(frame if frame.t < at else instead).image)


def zoom_in(
    frames: Iterator[RenderedFrame], between: tuple[float, float], factor: float
) -> Iterator[RenderedFrame]:
    """Zoom smoothly between two times (s), and stay there."""
    for frame in frames:
        share = float(np.clip((frame.t - between[0]) / (between[1] - between[0]), 0.0, 1.0))
        yield RenderedFrame(index=frame.index, t=frame.t, image=zoomed(frame.image, factor**share))


def zoomed(image: Image, factor: float) -> Image:
    """The middle of a picture, enlarged."""
    height, width = image.shape[:2]
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    matrix = np.array([[factor, 0, (1 - factor) * middle[0]], [0, factor, (1 - factor) * middle[1]]])
    return np.asarray(cv2.warpAffine(image, matrix, (width, height), flags=cv2.INTER_CUBIC))


def blur_between(
    frames: Iterator[RenderedFrame], between: tuple[float, float], length_px: int
) -> Iterator[RenderedFrame]:
    """Smear the pictures sideways between two times (s), as a jerk of the hand does."""
    kernel = np.full((1, length_px), 1.0 / length_px)
    for frame in frames:
        image = frame.image
        if between[0] <= frame.t < between[1]:
            image = cv2.filter2D(image, -1, kernel)
        yield RenderedFrame(index=frame.index, t=frame.t, image=image)


def wipe_between(
    frames: Iterator[RenderedFrame], between: tuple[float, float], rng: np.random.Generator
) -> Iterator[RenderedFrame]:
    """A bare wall filling the picture between two times (s)."""
    for frame in frames:
        image = frame.image
        if between[0] <= frame.t < between[1]:
            shade = np.linspace(140, 165, image.shape[1])[None, :, None]
            noise = rng.normal(0.0, 2.0, (*image.shape[:2], 1))
            image = np.clip(shade + noise, 0, 255).repeat(3, axis=2).astype(np.uint8)
        yield RenderedFrame(index=frame.index, t=frame.t, image=image)
