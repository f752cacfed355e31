"""Small walks painted with blocks: ground strips with known bars, and frames with known hooves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from stride.detect.gait import WALK, Gait, Pattern
from stride.imaging.standing import HOLD, Standing
from stride.imaging.strip import STEP
from stride.walk.clip import Frame

Array = NDArray[np.float64]

SIZE_PX = (320, 180)
FLOOR_ROW = 60


def walking_gait(
    *,
    heading: int = 1,
    stride_px: float = 92.0,
    stride_time: float = 1.2,
    reach_px: tuple[float, float] = (6.0, 4.0),
    start: float = -0.8,
    levels: tuple[float, float] = (84.0, 76.0),
    width: int = 320,
    pattern: Pattern = WALK,
) -> Gait:
    """A steady walk through a band ``width`` columns wide; s = 0 stands at its beginning."""
    origin = 0.0 if heading > 0 else -(width - 1.0)
    return Gait(
        pattern=pattern,
        heading=heading,
        place=np.array([[origin + 30.0, stride_px, 0.0], [origin + 31.0, 0.96 * stride_px, 0.0]]),
        reach=np.array(reach_px),
        time=np.array([start, stride_time, 0.0]),
        time_shift=stride_time * np.array([0.0, 0.01, pattern.delay, pattern.delay + 0.01]),
        half=np.array([0.0, 0.5, 0.0, 0.5]),
        level=np.column_stack([[*levels, *levels], np.zeros(4)]),
        middle=(width - 1) / 2,
    )


def true_stances(
    gait: Gait, duration: float, width: int
) -> list[tuple[int, int, float, float, float, float]]:
    """Foot, number, toe column, level, start and end of every stance that touches the strip."""
    stances = []
    for foot in range(4):
        numbers = np.arange(-8, 12)
        one = gait.expect(foot, numbers.astype(float))
        for i, number in enumerate(numbers):
            toe, start, end = float(one.toe[i]), float(one.start[i]), float(one.end[i])
            if 0 <= toe < width and end > 0.3 and start < duration - 0.3:
                stances.append((foot, int(number), toe, float(one.level[i]), start, end))
    return stances


def paint_strip(
    gait: Gait,
    *,
    duration: float = 5.0,
    width: int = 320,
    missing: Sequence[tuple[int, int]] = (),
    false_bars: Sequence[tuple[float, float, float, float, float]] = (),
) -> Standing:
    """The strip of a walk: bars a hoof long, as ``find_standing`` would show them.

    ``missing`` names stances (foot, number) to leave out; ``false_bars`` adds others: left, right, level, start, end.
    """
    count = round(duration / STEP) + 1
    lowest = np.full((count, width), -1, dtype=np.int16)
    hoof = gait.hoof_px

    def paint(left: float, right: float, level: float, start: float, end: float) -> None:
        first, last = round(start / STEP) + HOLD, round(end / STEP) - HOLD
        part = lowest[max(0, first) : max(0, last + 1), max(0, round(left)) : max(0, round(right) + 1)]
        part[:] = np.maximum(part, round(level))

    for foot, number, toe, level, start, end in true_stances(gait, duration, width):
        if (foot, number) not in missing:
            ends = sorted((toe, toe - gait.heading * hoof))
            paint(*ends, level, start, end)
    for bar in false_bars:
        paint(*bar)
    empty = np.zeros((count, 1, width), dtype=np.uint8)
    return Standing(
        strength=empty,
        lowest=lowest,
        difference=empty.astype(np.int16),
        threshold=2.5,
        hold=HOLD,
        hoof=hoof,
    )


def paint_floor(seed: int = 0, size_px: tuple[int, int] = SIZE_PX) -> Array:
    """A grey floor with grain at several scales, and a darker wall above it."""
    rng = np.random.default_rng(seed)
    width, height = size_px
    floor = 120 + 6 * cv2.GaussianBlur(rng.standard_normal((height, width)), (0, 0), 6) * 6
    floor += 3 * rng.standard_normal((height, width))
    floor[:FLOOR_ROW] = 80 + 2 * rng.standard_normal((FLOOR_ROW, width))
    return np.asarray(floor, dtype=float)


def paint_frames(
    gaits: Sequence[Gait],
    *,
    duration: float = 5.0,
    frame_rate: float = 15.0,
    size_px: tuple[int, int] = SIZE_PX,
    seed: int = 0,
    standing: bool = False,
) -> Iterator[Frame]:
    """Frames in which block-footed animals walk: dark hooves, legs up to a body that rides above them.

    The rows of each gait's levels are rows of the whole picture. ``standing`` keeps the animal as it is at half time,
    with only its body nodding.
    """
    rng = np.random.default_rng(seed + 1)
    floor = paint_floor(seed, size_px).astype(np.float32)
    for index in range(round(duration * frame_rate) + 1):
        t = index / frame_rate
        picture = floor.copy()
        for gait in gaits:
            _paint_animal(picture, gait, duration / 2 if standing else t, 2 * np.sin(4 * t))
        luma = np.clip(picture + 1.5 * rng.standard_normal(picture.shape), 1, 255).astype(np.uint8)
        luma.setflags(write=False)
        yield Frame(index=index, t=t, luma=luma, load_image=partial(cv2.cvtColor, luma, cv2.COLOR_GRAY2BGR))


def _paint_animal(picture: NDArray[np.float32], gait: Gait, t: float, nod: float) -> None:
    hoof, heading = gait.hoof_px, gait.heading
    toes = [_toe_at(gait, foot, t) for foot in range(4)]
    fore, hind = (float(np.mean([toes[i][0], toes[i + 1][0]])) for i in (0, 2))
    shoulder, hip = fore - 0.3 * heading * hoof, hind - 0.3 * heading * hoof
    top = FLOOR_ROW - 40 + round(nod)
    for foot in (1, 3, 0, 2):
        x, row = toes[foot]
        tone = 30 + 6 * foot
        ends = sorted((x, x - heading * hoof))
        above = max(3.0, 0.7 * hoof)
        _fill(picture, ends[0], ends[1], row - above, row, tone)
        joint = (shoulder if foot < 2 else hip, FLOOR_ROW - 12.0)
        middle = (x - 0.6 * heading * hoof, row - above)
        ends_px = [(round(16 * x), round(16 * y)) for x, y in (middle, joint)]
        cv2.line(picture, ends_px[0], ends_px[1], tone + 10, max(1, round(0.5 * hoof)), cv2.LINE_8, 4)
    body = sorted((shoulder + heading * hoof, hip - heading * hoof))
    _fill(picture, body[0], body[1], top, FLOOR_ROW - 8, 45)


def _toe_at(gait: Gait, foot: int, t: float) -> tuple[float, float]:
    """Column and row of a toe tip: still while it stands, in the air on its way to the next place."""
    numbers = np.arange(-8.0, 12.0)
    one = gait.expect(foot, numbers)
    k = int(np.clip(np.searchsorted(one.start, t, side="right") - 1, 0, len(numbers) - 2))
    if t <= one.end[k]:
        return float(one.toe[k]), float(one.level[k])
    share = (t - one.end[k]) / (one.start[k + 1] - one.end[k])
    lift = 0.6 * gait.hoof_px * np.sin(np.pi * share)
    return float(one.toe[k] + share * (one.toe[k + 1] - one.toe[k])), float(one.level[k] - lift)


def _fill(
    picture: NDArray[np.float32], left: float, right: float, top: float, bottom: float, tone: float
) -> None:
    x0, x1 = (
        int(np.clip(round(left), 0, picture.shape[1])),
        int(np.clip(round(right) + 1, 0, picture.shape[1])),
    )
    y0, y1 = (
        int(np.clip(round(top), 0, picture.shape[0])),
        int(np.clip(round(bottom) + 1, 0, picture.shape[0])),
    )
    picture[y0:y1, x0:x1] = tone
