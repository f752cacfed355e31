"""Duplicated frames noticed: pictures that hardly differ from the one before while their neighbours move."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Iterator
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from ..walk.clip import Image

Item = TypeVar("Item")

#: About this many pixels of every picture are compared.
_SAMPLES: Final = 8192
#: A repeated picture changes less than this share of what the pictures around it change.
_SHARE: Final = 0.2
#: Neighbours that change less than this (root mean square, grey levels) show nothing moving.
_MOVING: Final = 0.5
#: Longest run of repeats that is noticed.
_REACH: Final = 3


class _Change:
    """How much each brightness plane differs from the one before it, on a fixed grid of pixels."""

    def __init__(self) -> None:
        self._before: NDArray[np.int16] | None = None

    def __call__(self, luma: Image) -> float:
        """Root mean square difference (grey levels); infinite for the first picture."""
        step = max(2, math.isqrt(luma.size // _SAMPLES))
        # Fewer rows, more columns: neighbours in a row share a line of the processor's cache.
        sample = luma[step // 2 :: 2 * step, step // 4 :: step // 2].astype(np.int16)
        before, self._before = self._before, sample
        if before is None or before.shape != sample.shape:
            return math.inf
        difference = (sample - before).ravel().astype(np.float32)
        return math.sqrt(float(difference @ difference) / max(difference.size, 1))


def flag_repeats(pictures: Iterable[tuple[Item, Image]]) -> Iterator[tuple[Item, Image, bool]]:
    """Say of each picture whether it repeats the one before it.

    A camera or a converter that could not keep up stores a picture twice. Re-encoding leaves a little noise in
    the copy, so a copy is a picture that changes far less than those before and after it; a scene in which
    nothing moves holds no copies that could be told.

    Parameters
    ----------
    pictures : iterable of (item, (H, W) uint8 array)
        Anything, with the brightness of its picture, in presentation order. Read three pictures ahead.

    Yields
    ------
    (item, (H, W) uint8 array, bool)
    """
    change = _Change()
    ahead: deque[tuple[Item, Image, float]] = deque()
    behind: deque[float] = deque(maxlen=_REACH)

    def next_out() -> tuple[Item, Image, bool]:
        item, luma, changed = ahead.popleft()
        after = max((one[2] for one in ahead), default=math.inf)
        before = max(behind, default=math.inf)
        behind.append(changed)
        moving = min(before, after)
        return item, luma, moving > _MOVING and changed < _SHARE * moving

    for item, luma in pictures:
        ahead.append((item, luma, change(luma)))
        if len(ahead) > _REACH:
            yield next_out()
    while ahead:
        yield next_out()
