"""Hair, horn and texture: the colours of an animal, painted once and cut to shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """The two colours of a coat and how they are spread; of one animal, the same on both sides."""

    kind: CoatKind
    dark: Colour
    light: Colour


def smooth_noise(
    rng: np.random.Generator, shape: tuple[int, int], grain: float, stretch: float = 1.0
) -> Array:
    """Noise of unit spread whose features are ``grain`` pixels large, ``stretch`` times longer along x."""
    rows = max(2, round(shape[0] / grain) + 2)
    columns = max(2, round(shape[1] / (grain * stretch)) + 2)
    coarse = rng.standard_normal((rows, columns)).astype(np.float32)
    fine = cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(fine / max(float(fine.std()), 1e-6), dtype=np.float64)


def draw_palette(rng: np.random.Generator, kind: CoatKind) -> Palette:
    """Draw the two colours of a coat."""
    dark: CoatKind = {"patched": "black", "roan": "red"}.get(kind, kind)  # type: ignore[assignment]
    if kind in ("patched", "roan") and rng.random() < 0.4:
        dark = "red" if kind == "patched" else "black"
    white_below = kind not in ("white", "patched", "roan") and rng.random() < 0.3
    light: CoatKind = "white" if kind in ("patched", "roan") or white_below else kind
    first = _HAIR[dark][rng.integers(len(_HAIR[dark]))]
    second = _HAIR[light][rng.integers(len(_HAIR[light]))] if light != dark else first
    return Palette(kind=kind, dark=first, light=second)


def paint_coat(rng: np.random.Generator, palette: Palette, *, mud: float) -> Image:
    """One side of a coat over ``COAT_WINDOW``, (H, W, 3) uint8, x forward to the right and z up.

    Parameters
    ----------
    rng : numpy.random.Generator
    palette : Palette
    mud : float
        0 clean to 1 caked: how much dirt the lower legs carry.
    """
    x0, x1, z0, z1 = COAT_WINDOW
    shape = (round((z1 - z0) * PX_PER_M), round((x1 - x0) * PX_PER_M))
    height = np.linspace(z1, z0, shape[0])[:, None]
    share = _dark_share(rng, palette.kind, shape, height)[..., None]
    colour = share * np.array(palette.dark) + (1 - share) * np.array(palette.light)
    hair = 0.05 * smooth_noise(rng, shape, 2.0, 2.0) + 0.05 * smooth_noise(rng, shape, 9.0, 2.5)
    hair += 0.05 * smooth_noise(rng, shape, 45.0)
    colour = colour * (1 + hair[..., None]) + 5 * smooth_noise(rng, shape, 2.5)[..., None]
    dirt = np.clip((-height - 0.78) / 0.5, 0, 1) + 0.25 * smooth_noise(rng, shape, 0.08 * PX_PER_M)
    dirt = np.clip(dirt, 0, 1) * mud * (height < -0.3)
    colour = colour * (1 - dirt[..., None]) + dirt[..., None] * np.array([62, 78, 92]) * (1 + hair[..., None])
    return np.clip(colour, 4, 250).astype(np.uint8)


def _dark_share(rng: np.random.Generator, kind: CoatKind, shape: tuple[int, int], height: Array) -> Array:
    """How much of the darker colour each place of the coat has, (H, W), 0 to 1."""
    if kind == "patched":
        field = smooth_noise(rng, shape, 0.38 * PX_PER_M, 1.3) + 0.25 * smooth_noise(
            rng, shape, 0.06 * PX_PER_M
        )
        return np.asarray(1 / (1 + np.exp(-(field + rng.uniform(-0.4, 0.5) + 1.2 * (height + 0.55)) * 14)))
    if kind == "roan":
        field = 0.5 * smooth_noise(rng, shape, 0.3 * PX_PER_M) + 0.7 * smooth_noise(rng, shape, 1.6, 1.5)
        return np.asarray(1 / (1 + np.exp(-(field + rng.uniform(-0.2, 0.4)) * 1.6)))
    edge = 0.08 * smooth_noise(rng, shape, 0.15 * PX_PER_M)
    return np.asarray(1 / (1 + np.exp(-(height + 0.92 + edge) * 40)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """Light on a cut-out.

    Parameters
    ----------
    light : (ahead, up, towards the viewer) floats
        Direction to the light.
    ambient : float
        Brightness of what the light does not reach, 0 to 1.
    """

    light: tuple[float, float, float]
    ambient: float


def shade_round(mask: Image, thickness_px: float, shade: Shade) -> Array:
    """Brightness of a shape taken as a rounded body, (H, W) float.

    The body's height over the paper rises from its outline as a quarter circle of radius ``thickness_px``.
    """
    inside = _depth_inside(mask)
    rim = np.clip(inside / thickness_px, 0, 1)
    body = thickness_px * np.sqrt(np.clip(1 - (1 - rim) ** 2, 0, 1))
    down, across = np.gradient(cv2.GaussianBlur(body, (0, 0), max(thickness_px * 0.12, 0.8)))
    normal = np.stack([-across, down, np.ones_like(body)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    to_light = np.array(shade.light) / np.linalg.norm(shade.light)
    return np.asarray(shade.ambient + (1 - shade.ambient) * np.clip(normal @ to_light, 0, 1))


def cut_limb(
    coat: Image,
    start: tuple[float, float],
    end: tuple[float, float],
    outline: Sequence[tuple[float, float, float]],
    *,
    shade: Shade,
    girth: float = 1.0,
    soft: float = 0.0,
    soft_until: float = 0.62,
) -> Cutout:
    """Cut a piece of leg, neck or head from the coat.

    Parameters
    ----------
    coat : (H, W, 3) uint8 array
        From ``paint_coat``.
    start, end : (x, z) floats
        Where the piece's two joints lie on the coat at rest (m).
    outline : sequence of (share, front, back)
        Half-widths (m) before and behind the line of joints, at shares of the way from start to end.
    shade : Shade
        Ahead is the animal's front.
    girth : float
        Scale of the half-widths.
    soft : float
        Width (m) over which the upper part melts into what lies beneath; 0 for a sharp edge all round.
    soft_until : float
        Share of the piece that does.
    """
    length = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    mask, centre, top, half_px = _piece_mask(outline, length, girth)
    tall, width = mask.shape
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
    bright = shade_round(mask, 0.9 * half_px, shade)
    if soft:
        depth = _depth_inside(mask) / (soft * PX_PER_M)
        sharp = np.clip((np.arange(tall)[:, None] / tall - soft_until) / 0.3, 0, 1)
        keep = np.clip(depth + sharp, 0, 1)
        bright = bright * sharp + (1 - sharp) * (0.75 * float(np.median(bright[mask > 127])) + 0.25 * bright)
        mask = (mask * keep).astype(np.uint8)
    colour = np.clip(hair * bright[..., None], 3, 252).astype(np.uint8)
    return Cutout(
        image=np.dstack([colour, mask]),
        px_per_m=PX_PER_M,
        start_px=(centre, top),
        end_px=(centre, top + length * PX_PER_M),
        melts=soft > 0,
    )


def cut_outline(coat: Image, outline: Array, *, thickness: float, shade: Shade) -> Image:
    """Cut a closed outline, (N, 2) x and z (m), from the coat, shaded as a round body, over ``COAT_WINDOW``."""
    x0, _, _, z1 = COAT_WINDOW
    mask = np.zeros(coat.shape[:2], np.uint8)
    _fill(mask, (outline - [x0, z1]) * [PX_PER_M, -PX_PER_M])
    bright = shade_round(mask, thickness * PX_PER_M, shade)
    colour = np.clip(coat * bright[..., None], 3, 252).astype(np.uint8)
    return np.dstack([colour, mask])


def _piece_mask(
    outline: Sequence[tuple[float, float, float]], length: float, girth: float
) -> tuple[Image, float, float, float]:
    """A piece's mask, its middle column, the row of its first joint, and its median half-width (px)."""
    shares = np.array([row[0] for row in outline])
    fine = np.linspace(shares[0], shares[-1], 60)
    front, back = (
        girth * PX_PER_M * PchipInterpolator(shares, [row[i] for row in outline])(fine) for i in (1, 2)
    )
    round_off = _caps(fine)
    front, back = front * round_off, back * round_off
    margin = 6
    width = round(2 * float(max(front.max(), back.max()))) + 2 * margin
    tall = round(float(shares[-1] - shares[0]) * length * PX_PER_M) + 2 * margin
    top = margin - float(shares[0]) * length * PX_PER_M
    rows, centre = top + fine * length * PX_PER_M, (width - 1) / 2
    mask = np.zeros((tall, width), np.uint8)
    sides = (np.column_stack([centre + front, rows]), np.column_stack([centre - back, rows])[::-1])
    _fill(mask, np.vstack(sides))
    return mask, centre, top, float(np.median((front + back) / 2))


def _caps(shares: Array) -> Array:
    """Narrowing that rounds off whatever reaches beyond the first and the last joint."""
    before, after = max(-shares[0], 1e-6), max(shares[-1] - 1, 1e-6)
    beyond = np.maximum(np.clip(-shares / before, 0, 1), np.clip((shares - 1) / after, 0, 1))
    return np.asarray(np.sqrt(1 - beyond**2))


def _fill(mask: Image, xy_px: Array) -> None:
    cv2.fillPoly(mask, [np.round(xy_px * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)


def _depth_inside(mask: Image) -> Array:
    """Distance of each pixel of a mask from its outline (px)."""
    return np.asarray(cv2.distanceTransform((mask > 127).astype(np.uint8), cv2.DIST_L2, 5), dtype=np.float64)


def mirrored(cutout: Cutout) -> Cutout:
    """The same cut-out for an animal that faces the other way."""
    last = cutout.image.shape[1] - 1
    return Cutout(
        image=np.ascontiguousarray(cutout.image[:, ::-1]),
        px_per_m=cutout.px_per_m,
        start_px=(last - cutout.start_px[0], cutout.start_px[1]),
        end_px=(last - cutout.end_px[0], cutout.end_px[1]),
        melts=cutout.melts,
    )
