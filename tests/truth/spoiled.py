"""Rendered clips with something in the way, or spoiled in one of the ways that phone clips are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from stride.simulate.camera import View
from stride.simulate.scene import RenderedFrame, Scene

Array = NDArray[np.float64]
Image = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Post:
    """A round gate post between camera and animal: ``x``, ``y`` of its foot, ``width`` and ``height`` (m)."""

    x: float
    y: float
    width: float = 0.10
    height: float = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Handler:
    """Two trousered legs walking on the near side of the animal, ``ahead`` of its middle and ``beside`` it (m)."""

    ahead: float = 0.9
    beside: float = 0.75


def add_post(frames: Iterator[RenderedFrame], scene: Scene, post: Post) -> Iterator[RenderedFrame]:
    """Paint a post with grain and a few knots in front of everything."""
    rng = np.random.default_rng(scene.seed + 1)
    bands = rng.uniform(40, 130, 24)
    for frame in frames:
        view = scene.camera.view_at(float(scene.times[frame.index]))
        image = frame.image.copy()
        edge = np.linspace(0, post.height, len(bands) + 1)
        for low, high, tone in zip(edge[:-1], edge[1:], bands, strict=True):
            _fill_upright(
                image, view, (post.x, post.y), post.width, (low, high), (0.8 * tone, 0.9 * tone, tone)
            )
        yield RenderedFrame(index=frame.index, t=frame.t, image=image)


def add_handler(frames: Iterator[RenderedFrame], scene: Scene, handler: Handler) -> Iterator[RenderedFrame]:
    """Paint a pair of walking legs with boots beside the animal."""
    walk = scene.walk
    for frame in frames:
        t = float(scene.times[frame.index])
        view, body = scene.camera.view_at(t), walk.body_at([t])[0]
        image = frame.image.copy()
        hip = np.array([body[0] + handler.ahead * walk.heading[0], body[1] - handler.beside, 0.85])
        for phase, tone in ((0.0, 45.0), (0.5, 62.0)):
            cycle = (t / 1.1 + phase) % 1.0
            swing = 0.30 * np.sin(2 * np.pi * cycle)
            lift = 0.10 * max(0.0, np.cos(2 * np.pi * cycle))
            foot = hip + np.array([swing * walk.heading[0], 0.0, lift - 0.85])
            knee = 0.5 * (hip + foot) + np.array([0.06 * walk.heading[0], 0.0, 0.0])
            spots, wide = view.to_px(np.stack([hip, knee, foot])), view.px_per_m(hip[None])[0]
            for a, b, thick in ((0, 1, 0.15), (1, 2, 0.12)):
                _line(image, spots[a], spots[b], (1.2 * tone, tone, 0.8 * tone), thick * wide)
            toe = spots[2] + np.array([0.14 * wide * walk.heading[0], 0.0])
            _line(image, spots[2], toe, (30, 34, 40), 0.09 * wide)
        yield RenderedFrame(index=frame.index, t=frame.t, image=image)


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


def _fill_upright(
    image: Image,
    view: View,
    foot: tuple[float, float],
    width: float,
    heights: tuple[float, float],
    colour: tuple[float, float, float],
) -> None:
    x, y = foot
    corners = [(x + side * width / 2, y, z) for side, z in ((-1, 0), (1, 0), (1, 1), (-1, 1))]
    corners = [(cx, cy, heights[int(z)]) for cx, cy, z in corners]
    spots = view.to_px(np.array(corners))
    if np.abs(spots).max() < 2e4:
        cv2.fillPoly(image, [np.round(spots * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)


def _line(image: Image, a: Array, b: Array, colour: tuple[float, float, float], width: float) -> None:
    if max(np.abs(a).max(), np.abs(b).max()) < 2e4:
        ends = [tuple(int(v) for v in np.round(spot * 16)) for spot in (a, b)]
        cv2.line(image, ends[0], ends[1], colour, max(1, round(width)), cv2.LINE_AA, 4)
