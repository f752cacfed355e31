"""Hair, horn and texture: the colours of an animal, painted once and cut to shape."""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from .canvas import Colour, Cutout

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
CoatKind = Literal["black", "red", "white", "patched", "roan", "brown"]

COATS: tuple[CoatKind, ...] = ("black", "red", "white", "patched", "roan", "brown")
PX_PER_M = 220
"""Fineness of painted coats and cut-outs."""

COAT_WINDOW = (-2.0, 2.2, -1.55, 0.6)
"""Part of the animal's own plane that a coat covers: x from and to, z from and to (m, of the trunk's middle)."""

_HAIR: dict[CoatKind, tuple[Colour, ...]] = {
    "black": ((30, 28, 28), (38, 36, 40), (34, 38, 48)),
    "red": ((38, 62, 122), (30, 50, 98), (52, 84, 150)),
    "white": ((205, 214, 220), (188, 202, 212), (215, 218, 220)),
    "brown": ((48, 66, 92), (62, 88, 118), (40, 52, 70)),
}


def smooth_noise(
    rng: np.random.Generator, shape: tuple[int, int], grain: float, stretch: float = 1.0
) -> Array:
    """Noise of unit spread whose features are ``grain`` pixels large, ``stretch`` times longer along x."""
    rows = max(2, round(shape[0] / grain) + 2)
    columns = max(2, round(shape[1] / (grain * stretch)) + 2)
    coarse = rng.standard_normal((rows, columns)).astype(np.float32)
    fine = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(fine / max(float(fine.std()), 1e-6), dtype=np.float64)


def paint_coat(rng: np.random.Generator, kind: CoatKind, *, mud: float) -> Image:
    """One side of a coat over ``COAT_WINDOW``, (H, W, 3) uint8, x forward to the right and z up.

    Parameters
    ----------
    rng : numpy.random.Generator
    kind : CoatKind
    mud : float
        0 clean to 1 caked: how much dirt the lower legs carry.
    """
    x0, x1, z0, z1 = COAT_WINDOW
    shape = (round((z1 - z0) * PX_PER_M), round((x1 - x0) * PX_PER_M))
    height = np.linspace(z1, z0, shape[0])[:, None]
    dark = np.array(_pick(rng, "black" if rng.random() < 0.6 else "red"))
    light = np.array(_pick(rng, "white"))
    if kind == "patched":
        field = smooth_noise(rng, shape, 0.38 * PX_PER_M, 1.3) + 0.25 * smooth_noise(
            rng, shape, 0.06 * PX_PER_M
        )
        share = 1 / (1 + np.exp(-(field + rng.uniform(-0.4, 0.5) + 1.2 * (height + 0.55)) * 14))
    elif kind == "roan":
        dark = np.array(_pick(rng, "red" if rng.random() < 0.7 else "black"))
        field = smooth_noise(rng, shape, 0.3 * PX_PER_M) * 0.5 + smooth_noise(rng, shape, 0.012 * PX_PER_M)
        share = 1 / (1 + np.exp(-(field + 0.2) * 2.5))
    else:
        dark = light = np.array(_pick(rng, kind))
        share = np.ones(shape)
        if kind != "white" and rng.random() < 0.3:
            light = np.array(_pick(rng, "white"))
            share = 1 / (1 + np.exp(-(height + 0.92 + 0.08 * smooth_noise(rng, shape, 0.15 * PX_PER_M)) * 40))
    colour = share[..., None] * dark + (1 - share[..., None]) * light
    hair = 0.05 * smooth_noise(rng, shape, 2.0, 2.0) + 0.05 * smooth_noise(rng, shape, 9.0, 2.5)
    hair += 0.05 * smooth_noise(rng, shape, 45.0)
    colour = colour * (1 + hair[..., None]) + 5 * smooth_noise(rng, shape, 2.5)[..., None]
    dirt = np.clip((-height - 0.78) / 0.5, 0, 1) + 0.25 * smooth_noise(rng, shape, 0.08 * PX_PER_M)
    dirt = np.clip(dirt, 0, 1) * mud * (height < -0.3)
    colour = colour * (1 - dirt[..., None]) + dirt[..., None] * np.array([62, 78, 92]) * (1 + hair[..., None])
    return np.clip(colour, 4, 250).astype(np.uint8)


def _pick(rng: np.random.Generator, kind: CoatKind) -> Colour:
    return _HAIR[kind][rng.integers(len(_HAIR[kind]))]


