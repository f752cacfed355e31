"""Strong points of a picture, kept as patches and found again in other pictures to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Float32 = NDArray[np.float32]

#: A patch reaches this far from its point (px).
REACH_PX = 8

_SIDE = 2 * REACH_PX + 1
_OFFSETS = np.arange(-REACH_PX, REACH_PX + 1, dtype=np.float32)
# Interpolation and compression make neighbouring pixels' errors alike: about a 2 × 2 block is one observation.
_ALIKE_PIXELS = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Patches:
    """Square pieces of one picture about N points, ready to be looked for in others.

    Parameters
    ----------
    xy_px : (N, 2) float array
        The points, at whole pixels.
    strength : (N,) float array
        Grey levels per px: noise of one grey level in every pixel displaces the point by 1 / ``strength`` px in the
        direction in which it is held worst.
    template : (N, P) float32 array
        Brightness with mean 0 and standard deviation 1.
    descent : (N, 2, P) float32 array
        Change of ``template`` by a shift in x and in y (1/px).
    inverse : (N, 2, 2) float32 array
        Inverse of the normal matrix of ``descent``.
    """

    xy_px: Array
    strength: Array
    template: Float32
    descent: Float32
    inverse: Float32

    def __len__(self) -> int:
        return len(self.xy_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sightings:
    """Where N patches were found in a picture.

    Parameters
    ----------
    xy_px : (N, 2) float array
    variance_px2 : (N,) float array
        Of that place, mean of both axes, as far as the difference of the pictures tells it.
    similarity : (N,) float array
        Correlation with the patch, 1 for the same picture.
    """

    xy_px: Array
    variance_px2: Array
    similarity: Array


def find_strong_points(
    luma: Image, *, cell_px: int, per_cell: int, weakest: float
) -> tuple[Array, Array]:
    """Points that a shift in any direction changes most, spread over the picture.

    The smaller eigenvalue of the brightness gradients' normal matrix over a patch (Shi & Tomasi 1994,
    doi 10.1109/CVPR.1994.323794) says how well noise lets a point be held. Compressed video drags weak texture
    toward standing still, so weak points are left out, not only down-weighted.

    Parameters
    ----------
    luma : (H, W) uint8 array
    cell_px : int
        Side of the cells in which points are chosen.
    per_cell : int
        Most points in a cell.
    weakest : float
        Least strength (grey levels per px; see :class:`Patches`).

    Returns
    -------
    xy_px : (N, 2) float array
        The strongest of each cell first, then the second strongest, and so on: any beginning is well spread.
    strength : (N,) float array
    """
    height, width = luma.shape
    score = _smaller_eigenvalue(luma)
    edge = REACH_PX + 1
    score[:edge], score[height - edge :] = 0.0, 0.0
    score[:, :edge], score[:, width - edge :] = 0.0, 0.0
    peak = cv2.dilate(score, np.ones((REACH_PX + 1, REACH_PX + 1), np.uint8))
    rows, columns = np.nonzero((score >= peak) & (score > weakest**2))
    strength = np.sqrt(score[rows, columns].astype(float))
    order = np.argsort(-strength, kind="stable")
    rows, columns, strength = rows[order], columns[order], strength[order]
    cell = (rows // cell_px) * (width // cell_px + 1) + columns // cell_px
    by_cell = np.argsort(cell, kind="stable")
    starts = np.r_[True, np.diff(cell[by_cell]) > 0]
    rank = np.arange(len(cell)) - np.maximum.accumulate(np.where(starts, np.arange(len(cell)), 0))
    kept = rank < per_cell
    chosen = by_cell[kept][np.lexsort((by_cell[kept], rank[kept]))]
    return np.column_stack([columns[chosen], rows[chosen]]).astype(float), strength[chosen]


def cut_patches(luma: Image, xy_px: Array) -> Patches:
    """Cut the patches about points at whole pixels at least ``REACH_PX`` + 1 inside the picture.

    Parameters
    ----------
    luma : (H, W) uint8 array
    xy_px : (N, 2) float array
    """
    at = np.round(xy_px).astype(np.intp)
    span = np.arange(-REACH_PX - 1, REACH_PX + 2)
    block = luma[at[:, 1, None, None] + span[:, None], at[:, 0, None, None] + span].astype(np.float32)
    count = len(at)
    template, deviation = _standardise(block[:, 1:-1, 1:-1].reshape(count, -1))
    # Averaging along the other axis, as a Sobel operator does, keeps single-pixel noise out of the slopes.
    smooth_y = 0.25 * (block[:, :-2] + 2 * block[:, 1:-1] + block[:, 2:])
    smooth_x = 0.25 * (block[:, :, :-2] + 2 * block[:, :, 1:-1] + block[:, :, 2:])
    slope_x = 0.5 * (smooth_y[:, :, 2:] - smooth_y[:, :, :-2])
    slope_y = 0.5 * (smooth_x[:, 2:] - smooth_x[:, :-2])
    descent = np.stack([slope_x.reshape(count, -1), slope_y.reshape(count, -1)], axis=1) / deviation[:, None]
    normal = descent @ descent.transpose(0, 2, 1)
    least = np.linalg.eigvalsh(normal.astype(float))[:, 0]
    ridge = 1e-6 * np.trace(normal, axis1=1, axis2=2) + 1e-9
    return Patches(
        xy_px=at.astype(float),
        strength=np.sqrt(np.maximum(least, 0.0)) * deviation[:, 0],
        template=template,
        descent=descent,
        inverse=np.linalg.inv(normal + ridge[:, None, None] * np.eye(2, dtype=np.float32)),
    )


def take_patches(patches: Patches, which: NDArray[np.intp] | NDArray[np.bool_]) -> Patches:
    """Some of the patches."""
    return Patches(
        xy_px=patches.xy_px[which],
        strength=patches.strength[which],
        template=patches.template[which],
        descent=patches.descent[which],
        inverse=patches.inverse[which],
    )


def join_patches(first: Patches, second: Patches) -> Patches:
    """Patches of two pictures in one set; ``xy_px`` then belongs to different pictures."""
    return Patches(
        xy_px=np.concatenate([first.xy_px, second.xy_px]),
        strength=np.concatenate([first.strength, second.strength]),
        template=np.concatenate([first.template, second.template]),
        descent=np.concatenate([first.descent, second.descent]),
        inverse=np.concatenate([first.inverse, second.inverse]),
    )


def locate_patches(
    luma: Image, patches: Patches, guess_px: Array, shape: Array, *, iterations: int = 4
) -> Sightings:
    """Find patches near guessed places, each seen under its own small distortion.

    Inverse compositional alignment (Baker & Matthews 2004, doi 10.1023/B:VISI.0000011205.11775.fd) of a shift,
    all patches at once; brightness gain and offset of each are taken out.

    Parameters
    ----------
    luma : (H, W) uint8 array
    patches : Patches
    guess_px : (N, 2) float array
        Within two or three pixels of the truth.
    shape : (N, 2, 2) float array
        How a small offset in the patch's own picture appears in this one.
    iterations : int
    """
    xy = np.array(guess_px, dtype=np.float32)
    shape = shape.astype(np.float32)
    lay_x, lay_y = (_lay_grid(shape[:, axis]) for axis in (0, 1))
    error = np.zeros_like(patches.template)
    for _ in range(iterations):
        seen = cv2.remap(
            luma,
            lay_x + xy[:, :1],
            lay_y + xy[:, 1:],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ).astype(np.float32)
        current, _ = _standardise(seen)
        error = current - patches.template
        slope = (patches.descent @ error[:, :, None])[:, :, 0]
        step = np.clip((patches.inverse @ slope[:, :, None])[:, :, 0], -2.0, 2.0)
        xy -= (shape @ step[:, :, None])[:, :, 0]
    mean_square = np.einsum("np,np->n", error, error) / error.shape[1]
    spread = np.trace(patches.inverse, axis1=1, axis2=2) / 2
    return Sightings(
        xy_px=xy.astype(float),
        variance_px2=(_ALIKE_PIXELS * mean_square * spread).astype(float),
        similarity=1.0 - 0.5 * mean_square.astype(float),
    )


def read_shift(luma: Image, patches: Patches) -> tuple[Array, Array]:
    """How far each patch has moved from its own place, for shifts well under a pixel, in one cheap step.

    Parameters
    ----------
    luma : (H, W) uint8 array
    patches : Patches

    Returns
    -------
    shift_px : (N, 2) float array
    similarity : (N,) float array
        At the unmoved place.
    """
    at = patches.xy_px.astype(np.intp)
    span = np.arange(-REACH_PX, REACH_PX + 1)
    seen = luma[at[:, 1, None, None] + span[:, None], at[:, 0, None, None] + span]
    current, _ = _standardise(seen.reshape(len(at), -1).astype(np.float32))
    error = current - patches.template
    slope = patches.descent @ error[:, :, None]
    shift = -(patches.inverse @ slope)[:, :, 0]
    return shift.astype(float), 1.0 - 0.5 * np.einsum("np,np->n", error, error) / error.shape[1]


def chase_points(before: Image, after: Image, xy_px: Array, guess_px: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Follow points from one picture to the next over many pixels, coarse to fine, without much precision.

    Pyramidal Lucas–Kanade flow (Bouguet 2001, as OpenCV has it).

    Parameters
    ----------
    before, after : (H, W) uint8 array
    xy_px, guess_px : (N, 2) float array
        Places in ``before``, and first guesses of those in ``after``.

    Returns
    -------
    xy_px : (N, 2) float array
    found : (N,) bool array
    """
    if len(xy_px) == 0:
        return np.empty((0, 2)), np.empty(0, dtype=bool)
    after_px, status, _ = cv2.calcOpticalFlowPyrLK(
        before,
        after,
        xy_px.astype(np.float32)[:, None],
        guess_px.astype(np.float32)[:, None].copy(),
        winSize=(15, 15),
        maxLevel=3,
        flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
    )
    return after_px[:, 0].astype(float), status[:, 0] > 0


