"""The shadow an animal casts on the floor."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from .camera import View
from .canvas import Image
from .light import Light
from .shapes import Look, hoof_outline, leg_pieces, trunk_points
from .skeleton import Build, Pose

Array = NDArray[np.float64]

_COARSER = 2
_CONTACT_BLUR = 0.012
_CONTACT_DARK = 0.55


def cast(points: Array, light: Light) -> Array:
    """Where the shadow of world points, (N, 3) m, falls on the floor, (N, 3) m."""
    towards = light.unit
    fallen = points - points[:, 2:] * (towards / towards[2])
    return np.column_stack([fallen[:, :2], np.zeros(len(points))])


def animal_shadow(build: Build, look: Look, pose: Pose, light: Light) -> list[Array]:
    """Outlines on the floor, each (N, 3) m, of the shadow of trunk, legs, neck and head."""
    pieces = [(pose.neck_root, pose.poll, 0.17 * build.size), (pose.poll, pose.muzzle, 0.10 * build.size)]
    for leg in pose.legs.values():
        pieces += leg_pieces(build, look, leg)
    shapes = [cast(trunk_points(build, pose), light)]
    shapes += [cast(bar_corners(*piece), light) for piece in pieces]
    return shapes


def contact_shapes(look: Look, pose: Pose) -> list[Array]:
    """Soles near the floor, each (10, 3) m: the dark line where a hoof meets the ground."""
    shapes = []
    for leg in pose.legs.values():
        rim = hoof_outline(look, leg, pose)[:10]
        if rim[:, 2].min() < 0.03:
            grown = rim + 0.12 * (rim - rim.mean(axis=0))
            shapes.append(np.column_stack([grown[:, :2], np.zeros(10)]))
    return shapes


def lay_shadow(
    picture: Image, view: View, light: Light, shapes: Sequence[Array], contacts: Sequence[Array]
) -> None:
    """Darken the floor, in place.

    Parameters
    ----------
    picture : (H, W, 3) uint8 array
    view : View
    light : Light
    shapes, contacts : sequences of (N, 3) float arrays
        Outlines on the floor (m): of the cast shadow, and of what touches the floor.
    """
    spots = [_hull(view.to_px(shape)) for shape in shapes]
    touching = [_hull(view.to_px(shape)) for shape in contacts]
    if not spots:
        return
    height, width = picture.shape[:2]
    every = np.vstack([*spots, *touching])
    margin = 8 + 3 * light.shadow_blur * view.focal_px / 4
    low = np.clip(np.floor(every.min(axis=0) - margin), 0, [width, height]).astype(int)
    high = np.clip(np.ceil(every.max(axis=0) + margin), 0, [width, height]).astype(int)
    if np.any(high - low < 4):
        return
    middle = np.vstack(shapes).mean(axis=0)
    fine = float(view.px_per_m(middle)[0]) / _COARSER
    flat = float(np.clip((view.place[2] - 0.0) / np.linalg.norm(view.place - middle), 0.05, 1.0))
    shade = light.shadow * _soft_mask(spots, low, high, light.shadow_blur * fine, flat)
    if touching:
        dark = _CONTACT_DARK * _soft_mask(touching, low, high, _CONTACT_BLUR * fine, flat)
        shade = 1 - (1 - shade) * (1 - dark)
    keep = np.clip(255 * (1 - shade), 0, 255).astype(np.uint8)
    keep = cv2.resize(keep, (int(high[0] - low[0]), int(high[1] - low[1])), interpolation=cv2.INTER_LINEAR)
    window = picture[low[1] : high[1], low[0] : high[0]]
    cv2.multiply(window, cv2.merge([keep, keep, keep]), window, 1 / 255)


def _soft_mask(
    spots: Sequence[Array], low: NDArray[np.int_], high: NDArray[np.int_], blur_px: float, flat: float
) -> NDArray[np.floating]:
    size = -(-(high - low) // _COARSER)
    mask = np.zeros((int(size[1]), int(size[0])), np.uint8)
    for spot in spots:
        cv2.fillPoly(mask, [np.round((spot - low) / _COARSER * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(mask, (0, 0), max(blur_px, 0.5), sigmaY=max(blur_px * flat, 0.5))
    return np.asarray(soft, dtype=np.float32) / np.float32(255)


def _hull(xy_px: Array) -> Array:
    bounded = np.clip(xy_px, -4000, 8000).astype(np.float32)
    return np.asarray(cv2.convexHull(bounded)[:, 0], dtype=float)


def bar_corners(start: Array, end: Array, half: float) -> Array:
    """Corners of a square bar between two world points, (8, 3) m."""
    sides = half * np.array([[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.8, 0.0], [0.0, -0.8, 0.0]])
    return np.vstack([start + sides, end + sides])
