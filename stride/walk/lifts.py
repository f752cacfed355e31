"""How high the toe is carried, from its picture above the line between two prints."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..quantity import Measured, Quantity, Unmeasured
from .camera import CameraMotion
from .ground import Ground
from .limbs import LIMBS, Limb
from .prints import Print
from .tracks import HoofTrack

Array = NDArray[np.float64]

# A swinging foot is carried round its opposite by a few centimetres; that moves its picture up or down as lifting
# does, and a side view cannot tell the two apart (m).
_CARRIED_ASIDE = 0.007
_STRIDE_LENGTH = 1.4
_LEAST_SEEN_SHARE = 0.7


def find_heights(
    tracks: Sequence[HoofTrack],
    prints: Sequence[Print],
    camera: CameraMotion,
    ground: Ground,
    display_length: float,
) -> dict[Limb, tuple[Array, Array]]:
    """Height of each toe above the floor over time.

    Parameters
    ----------
    tracks, prints, camera, ground
        Of one walk.
    display_length : float
        Floor length counted as one (1 m, or the mean stride where the clip has no scale).

    Returns
    -------
    dict of limb to (t, height)
        (K,) times (s) and (K,) heights (m or mean strides), from a limb's first to its last print; NaN where the
        hoof was not seen.
    """
    heights: dict[Limb, tuple[Array, Array]] = {}
    for track in tracks:
        own = [one for one in prints if one.limb == track.limb]
        pieces = [_height_between(a, b, track, camera, ground) for a, b in pairwise(own)]
        if pieces:
            t = np.concatenate([piece[0] for piece in pieces])
            heights[track.limb] = (t, np.concatenate([piece[1] for piece in pieces]) / display_length)
    return heights


def measure_lifts(
    tracks: Sequence[HoofTrack],
    prints: Sequence[Print],
    camera: CameraMotion,
    ground: Ground,
    display_length: float | None,
) -> Mapping[Limb, Quantity]:
    """Mean over swings of the greatest height of each toe; swings mostly hidden are left out."""
    found: dict[Limb, Quantity] = {
        limb: Unmeasured(reason="no swing of this foot was followed") for limb in LIMBS
    }
    if display_length is None:
        return found
    for track in tracks:
        own = [one for one in prints if one.limb == track.limb]
        tops: list[float] = []
        for a, b in pairwise(own):
            _, height = _height_between(a, b, track, camera, ground)
            seen = np.isfinite(height)
            if len(height) >= 5 and seen.mean() >= _LEAST_SEEN_SHARE:
                tops.append(float(np.nanmax(height)) / display_length)
        if tops:
            mean = float(np.mean(tops))
            aside = _CARRIED_ASIDE / (1.0 if ground.unit == "m" else _STRIDE_LENGTH)
            found[track.limb] = Measured(
                value=mean,
                unit=ground.unit,
                random=aside / 2 / np.sqrt(len(tops)),
                common=float(np.hypot(aside, ground.scale_error * mean)),
                spread=float(np.std(tops, ddof=1)) if len(tops) > 1 else None,
                n=len(tops),
            )
    return found


def _height_between(
    start: Print, end: Print, track: HoofTrack, camera: CameraMotion, ground: Ground
) -> tuple[Array, Array]:
    """Times and heights (the ground's length) from the end of one stance to the start of the next."""
    between = (track.frames >= start.frames[1]) & (track.frames <= end.frames[0]) & camera.held[track.frames]
    frames = track.frames[between]
    xy = camera.hold(frames, track.xy_px[between])
    span = end.xy_px - start.xy_px
    share = np.clip((xy[:, 0] - start.xy_px[0]) / (span[0] or 1.0), 0.0, 1.0)
    below = start.xy_px + share[:, None] * span
    per_px = np.hypot(*ground.jacobian_by_point(below)[:, :, 0].T)
    height = (below[:, 1] - xy[:, 1]) * per_px
    height[~track.seen[between]] = np.nan
    return track.t[between], height
