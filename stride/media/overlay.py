"""The walk drawn over its clip: hooves followed, prints that stay on the floor, overreach where it happens."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from ..numeric.homography import apply_homography
from ..progress import Progress, silent
from ..walk.analysis import Analysis
from ..walk.clip import Frame, FrameSource, Image
from ..walk.limbs import LIMBS, Limb, pair_of, side_of
from ..walk.positions import find_display_length
from ..walk.prints import Print
from ..walk.wording import limb_name, say_overreach
from .encoder import open_encoder
from .lettering import (
    WHITE,
    Box,
    Colour,
    MarkerShape,
    darken,
    draw_line,
    draw_marker,
    draw_text,
    measure_text,
)

Array = NDArray[np.float64]

#: Okabe & Ito (2008), "Color Universal Design": told apart with any common colour blindness; blue, green, red.
_COLOURS: Final[Mapping[Limb, Colour]] = {
    "left_fore": (233, 180, 86),
    "right_fore": (178, 114, 0),
    "left_hind": (0, 159, 230),
    "right_hind": (0, 94, 213),
}
_SHORT_NAMES: Final[Mapping[Limb, str]] = {
    "left_fore": "LF",
    "right_fore": "RF",
    "left_hind": "LH",
    "right_hind": "RH",
}
_SHAPES: Final[Mapping[Limb, MarkerShape]] = {
    limb: "square" if pair_of(limb) == "fore" else "triangle" for limb in LIMBS
}
_LEGEND: Final[tuple[tuple[MarkerShape | None, Colour, str], ...]] = (
    *((_SHAPES[limb], _COLOURS[limb], f"{_SHORT_NAMES[limb]} {limb_name(limb)}") for limb in LIMBS),
    ("square", WHITE, "hollow: hidden, place estimated"),
    (None, WHITE, "hind print against front print"),
)
_LABEL_ROWS: Final = 8
_UNSCALED_HOOF_PX: Final = 8.0
_MOST_FRAMES_PER_SECOND: Final = 30.0
_TRAIL: Final = 0.6
_OVERREACH_SHOWN_FOR: Final = 2.5
#: Length and width of the hoof drawn for a print: of the floor in m, and as shares of a stride without a scale.
_HOOF: Final = (0.12, 0.10)
_STRIDE: Final = 1.5
_HOOF_POINTS: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What is the same for every picture of one overlay.

    Sizes follow the picture's (px); ``outlines`` are the hooves that made the prints, in the held picture;
    ``shown_from`` are the times (s) at which the overreaches happen.
    """

    analysis: Analysis
    scale: float
    text: int
    line: int
    marker: float
    outlines: tuple[Array, ...]
    shown_from: tuple[float, ...]

    def place(self, xy_px: Array) -> Array:
        """Clip pixels → picture pixels; the centre of the first pixel is (0, 0) in both."""
        return (xy_px + 0.5) * self.scale - 0.5


class _Canvas:
    """One picture being drawn on."""

    def __init__(self, image: Image, plan: _Plan, frame: int) -> None:
        self.image = image
        self.plan = plan
        self.frame = frame
        self._from_held = np.linalg.inv(plan.analysis.camera.to_first[frame])
        self._taken: list[Box] = []

    def place_held(self, held_px: Array) -> Array:
        """Points of the held picture (px) → this picture's."""
        return self.plan.place(apply_homography(self._from_held, held_px))

    def keep_free(self, xy_px: Array) -> None:
        """Let no label cover the box about some points."""
        (left, top), (right, bottom) = xy_px.min(axis=0), xy_px.max(axis=0)
        self._taken.append(Box(left=left, top=top, right=right, bottom=bottom))

    def label(self, text: str, x: float, below: float, above: float) -> None:
        """Write a text centred under a row, or over another one, at the first place that is free.

        Where ``above`` is NaN, or ``below`` is, only the other side is tried.
        """
        width, height = measure_text(text, self.plan.text)
        left = min(max(x - width / 2, 0), self.image.shape[1] - width)
        boxes = [
            Box(left=left, top=top, right=left + width, bottom=top + height)
            for top in self._rows(below, above, height)
        ]
        free = (one for one in boxes if not any(one.overlaps(other) for other in self._taken))
        chosen = next(free, boxes[0])
        self._taken.append(draw_text(self.image, text, (chosen.left, chosen.top), self.plan.text))

    def _rows(self, below: float, above: float, height: float) -> list[float]:
        steps = [0.5 * height * k for k in range(_LABEL_ROWS)]
        rows = [below + step for step in steps] + [above - height - step for step in steps]
        inside = [row for row in rows if 0 <= row <= self.image.shape[0] - height]
        return inside or [self.image.shape[0] - height]


