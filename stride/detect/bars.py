"""Upright bars of the ground strip: places where something stood on the floor for a while."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..imaging.standing import Standing
from ..imaging.strip import STEP
from ..numeric.groups import group_linked

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

# Smallest piece that is looked at (pixels × pictures), and shortest stance (s).
_LEAST_AREA = 12
_SHORTEST = 0.3
# A bar narrows to this share where one foot leaves and the next arrives on nearly the same place.
_WAIST = 0.7
_LEAST_HALF = 5
# Share of all bars, by area, that may stand at stray depths: most of these lie above, on wall and body.
_STRAY = 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One bar of the strip.

    Parameters
    ----------
    start, end : float
        When it stood (s).
    left, right : float
        Its edges (band px).
    row : float
        Lowest row (band px).
    area : int
        Pixels × pictures.
    upright : float
        1 for edges that stay in place, falling towards 0 for edges that drift as a shadow does.
    begun : bool
        False where it stood from the first picture on, so that its start is not known.
    """

    start: float
    end: float
    left: float
    right: float
    row: float
    area: int
    upright: float
    begun: bool


def find_bars(standing: Standing, hoof_px: float) -> list[Bar]:
    """Bars of a strip.

    Neighbouring columns and pictures belong together where their lowest rows differ by one at most. What overhangs
    a lower bar beside it, as a pastern does its hoof, is left out.

    Parameters
    ----------
    standing : Standing
    hoof_px : float
        Rough length of a hoof (band px).
    """
    bars = []
    lowest, margin = standing.lowest, standing.hold * STEP
    for times, columns, rows in _join(lowest):
        for part in _split(times, columns):
            bar = _measure(times[part], columns[part], rows[part], margin, hoof_px)
            if bar is not None:
                bars.append(bar)
    return _drop_overhangs(bars, hoof_px)


def find_slope(bars: Sequence[Bar], middle: float) -> float:
    """Slope of the line of walk in the band (rows per column): the one in which the bars' feet line up best."""
    row = np.array([bar.row for bar in bars])
    x = np.array([0.5 * (bar.left + bar.right) for bar in bars]) - middle
    weight = np.array([bar.area for bar in bars], dtype=float)
    slopes = np.arange(-0.2, 0.2001, 0.005)
    sharpness = []
    for slope in slopes:
        level = row - slope * x
        counts = np.bincount(np.rint(level - level.min()).astype(int), weights=weight)
        sharpness.append(float((np.convolve(counts, [0.5, 1.0, 0.5]) ** 2).sum()))
    return float(slopes[int(np.argmax(sharpness))])


def find_levels(bars: Sequence[Bar], slope: float, middle: float) -> tuple[float, float]:
    """Least and greatest depth of the bars: their lowest rows with the slope of the line of walk taken out."""
    if not bars:
        return 0.0, 0.0
    levels = [bar.row - slope * (0.5 * (bar.left + bar.right) - middle) for bar in bars]
    weights = [bar.area for bar in bars]
    order = np.argsort(levels)
    share = np.cumsum(np.array(weights)[order]) / sum(weights)
    inside = order[(share > _STRAY) & (share < 1 - 0.2 * _STRAY)]
    kept = np.array(levels)[inside if len(inside) else order]
    return float(kept.min()), float(kept.max())


def _join(lowest: NDArray[np.int16]) -> list[tuple[Indices, Indices, Indices]]:
    """Groups of joined strip pixels: picture, column and lowest row of each."""
    n, width = lowest.shape
    index = np.arange(n * width).reshape(n, width)
    good = lowest >= 0
    ends = []
    for a, b in ((np.s_[:-1], np.s_[1:]), (np.s_[:, :-1], np.s_[:, 1:])):
        near = good[a] & good[b] & (np.abs(lowest[a] - lowest[b]) <= 1)
        ends.append((index[a][near], index[b][near]))
    first, second = (np.concatenate(side) for side in zip(*ends, strict=True))
    groups = group_linked(n * width, first, second) if len(first) else []
    out = []
    for group in groups:
        if len(group) >= _LEAST_AREA:
            times, columns = np.divmod(group, width)
            out.append((times, columns, lowest[times, columns].astype(np.intp)))
    return out


def _split(times: Indices, columns: Indices) -> list[NDArray[np.bool_]]:
    """Parts of a group before and after a waist in time, as masks of its members."""
    start, count = int(times.min()), int(np.ptp(times)) + 1
    whole = np.ones(len(times), dtype=bool)
    if count < 2 * _LEAST_HALF:
        return [whole]
    width = np.bincount(times - start, minlength=count).astype(float)
    broad = float(np.percentile(width, 75))
    tries = []
    for cut in range(_LEAST_HALF, count - _LEAST_HALF + 1):
        before, after = np.median(width[max(0, cut - 6) : cut - 1]), np.median(width[cut + 1 : cut + 7])
        tries.append((float(width[cut - 1 : cut + 1].min() / max(1.0, min(before, after))), cut))
    waist, cut = min(tries)
    sides = min(np.median(width[:cut]), np.median(width[cut:]))
    if waist >= _WAIST or sides < 0.4 * broad:
        return [whole]
    early = times - start < cut
    parts = []
    for side in (early, ~early):
        where = np.flatnonzero(side)
        for part in _split(times[where], columns[where]):
            mask = np.zeros(len(times), dtype=bool)
            mask[where[part]] = True
            parts.append(mask)
    return parts


def _measure(times: Indices, columns: Indices, rows: Indices, margin: float, hoof_px: float) -> Bar | None:
    if len(times) < _LEAST_AREA:
        return None
    start, end = int(times.min()), int(times.max())
    count = end - start + 1
    left, right = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(left, times - start, columns)
    np.maximum.at(right, times - start, columns)
    shown = np.flatnonzero(np.isfinite(left))
    width = float(np.median(right[shown]) - np.median(left[shown])) + 1
    if width < 0.3 * hoof_px or (count - 1) * STEP + 2 * margin < _SHORTEST or count < 2:
        return None
    return Bar(
        start=start * STEP - margin - 0.5 * STEP,
        end=end * STEP + margin + 0.5 * STEP,
        left=float(np.median(left[shown])),
        right=float(np.median(right[shown])),
        row=float(np.median(rows)),
        area=len(times),
        upright=_uprightness(shown, left[shown], right[shown], count, hoof_px),
        begun=start * STEP > margin,
    )


def _uprightness(shown: Indices, left: Array, right: Array, count: int, hoof_px: float) -> float:
    if len(shown) < 3:
        return 1.0
    away = shown - shown.mean()
    drift = min(abs(float(away @ edge)) for edge in (left, right)) / float(away @ away) * count
    return float(np.exp(-((drift / (0.6 * hoof_px)) ** 2)))


def _drop_overhangs(bars: Sequence[Bar], hoof_px: float) -> list[Bar]:
    kept = []
    for bar in bars:
        for other in bars:
            if not 2 <= other.row - bar.row <= 1.3 * hoof_px or other.area < 0.5 * bar.area:
                continue
            gap = max(other.left - bar.right, bar.left - other.right)
            together = min(bar.end, other.end) - max(bar.start, other.start)
            if gap <= 2 and together > 0.75 * (bar.end - bar.start):
                break
        else:
            kept.append(bar)
    return kept