def shade_round(
    mask: Image, thickness_px: float, *, light: tuple[float, float, float], ambient: float
) -> Array:
    """Brightness of a shape taken as a rounded body, (H, W) float.

    The body's height over the paper rises from its outline as a quarter circle of radius ``thickness_px``.

    Parameters
    ----------
    mask : (H, W) uint8 array
    thickness_px : float
    light : (right, up, towards the viewer) floats
        Direction to the light.
    ambient : float
        Brightness of what the light does not reach, 0 to 1.
    """
    inside = cv2.distanceTransform((mask > 127).astype(np.uint8), cv2.DIST_L2, 5).astype(np.float64)
    rim = np.clip(inside / thickness_px, 0, 1)
    body = thickness_px * np.sqrt(np.clip(1 - (1 - rim) ** 2, 0, 1))
    body = cv2.GaussianBlur(body, (0, 0), max(thickness_px * 0.12, 0.8))
    down, across = np.gradient(body)
    normal = np.stack([-across, down, np.ones_like(body)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    to_light = np.array(light) / np.linalg.norm(light)
    return np.asarray(ambient + (1 - ambient) * np.clip(normal @ to_light, 0, 1))


def cut_limb(
    coat: Image,
    start: tuple[float, float],
    end: tuple[float, float],
    outline: list[tuple[float, float, float]],
    *,
    light: tuple[float, float, float],
    ambient: float,
    size: float,
    faded: float = 0.0,
    rng: np.random.Generator,
) -> Cutout:
    """Cut a piece of leg, neck or head from the coat.

    Parameters
    ----------
    coat : (H, W, 3) uint8 array
        From ``paint_coat``.
    start, end : (x, z) floats
        Where the piece's two joints lie on the coat at rest (m).
    outline : list of (share, front, back)
        Half-widths (m) before and behind the line of joints, at shares of the way from start to end.
    light, ambient
        As in ``shade_round``; right is the animal's front.
    size : float
        Scale of the half-widths.
    faded : float
        Share of the piece at its start that melts into what lies beneath.
    rng : numpy.random.Generator
    """
    length = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    shares = np.array([row[0] for row in outline])
    fine = np.linspace(shares[0], shares[-1], 60)
    front, back = (size * _spline(shares, [row[i] for row in outline], fine) for i in (1, 2))
    margin = 6
    reach = max(front.max(), back.max())
    width = round(2 * reach * PX_PER_M) + 2 * margin
    tall = round((shares[-1] - shares[0]) * length * PX_PER_M) + 2 * margin
    top = margin - shares[0] * length * PX_PER_M
    rows = top + fine * length * PX_PER_M
    centre = (width - 1) / 2
    sides = np.vstack(
        [
            np.column_stack([centre + front * PX_PER_M, rows]),
            np.column_stack([centre - back * PX_PER_M, rows])[::-1],
        ]
    )
    mask = np.zeros((tall, width), np.uint8)
    cv2.fillPoly(mask, [np.round(sides * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    down = np.subtract(end, start) / length
    ahead = np.array([-down[1], down[0]])
    x0, _, _, z1 = COAT_WINDOW
    to_coat = np.array([[PX_PER_M, 0.0], [0.0, -PX_PER_M]])
    turn = to_coat @ np.column_stack([ahead, down]) / PX_PER_M
    origin = to_coat @ (np.asarray(start) - [x0, z1]) - turn @ [centre, top]
    hair = cv2.warpAffine(
        coat,
        np.column_stack([turn, origin]),
        (width, tall),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REFLECT,
    )
    bright = shade_round(
        mask, 0.9 * float(np.median((front + back) / 2)) * PX_PER_M, light=light, ambient=ambient
    )
    colour = np.clip(hair * bright[..., None], 3, 252)
    if faded:
        share = (np.arange(tall) - margin) / (tall - 2 * margin) / faded
        keep = np.clip(share[:, None], 0, 1) > rng.uniform(0.15, 0.85, mask.shape)
        mask = np.where(keep, mask, 0).astype(np.uint8)
    return Cutout(
        image=np.dstack([colour.astype(np.uint8), mask]),
        px_per_m=PX_PER_M,
        start_px=(centre, top),
        end_px=(centre, top + length * PX_PER_M),
    )


def cut_outline(
    coat: Image,
    outline: Array,
    *,
    thickness: float,
    light: tuple[float, float, float],
    ambient: float,
) -> Image:
    """Cut a closed outline, (N, 2) x and z (m), from the coat, shaded as a round body, over ``COAT_WINDOW``."""
    x0, _, _, z1 = COAT_WINDOW
    spots = (outline - [x0, z1]) * [PX_PER_M, -PX_PER_M]
    mask = np.zeros(coat.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(spots * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    bright = shade_round(mask, thickness * PX_PER_M, light=light, ambient=ambient)
    colour = np.clip(coat * bright[..., None], 3, 252).astype(np.uint8)
    return np.dstack([colour, mask])


def mirrored(cutout: Cutout) -> Cutout:
    """The same cut-out for an animal that faces the other way."""
    last = cutout.image.shape[1] - 1
    return Cutout(
        image=np.ascontiguousarray(cutout.image[:, ::-1]),
        px_per_m=cutout.px_per_m,
        start_px=(last - cutout.start_px[0], cutout.start_px[1]),
        end_px=(last - cutout.end_px[0], cutout.end_px[1]),
    )


def _spline(at: Array, values: list[float], fine: Array) -> Array:
    from scipy.interpolate import PchipInterpolator

    return np.asarray(PchipInterpolator(at, values)(fine), dtype=float)
