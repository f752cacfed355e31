"""How far the camera's motion is from its truth: ``python -m tests.truth.camera_table FOLDER [CLIPS]``.

Renders clips nobody looked at while the method was made, hand-held and turning, both ways, with and without a handler,
a post or a gate (kept in FOLDER, so a second run is quick), follows the camera and prints its error at the prints'
places beside what it states and the share of errors within the stated 95 %; then one clip each with a cut, a zoom, a
jerk and a bare wall, and what is said of them.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stride.media.encoder import encode_clip
from stride.media.reader import open_clip
from stride.numeric.homography import apply_homography, differentiate_by_point
from stride.simulate.scene import RenderedFrame, draw_scene, render
from stride.simulate.truth import Truth
from stride.walk.camera import CameraMotion
from stride.walk.holding import CameraFollower
from stride.walk.limbs import LIMBS

from .rendered import read_truth, render_clip
from .spoiled import blur_between, cut_to, wipe_between, zoom_in

Array = NDArray[np.float64]

#: Seeds kept for the report.
CLIPS: list[tuple[int, dict[str, Any]]] = [
    (2201, {"camera": "handheld", "handler": "none", "post": "none"}),
    (2202, {"camera": "handheld", "handler": "near", "post": "none", "frame_rate": 30.0}),
    (2203, {"camera": "handheld", "handler": "near", "post": "post", "frame_rate": 30.0}),
    (2204, {"camera": "handheld", "handler": "far", "post": "gate", "frame_rate": 30.0}),
    (2205, {"camera": "handheld", "handler": "none", "post": "post", "frame_rate": 30.0}),
    (2206, {"camera": "panning", "handler": "none", "post": "none"}),
    (2207, {"camera": "panning", "handler": "near", "post": "none"}),
    (2208, {"camera": "panning", "handler": "none", "post": "post", "frame_rate": 30.0}),
    (2209, {"camera": "panning", "handler": "none", "post": "none", "frame_rate": 30.0}),
    (2210, {"camera": "panning", "handler": "near", "post": "none", "frame_rate": 30.0}),
    (2211, {"camera": "panning", "handler": "none", "post": "gate", "frame_rate": 30.0}),
    (2212, {"camera": "panning", "handler": "far", "post": "post", "frame_rate": 30.0}),
    (2213, {"camera": "panning", "handler": "drawn", "post": "none", "frame_rate": 30.0}),
    (2214, {"camera": "panning", "handler": "near", "post": "post", "frame_rate": 30.0}),
]
_SPOILED = {"cut": 2121, "zoom": 2122, "jerk": 2123, "bare wall": 2124}


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraErrors:
    """Errors of a followed camera at the places where hooves stood.

    ``frame_px`` (K, 2) for every standing hoof in every held frame, in px of the held picture; ``stated_px`` (K,) their
    stated standard error; ``frame_m`` (K, 2) the same errors on the floor; ``print_m`` (P, 2) the mean over each print.
    """

    frame_px: Array
    stated_px: Array
    frame_m: Array
    print_m: Array

    @property
    def held(self) -> float:
        """Share of errors, axis by axis, within 1.96 stated standard errors."""
        return float((np.abs(self.frame_px) <= 1.96 * self.stated_px[:, None]).mean())


def follow_camera(path: Path, truth: Truth | None = None) -> CameraMotion:
    """The camera of a clip, told between which rows hooves stand where there is a truth."""
    clip = open_clip(path)
    rows = None
    if truth is not None:
        standing = truth.toes[:, :, 2] < 0.01
        rows = tuple(np.quantile(truth.toes_px[standing & truth.visible][:, 1], [0.02, 0.98]))
    follower = CameraFollower(clip.size_px, rows)
    for frame in clip:
        follower.add(frame)
    return follower.finish()


def measure_errors(
    to_held: Array, held: NDArray[np.bool_], residual_px: Array, frame: int, truth: Truth
) -> CameraErrors:
    """Errors of maps (N, 3, 3) into the pixels of a frame, at the toes that stand in view."""
    true_maps = truth.floor_to_px[frame] @ np.linalg.inv(truth.floor_to_px)
    to_floor = np.linalg.inv(truth.floor_to_px[frame])
    pixels, metres, stated, means = [], [], [], []
    for one in truth.prints:
        if one.frames is None:
            continue
        frames = np.arange(one.frames[0], one.frames[1] + 1)
        limb = LIMBS.index(one.limb)
        frames = frames[held[frames] & truth.visible[frames, limb]]
        if len(frames) < 3:
            continue
        spots = truth.toes_px[frames, limb]
        found = np.stack(
            [apply_homography(to_held[i], spot[None])[0] for i, spot in zip(frames, spots, strict=True)]
        )
        true = np.stack(
            [apply_homography(true_maps[i], spot[None])[0] for i, spot in zip(frames, spots, strict=True)]
        )
        scale = differentiate_by_point(to_floor, true)
        pixels.append(found - true)
        metres.append((scale @ (found - true)[:, :, None])[:, :, 0])
        stated.append(residual_px[frames])
        means.append(metres[-1].mean(axis=0))
    return CameraErrors(
        frame_px=np.concatenate(pixels),
        stated_px=np.concatenate(stated),
        frame_m=np.concatenate(metres),
        print_m=np.array(means),
    )


def turned(truth: Truth) -> float:
    """Degrees between the first and the last view, about the upright."""
    width, height = truth.size_px
    middle = np.array([[(width - 1) / 2, 0.85 * height]])
    spots = [apply_homography(np.linalg.inv(truth.floor_to_px[i]), middle)[0] for i in (0, -1)]
    lens = _lens_place(truth)
    ahead = [np.arctan2(spot[0] - lens[0], spot[1] - lens[1]) for spot in spots]
    return float(abs(np.degrees(ahead[1] - ahead[0])))


def _lens_place(truth: Truth) -> Array:
    """Where the lens stands over the floor (m): where all upright lines of the picture meet."""
    width, height = truth.size_px
    lines = []
    for column in (0.3 * width, 0.7 * width):
        ends = apply_homography(
            np.linalg.inv(truth.floor_to_px[0]), np.array([[column, 0.8 * height], [column, 0.95 * height]])
        )
        lines.append(np.cross([*ends[0], 1.0], [*ends[1], 1.0]))
    spot = np.cross(*lines)
    return np.asarray(spot[:2] / spot[2])


def main(folder: Path, clips: int | None = None) -> None:
    """Render, follow, print."""
    folder.mkdir(parents=True, exist_ok=True)
    print(f"{'clip':<29}{'at the places where hooves stood, px':>36}{'on the floor, cm':>38}")
    columns = ("turned", "held", "median", "95 %", "largest", "stated", "hold", "median", "95 %", "per print")
    print(" " * 27 + "".join(f"{name:>10}" for name in columns))
    everything = []
    for seed, how in CLIPS[:clips]:
        path = render_clip(folder, seed, longest=4.0, **how)
        truth = read_truth(path)
        motion = follow_camera(path, truth)
        errors = measure_errors(motion.to_first, motion.held, motion.residual_px, motion.held_frame, truth)
        print(
            f"{path.stem:<15}{how['handler']:>6} {how['post']:<5}",
            _row(errors, motion, truth),
            *motion.notes,
            flush=True,
        )
        everything.append(errors)
    inside = np.concatenate([np.abs(one.frame_px) <= 1.96 * one.stated_px[:, None] for one in everything])
    error, stated = (
        np.concatenate([getattr(one, name) for one in everything]) for name in ("frame_px", "stated_px")
    )
    print(
        f"all: {100 * inside.mean():.0f} % of {inside.size} errors within 1.96 stated ones; "
        f"root mean square {np.sqrt((error**2).mean()):.3f} px, stated {np.sqrt((stated**2).mean()):.3f} px"
    )
    for name, seed in _SPOILED.items():
        path = folder / f"{name.replace(' ', '-')}.mp4"
        if not path.exists():
            encode_clip(path, ((frame.t, frame.image) for frame in _spoil(name, seed)))
        motion = follow_camera(path)
        print(f"{name}: held {100 * motion.held.mean():.0f} %.", *motion.notes)


def _row(errors: CameraErrors, motion: CameraMotion, truth: Truth) -> str:
    size, floor, own = (
        factor * np.linalg.norm(one, axis=1)
        for factor, one in ((1, errors.frame_px), (100, errors.frame_m), (100, errors.print_m))
    )
    figures = [
        (turned(truth), 0),
        (100 * motion.held.mean(), 0),
        (np.median(size), 2),
        (np.quantile(size, 0.95), 2),
        (size.max(), 2),
        (np.median(errors.stated_px), 2),
        (100 * errors.held, 0),
        (np.median(floor), 2),
        (np.quantile(floor, 0.95), 2),
        (np.quantile(own, 0.95), 2),
    ]
    return "".join(f"{value:10.{digits}f}" for value, digits in figures)


def _spoil(name: str, seed: int) -> Iterator[RenderedFrame]:
    how: dict[str, Any] = {"size_px": (960, 540), "frame_rate": 30.0, "longest": 4.0}
    scene = draw_scene(np.random.default_rng(seed), camera="panning", **how)
    if name == "cut":
        other = draw_scene(np.random.default_rng(seed + 100), camera="handheld", **how)
        return cut_to(render(scene), render(other), at=1.5)
    if name == "zoom":
        return zoom_in(render(scene), (1.0, 1.6), 1.3)
    if name == "jerk":
        return blur_between(render(scene), (1.5, 1.8), 41)
    return wipe_between(render(scene), (1.2, 2.0), np.random.default_rng(seed))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else None)
