"""Where each hoof was along the line of walk, frame by frame, and the length that stands for one stride."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .camera import CameraMotion
from .ground import Ground
from .limbs import Limb
from .prints import Print
from .strides import Stride
from .tracks import HoofTrack

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoofPositions:
    """Where one hoof was along the line of walk.

    Parameters
    ----------
    limb : Limb
    t : (K,) float array
        Presentation times (s); frames whose camera motion was lost are left out.
    along : (K,) float array
        Distance along the line of walk, rising as the animal goes on (the ground's unit). A foot in the air is
        taken where its toe hides the floor, which for a camera square to the walk is where it is.
    seen : (K,) bool array
        False where the hoof was hidden and its place is bridged.
    """

    limb: Limb
    t: Array
    along: Array
    seen: NDArray[np.bool_]


def project_along(xy: Array, heading: tuple[float, float]) -> Array:
    """(N,) distance along the line of walk of (N, 2) floor points, from the floor's origin."""
    return np.asarray(xy @ np.asarray(heading, dtype=float))


def project_across(xy: Array, heading: tuple[float, float]) -> Array:
    """(N,) distance to the left of the line of walk of (N, 2) floor points, as the animal faces."""
    return np.asarray(xy @ np.array([-heading[1], heading[0]], dtype=float))


def find_positions(
    tracks: Sequence[HoofTrack], camera: CameraMotion, ground: Ground, heading: tuple[float, float]
) -> tuple[HoofPositions, ...]:
    """The place of every followed hoof along the line of walk.

    Parameters
    ----------
    tracks : sequence of HoofTrack
    camera : CameraMotion
    ground : Ground
    heading : (float, float)
        Unit vector of the line of walk on the floor.

    Returns
    -------
    tuple of HoofPositions
        One for each track of which some frame is held, in the order of ``tracks``.
    """
    found = []
    for track in tracks:
        held = camera.held[track.frames]
        if not held.any():
            continue
        xy = ground.to_floor(camera.hold(track.frames[held], track.xy_px[held]))
        found.append(
            HoofPositions(
                limb=track.limb,
                t=track.t[held],
                along=project_along(xy, heading),
                seen=track.seen[held],
            )
        )
    return tuple(found)


def find_display_length(
    prints: Sequence[Print], strides: Sequence[Stride], ground: Ground, heading: tuple[float, float]
) -> float | None:
    """The floor length that is shown as one unit of distance.

    Returns
    -------
    float or None
        1 m where the clip has a scale; the mean stride, in the ground's arbitrary length, where it has none; None
        where it has neither a scale nor a stride.
    """
    if ground.unit == "m":
        return 1.0
    spans = [
        float(project_along(prints[stride.end].xy - prints[stride.start].xy, heading)) for stride in strides
    ]
    mean = sum(spans) / len(spans) if spans else 0.0
    return mean if mean > 0 else None
