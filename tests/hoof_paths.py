"""Simulated hooves as a phone would show them: toe tips in the picture, with noise that is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from stride.simulate.camera import Camera, View
from stride.simulate.gait import Walk
from stride.walk.camera import CameraMotion
from stride.walk.ground import Ground
from stride.walk.limbs import LIMBS, Limb
from stride.walk.tracks import HoofTrack

Array = NDArray[np.float64]
SIZE_PX = (1280, 720)


def see_from(
    distance: float = 5.0,
    height: float = 1.2,
    *,
    yaw: float = 0.0,
    roll: float = 0.0,
    focal_share: float = 0.8,
    size_px: tuple[int, int] = SIZE_PX,
) -> View:
    """A phone on a rail, ``distance`` m from the line of walk: level but for ``yaw`` and ``roll`` (rad)."""
    return Camera(
        kind="tripod",
        size_px=size_px,
        focal_px=focal_share * size_px[0],
        place=(-distance * float(np.tan(yaw)), -distance, height),
        angles=(yaw, 0.0, roll),
        shake=np.zeros((6, 0, 3)),
        turning=np.zeros((2, 0)),
    ).view_at(0.0)


def true_ground(view: View) -> Ground:
    """The floor of a view, known without any doubt."""
    return Ground(
        kind="plane",
        matrix=np.linalg.inv(view.floor_to_px()),
        parameters=np.zeros((1, 3, 3)),
        covariance=np.zeros((1, 1)),
        scale_error=0.0,
        trusted_px=np.empty((0, 2)),
        unit="m",
    )


def frame_times(walk: Walk, frame_rate: float = 60.0, *, start: float = 0.0) -> Array:
    """Times of the frames in which the walk is filmed (s)."""
    return np.arange(start, walk.duration, 1 / frame_rate)


def true_motion(camera: Camera, t: Array, *, residual_px: float = 0.0) -> CameraMotion:
    """The motion of a camera that is known without any doubt but what is stated."""
    to_px = camera.floor_to_px(t)
    return CameraMotion(
        to_first=to_px[0] @ np.linalg.inv(to_px),
        residual_px=np.full(len(t), residual_px),
        held=np.ones(len(t), dtype=bool),
        moving=True,
    )


def track_walk(
    walk: Walk,
    view: View | Sequence[View],
    t: Array,
    rng: np.random.Generator,
    *,
    noise_px: float = 0.5,
    mark_px: float = 0.0,
    limb_px: float = 0.0,
    hidden: Mapping[Limb, tuple[tuple[float, float], ...]] | None = None,
) -> tuple[HoofTrack, ...]:
    """Tracks of all four hooves with errors drawn from the very variances they state.

    ``noise_px`` differs from frame to frame, ``mark_px`` from stance to stance, ``limb_px`` from limb to limb;
    ``hidden`` gives times (s) between which a hoof is not seen, and its place then a straight line. A camera that
    moves has a view for each frame.
    """
    tracks = []
    frames = np.arange(len(t))
    for limb in LIMBS:
        landings = [one.touch_down for one in walk.prints if one.limb == limb]
        stance = np.searchsorted(landings, t + 0.2)
        toes = walk.hoof_at(limb, t)
        if isinstance(view, View):
            xy = view.to_px(toes)
        else:
            xy = np.concatenate([one.to_px(toe[None]) for one, toe in zip(view, toes, strict=True)])
        xy += noise_px * rng.standard_normal((len(t), 2))
        xy += (mark_px * rng.standard_normal((len(landings) + 1, 2)))[stance]
        xy += limb_px * rng.standard_normal(2)
        seen = np.ones(len(t), dtype=bool)
        for first, last in (hidden or {}).get(limb, ()):
            seen &= (t < first) | (t > last)
        for axis in range(2):
            xy[:, axis] = np.interp(t, t[seen], xy[seen, axis])
        tracks.append(
            HoofTrack(
                limb=limb,
                frames=frames,
                t=t,
                xy_px=xy,
                cov_px2=np.tile(noise_px**2 * np.eye(2), (len(t), 1, 1)),
                seen=seen,
                source="marked",
                offset_px2=np.full(len(t), mark_px**2),
                limb_px2=limb_px**2,
            )
        )
    return tuple(tracks)
