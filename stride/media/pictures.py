"""Decoded pictures made upright: the brightness plane as it is, and colour when it is asked for."""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from ..walk.clip import Image

#: Formats whose first plane is brightness, one number a pixel.
_PLANAR: Final = re.compile(r"(?:yuv[aj]?4\d\dp|nv(?:12|16|21|24|42)|gray)(?:(?P<bits>9|1[0246])le)?")
#: The same with the used bits at the upper end of 16.
_PLANAR_HIGH: Final = re.compile(r"p[024]1[026]le")
#: Pixels nearer to square than this are square.
_SQUARE: Final = 0.01
_FLIP_CODE: Final = {(True, False): 1, (False, True): 0, (True, True): -1}


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How a stored picture becomes an upright one.

    Parameters
    ----------
    stored_px, upright_px : (int, int)
        Width and height before and after.
    transposed, flip_x, flip_y : bool
        Rows and columns exchanged first; then mirrored left to right; then top to bottom.
    """

    stored_px: tuple[int, int]
    upright_px: tuple[int, int]
    transposed: bool
    flip_x: bool
    flip_y: bool

    def upright(self, image: Image) -> Image:
        """Turn, mirror and stretch a stored picture; the picture itself where there is nothing to do."""
        turned: Any = image
        if self.transposed:
            turned = cv2.transpose(turned)
        if self.flip_x or self.flip_y:
            turned = cv2.flip(turned, _FLIP_CODE[self.flip_x, self.flip_y])
        if turned.shape[1::-1] != self.upright_px:
            turned = cv2.resize(turned, self.upright_px, interpolation=cv2.INTER_LINEAR)
        upright: Image = turned
        return upright


def find_layout(picture: Any, pixel_aspect: float) -> Layout:
    """Layout of a clip from one decoded picture.

    Parameters
    ----------
    picture : av.VideoFrame
        Its display matrix is read: the turn and mirroring a player applies.
    pixel_aspect : float
        Width of a pixel over its height.

    Returns
    -------
    Layout
    """
    a, b, c, d = _display_matrix(picture)
    # A player draws the stored point (x, y) at (a x + c y, b x + d y).
    transposed = abs(b) + abs(c) > abs(a) + abs(d)
    right, down = (c, b) if transposed else (a, d)
    width, height = picture.width, picture.height
    if abs(pixel_aspect - 1) > _SQUARE:
        width, height = _square(width, height, pixel_aspect)
    return Layout(
        stored_px=(picture.width, picture.height),
        upright_px=(height, width) if transposed else (width, height),
        transposed=transposed,
        flip_x=right < 0,
        flip_y=down < 0,
    )


def read_luma(picture: Any) -> Image:
    """The brightness of a picture as stored, in 8 bits.

    Parameters
    ----------
    picture : av.VideoFrame

    Returns
    -------
    (H, W) uint8 array, read-only
        A view of the decoded plane where that is possible: no colour conversion, and the range (16 to 235 or
        0 to 255) left as it is.
    """
    shift = _luma_shift(picture.format.name)
    if shift is None:
        picture = picture.reformat(format="gray")
        shift = 0
    plane = picture.planes[0]
    kind = np.uint8 if shift == 0 else np.dtype("<u2")
    rows: NDArray[Any] = np.frombuffer(plane, dtype=kind).reshape(picture.height, -1)[:, : picture.width]
    luma: Image = rows
    if shift:
        luma = np.right_shift(rows, shift, out=np.empty(rows.shape, np.uint8), casting="unsafe")
    luma.setflags(write=False)
    return luma


def load_bgr(picture: Any, layout: Layout) -> Image:
    """(H, W, 3) uint8 array, blue-green-red, upright."""
    return layout.upright(picture.to_ndarray(format="bgr24"))


@cache
def _luma_shift(format_name: str) -> int | None:
    """How far to shift the first plane's numbers down to 8 bits; None where it is not brightness alone."""
    if _PLANAR_HIGH.fullmatch(format_name):
        return 8
    planar = _PLANAR.fullmatch(format_name)
    return None if planar is None else int(planar["bits"] or 8) - 8


def _display_matrix(picture: Any) -> tuple[int, int, int, int]:
    for data in picture.side_data:
        if data.type.name == "DISPLAYMATRIX":
            a, b, _, c, d, *_ = struct.unpack("=9i", bytes(data))
            return a, b, c, d
    return 1, 0, 0, 1


def _square(width: int, height: int, pixel_aspect: float) -> tuple[int, int]:
    """Size with square pixels; never smaller than stored."""
    if pixel_aspect > 1:
        return round(width * pixel_aspect), height
    return width, round(height / pixel_aspect)