def write_overlay(
    clip: FrameSource,
    analysis: Analysis,
    path: str | os.PathLike[str],
    *,
    width_px: int = 1280,
    crf: int = 24,
    preset: str = "ultrafast",
    progress: Progress = silent,
) -> int:
    """Write the clip again with what was measured drawn over it, as H.264 that plays in a browser.

    Parameters
    ----------
    clip : FrameSource
        The clip that was analysed; it is read once.
    analysis : Analysis
    path : path
        Ending in ``.mp4``.
    width_px : int
        Width of the written picture, unless the clip is narrower.
    crf : int
        Constant quality of the codec.
    preset : str
        Speed of the codec.
    progress : Progress

    Returns
    -------
    int
        How many pictures were written: at most 30 for each second of life.

    Raises
    ------
    ClipError
        If the clip cannot be read.
    OutputError
        If the file cannot be written.
    """
    width, height = clip.size_px
    scale = min(1.0, width_px / width)
    size_px = (round(width * scale), round(height * scale))
    total = analysis.clip.frames
    # Averaging areas costs more than drawing and coding together; it is needed only where pixels are skipped.
    smoothing = cv2.INTER_AREA if scale < 0.5 else cv2.INTER_LINEAR
    plan = _plan(analysis, size_px)
    with open_encoder(path, size_px=size_px, crf=crf, preset=preset) as encoder:
        for frame in _thin_out(clip, analysis.clip.timing.frame_rate):
            image: Any = frame.image
            if scale < 1:
                image = cv2.resize(image, size_px, interpolation=smoothing)
            _draw(image, plan, frame.index, frame.t)
            encoder.write(image, frame.t)
            progress("overlay", frame.index + 1, total)
        return encoder.frames


def draw_overlay_frame(image: Image, analysis: Analysis, frame: int, t: float) -> Image:
    """One picture of the clip with what was measured drawn over it.

    Parameters
    ----------
    image : (H, W, 3) uint8 array
        The picture, blue-green-red, at any scale; left as it is.
    analysis : Analysis
    frame : int
        Its index in the clip.
    t : float
        Its time (s).

    Returns
    -------
    (H, W, 3) uint8 array
    """
    drawn = image.copy()
    _draw(drawn, _plan(analysis, (image.shape[1], image.shape[0])), frame, t)
    return drawn


def _plan(analysis: Analysis, size_px: tuple[int, int]) -> _Plan:
    grown = max(min(size_px[0] / 1000, size_px[1] / 720), 0.45)
    length = find_display_length(analysis.prints, analysis.strides, analysis.ground, analysis.heading)
    return _Plan(
        analysis=analysis,
        scale=size_px[0] / analysis.clip.size_px[0],
        text=max(round(17 * grown), 9),
        line=max(round(2 * grown), 1),
        marker=max(7 * grown, 3.0),
        outlines=tuple(_outline_hoof(analysis, one, length) for one in analysis.prints),
        shown_from=tuple(_time_of(analysis, analysis.prints[one.hind_print]) for one in analysis.overreaches),
    )


def _draw(image: Image, plan: _Plan, frame: int, t: float) -> None:
    camera = plan.analysis.camera
    if frame < len(camera.held) and camera.held[frame]:
        canvas = _Canvas(image, plan, frame)
        _draw_prints(canvas)
        _draw_trails(canvas, t)
        _draw_overreaches(canvas, t)
        _draw_hooves(canvas)
    _draw_heading(image, plan, t)


def _thin_out(clip: FrameSource, frame_rate: float) -> Iterator[Frame]:
    """The frames nearest to a steady 30 a second of life; all of a slower clip."""
    due = 0.0
    for frame in clip:
        if frame.t + 0.5 / frame_rate >= due:
            due = max(due, frame.t - 0.5 / frame_rate) + 1 / _MOST_FRAMES_PER_SECOND
            yield frame


def _draw_prints(canvas: _Canvas) -> None:
    plan = canvas.plan
    for one, outline in zip(plan.analysis.prints, plan.outlines, strict=True):
        if canvas.frame >= one.frames[0]:
            draw_line(canvas.image, canvas.place_held(outline), _COLOURS[one.limb], plan.line, closed=True)


def _outline_hoof(analysis: Analysis, one: Print, length: float | None) -> Array:
    """The edge of a hoof whose toe tip made the print, in the held picture (px)."""
    turn = np.linspace(0, 2 * math.pi, _HOOF_POINTS, endpoint=False)[:, None]
    if length is None:
        return one.xy_px + _UNSCALED_HOOF_PX * np.hstack([np.cos(turn), 0.5 * np.sin(turn)])
    per_unit = 1.0 if analysis.ground.unit == "m" else length / _STRIDE
    long, wide = (side * per_unit / 2 for side in _HOOF)
    ahead = np.array(analysis.heading)
    across = np.array([-ahead[1], ahead[0]])
    edge = one.xy - long * ahead + long * np.cos(turn) * ahead + wide * np.sin(turn) * across
    return analysis.ground.to_picture(edge)


