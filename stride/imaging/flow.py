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
_SETTLED_PX = 0.04

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
    template : (N, P) float32 array
        Brightness with mean 0 and standard deviation 1.
    descent : (N, 2, P) float32 array
        Change of ``template`` by a shift in x and in y (1/px).
    inverse : (N, 2, 2) float32 array
        Inverse of the normal matrix of ``descent``.
    """

    xy_px: Array
    cov_px2: Array
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
    height, width = luma.shape
    score = _score_points(luma)
    edge = REACH_PX + 1
    score[:edge], score[height - edge :] = 0.0, 0.0
    score[:, :edge], score[:, width - edge :] = 0.0, 0.0
    peak = cv2.dilate(score, np.ones((REACH_PX + 1, REACH_PX + 1), np.uint8))
    rows, columns = np.nonzero((score >= peak) & (score > worst_px**-2.0))
    error = 1.0 / np.sqrt(score[rows, columns].astype(float))
    order = np.argsort(error, kind="stable")
    rows, columns, error = rows[order], columns[order], error[order]
    cell = (rows // cell_px) * (width // cell_px + 1) + columns // cell_px
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
    return Patches(
        xy_px=at.astype(float),
        cov_px2=_SHARPEST**2 * np.eye(2) + inverse * ((_DRAG / deviation[:, :, None]) ** 2 + _UNLIKE**2),
        template=template,
        descent=descent,
        inverse=inverse,
    )


def gather_patches(sets: Sequence[Patches], which: Sequence[NDArray[np.intp]]) -> Patches:
    """Chosen patches of several sets in one; ``xy_px`` then belongs to different pictures."""

    def gather(name: str) -> NDArray[Any]:
        return np.concatenate([getattr(one, name)[number] for one, number in zip(sets, which, strict=True)])

    return Patches(
        xy_px=gather("xy_px"),
        cov_px2=gather("cov_px2"),
        template=gather("template"),
        descent=gather("descent"),
        inverse=gather("inverse"),
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
    if len(patches) == 0:
        return Sightings(xy_px=np.empty((0, 2)), similarity=np.empty(0), sharpness=np.empty(0))
    xy = np.array(guess_px, dtype=np.float32)
    similarity, sharpness = np.zeros(len(patches)), np.zeros(len(patches))
    left = np.arange(len(patches))
    work = _Alignment(patches, shape.astype(np.float32))
    for _ in range(iterations):
        step, similarity[left], sharpness[left] = work.step(luma, xy[left])
        xy[left] -= step
        going = np.abs(step).max(axis=1) > _SETTLED_PX
        if not going.any():
            break
        left, work = left[going], work.only(going)
    return Sightings(xy_px=xy.astype(float), similarity=similarity, sharpness=sharpness)


class _Alignment:
    """Patches under their own small distortions, ready to be moved step by step."""

    def __init__(self, patches: Patches, shape: Float32) -> None:
        self._template, self._shape = patches.template, shape
        self._to_step = patches.inverse @ patches.descent
        self._energy = _slope_energy(patches.template)
        self._lay_x, self._lay_y = (_lay_grid(shape[:, axis]) for axis in (0, 1))

    def only(self, which: NDArray[np.bool_]) -> _Alignment:
        """Those patches alone."""
        if which.all():
            return self
        rest = object.__new__(_Alignment)
        rest._template, rest._shape = self._template[which], self._shape[which]
        rest._to_step, rest._energy = self._to_step[which], self._energy[which]
        rest._lay_x, rest._lay_y = self._lay_x[which], self._lay_y[which]
        return rest

    def step(self, luma: Image, xy: Float32) -> tuple[Float32, Float32, Float32]:
        """How far (N, 2) the patches seem to lie beyond their true places; how alike and how sharp (N,) they are."""
        seen = cv2.remap(
            luma,
            self._lay_x + xy[:, :1],
            self._lay_y + xy[:, 1:],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ).astype(np.float32)
        current, _ = _standardise(seen)
        error = current - self._template
        own = np.clip((self._to_step @ error[:, :, None])[:, :, 0], -2.0, 2.0)
        alike = 1.0 - 0.5 * np.einsum("np,np->n", error, error) / error.shape[1]
        sharp = (_slope_energy(current) / self._energy).min(axis=1)
        return (self._shape @ own[:, :, None])[:, :, 0], alike, sharp


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
    >>> shift = np.array([[5.0, 0.0], [5.2, 0.1], [4.9, -0.1], [0.0, 0.0], [0.1, 0.0]])
    >>> find_common_shift(shift, np.ones(5), reach_px=1.0).round(1).tolist()
    [5.0, 0.0]
    """
    apart = np.linalg.norm(shift_px[:, None] - shift_px[None], axis=2)
    near = np.maximum(1.0 - apart / reach_px, 0.0)
    best = near[int((near @ votes).argmax())] * votes
    return np.asarray(best @ shift_px / best.sum())


