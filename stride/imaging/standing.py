"""What stands still on the floor for a while, and was not there before or after."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from .strip import Band

Array = NDArray[np.float64]
Float32 = NDArray[np.float32]
Image = NDArray[np.uint8]
Bools = NDArray[np.bool_]

#: A thing stands in a picture if it looks the same in this many pictures before it and after it. A stance shows only so
#: long after it began and before it ended.
HOLD = 2
# Pictures apart that are compared to see where anything moves.
_APART = 2
# Rows that are judged together whether anything moves there, and how many pixels of them, and which share of a whole
# column, must change.
_BLOCK, _MOVED, _MOVED_SHARE = 12, 3, 0.04
# Half the window, in 0.4 hooves, within which a shadow darkens more than half and a print less.
_WIDE = 5
# How long they must be at rest to show the floor, how much of that is used, and how close to a motion (pictures).
_QUIET, _USED, _MARGIN = 5, 11, 2
# Brightness steps of the shading picture; columns and rows it is shrunk by; and the window of its median, then: wide
# and low, as shadows are.
_SHADES, _SHRINK, _WINDOW = 96.0, (6, 1), 7
# Rough length of a hoof as a share of the picture's width; what is lower than a quarter of it is no foot but grit or
# the edge of a shadow, and what is wider than 3.5 of it is a shadow or a body.
HOOF_SHARE = 0.022
_LOWEST, _WIDEST = 0.25, 3.5
# Share of the brightness step between neighbouring pixels that a picture of a moving camera may be off by.
_OFF_PLACE = 0.3
# Grey levels, and multiples of the picture's noise, above which a difference counts.
_LEAST_LEVELS, _NOISES = 2.5, 1.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """The empty floor of a band.

    The floor after a hoof stood on it may differ from the floor before: soft ground keeps the print. So each part
    has two pictures, from before anything moved there and from after.

    Parameters
    ----------
    before, after : (h, w) float32 array
        Brightness; the same where only one time was seen.
    known : (h, w) bool array
        False where something moved there throughout.
    noise : float
        Standard deviation of the brightness of one pixel from picture to picture (grey levels).
    travel : float
        How far what moves has travelled along the picture, in picture widths; 0 where nothing moves.
    """

    before: Float32
    after: Float32
    known: Bools
    noise: float
    travel: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What stood still, by picture of the band.

    Parameters
    ----------
    strength : (n, h, w) uint8 array
        Least difference from the shaded floor (grey levels) over the pictures from ``HOLD`` before to ``HOLD`` after;
        0 where the difference changed its sign, as it does when something moves past.
    lowest : (n, w) int array
        Lowest row of each column in which something stood; −1 for none. Stacked over time this is the ground strip.
    difference : (n, h, w) int16 array
        Difference from the shaded floor in each picture (grey levels).
    threshold : float
        Strength above which something counts as standing.
    hold : int
        Pictures before and after in which it must look the same.
    hoof : float
        Rough length of a hoof (band px).
    """

    strength: Image
    lowest: NDArray[np.int16]
    difference: NDArray[np.int16]
    threshold: float
    hold: int
    hoof: float