def _lay_grid(row: Float32) -> Float32:
    """(N, P) offsets along one picture axis of a patch's pixels, for the (N, 2) row of its distortion."""
    grid = row[:, 0, None, None] * _OFFSETS + row[:, 1, None, None] * _OFFSETS[:, None]
    return grid.reshape(len(row), _SIDE * _SIDE)


def _standardise(pixels: Float32) -> tuple[Float32, Float32]:
    centred = pixels - pixels.mean(axis=1, keepdims=True)
    deviation = np.sqrt(np.einsum("np,np->n", centred, centred) / centred.shape[1])[:, None]
    deviation = np.maximum(deviation, np.float32(1e-3))
    return centred / deviation, deviation


def _smaller_eigenvalue(luma: Image) -> Float32:
    """Of the sum over a patch of the brightness gradients' products, at every pixel."""
    slope_x = cv2.Sobel(luma, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    slope_y = cv2.Sobel(luma, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)

    def total(product: Float32) -> Float32:
        return cv2.boxFilter(product, cv2.CV_32F, (_SIDE, _SIDE), normalize=False)

    xx, yy, xy = total(slope_x * slope_x), total(slope_y * slope_y), total(slope_x * slope_y)
    return 0.5 * (xx + yy - np.sqrt((xx - yy) ** 2 + 4 * xy * xy))
