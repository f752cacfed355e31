"""What else is in the aisle: a handler, and posts or gates between camera and animal."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from .camera import View
from .canvas import Canvas, Colour, Image
from .gait import Walk

Array = NDArray[np.float64]
HandlerSide = Literal["near", "far"]
PostKind = Literal["post", "gate"]

_STANDS = 0.6
_HANDLER_SIDES: tuple[HandlerSide, HandlerSide] = ("near", "far")
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A tapered round bar between two world points (m), with a colour."""

    start: Array
    end: Array
    half_start: float
    half_end: float
    colour: Colour


@dataclass(frozen=True, slots=True, kw_only=True)
class Handler:
    """A person walking beside the animal's head.

    Parameters
    ----------
    side : {"near", "far"}
        Between camera and animal, or behind it.
    ahead, aside : float
        Place ahead of the trunk's middle, and distance from the line of walk (m).
    height, step : float
        (m)
    phase : float
        Of the steps, 0 to 1.
    coat, trousers, boots : (blue, green, red)
    """

    side: HandlerSide
    ahead: float
    aside: float
    height: float
    step: float
    phase: float
    coat: Colour
    trousers: Colour
    boots: Colour


@dataclass(frozen=True, slots=True, kw_only=True)
class Post:
    """An upright, or a gate of rails between two uprights, in front of the line of walk.

    Parameters
    ----------
    x, y : float
        Its left end on the floor (m).
    length : float
        0 for a single upright (m).
    height, half_width : float
        (m)
    rails : tuple of float
        Heights of the rails (m).
    colour : (blue, green, red)
    """

    x: float
    y: float
    length: float
    height: float
    half_width: float
    rails: tuple[float, ...]
    colour: Colour


def draw_handler(rng: np.random.Generator, side: HandlerSide | Literal["drawn"] = "drawn") -> Handler:
    """Draw a person; beyond the animal three times in four unless ``side`` is given."""
    grey = rng.uniform(40, 150)
    tint = rng.uniform(0.78, 1.22, 3)
    return Handler(
        side=_HANDLER_SIDES[int(rng.random() < 0.75)] if side == "drawn" else side,
        ahead=rng.uniform(1.0, 1.7),
        aside=rng.uniform(0.60, 0.85),
        height=rng.uniform(1.6, 1.88),
        step=rng.uniform(0.62, 0.78),
        phase=rng.uniform(0, 1),
        coat=(float(grey * tint[0]), float(grey * tint[1]), float(grey * tint[2])),
        trousers=(88.0, 62.0, 48.0) if rng.random() < 0.6 else (60.0, 62.0, 66.0),
        boots=(34.0, 38.0, 36.0) if rng.random() < 0.5 else (40.0, 70.0, 44.0),
    )


def draw_post(rng: np.random.Generator, camera_y: float, kind: PostKind | Literal["drawn"] = "drawn") -> Post:
    """Draw an upright, or once in four a short gate, between camera and animal."""
    gate = rng.random() < 0.25 if kind == "drawn" else kind == "gate"
    tone = rng.uniform(60, 160)
    return Post(
        x=rng.uniform(-1.6, 1.2),
        y=rng.uniform(0.25, 0.45) * camera_y,
        length=rng.uniform(0.8, 1.2) if gate else 0.0,
        height=rng.uniform(1.1, 1.4) if gate else 3.0,
        half_width=rng.uniform(0.02, 0.03) if gate else rng.uniform(0.035, 0.06),
        rails=tuple(np.arange(0.3, 1.1, rng.uniform(0.25, 0.32)).tolist()) if gate else (),
        colour=(tone * rng.uniform(0.8, 1.1), tone, tone * rng.uniform(0.9, 1.15)),
    )


def handler_parts(handler: Handler, walk: Walk, t: float) -> list[Part]:
    """The person's body at one time, back to front."""
    ahead, left = np.array([*walk.heading, 0.0]), np.array([*walk.leftward, 0.0])
    away = np.array([0.0, 1.0, 0.0])
    body = walk.body_at([t])[0]
    start = np.array([*walk.origin, 0.0])
    lane = start + (handler.aside if handler.side == "far" else -handler.aside) * away
    gone = float((body - start) @ ahead) + handler.ahead
    tall = handler.height
    stride = 2 * handler.step
    hip = lane + gone * ahead + 0.50 * tall * _UP
    neck = hip + 0.32 * tall * _UP + 0.02 * ahead
    parts: list[Part] = []
    limbs = []
    for k in (0, 1):
        aside = (0.09 if k else -0.09) * (left if left[1] > 0 else -left)
        toe, heel_up = _footfall(gone / stride + handler.phase + 0.5 * k, stride, handler.phase + 0.5 * k)
        ankle = lane + (toe - 0.05) * ahead - aside + (0.09 + heel_up) * _UP
        limbs.append((aside, ankle, math.sin(2 * math.pi * (gone / stride + handler.phase + 0.5 * k))))
    for aside, ankle, swing in sorted(limbs, key=lambda limb: float(limb[0][1])):
        parts += _leg(hip - aside, ankle, handler, ahead)
        shoulder = neck - 1.9 * aside - 0.03 * _UP
        hand = shoulder - 0.36 * tall * _UP + 0.16 * swing * ahead
        parts.append(_bar(shoulder, hand, 0.055, 0.04, _dim(handler.coat, 0.85)))
    trunk = _bar(hip + 0.02 * _UP, neck, 0.155, 0.15, handler.coat)
    head = neck + 0.14 * tall * _UP * 0.75
    face = _bar(neck, head, 0.06, 0.095, (118.0, 140.0, 178.0))
    cap = _bar(head + 0.07 * _UP, head + 0.07 * _UP + 0.10 * ahead, 0.085, 0.02, _dim(handler.trousers, 0.8))
    return [*parts[:4], trunk, face, cap, *parts[4:]]


