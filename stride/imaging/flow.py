"""Strong points of a picture, kept as patches and found again in other pictures to a fraction of a pixel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Float32 = NDArray[np.float32]

#: A patch reaches this far from its point (px).
REACH_PX = 8

# How well points are found again, measured on compressed clips: the sharpest to this (px); weaker ones as if noise of
# so many grey levels lay on every pixel, which is mostly drag by the codec; and all as if a share of their contrast
# were noise, since edges alias and are seen from another side.
_SHARPEST = 0.18
_DRAG = 10.0
_UNLIKE = 0.5
# Share of the picture that is taken to show the least of what is no noise, and how many times the noise's slopes are
# taken off everywhere.
_BAREST = 0.10
_NOISE_MARGIN = 2.0
#: A patch that moves less than this in one step has arrived (px).
_SETTLED_PX = 0.06
# Steps all patches take, and then, again and again, those that have not arrived.
_ROUNDS = (3, 1, 1, 1)

_SIDE = 2 * REACH_PX + 1
_OFFSETS = np.arange(-REACH_PX, REACH_PX + 1, dtype=np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Patches:
    """Square pieces of one picture about N points, ready to be looked for in others.

    Parameters
    ----------
    xy_px : (N, 2) float array
        The points, at whole pixels.
    cov_px2 : (N, 2, 2) float array
        Covariance with which the point is found again in compressed video: long along an edge, round at a corner.
    basis : (N, 4, P) float32 array
        What a picture of the patch is multiplied with: the two rows that give its shift (px), the patch itself with
        mean 0 and standard deviation 1, and ones.
    offset_px : (N, 2, 2) float32 array
        The shifts that ``basis`` gives for the patch itself and for ones.
    energy : (N, 2) float32 array
        Mean square of the patch's slopes across and down.
    """

    xy_px: Array
    cov_px2: Array
    basis: Float32
    offset_px: Float32
    energy: Float32

    def __len__(self) -> int:
        return len(self.xy_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sightings:
    """Where N patches were found in a picture.

    Parameters
    ----------
    xy_px : (N, 2) float array
    similarity : (N,) float array
        Correlation with the patch, 1 for the same picture.
    sharpness : (N,) float array
        Energy of the brightness slopes against the patch's own, in the direction that has lost most: blur along an
        edge's normal leaves nothing to place it by, however alike the rest.
    """

    xy_px: Array
    similarity: Array
    sharpness: Array


def shrink(luma: Image, size_px: tuple[int, int]) -> Image:
    """A picture at a smaller size (width, height), averaging what comes together; itself where the size is its own."""
    if luma.shape == size_px[::-1]:
        return luma
    return np.asarray(cv2.resize(luma, size_px, interpolation=cv2.INTER_AREA))


def find_strong_points(luma: Image, *, cell_px: int, per_cell: int, worst_px: float) -> tuple[Array, Array]:
    """Points that a shift in any direction changes most, spread over the picture.

    The smaller eigenvalue of the brightness gradients' normal matrix over a patch (Shi & Tomasi 1994,
    doi 10.1109/CVPR.1994.323794), held against noise and contrast, says how well a point can be found again. Compressed
    video drags weak texture toward standing still, so weak points are left out, not only down-weighted.

    Parameters
    ----------
    luma : (H, W) uint8 array
    cell_px : int
        Side of the cells in which points are chosen.
    per_cell : int
        Most points in a cell.
    worst_px : float
        Largest standard error, in the direction in which a point is held worst.

    Returns
    -------
    xy_px : (N, 2) float array
        The best of each cell first, then the second best, and so on: any beginning is well spread.
    error_px : (N,) float array
        In the direction in which it is held worst.
    """
    score = _score_points(luma)
    edge = (REACH_PX + 2) // 2 + 1
    score[:edge], score[-edge:] = 0.0, 0.0
    score[:, :edge], score[:, -edge:] = 0.0, 0.0
    peak = cv2.dilate(score, np.ones((REACH_PX // 2 + 1, REACH_PX // 2 + 1), np.uint8))
    rows, columns = np.nonzero((score >= peak) & (score > worst_px**-2.0))
    error = 1.0 / np.sqrt(score[rows, columns].astype(float))
    order = np.argsort(error, kind="stable")
    rows, columns, error = 2 * rows[order], 2 * columns[order], error[order]
    cell = (rows // cell_px) * (luma.shape[1] // cell_px + 1) + columns // cell_px
    by_cell = np.argsort(cell, kind="stable")
    starts = np.r_[True, np.diff(cell[by_cell]) > 0]
    rank = np.arange(len(cell)) - np.maximum.accumulate(np.where(starts, np.arange(len(cell)), 0))
    kept = rank < per_cell
    chosen = by_cell[kept][np.lexsort((by_cell[kept], rank[kept]))]
    return np.column_stack([columns[chosen], rows[chosen]]).astype(float), error[chosen]


def measure_sharpness(luma: Image) -> Array:
    """Mean square of the brightness slopes across and down a picture, (2,) (grey levels² / px²)."""
    rows = luma[::3].astype(np.float32)
    columns = luma[:, ::3].astype(np.float32)
    return (
        np.array([np.mean((rows[:, 2:] - rows[:, :-2]) ** 2), np.mean((columns[2:] - columns[:-2]) ** 2)]) / 4
        + 1e-3
    )


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
    template, deviation = _standardise(block[:, 1:-1, 1:-1].reshape(count, _SIDE * _SIDE))
    # Averaging along the other axis, as a Sobel operator does, keeps single-pixel noise out of the slopes.
    smooth_y = 0.25 * (block[:, :-2] + 2 * block[:, 1:-1] + block[:, 2:])
    smooth_x = 0.25 * (block[:, :, :-2] + 2 * block[:, :, 1:-1] + block[:, :, 2:])
    slope_x = 0.5 * (smooth_y[:, :, 2:] - smooth_y[:, :, :-2])
    slope_y = 0.5 * (smooth_x[:, 2:] - smooth_x[:, :-2])
    both = np.stack([slope_x.reshape(count, _SIDE * _SIDE), slope_y.reshape(count, _SIDE * _SIDE)], axis=1)
    descent: Float32 = (both / deviation[:, None]).astype(np.float32)
    normal = descent @ descent.transpose(0, 2, 1)
    ridge = 1e-6 * np.trace(normal, axis1=1, axis2=2) + 1e-9
    inverse = np.linalg.inv(normal + ridge[:, None, None] * np.eye(2, dtype=np.float32))
    to_shift = inverse @ descent
    patch_and_ones = np.stack([template, np.ones_like(template)], axis=1)
    return Patches(
        xy_px=at.astype(float),
        cov_px2=_SHARPEST**2 * np.eye(2) + inverse * ((_DRAG / deviation[:, :, None]) ** 2 + _UNLIKE**2),
        basis=np.concatenate([to_shift, patch_and_ones], axis=1),
        offset_px=to_shift @ patch_and_ones.transpose(0, 2, 1),
        energy=_slope_energy(template),
    )


def gather_patches(sets: Sequence[Patches], which: Sequence[NDArray[np.intp]]) -> Patches:
    """Chosen patches of several sets in one; ``xy_px`` then belongs to different pictures."""

    def gather(name: str) -> NDArray[Any]:
        return np.concatenate([getattr(one, name)[number] for one, number in zip(sets, which, strict=True)])

    return Patches(
        xy_px=gather("xy_px"),
        cov_px2=gather("cov_px2"),
        basis=gather("basis"),
        offset_px=gather("offset_px"),
        energy=gather("energy"),
    )


def locate_patches(luma: Image, patches: Patches, guess_px: Array, shape: Array) -> Sightings:
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
    """
    if len(patches) == 0:
        return Sightings(xy_px=np.empty((0, 2)), similarity=np.empty(0), sharpness=np.empty(0))
    xy, lean = np.array(guess_px, dtype=np.float32), shape.astype(np.float32)
    grid = _lay_grid(lean)
    similarity, sharpness = np.zeros(len(patches)), np.zeros(len(patches))
    left, basis, offset, energy = np.arange(len(patches)), patches.basis, patches.offset_px, patches.energy
    for rounds in _ROUNDS:
        for _ in range(rounds):
            seen = _look(luma, xy[left], grid)
            shift, alike, deviation = _read_shift(seen, basis, offset)
            step = (lean @ np.clip(shift, -2.0, 2.0)[:, :, None])[:, :, 0]
            xy[left] -= step
        similarity[left] = alike
        sharpness[left] = (_slope_energy(seen) / (energy * deviation[:, None] ** 2)).min(axis=1)
        going = np.abs(step).max(axis=1) > _SETTLED_PX
        if not going.any():
            break
        left, lean, grid = left[going], lean[going], (grid[0][going], grid[1][going])
        basis, offset, energy = basis[going], offset[going], energy[going]
    return Sightings(xy_px=xy.astype(float), similarity=similarity, sharpness=sharpness)


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
    seen = luma[at[:, 1, None, None] + span[:, None], at[:, 0, None, None] + span].reshape(len(at), -1)
    shift, similarity, _ = _read_shift(_about_grey(seen), patches.basis, patches.offset_px)
    return -shift.astype(float), similarity.astype(float)


