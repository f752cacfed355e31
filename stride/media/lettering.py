"""Text and shapes with a dark casing, legible on any floor."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any, Final, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from ..walk.clip import Image

Array = NDArray[np.float64]
Colour = tuple[int, int, int]
MarkerShape = Literal["square", "triangle"]

DARK: Final[Colour] = (24, 20, 18)
WHITE: Final[Colour] = (255, 255, 255)
_WEIGHT: Final = 600
_LINE_HEIGHT: Final = 1.3
#: Drawn positions are rounded to 1/16 px.
_SHIFT: Final = 4
_FAR: Final = 20_000.0
_SQUARE: Final = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=float) * 0.86
_TRIANGLE: Final = np.array([[0, -1.15], [1.1, 0.85], [-1.1, 0.85]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle of the picture (px)."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Box) -> bool:
        """Whether the two share any area."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass(frozen=True, slots=True)
class _Stamp:
    """A text once drawn: letters on the casing's colour, and where to copy them to."""

    picture: Image
    mask: Image


def measure_text(text: str, size: int) -> tuple[int, int]:
    """Width and height (px) that a text takes, its casing included."""
    height, width = _stamp(text, size, WHITE).mask.shape
    return width, height


def draw_text(
    image: Image, text: str, left_top: tuple[float, float], size: int, colour: Colour = WHITE
) -> Box:
    """Draw a line of text onto a picture, in place.

    Parameters
    ----------
    image : (H, W, 3) uint8 array
    text : str
        A character the font lacks is shown as a question mark.
    left_top : (float, float)
        Of the text's box (px); what falls outside the picture is left out.
    size : int
        Of the font (px).
    colour : (int, int, int)
        Blue, green, red.

    Returns
    -------
    Box
    """
    stamp = _stamp(text, size, colour)
    left, top = round(left_top[0]), round(left_top[1])
    height, width = stamp.mask.shape
    rows, columns = _inside(top, height, image.shape[0]), _inside(left, width, image.shape[1])
    part = image[top + rows.start : top + rows.stop, left + columns.start : left + columns.stop]
    if part.size:
        cv2.copyTo(stamp.picture[rows, columns], stamp.mask[rows, columns], part)
    return Box(left=left, top=top, right=left + width, bottom=top + height)


def draw_line(
    image: Image, xy_px: Array, colour: Colour, width: int, *, closed: bool = False, cased: bool = True
) -> None:
    """Draw a line through (N, 2) points (px) onto a picture, in place."""
    points = [_fixed(xy_px)]
    if cased:
        cv2.polylines(image, points, closed, DARK, width + 2, cv2.LINE_8, _SHIFT)
    cv2.polylines(image, points, closed, colour, width, cv2.LINE_AA, _SHIFT)


def draw_marker(
    image: Image, xy_px: Array, shape: MarkerShape, colour: Colour, radius: float, *, filled: bool
) -> None:
    """Draw a square or a triangle about a point (px) onto a picture, in place; hollow unless ``filled``."""
    corners = (_SQUARE if shape == "square" else _TRIANGLE) * radius + xy_px
    stroke = max(1, round(radius / 3))
    if not filled:
        draw_line(image, corners, colour, stroke, closed=True)
        return
    points = _fixed(corners)
    cv2.polylines(image, [points], True, DARK, stroke + 3, cv2.LINE_AA, _SHIFT)
    cv2.fillConvexPoly(image, points, colour, cv2.LINE_AA, _SHIFT)
    cv2.polylines(image, [points], True, WHITE, max(1, stroke // 2), cv2.LINE_AA, _SHIFT)


def darken(image: Image, bottom: int) -> None:
    """Halve the brightness of the picture down to a row, in place, as a ground for text."""
    band = image[:bottom]
    np.right_shift(band, 1, out=band)


def _fixed(xy_px: Array) -> NDArray[np.int32]:
    # Far outside the picture only the direction matters, and large numbers would overflow.
    limited = np.minimum(np.maximum(xy_px, -_FAR), _FAR)
    return np.rint(limited * 2**_SHIFT).astype(np.int32)


def _inside(start: int, length: int, size: int) -> slice:
    first = min(max(-start, 0), length)
    return slice(first, max(min(length, size - start), first))


@cache
def _font() -> Any:
    return cv2.FontFace("sans")


@lru_cache(maxsize=512)
def _stamp(text: str, size: int, colour: Colour) -> _Stamp:
    line = "".join(one if one.isprintable() else "?" for one in text)
    casing = max(2, round(size / 9))
    left, _, width, _ = cv2.getTextSize((1 << 14, 1 << 10), line, (0, 0), _font(), size, _WEIGHT)
    shape = round(_LINE_HEIGHT * size) + 2 * casing, max(width, 1) + 2 * casing
    letters = np.zeros(shape, np.uint8)
    picture = np.full((*shape, 3), DARK, np.uint8)
    at = casing - left, casing + size
    cv2.putText(letters, line, at, 255, _font(), size, _WEIGHT)
    cv2.putText(picture, line, at, colour, _font(), size, _WEIGHT)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * casing + 1, 2 * casing + 1))
    mask: Any = cv2.dilate(np.where(letters > 96, 255, 0).astype(np.uint8), kernel)
    return _Stamp(picture, mask | letters)