def estimate_floor(band: Band) -> Floor:
    """The empty floor, from the times when nothing moved in each part of it.

    Parameters
    ----------
    band : Band

    Returns
    -------
    Floor
    """
    pixels = band.pixels
    n, height, _ = pixels.shape
    parts, columns, noise = _find_motion(pixels)
    turned = bool((pixels[:, height // 2] == 0).any())
    first, last = _choose_rest(_rest_of(parts), _rest_of(columns), n, turned=turned)
    step = np.arange(_USED)[:, None, None]
    before, early = _quiet_median(pixels, first - 1 - step)
    after, late = _quiet_median(pixels, last + 1 + step)
    # A part that is altogether darker at one of the two times lay in a shadow that stood there.
    ratio = _widely(_block_means(before) / np.maximum(_block_means(after), 4.0), HOOF_SHARE * band.view_width)
    apart = np.repeat((early >= _QUIET) & (late >= _QUIET), _BLOCK, axis=0)[:height]
    apart &= np.repeat((ratio < 0.92) | (ratio > 1.08), _BLOCK, axis=0)[:height]
    early, late = (np.repeat(count, _BLOCK, axis=0)[:height] for count in (first, n - 1 - last))
    use_early = (before > 0) & ~(apart & (late > early))
    use_late = (after > 0) & ~(apart & (late <= early))
    one = np.where(use_early, before, after)
    if not (use_early | use_late).all():
        usual = _median_seen(pixels[:: max(1, n // _USED)])
        one = np.where(use_early | use_late, one, usual)
    other = np.where(use_late, after, one)
    return Floor(
        before=one,
        after=other,
        known=use_early | use_late,
        noise=noise,
        travel=_measure_travel(columns[:, 0]) / band.view_width,
    )


def find_standing(band: Band, floor: Floor, hold: int = HOLD) -> Standing:
    """What stood still against the floor, shadows on it taken out.

    A shadow darkens the floor by a factor that hardly changes along the picture; a hoof has its own brightness and is
    narrow. So the floor is first multiplied by the local median of (picture / floor), taken over a window wide and
    low, and what still differs is no shadow. A leg in swing, the edge of a shadow and the rump above all move on
    within ``hold`` pictures; a standing hoof does not.

    Parameters
    ----------
    band : Band
    floor : Floor
    hold : int

    Returns
    -------
    Standing
    """
    difference = _subtract_floor(band.pixels, floor)
    excused = _excuse_detail(band, floor)
    bright = _least_around(np.clip(difference - excused, 0, 255).astype(np.uint8), hold)
    dark = _least_around(np.clip(-difference - excused, 0, 255).astype(np.uint8), hold)
    strength = np.maximum(bright, dark)
    threshold = max(_LEAST_LEVELS, _NOISES * floor.noise)
    hoof = HOOF_SHARE * band.view_width
    return Standing(
        strength=strength,
        lowest=_find_lowest(strength, threshold, hoof),
        difference=difference,
        threshold=threshold,
        hold=hold,
        hoof=hoof,
    )


def raise_threshold(standing: Standing, factor: float) -> Standing:
    """The same with a strip of only what stands out ``factor`` times as much, for a floor whose own detail shows."""
    lowest = _find_lowest(standing.strength, factor * standing.threshold, standing.hoof)
    return replace(standing, lowest=lowest)


def _find_lowest(strength: Image, threshold: float, hoof: float) -> NDArray[np.int16]:
    """Lowest row of each column that something as high as a hoof, and not much wider, stands in; −1 for none."""
    count, height, width = strength.shape
    lowest = np.full((count, width), -1, dtype=np.int16)
    block = np.ones((max(3, round(_LOWEST * hoof)), 3), np.uint8)
    beam = np.ones((1, max(5, round(_WIDEST * hoof))), np.uint8)
    for k, one in enumerate(strength):
        high = cv2.morphologyEx((one > threshold).astype(np.uint8), cv2.MORPH_OPEN, block)
        stands = (high > 0) & (cv2.morphologyEx(high, cv2.MORPH_OPEN, beam) == 0)
        any_row = stands.any(axis=0)
        lowest[k, any_row] = height - 1 - stands[::-1, any_row].argmax(axis=0)
    return lowest


def _median_seen(pixels: Image) -> Float32:
    """Median over the times the camera looked; 0 where it looked only a few times."""
    median, count = _median_of_nonzero(pixels)
    return np.where(count >= min(_QUIET, len(pixels)), median, np.float32(0))


def _median_of_nonzero(pixels: Image) -> tuple[Float32, NDArray[np.intp]]:
    """Median over time of what is not 0, and how many those are."""
    ordered = np.sort(pixels, axis=0)
    count = (ordered > 0).sum(axis=0)
    middle = np.minimum(len(pixels) - count + count // 2, len(pixels) - 1)
    return np.take_along_axis(ordered, middle[None], axis=0)[0].astype(np.float32), count


def _quiet_median(pixels: Image, pictures: NDArray[np.intp]) -> tuple[Float32, NDArray[np.intp]]:
    """Median over the given pictures of each part, 0 where too few show it; and how many pictures there are.

    ``pictures`` is (k, blocks, w); those outside the band's time do not count.
    """
    n, height, _ = pixels.shape
    inside = (pictures >= 0) & (pictures < n)
    rows = np.repeat(np.clip(pictures, 0, n - 1), _BLOCK, axis=1)[:, :height]
    taken = np.take_along_axis(pixels, rows, axis=0)
    taken[~np.repeat(inside, _BLOCK, axis=1)[:, :height]] = 0
    median, count = _median_of_nonzero(taken)
    return np.where(count >= _QUIET, median, np.float32(0)), inside.sum(axis=0)


def _block_means(picture: Float32) -> Array:
    height, width = picture.shape
    padded = np.pad(picture, ((0, -height % _BLOCK), (0, 0)), mode="edge")
    return np.asarray(padded.reshape(-1, _BLOCK, width).mean(axis=1), dtype=float)


def _widely(values: Array, hoof: float) -> Array:
    """Median along each row over a window several hooves wide: shadows are wide, prints are not."""
    thin = max(1, round(0.4 * hoof))
    some = values[:, ::thin]
    window = 2 * _WIDE + 1
    padded = np.pad(some, ((0, 0), (_WIDE, _WIDE)), mode="edge")
    median = np.median(np.lib.stride_tricks.sliding_window_view(padded, window, axis=1), axis=-1)
    return np.asarray(np.repeat(median, thin, axis=1)[:, : values.shape[1]], dtype=float)


def _find_motion(pixels: Image) -> tuple[Bools, Bools, float]:
    """Where anything moved, by part (n, blocks, w) and by whole column (n, 1, w); and the noise of a pixel."""
    n, height, width = pixels.shape
    early, late = pixels[:-_APART:3, ::3, ::3], pixels[_APART::3, ::3, ::3]
    jumps = (np.maximum(early, late) - np.minimum(early, late))[(early > 0) & (late > 0)]
    noise = max(1.0, 1.48 * float(np.median(jumps))) if jumps.size else 1.0
    blocks = -(-height // _BLOCK)
    parts = np.zeros((n, blocks, width), dtype=np.uint8)
    columns = np.zeros((n, 1, width), dtype=np.uint8)
    counts = np.zeros((blocks * _BLOCK, width), np.uint8)
    for k in range(n - _APART):
        change = cv2.blur(cv2.absdiff(pixels[k], pixels[k + _APART]), (3, 3)) > max(4.0, 3 * noise)
        counts[:height] = change & (pixels[k] > 0) & (pixels[k + _APART] > 0)
        moved = counts.reshape(blocks, _BLOCK, width).sum(axis=1)
        for when in (k, k + _APART):
            parts[when] |= moved >= _MOVED
            columns[when, 0] |= moved.sum(axis=0) >= max(_MOVED, _MOVED_SHARE * height)
    square = np.ones((3, 3), np.uint8)
    for layers in (parts, columns):
        for block in range(layers.shape[1]):
            layer = np.ascontiguousarray(layers[:, block])
            layers[:, block] = cv2.morphologyEx(layer, cv2.MORPH_OPEN, square)
    return parts > 0, columns > 0, noise


def _measure_travel(moving: Bools) -> float:
    """How far the middle of what moves travels, from one end to the other (columns)."""
    middles = [float(np.median(np.flatnonzero(row))) for row in moving if row.sum() > 3]
    return float(np.ptp(np.percentile(middles, [5, 95]))) if len(middles) > 3 else 0.0


def _rest_of(moving: Bools) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and last picture in which anything moves, a margin added; the middle twice where nothing ever does."""
    n = len(moving)
    anywhere = moving.any(axis=0)
    first = np.where(anywhere, moving.argmax(axis=0) - _MARGIN, n // 2)
    last = np.where(anywhere, n - 1 - moving[::-1].argmax(axis=0) + _MARGIN, n // 2 - 1)
    return first, last


def _choose_rest(
    part: tuple[NDArray[np.intp], NDArray[np.intp]],
    column: tuple[NDArray[np.intp], NDArray[np.intp]],
    n: int,
    *,
    turned: bool,
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Begin and end of the motion in each part.

    Over a column at rest there is no animal at all. Rows at rest alone may hold a standing hoof, or lie in the body's
    shadow; a camera that ``turned`` with the animal has no better where the column was never at rest in view.
    """
    shape = part[0].shape
    begin, end = (np.broadcast_to(one, shape) for one in column)
    early, late = begin >= _QUIET, n - 1 - end >= _QUIET
    if turned:
        never = ~early & ~late
        begin, end = np.where(never, part[0], begin), np.where(never, part[1], end)
        early, late = early | never, late | never
    return np.where(early, begin, -1), np.where(late, end, n)


def _subtract_floor(pixels: Image, floor: Floor) -> NDArray[np.int16]:
    """Picture minus shaded floor; of the floors before and after, whichever is nearer."""
    inverse = (_SHADES / np.maximum(floor.before, 4.0)).astype(np.float32)
    same = bool(np.array_equal(floor.before, floor.after))
    unknown = floor.before == 0
    difference = np.empty(pixels.shape, dtype=np.int16)
    for k, picture in enumerate(pixels):
        shading = _local_median(np.asarray(cv2.multiply(picture, inverse, dtype=cv2.CV_8U), dtype=np.uint8))
        one = _less_shaded(picture, shading, floor.before)
        if not same:
            other = _less_shaded(picture, shading, floor.after)
            one = np.where(np.abs(one) < np.abs(other), one, other)
        one[unknown | (picture == 0)] = 0
        difference[k] = one
    return difference


def _less_shaded(picture: Image, shading: Image, floor: Float32) -> NDArray[np.int16]:
    shaded = cv2.multiply(shading, floor, scale=1 / _SHADES, dtype=cv2.CV_16S)
    return np.asarray(cv2.subtract(picture, shaded, dtype=cv2.CV_16S), dtype=np.int16)


def _excuse_detail(band: Band, floor: Floor) -> NDArray[np.int16]:
    """Difference (grey levels) that a picture laid a little off its place would show against the floor's own detail."""
    if (band.pixels[:, band.pixels.shape[1] // 2] > 0).all():
        return np.zeros(floor.before.shape, dtype=np.int16)
    block = np.ones((3, 3), np.uint8)
    detail = np.maximum(
        *(cv2.morphologyEx(one, cv2.MORPH_GRADIENT, block) for one in (floor.before, floor.after))
    )
    return np.rint(_OFF_PLACE * detail).astype(np.int16)


def _local_median(ratio: Image) -> Image:
    height, width = ratio.shape
    small = (max(1, width // _SHRINK[0]), max(1, height // _SHRINK[1]))
    median = cv2.medianBlur(cv2.resize(ratio, small, interpolation=cv2.INTER_AREA), _WINDOW)
    return np.asarray(cv2.resize(median, (width, height), interpolation=cv2.INTER_LINEAR), dtype=np.uint8)


def _least_around(values: Image, hold: int) -> Image:
    """Least value over the pictures from ``hold`` before to ``hold`` after; beyond the ends there are none."""
    out = values.copy()
    for shift in range(1, hold + 1):
        np.minimum(out[shift:], values[:-shift], out=out[shift:])
        np.minimum(out[:-shift], values[shift:], out=out[:-shift])
    return out
