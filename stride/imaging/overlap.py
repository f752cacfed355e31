"""Two pictures of one scene brought together without any idea of how the camera moved between them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

_WIDTH = 480
_POINTS = 600
_FEWEST = 14
# Bits in which two descriptions of one point may differ.
_FARTHEST = 64
_CANDIDATES = 3
# Natural logarithm of the growth of areas beyond which a map is taken for chance.
_MOST_GROWTH = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What a picture is recognised by.

    ``xy_px`` (K, 2) are corner points in the picture's own pixels, ``code`` (K, 32) uint8 their descriptions.
    """

    xy_px: Array
    code: NDArray[np.uint8]

    @classmethod
    def of(cls, luma: Image) -> Outlook:
        """Describe a picture by oriented binary features (ORB; Rublee et al. 2011, doi 10.1109/ICCV.2011.6126544)."""
        factor = max(1.0, luma.shape[1] / _WIDTH)
        size = (round(luma.shape[1] / factor), round(luma.shape[0] / factor))
        small = cv2.resize(luma, size, interpolation=cv2.INTER_AREA)
        points, code = cv2.ORB.create(_POINTS, nlevels=4, fastThreshold=8).detectAndCompute(small, None)
        if code is None:
            return cls(xy_px=np.empty((0, 2)), code=np.empty((0, 32), np.uint8))
        xy = np.array([point.pt for point in points], dtype=float)
        scale = np.array([luma.shape[1] / size[0], luma.shape[0] / size[1]])
        return cls(xy_px=(xy + 0.5) * scale - 0.5, code=code)


def match_outlooks(source: Outlook, target: Outlook) -> Iterator[Array]:
    """Homographies from ``source`` to ``target`` that many of their common points agree on, to a few pixels.

    The one most agree on comes first; but that may be an animal before the scene, so others follow, each without the
    points of those before.

    Yields
    ------
    (3, 3) float array
    """
    if min(len(source.xy_px), len(target.xy_px)) < _FEWEST:
        return
    pairs = cv2.BFMatcher(cv2.NORM_HAMMING, crossCheck=True).match(source.code, target.code)
    pairs = [pair for pair in pairs if pair.distance < _FARTHEST]
    a = source.xy_px[[pair.queryIdx for pair in pairs]].astype(np.float32)
    b = target.xy_px[[pair.trainIdx for pair in pairs]].astype(np.float32)
    for _ in range(_CANDIDATES):
        if len(a) < _FEWEST:
            return
        matrix, agree = cv2.findHomography(a, b, cv2.RANSAC, 5.0)
        if matrix is None or int(agree.sum()) < _FEWEST:
            return
        if abs(np.log(abs(np.linalg.det(matrix / matrix[2, 2])))) < _MOST_GROWTH:
            yield np.asarray(matrix, dtype=float)
        rest = agree[:, 0] == 0
        a, b = a[rest], b[rest]
