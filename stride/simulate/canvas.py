"""A supersampled piece of picture that shapes and cut-outs are painted on, back to front."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Colour = tuple[float, float, float]

FINER = 2
"""Canvas pixels per picture pixel, along each axis."""

_SHIFT = 4
_OPAQUE = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutout:
    """A painted shape with its outline in the alpha channel.

    Parameters
    ----------
    image : (H, W, 4) uint8 array
        Blue, green, red, alpha; colour continues beyond the outline.
    px_per_m : float
    start_px, end_px : (float, float)
        The two joints (or pins) the shape hangs between, in its own pixels.
    melts : bool
        Whether its alpha is gradual somewhere; a sharp shape is quicker to paste.
    """

    image: Image
    px_per_m: float
    start_px: tuple[float, float]
    end_px: tuple[float, float]
    melts: bool = False


class Canvas:
    """A window of the picture, ``FINER`` times finer, with alpha.

    Parameters
    ----------
    corner_px : (int, int)
        Picture pixel at the window's top left.
    size_px : (int, int)
        Width and height in picture pixels.
    """

    def __init__(self, corner_px: tuple[int, int], size_px: tuple[int, int]) -> None:
        self.corner_px = corner_px
        self.size_px = size_px
        self.fine: Image = np.zeros((size_px[1] * FINER, size_px[0] * FINER, 4), np.uint8)

    def to_fine(self, xy_px: Array) -> Array:
        """Picture pixels → canvas pixels, both counted from pixel centres."""
        return (np.asarray(xy_px, dtype=float) - self.corner_px) * FINER + (FINER - 1) / 2

    def paint_shape(self, xy_px: Array, colour: Colour) -> None:
        """Fill a polygon given in picture pixels, (N, 2)."""
        self.fill(self.fixed(xy_px), colour)

    def fixed(self, xy_px: Array) -> NDArray[np.int32]:
        """Picture pixels, (N, 2), → the fixed-point canvas pixels that ``fill`` takes."""
        return np.round(self.to_fine(xy_px) * (1 << _SHIFT)).astype(np.int32)

    def fill(self, fixed: NDArray[np.int32], colour: Colour) -> None:
        """Fill a polygon given in fixed-point canvas pixels, (N, 2)."""
        cv2.fillPoly(self.fine, [fixed], (*colour, 255), lineType=cv2.LINE_8, shift=_SHIFT)

    def paint_line(self, xy_px: Array, colour: Colour, width_px: float) -> None:
        """Draw an open line through (N, 2) picture pixels."""
        width = max(1, round(width_px * FINER))
        cv2.polylines(self.fine, [self.fixed(xy_px)], False, (*colour, 255), width, cv2.LINE_8, _SHIFT)

    def paint_disc(self, xy_px: Array, colour: Colour, radius_px: float) -> None:
        """Fill a disc about one point in picture pixels."""
        centre = np.round(self.to_fine(xy_px) * (1 << _SHIFT)).astype(int)
        radius = max(1, round(radius_px * FINER * (1 << _SHIFT)))
        cv2.circle(
            self.fine, (int(centre[0]), int(centre[1])), radius, (*colour, 255), -1, cv2.LINE_8, _SHIFT
        )

    def hang(self, cutout: Cutout, start_px: Array, end_px: Array, px_per_m: float) -> None:
        """Paste a cut-out between two points, stretched along them and ``px_per_m`` large across them."""
        a, b = np.asarray(cutout.start_px), np.asarray(cutout.end_px)
        p, q = self.to_fine(start_px), self.to_fine(end_px)
        source, target = b - a, q - p
        long, far = math.hypot(*source), max(math.hypot(*target), 1e-3)
        u, v = source / long, target / far
        across = px_per_m * FINER / cutout.px_per_m
        along = far / long
        turn = along * np.outer(v, u) + across * np.outer([-v[1], v[0]], [-u[1], u[0]])
        to_fine = np.vstack([np.column_stack([turn, p - turn @ a]), [0.0, 0.0, 1.0]])
        self.paste(cutout.image, to_fine, melts=cutout.melts)

    def paste(self, image: Image, to_fine: Array, *, melts: bool = False) -> None:
        """Paste a BGRA picture through a (3, 3) homography from its pixels to canvas pixels."""
        height, width = image.shape[:2]
        corners = np.array([[[0, 0], [width, 0], [width, height], [0, height]]], dtype=float)
        spots = cv2.perspectiveTransform(corners, to_fine)[0]
        low = np.maximum(np.floor(spots.min(axis=0)).astype(int), 0)
        high = np.minimum(np.ceil(spots.max(axis=0)).astype(int) + 1, self.fine.shape[1::-1])
        if np.any(high <= low):
            return
        shifted = np.array([[1.0, 0.0, -low[0]], [0.0, 1.0, -low[1]], [0.0, 0.0, 1.0]]) @ to_fine
        size = (int(high[0] - low[0]), int(high[1] - low[1]))
        if abs(shifted[2, 0]) + abs(shifted[2, 1]) < 1e-12:
            drawn = cv2.warpAffine(image, shifted[:2] / shifted[2, 2], size, flags=cv2.INTER_LINEAR)
        else:
            drawn = cv2.warpPerspective(image, shifted, size, flags=cv2.INTER_LINEAR)
        window = self.fine[low[1] : high[1], low[0] : high[0]]
        alpha = np.asarray(cv2.extractChannel(drawn, 3), dtype=np.uint8)
        if melts:
            weight = cv2.merge([alpha] * 4)
            cv2.insertChannel(np.full_like(alpha, 255), drawn, 3)
            cv2.multiply(drawn, weight, drawn, 1 / 255)
            cv2.multiply(window, cv2.bitwise_not(weight), window, 1 / 255)
            cv2.add(window, drawn, window)
        else:
            _, mask = cv2.threshold(alpha, _OPAQUE - 1, 255, cv2.THRESH_BINARY)
            cv2.insertChannel(mask, drawn, 3)
            cv2.copyTo(drawn, mask, window)


def flatten(canvases: list[Canvas]) -> Image:
    """Average moments of one exposure into picture pixels, (H, W, 4) uint8 with colour times alpha."""
    smalls = [cv2.resize(one.fine, one.size_px, interpolation=cv2.INTER_AREA) for one in canvases]
    if len(smalls) == 1:
        return np.asarray(smalls[0], dtype=np.uint8)
    total = np.zeros(smalls[0].shape, np.float32)
    for small in smalls:
        cv2.accumulate(small, total)
    return np.round(total / len(smalls)).astype(np.uint8)


def lay_over(picture: Image, layer: Image, corner_px: tuple[int, int], gain: float) -> None:
    """Lay a flattened canvas that lies wholly inside a picture over it, in place.

    Unpainted canvas is black with no alpha, so that averaging leaves colour already weighted by alpha.
    """
    x, y = corner_px
    window = picture[y : y + layer.shape[0], x : x + layer.shape[1]]
    clear = cv2.bitwise_not(cv2.extractChannel(layer, 3))
    behind = cv2.multiply(window, cv2.merge([clear, clear, clear]), None, 1 / 255)
    colour = cv2.cvtColor(layer, cv2.COLOR_BGRA2BGR)
    if gain != 1.0:
        colour = cv2.convertScaleAbs(colour, alpha=gain)
    cv2.add(behind, colour, window)
