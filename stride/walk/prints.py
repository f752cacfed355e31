"""Where and when one hoof stood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import RefusedError
from ..numeric.corners import Corner, find_corner
from ..numeric.homography import apply_homography, differentiate_by_point
from ..numeric.robust import robust_mean
from ..numeric.runs import find_steady_runs
from .camera import CameraMotion
from .ground import Ground
from .limbs import Limb
from .tracks import HoofTrack

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """One hoof's place on the floor and the time it stood there.

    Parameters
    ----------
    limb : Limb
    xy : (2,) float array
        Place of the toe tip on the floor (m, or the ground's unit): x along the picture, y away from the camera.
    cov : (2, 2) float array
        Covariance of this print alone (m²): independent of every other print.
    limb_cov : (2, 2) float array
        Covariance shared by all prints of this limb (m²), from the one idea of where its toe tip is;
        it cancels in stride lengths and stays in overreach.
    ground_jacobian : (2, K) float array
        Derivative of ``xy`` by the ground's K parameters: the error common to the whole clip.
    xy_px : (2,) float array
        The same place in the held picture (px).
    touch_down, lift_off : float or None
        Seconds; None where the event lies outside the clip or was not seen.
    touch_down_error, lift_off_error : float or None
        Standard errors (s).
    frames : (int, int)
        First and last frame in which the hoof was seen standing.
    seen_from, seen_to : float
        Their times (s).
    source : {"marked", "found"}
    confidence : float
        Probability that this is a print of this limb; 1.0 for a marked one.
    """

    limb: Limb
    xy: Array
    cov: Array
    limb_cov: Array
    ground_jacobian: Array
    xy_px: Array
    touch_down: float | None
    touch_down_error: float | None
    lift_off: float | None
    lift_off_error: float | None
    frames: tuple[int, int]
    source: Literal["marked", "found"]
    seen_from: float = 0.0
    seen_to: float = 0.0
    confidence: float = 1.0


# Errors of neighbouring frames that look alike count about this many frames as one.
_ALIKE_FRAMES = 5
# The camera's error changes slowly: within this time it is one error (s).
_CAMERA_MEMORY = 0.3
# Fraction of a frame, and time, by which an event stays unsure however clean the path (frames, s); a toe leaves the
# floor more smoothly than it lands. Set on rendered walks.
_EVENT_FLOOR: dict[str, tuple[float, float]] = {"landing": (0.35, 0.005), "leaving": (0.8, 0.008)}
_EVENT_WINDOW = 0.13
# Close to contact the hoof rocks on the floor and its picture tells little of where the toe is: frames so much before
# to so much after the edge of a run are left out (s).
_ROCKING = (-0.035, 0.020)
_SHORTEST_STANCE = 0.15
_LONGEST_HIDDEN = 0.9
# Prints of one limb closer than this share of a usual stride are not two prints.
_CROWDED = 0.4
# Times no walking bovine goes below, loosely; and the longest gap in which an event is still guessed (s).
_SHORTEST_SWING = 0.25
_SHORTEST_STRIDE = 0.7
_LONGEST_GUESS = 0.45


def find_prints(tracks: Sequence[HoofTrack], camera: CameraMotion, ground: Ground) -> tuple[Print, ...]:
    """All prints of a walk, ordered by the time the hoof stood.

    A stance is a run in which the hoof rests on the floor, by a model of a walking foot (rest and swing), not by a
    fixed threshold. Its place is the robust mean over the frames in which the hoof was seen there; touch-down and
    lift-off lie between frames, where the path breaks.

    Parameters
    ----------
    tracks : sequence of HoofTrack
    camera : CameraMotion
    ground : Ground

    Raises
    ------
    RefusedError
        Where no followed hoof moved on, or none stood still: the animal does not walk in view.
    """
    base = _choose_base(tracks, camera)
    local = replace(ground, matrix=ground.matrix @ base, parameters=ground.parameters @ base)
    held = [_hold_track(track, camera, base) for track in tracks]
    speed, ahead = _pace(held)
    stances = [_true_stances(path, _find_rests(path, speed, ahead), speed) for path in held]
    stances = _drop_crowded(held, stances)
    prints: list[Print] = []
    for track, path, own in zip(tracks, held, stances, strict=True):
        for first, last in own:
            made = _make_print(track, path, first, last, speed, local)
            prints.append(replace(made, xy_px=apply_homography(base, made.xy_px[None])[0]))
    if not prints:
        raise RefusedError(
            "No hoof was seen to stand: a print needs a stance in view.",
            "Mark hooves while they stand, and film at least one whole stride of each foot.",
        )
    return tuple(sorted(prints, key=_when))


def _when(one: Print) -> float:
    """Middle of the stance, as far as it was seen (s or frames; only compared with its like)."""
    return 0.5 * (one.seen_from + one.seen_to)


@dataclass(frozen=True, slots=True, kw_only=True)
class _HeldPath:
    """A track in the picture of one frame; ``variance`` per axis with the camera's, ``camera`` that alone."""

    frames: NDArray[np.intp]
    t: Array
    xy: Array
    variance: Array
    camera: Array
    seen: NDArray[np.bool_]


def _choose_base(tracks: Sequence[HoofTrack], camera: CameraMotion) -> Array:
    """Map to the held picture from that of the frame in the middle of the walk.

    Stances are sought in that frame's pixels: after a long turn of the camera the floor at the end of the walk would
    be drawn out to many times its size in the first frame's.
    """
    if not camera.moving:
        return np.eye(3)
    frames = np.concatenate([track.frames[camera.held[track.frames]] for track in tracks])
    if len(frames) == 0:
        raise RefusedError(
            "The camera's motion could not be followed while the hooves were in view, so no print can be fixed.",
            "Film with some of the floor or wall in view that has marks of its own, without cuts or zoom.",
        )
    return camera.to_first[int(np.sort(frames)[len(frames) // 2])]


def _hold_track(track: HoofTrack, camera: CameraMotion, base: Array) -> _HeldPath:
    keep = camera.held[track.frames]
    frames = track.frames[keep]
    from_held = np.asarray(np.linalg.inv(base), dtype=float)
    first = camera.hold(frames, track.xy_px[keep])
    size = (
        np.sqrt(np.abs(np.linalg.det(differentiate_by_point(from_held, first))))
        if len(frames)
        else np.ones(0)
    )
    camera_variance = (camera.residual_px[frames] * size) ** 2
    return _HeldPath(
        frames=frames,
        t=track.t[keep],
        xy=apply_homography(from_held, first),
        variance=np.trace(track.cov_px2[keep], axis1=1, axis2=2) / 2 + camera_variance + 0.01,
        camera=camera_variance,
        seen=track.seen[keep],
    )


def _pace(paths: Sequence[_HeldPath]) -> tuple[float, Array]:
    """Mean speed of the hooves in the held picture (px/s) and its direction (unit vector)."""
    travel, time = np.zeros(2), 0.0
    for path in paths:
        if len(path.t) > 5:
            travel += path.xy[-1] - path.xy[0]
            time += float(path.t[-1] - path.t[0])
    distance = float(np.hypot(*travel))
    if time <= 0 or distance < 20:
        raise RefusedError(
            f"The followed hooves moved only {distance:.0f} px in all: the animal does not walk in view.",
            "Film a walk-by with at least one whole stride, and mark hooves in two stances of the same foot.",
        )
    return distance / time, travel / distance


def _find_rests(path: _HeldPath, speed: float, ahead: Array) -> list[tuple[int, int]]:
    """Resting runs, from the frames in which the hoof was seen: what a bridged gap shows is not evidence."""
    seen = np.flatnonzero(path.seen)
    if len(seen) < 4:
        return []
    runs = find_steady_runs(path.t[seen], path.xy[seen], path.variance[seen], speed=speed, ahead=ahead)
    parts: list[tuple[int, int]] = []
    for first, last in runs:
        hidden = np.flatnonzero(np.diff(path.t[seen[first : last + 1]]) > _LONGEST_HIDDEN)
        starts, ends = [first, *(first + hidden + 1)], [*(first + hidden), last]
        parts += [(int(seen[i]), int(seen[j])) for i, j in zip(starts, ends, strict=True)]
    return parts


def _true_stances(path: _HeldPath, runs: Sequence[tuple[int, int]], speed: float) -> list[tuple[int, int]]:
    """Runs long enough to be a stance, rests at one and the same place joined."""
    joined: list[tuple[int, int]] = []
    for first, last in runs:
        if joined:
            gap = float(path.t[first] - path.t[joined[-1][1]])
            before = np.median(path.xy[joined[-1][0] : joined[-1][1] + 1], axis=0)
            shift = float(np.hypot(*(np.median(path.xy[first : last + 1], axis=0) - before)))
            if shift < 0.1 * speed and gap < 0.5:
                joined[-1] = (joined[-1][0], last)
                continue
        joined.append((first, last))
    return [
        (first, last)
        for first, last in joined
        if path.t[last] - path.t[first] >= _SHORTEST_STANCE and path.seen[first : last + 1].sum() >= 3
    ]


def _drop_crowded(
    paths: Sequence[_HeldPath], stances: Sequence[list[tuple[int, int]]]
) -> list[list[tuple[int, int]]]:
    """Leave out rests much closer to the limb's next one than strides are long: a foot lost in its swing."""
    places = [
        [np.median(path.xy[first : last + 1][path.seen[first : last + 1]], axis=0) for first, last in own]
        for path, own in zip(paths, stances, strict=True)
    ]
    steps = [float(np.hypot(*(b - a))) for own in places for a, b in pairwise(own)]
    if len(steps) < 3:
        return list(stances)
    least = _CROWDED * float(np.median(steps))
    kept = []
    for path, own, place in zip(paths, stances, places, strict=True):
        left = list(range(len(own)))
        for a, b in pairwise(range(len(own))):
            if float(np.hypot(*(place[b] - place[a]))) < least:
                shorter = min((a, b), key=lambda k: path.seen[own[k][0] : own[k][1] + 1].sum())
                left = [k for k in left if k != shorter]
        kept.append([own[k] for k in left])
    return kept


def _make_print(
    track: HoofTrack, path: _HeldPath, first: int, last: int, speed: float, ground: Ground
) -> Print:
    xy_px, variance, shared = _settle(track, path, first, last)
    point = xy_px[None]
    by_point = ground.jacobian_by_point(point)[0]
    landing = _find_event(path, first, speed, "landing")
    leaving = _find_event(path, last, speed, "leaving")
    standing = np.flatnonzero(path.seen[first : last + 1]) + first
    return Print(
        limb=track.limb,
        xy=ground.to_floor(point)[0],
        cov=(variance + shared) * by_point @ by_point.T,
        limb_cov=track.limb_px2 * by_point @ by_point.T,
        ground_jacobian=ground.jacobian_by_parameters(point)[0],
        xy_px=xy_px,
        touch_down=landing.t if landing else None,
        touch_down_error=landing.error if landing else None,
        lift_off=leaving.t if leaving else None,
        lift_off_error=leaving.error if leaving else None,
        frames=(int(path.frames[standing[0]]), int(path.frames[standing[-1]])),
        seen_from=float(path.t[standing[0]]),
        seen_to=float(path.t[standing[-1]]),
        source=track.source,
    )


def _settle(track: HoofTrack, path: _HeldPath, first: int, last: int) -> tuple[Array, float, float]:
    """Robust mean place of a stance (held px), its variance per axis, and the variance of the marks behind it."""
    inside = np.arange(first, last + 1)
    inside = inside[path.seen[inside]]
    trimmed = inside[(path.t[inside] - path.t[first] > 0.06) & (path.t[last] - path.t[inside] > 0.06)]
    used = trimmed if len(trimmed) >= 5 else inside
    xy, weight = robust_mean(path.xy[used], path.variance[used])
    alone = path.variance[used] - path.camera[used]
    scatter = float(np.average(((path.xy[used] - xy) ** 2).mean(axis=1), weights=weight))
    single = max(scatter, float(np.mean(alone)))
    frame_part = single / max(1.0, len(used) / _ALIKE_FRAMES)
    spell = max(1.0, float(path.t[used[-1]] - path.t[used[0]]) / _CAMERA_MEMORY)
    camera_part = float(np.mean(path.camera[used])) / spell
    behind = np.searchsorted(track.frames, path.frames[used])
    return xy, frame_part + camera_part + 0.05**2, float(np.average(track.offset_px2[behind], weights=weight))


def _find_event(
    path: _HeldPath, edge: int, speed: float, kind: Literal["landing", "leaving"]
) -> Corner | None:
    """Touch-down or lift-off about one end of a run; None outside the clip or where too much was hidden."""
    sign = -1 if kind == "landing" else 1
    t, count = path.t, len(path.t)
    step = float(np.median(np.diff(t)))
    moving = np.arange(edge + sign, -1 if sign < 0 else count, sign)
    if len(moving) < 3:
        return None
    reach = max(_EVENT_WINDOW, 4.5 * step)
    near = np.flatnonzero((np.abs(t - t[edge]) <= reach) & path.seen)
    off = near[(near - edge) * sign > 0]
    on = near[(near - edge) * sign <= 0]
    floor = float(np.hypot(_EVENT_FLOOR[kind][0] * step, _EVENT_FLOOR[kind][1]))
    if len(off) < 3 or len(on) < 3 or _hidden_about(path, edge, reach):
        return _bound_event(path, edge, sign, speed, floor)
    margin = max(0.06, 2.5 * step)
    rocking = (t[near] - t[edge] > _ROCKING[0]) & (t[near] - t[edge] < _ROCKING[1])
    firm = near[~rocking]
    if min((firm < edge).sum(), (firm > edge).sum()) >= 3:
        near = firm
    corner = find_corner(
        t[near], path.xy[near], path.variance[near], between=(t[edge] - margin, t[edge] + margin), kind=kind
    )
    return Corner(t=corner.t, error=float(np.hypot(corner.error, floor)))


def _hidden_about(path: _HeldPath, edge: int, reach: float) -> bool:
    """Whether the hoof was hidden in the frames next to the edge, so that the break itself was not seen."""
    close = np.abs(path.t - path.t[edge]) <= 0.35 * reach
    return bool((~path.seen[close]).mean() > 0.3)


def _bound_event(path: _HeldPath, edge: int, sign: int, speed: float, floor: float) -> Corner | None:
    """The event lies somewhere between the last frame seen on one side and the first seen on the other.

    Where the hoof stood already elsewhere on that other side, a whole swing lies in between as well.
    """
    # A single sighting between hidden frames may be of anything.
    beside = np.convolve(path.seen, [1, 0, 1], mode="same") > 0
    seen, surely = np.flatnonzero(path.seen), np.flatnonzero(path.seen & beside)
    inside, outside = seen[(seen - edge) * sign <= 0], surely[(surely - edge) * sign > 0]
    if len(inside) == 0 or len(outside) == 0:
        return None
    near, far = (inside[0], outside[-1]) if sign < 0 else (inside[-1], outside[0])
    gap = abs(float(path.t[near] - path.t[far]))
    if float(np.hypot(*(path.xy[near] - path.xy[far]))) > 0.6 * speed * _SHORTEST_STRIDE:
        gap -= _SHORTEST_SWING
    if not 0 < gap <= _LONGEST_GUESS:
        return None
    return Corner(t=float(path.t[near]) + sign * gap / 2, error=float(np.hypot(gap / np.sqrt(12), floor)))