def part_outline(view: View, part: Part) -> Array:
    """The bar's outline in the picture, (N, 2) px, round at both ends."""
    ends = np.stack([part.start, part.end])
    spots, scales = view.to_px(ends), view.px_per_m(ends)
    along = spots[1] - spots[0]
    turn = math.atan2(along[1], along[0])
    arcs = []
    for i, half in enumerate((part.half_start, part.half_end)):
        angle = turn + math.pi / 2 + math.pi * i * -1 + np.linspace(0, math.pi, 9)
        arcs.append(spots[i] + half * scales[i] * np.column_stack([np.cos(angle), np.sin(angle)]))
    return np.vstack(arcs)


def paint_parts(canvas: Canvas, view: View, parts: list[Part]) -> None:
    """Paint bars one over the other, each with a lit and a dark side."""
    for part in parts:
        outline = part_outline(view, part)
        canvas.paint_shape(outline, _dim(part.colour, 0.72))
        middle = outline.mean(axis=0)
        canvas.paint_shape(
            middle + 0.72 * (outline - middle) - [0.10 * np.ptp(outline[:, 0]), 0.0], part.colour
        )


def post_outlines(view: View, post: Post) -> list[Array]:
    """Rectangles of a post or gate in the picture, each (4, 2) px."""
    uprights = (0.0, post.length) if post.length else (0.0,)
    boxes = [
        (post.x + at - post.half_width, post.x + at + post.half_width, 0.0, post.height) for at in uprights
    ]
    boxes += [
        (post.x, post.x + post.length, height - post.half_width, height + post.half_width)
        for height in post.rails
    ]
    return [
        view.to_px(np.array([(a, post.y, low), (b, post.y, low), (b, post.y, high), (a, post.y, high)]))
        for a, b, low, high in boxes
    ]


def paint_post(picture: Image, view: View, post: Post, gain: float) -> None:
    """Paint a post or gate over a picture, in place."""
    for corners in post_outlines(view, post):
        for share, tone in ((1.0, 0.6), (0.75, 0.85), (0.4, 1.0)):
            middle = corners.mean(axis=0)
            thin = middle + (corners - middle) * (
                [share, 1.0] if np.ptp(corners[:, 0]) < np.ptp(corners[:, 1]) else [1.0, share]
            )
            fixed = np.round(np.clip(thin, -8000, 8000) * 16).astype(np.int32)
            cv2.fillPoly(picture, [fixed], _dim(post.colour, tone * gain), cv2.LINE_AA, 4)


def paint_rope(canvas: Canvas, view: View, start: Array, end: Array, scale: float) -> None:
    """A slack rope between two world points (m)."""
    share = np.linspace(0, 1, 12)[:, None]
    sag = 0.18 * float(np.linalg.norm(end - start)) * 4 * share * (1 - share)
    canvas.paint_line(view.to_px(start + share * (end - start) - sag * _UP), (70, 120, 150), 0.016 * scale)


def _footfall(cycle: float, stride: float, phase: float) -> tuple[float, float]:
    """Place of a foot along the lane and its height (m); it stands still for ``_STANDS`` of its cycle."""
    whole, share = math.floor(cycle), cycle - math.floor(cycle)
    held = (whole + _STANDS / 2 - phase) * stride
    if share < _STANDS:
        return held, 0.0
    swing = (share - _STANDS) / (1 - _STANDS)
    return held + stride * swing * swing * (3 - 2 * swing), 0.10 * math.sin(math.pi * swing)


def _leg(hip: Array, ankle: Array, handler: Handler, ahead: Array) -> list[Part]:
    line = ankle - hip
    gap = float(np.linalg.norm(line))
    half = 0.227 * handler.height
    bend = math.sqrt(max(half**2 - (gap / 2) ** 2, 0.0))
    knee = (hip + ankle) / 2 + bend * ahead
    toe = ankle - 0.045 * _UP + 0.17 * ahead
    return [
        _bar(hip, knee, 0.095, 0.065, handler.trousers),
        _bar(knee, ankle + 0.05 * _UP, 0.07, 0.06, handler.boots),
        _bar(ankle - 0.04 * _UP - 0.03 * ahead, toe, 0.05, 0.035, handler.boots),
    ]


def _bar(start: Array, end: Array, half_start: float, half_end: float, colour: Colour) -> Part:
    return Part(start=start, end=end, half_start=half_start, half_end=half_end, colour=colour)


def _dim(colour: Colour, tone: float) -> Colour:
    return colour[0] * tone, colour[1] * tone, colour[2] * tone