def _draw_trails(canvas: _Canvas, t: float) -> None:
    plan, camera = canvas.plan, canvas.plan.analysis.camera
    for track in plan.analysis.tracks:
        now = canvas.frame - int(track.frames[0])
        if not 0 <= now < len(track.frames):
            continue
        recent = slice(int(np.searchsorted(track.t, t - _TRAIL)), now + 1)
        held = camera.held[track.frames[recent]]
        points = canvas.place_held(camera.hold(track.frames[recent], track.xy_px[recent])[held])
        for run, seen in _split_runs(points, track.seen[recent][held]):
            draw_line(canvas.image, run, _COLOURS[track.limb], plan.line if seen else 1, cased=seen)


def _split_runs(points: Array, seen: NDArray[np.bool_]) -> Iterator[tuple[Array, bool]]:
    """Stretches of a trail that are seen throughout, or bridged, each reaching to the next one's start."""
    both = seen[1:] & seen[:-1]
    cuts = [0, *(np.flatnonzero(both[1:] != both[:-1]) + 1).tolist(), len(both)]
    for start, end in pairwise(cuts):
        if end > start:
            yield points[start : end + 1], bool(both[start])


def _draw_hooves(canvas: _Canvas) -> None:
    """Markers of the four hooves, those nearer to the camera on top, and their short names below."""
    plan = canvas.plan
    places = []
    for track in plan.analysis.tracks:
        k = canvas.frame - int(track.frames[0])
        if 0 <= k < len(track.frames):
            places.append((track.limb, plan.place(track.xy_px[k]), bool(track.seen[k])))
    places.sort(key=lambda place: side_of(place[0]) == plan.analysis.near_side)
    for limb, xy_px, seen in places:
        draw_marker(canvas.image, xy_px, _SHAPES[limb], _COLOURS[limb], plan.marker, filled=seen)
    for limb, (x, y), _ in reversed(places):
        canvas.label(_SHORT_NAMES[limb], x, y + plan.marker + 2, y - plan.marker - 2)


def _draw_overreaches(canvas: _Canvas, t: float) -> None:
    """A bar from the front print to the hind print, beside the walk, with the overreach in words."""
    plan = canvas.plan
    prints = plan.analysis.prints
    for one, since in zip(plan.analysis.overreaches, plan.shown_from, strict=True):
        if not since <= t <= since + _OVERREACH_SHOWN_FOR:
            continue
        toes = canvas.place_held(np.stack([prints[k].xy_px for k in (one.fore_print, one.hind_print)]))
        away = 1 if one.side == plan.analysis.near_side else -1
        row = (toes[:, 1].max() if away > 0 else toes[:, 1].min()) + away * 3.2 * plan.marker
        bar = np.stack([toes[:, 0], [row, row]], axis=1)
        for toe, end, k in zip(toes, bar, (one.fore_print, one.hind_print), strict=True):
            draw_line(canvas.image, np.stack([toe, end]), _COLOURS[prints[k].limb], max(plan.line - 1, 1))
        draw_line(canvas.image, bar, WHITE, plan.line + 1)
        canvas.keep_free(np.vstack([toes, bar]))
        text = f"{one.side} {say_overreach(one.value, doubt=False, short=True)}"
        sides = (row + 4, math.nan) if away > 0 else (math.nan, row - 4)
        canvas.label(text, float(bar[:, 0].mean()), *sides)


def _time_of(analysis: Analysis, one: Print) -> float:
    """Touch-down, or where that was not seen the first frame in which the hoof stood (s)."""
    if one.touch_down is not None:
        return one.touch_down
    for track in analysis.tracks:
        k = one.frames[0] - int(track.frames[0])
        if track.limb == one.limb and 0 <= k < len(track.frames):
            return float(track.t[k])
    return 0.0


def _draw_heading(image: Image, plan: _Plan, t: float) -> None:
    """The animal's tag, the clip's time and what the marks mean, over a darkened band at the top."""
    tag = plan.analysis.marks.animal.tag
    title = f"{f'animal {tag}    ' if tag else ''}{t:.2f} s of {plan.analysis.clip.duration:.2f} s"
    gap, indent = plan.text, round(2.8 * plan.marker)
    line_height = measure_text(title, plan.text)[1]
    places, left, row = [], gap / 2, 1
    for _, _, text in _LEGEND:
        width = indent + measure_text(text, plan.text)[0]
        if left + width > image.shape[1] and left > gap:
            left, row = gap / 2, row + 1
        places.append((left, row * line_height))
        left += width + gap
    darken(image, (row + 1) * line_height + 4)
    draw_text(image, title, (gap / 2, 2), plan.text)
    for (shape, colour, text), (left, top) in zip(_LEGEND, places, strict=True):
        middle = np.array([left + plan.marker, top + line_height / 2 + 2])
        if shape is None:
            ends = np.array([[-1.0, 0.0], [1.0, 0.0]]) * plan.marker + middle
            draw_line(image, ends, colour, plan.line + 1)
        else:
            draw_marker(image, middle, shape, colour, plan.marker * 0.8, filled=colour != WHITE)
        draw_text(image, text, (left + indent, top + 2), plan.text)
