"""A hoof-sized patch found again to a fraction of a pixel, turned as the hoof turns, with its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Float32 = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A piece of a picture about one point, ready to be looked for.

    Parameters
    ----------
    pixels : (h, w) float32 array
        Brightness, unrotated.
    weight : (h, w) float32 array
        How much each pixel counts, 0 to 1.
    point : (float, float)
        Column and row, within the patch, of the point that is followed.
    template : (h·w,) float32 array
        Pixels with weighted mean 0 and weighted standard deviation 1.
    descent : (h·w, 3) float32 array
        Change of ``template`` by a shift in x, in y (px) and by a turn about the point (rad), already weighted.
    inverse : (3, 3) float array
        Inverse of the normal matrix of those three.
    contrast : float
        Weighted standard deviation of the brightness; a flat patch cannot be found again.
    """

    pixels: Float32
    weight: Float32
    point: tuple[float, float]
    template: Float32
    descent: Float32
    inverse: Array
    contrast: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """Where a patch was found.

    ``xy_px`` (2,), ``angle`` (rad, turned clockwise in the picture), ``cov_px2`` (2, 2) of the place, and
    ``similarity``: the weighted correlation with the patch, 1 for the same picture.
    """

    xy_px: Array
    angle: float
    cov_px2: Array
    similarity: float


def cut_patch(
    luma: Image, xy_px: Array, *, angle: float, weight: Float32, point: tuple[float, float]
) -> Patch:
    """Cut the patch about a point, turned upright.

    Parameters
    ----------
    luma : (H, W) uint8 array
    xy_px : (2,) float array
        The point, in pixels of ``luma``.
    angle : float
        How far the thing is turned (rad); the patch is turned back by as much.
    weight : (h, w) float32 array
        Decides the size of the patch.
    point : (float, float)
        Column and row of the point within the patch.
    """
    pixels = _sample(luma, xy_px, angle, weight.shape, point)
    template, contrast = _standardise(pixels, weight)
    shaped = template.reshape(weight.shape)
    slope_x = cv2.Sobel(shaped, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    slope_y = cv2.Sobel(shaped, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    rows, columns = np.indices(weight.shape, dtype=np.float32)
    turn = slope_y * (columns - point[0]) - slope_x * (rows - point[1])
    jacobian = np.stack([slope_x, slope_y, turn], axis=-1).reshape(-1, 3)
    descent = jacobian * weight.reshape(-1, 1)
    normal = (descent.T @ jacobian).astype(float)
    ridge = 1e-6 * np.trace(normal) * np.eye(3) + 1e-9 * np.eye(3)
    return Patch(
        pixels=pixels,
        weight=weight,
        point=point,
        template=template,
        descent=descent.astype(np.float32),
        inverse=np.linalg.inv(normal + ridge),
        contrast=contrast,
    )


def correlate_looks(looks: Float32, weight: Float32) -> Array:
    """Weighted correlation of every two of N looks from :func:`cut_look`: (N, N)."""
    flat = weight.reshape(-1)
    return np.asarray((looks * flat) @ looks.T, dtype=float) / float(flat.sum())


def cut_look(luma: Image, xy_px: Array, *, weight: Float32, point: tuple[float, float]) -> Float32:
    """The brightness about a point with weighted mean 0 and standard deviation 1, flattened: only to be compared."""
    return _standardise(_sample(luma, xy_px, 0.0, weight.shape, point), weight)[0]


def search_patch(
    luma: Image, patch: Patch, xy_px: Array, *, angle: float, reach_px: int
) -> tuple[Array, float]:
    """The best whole-pixel place of a patch within ``reach_px`` of a guess, and its similarity there."""
    height, width = patch.weight.shape
    window = _sample(
        luma,
        xy_px,
        angle,
        (height + 2 * reach_px, width + 2 * reach_px),
        (patch.point[0] + reach_px, patch.point[1] + reach_px),
    )
    score = cv2.matchTemplate(window, patch.pixels, cv2.TM_CCOEFF_NORMED)
    score[~np.isfinite(score)] = -1.0
    row, column = np.unravel_index(int(score.argmax()), score.shape)
    shift = np.array([column - reach_px, row - reach_px], dtype=float)
    return xy_px + _turn(angle) @ shift, float(score[row, column])


def refine_patch(
    luma: Image,
    patch: Patch,
    xy_px: Array,
    *,
    angle: float,
    turning: bool,
    shifting: bool = True,
    iterations: int = 8,
) -> Sighting:
    """Find a patch to a fraction of a pixel, starting from a guess within two or three pixels.

    Inverse compositional alignment (Baker & Matthews 2004, Int J Comput Vis 56:221–255,
    doi 10.1023/B:VISI.0000011205.11775.fd) of a shift, where ``shifting``, and a turn about the point, where
    ``turning``; brightness gain and offset are taken out.
    """
    xy, theta = np.array(xy_px, dtype=float), float(angle)
    inverse = patch.inverse
    if not (turning and shifting):
        free = slice(0, 2) if shifting else slice(2, 3)
        inverse = np.zeros((3, 3))
        inverse[free, free] = np.linalg.inv(np.linalg.inv(patch.inverse)[free, free])
    error = np.zeros_like(patch.template)
    for _ in range(iterations):
        current, _ = _standardise(_sample(luma, xy, theta, patch.weight.shape, patch.point), patch.weight)
        error = current - patch.template
        step = inverse @ (patch.descent.T @ error).astype(float)
        step[:2] = np.clip(step[:2], -2.0, 2.0)
        step[2] = np.clip(step[2], -0.2, 0.2)
        xy -= _turn(theta) @ step[:2]
        theta -= step[2]
        if np.abs(step[:2]).max() < 0.01 and abs(step[2]) < 0.002:
            break
    weight = patch.weight.reshape(-1)
    total = float(weight.sum())
    similarity = 1.0 - float(weight @ (error * error)) / (2.0 * total)
    # Interpolation and compression make neighbouring pixels' errors alike: about a 2 × 2 block is one observation.
    variance = 4.0 * float(weight @ (error * error)) / total
    turn = _turn(theta)
    return Sighting(
        xy_px=xy, angle=theta, cov_px2=turn @ (variance * inverse[:2, :2]) @ turn.T, similarity=similarity
    )


def _turn(angle: float) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])


def _sample(
    luma: Image, xy_px: Array, angle: float, shape: tuple[int, int], point: tuple[float, float]
) -> Float32:
    """The picture about a point, turned back by ``angle``: (h, w) float32."""
    if angle == 0.0:
        height, width = shape
        centre = (float(xy_px[0]) - point[0] + (width - 1) / 2, float(xy_px[1]) - point[1] + (height - 1) / 2)
        return np.asarray(cv2.getRectSubPix(luma, (width, height), centre, patchType=cv2.CV_32F))
    c, s = np.cos(angle), np.sin(angle)
    u, v = point
    matrix = np.array([[c, -s, xy_px[0] - c * u + s * v], [s, c, xy_px[1] - s * u - c * v]])
    return np.asarray(
        cv2.warpAffine(
            luma,
            matrix,
            shape[::-1],
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        dtype=np.float32,
    )


def _standardise(pixels: Float32, weight: Float32) -> tuple[Float32, float]:
    """Weighted mean 0 and standard deviation 1, flattened; and the standard deviation before."""
    flat, w = pixels.reshape(-1), weight.reshape(-1)
    total = float(w.sum())
    flat = flat - float(w @ flat) / total
    deviation = float(np.sqrt(float(w @ (flat * flat)) / total))
    return flat / max(deviation, 1e-3), deviation