def _look(luma: Image, xy: Float32, grid: tuple[Float32, Float32]) -> Float32:
    """What the picture shows about points, each under its own distortion, (N, P)."""
    columns, rows = grid[0] + xy[:, :1], grid[1] + xy[:, 1:]
    return _about_grey(cv2.remap(luma, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _about_grey(pixels: NDArray[Any]) -> Float32:
    """Brightness about mid-grey, where single precision loses least."""
    return np.subtract(pixels, np.float32(128.0), dtype=np.float32)


def _read_shift(seen: Float32, basis: Float32, offset: Float32) -> tuple[Float32, Float32, Float32]:
    """How far (N, 2) patches seem to lie beyond where they were seen, how alike (N,) they are, and contrast (N,)."""
    count = np.float32(seen.shape[1])
    first, second, product, total = (basis @ seen[:, :, None])[:, :, 0].T
    mean = total / count
    variance = np.einsum("np,np->n", seen, seen) / count - mean * mean
    deviation = np.sqrt(np.maximum(variance, np.float32(1e-2)))
    raw = np.stack([first, second], axis=1) - mean[:, None] * offset[:, :, 1]
    return raw / deviation[:, None] - offset[:, :, 0], product / (deviation * count), deviation


def chase_points(
    before: Image, after: Image, xy_px: Array, guess_px: Array
) -> tuple[Array, NDArray[np.bool_]]:
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


def find_common_shift(shift_px: Array, votes: Array, *, reach_px: float) -> Array:
    """The shift most of the points share: the middle of those within ``reach_px`` of the best supported one.

    Parameters
    ----------
    shift_px : (N, 2) float array
    votes : (N,) float array

    Returns
    -------
    (2,) float array

    Examples
    --------
    >>> shift = np.array([[5.0, 2.0], [5.2, 2.1], [4.9, 1.9], [0.0, 0.0], [0.1, 0.0]])
    >>> find_common_shift(shift, np.ones(5), reach_px=1.0).round(1).tolist()
    [5.0, 2.0]
    """
    apart = np.linalg.norm(shift_px[:, None] - shift_px[None], axis=2)
    near = np.maximum(1.0 - apart / reach_px, 0.0)
    best = near[int((near @ votes).argmax())] * votes
    return np.asarray(best @ shift_px / best.sum())


def _lay_grid(shape: Float32) -> tuple[Float32, Float32]:
    """Offsets across and down (N, P) of the patches' pixels under their distortions (N, 2, 2)."""
    across, down = _OFFSETS, _OFFSETS[:, None]
    lay = (shape[:, axis, 0, None, None] * across + shape[:, axis, 1, None, None] * down for axis in (0, 1))
    x, y = (one.reshape(len(shape), _SIDE * _SIDE) for one in lay)
    return x, y


def _slope_energy(pixels: Float32) -> Float32:
    """Mean square of neighbouring pixels' differences across and down, (N, 2), from every other line."""
    square = pixels.reshape(len(pixels), _SIDE, _SIDE)
    rows, columns = square[:, ::2], square[:, :, ::2]
    across, down = rows[:, :, 2:] - rows[:, :, :-2], columns[:, 2:] - columns[:, :-2]
    both = np.stack([np.einsum("nij,nij->n", one, one) for one in (across, down)], axis=1)
    return np.asarray(both / across[0].size + 1e-4 if len(pixels) else both, dtype=np.float32)


def _standardise(pixels: Float32) -> tuple[Float32, Float32]:
    centred = pixels - pixels.mean(axis=1, keepdims=True)
    deviation = np.sqrt(np.einsum("np,np->n", centred, centred) / centred.shape[1])[:, None]
    deviation = np.maximum(deviation, np.float32(1e-3)).astype(np.float32)
    return (centred / deviation).astype(np.float32), deviation


def _score_points(luma: Image) -> Float32:
    """At every other pixel, the inverse variance (1/px²) with which a patch there is found in its worst direction."""
    slope_x = cv2.Sobel(luma, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    slope_y = cv2.Sobel(luma, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    grey = luma.astype(np.float32)
    half = (luma.shape[1] // 2, luma.shape[0] // 2)
    side = _SIDE // 2 + 1

    def mean(product: Float32) -> Float32:
        small = cv2.resize(product, half, interpolation=cv2.INTER_AREA)
        return np.asarray(cv2.boxFilter(small, cv2.CV_32F, (side, side)))

    xx, yy, xy = mean(slope_x * slope_x), mean(slope_y * slope_y), mean(slope_x * slope_y)
    smaller: Float32 = 0.5 * (xx + yy - np.sqrt((xx - yy) ** 2 + 4 * xy * xy))
    # Noise has slopes in every direction, on an edge as on a bare wall, and would make corners of both.
    smaller = np.maximum(smaller - np.float32(_NOISE_MARGIN * _noise_slopes(luma)), np.float32(0.0))
    contrast = np.maximum(mean(grey * grey) - mean(grey) ** 2, np.float32(0.0))
    return np.asarray(_SIDE**2 * smaller / (_DRAG**2 + _UNLIKE**2 * contrast), dtype=np.float32)


def _noise_slopes(luma: Image) -> float:
    """What noise alone adds to the mean square of a picture's slopes (grey levels² / px²).

    The noise is read from the mask that a plane or a straight edge leaves no trace in (Immerkær 1996, Comput Vis Image
    Underst 64:300–302, doi 10.1006/cviu.1996.0060), where the picture is barest.
    """
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    trace = np.abs(cv2.filter2D(luma, cv2.CV_32F, mask))
    local = cv2.resize(
        trace, (trace.shape[1] // _SIDE, max(1, trace.shape[0] // _SIDE)), interpolation=cv2.INTER_AREA
    )
    deviation = float(np.quantile(local, _BAREST)) * np.sqrt(np.pi / 2) / 6
    # A Sobel slope takes 12/64 of each pixel's noise variance.
    return float(deviation**2 * 12 / 64)