def _lay_grid(row: Float32) -> Float32:
    """(N, P) offsets along one picture axis of a patch's pixels, for the (N, 2) row of its distortion."""
    grid = row[:, 0, None, None] * _OFFSETS + row[:, 1, None, None] * _OFFSETS[:, None]
    return grid.reshape(len(row), _SIDE * _SIDE)


def _slope_energy(pixels: Float32) -> Float32:
    """Mean square of neighbouring pixels' differences across and down, (N, 2)."""
    square = pixels.reshape(len(pixels), _SIDE, _SIDE)
    across, down = square[:, :, 2:] - square[:, :, :-2], square[:, 2:] - square[:, :-2]
    both = np.stack([np.einsum("nij,nij->n", one, one) for one in (across, down)], axis=1)
    return np.asarray(both / (_SIDE * (_SIDE - 2)) + np.float32(1e-4), dtype=np.float32)


def _standardise(pixels: Float32) -> tuple[Float32, Float32]:
    centred = pixels - pixels.mean(axis=1, keepdims=True)
    deviation = np.sqrt(np.einsum("np,np->n", centred, centred) / centred.shape[1])[:, None]
    deviation = np.maximum(deviation, np.float32(1e-3)).astype(np.float32)
    return (centred / deviation).astype(np.float32), deviation


def _score_points(luma: Image) -> Float32:
    """At every pixel, the inverse variance (1/px²) with which a patch there is found in its worst direction."""
    slope_x = cv2.Sobel(luma, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    slope_y = cv2.Sobel(luma, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)

    def total(product: Float32) -> Float32:
        return cv2.boxFilter(product, cv2.CV_32F, (_SIDE, _SIDE), normalize=False)

    xx, yy, xy = total(slope_x * slope_x), total(slope_y * slope_y), total(slope_x * slope_y)
    smaller: Float32 = 0.5 * (xx + yy - np.sqrt((xx - yy) ** 2 + 4 * xy * xy))
    # Noise has slopes in every direction, on an edge as on a bare wall, and would make corners of both.
    smaller = np.maximum(smaller - np.float32(_NOISE_MARGIN * _noise_slopes(luma)), np.float32(0.0))
    grey = luma.astype(np.float32)
    contrast = total(grey * grey) / _SIDE**2 - (total(grey) / _SIDE**2) ** 2
    return np.asarray(smaller / (_DRAG**2 + _UNLIKE**2 * contrast), dtype=np.float32)


def _noise_slopes(luma: Image) -> float:
    """What noise alone adds to the normal matrix of a patch's slopes.

    The noise is read from the mask that a plane or a straight edge leaves no trace in (Immerkær 1996, Comput Vis Image
    Underst 64:300–302, doi 10.1006/cviu.1996.0060), where the picture is barest.
    """
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    trace = np.abs(cv2.filter2D(luma, cv2.CV_32F, mask))
    local = cv2.boxFilter(trace, cv2.CV_32F, (_SIDE, _SIDE))[REACH_PX::_SIDE, REACH_PX::_SIDE]
    deviation = float(np.quantile(local, _BAREST)) * np.sqrt(np.pi / 2) / 6
    # A Sobel slope takes 12/64 of each pixel's noise variance.
    return float(_SIDE**2 * deviation**2 * 12 / 64)
