"""How far hooves found without a mark are from the truth: ``python -m tests.truth.found_table FOLDER [followed]``.

Renders clips that nobody looked at while the finder was made (kept in FOLDER, so a second run is quick), finds the
walk in each, and prints what was found, missed, invented or given to the wrong limb, how far the toe tips are off, how
far the stated confidence can be trusted, what was refused, and the time it took against decoding alone. The camera's
motion is the true one, or with ``followed`` the one that the product follows.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from stride.detect.finder import Finding
from stride.detect.strip_finder import StripFinder
from stride.errors import RefusedError
from stride.media.encoder import encode_clip
from stride.media.reader import VideoClip, open_clip
from stride.numeric.homography import apply_homography
from stride.simulate.scene import draw_scene, render
from stride.simulate.truth import Truth, save_truth, truth_of
from stride.walk.camera import CameraMotion, still_camera
from stride.walk.holding import CameraFollower

from .rendered import read_truth, render_clip

Array = NDArray[np.float64]

_COATS = ("black", "red", "white", "patched", "roan", "brown")
_LIGHTS = ("bright", "dim", "hard", "soft")
_CAMERAS = ("tripod", "handheld", "tripod", "panning")

# Seeds kept for the report.
WALKS: list[tuple[int, dict[str, Any]]] = [
    (
        3001 + i,
        {
            "camera": _CAMERAS[i % 4],
            "coat": _COATS[i % 6],
            "light": _LIGHTS[(i // 2) % 4],
            "frame_rate": 60.0 if i % 3 == 0 else 30.0,
            "size_px": (1920, 1080) if i % 5 == 0 else (1280, 720),
            "handler": "drawn" if (i // 4) % 2 else "none",
            "longest": 5.0,
        },
    )
    for i in range(24)
]
_SMALL: dict[str, Any] = {"size_px": (960, 540), "frame_rate": 30.0, "longest": 5.0}
REFUSED: list[tuple[str, int, dict[str, Any]]] = [
    *(("no animal", 3101 + i, _SMALL | {"action": "empty"}) for i in range(2)),
    ("no animal", 3103, _SMALL | {"action": "empty", "camera": "handheld"}),
    *(("standing", 3111 + i, _SMALL | {"action": "stand"}) for i in range(3)),
    *(("trotting", 3121 + i, _SMALL | {"action": "trot"}) for i in range(4)),
    *(("two animals", 3131 + i, _SMALL | {"companion": "following"}) for i in range(3)),
    *(("cut short", 3141 + i, _SMALL | {"longest": 1.2 + 0.2 * i}) for i in range(3)),
    *(("hidden by grass", 3151 + i, _SMALL) for i in range(2)),
    ("a still picture", 3161, _SMALL),
]

# A found toe tip within this of a true one of its limb, in strides, is that one; within half a hoof it is right.
_SAME, _HALF_HOOF = 0.15, 0.06


@dataclass(slots=True)
class Tally:
    """What was found in all clips."""

    whole: int = 0
    found: int = 0
    invented: int = 0
    swapped: int = 0
    confidence: list[tuple[float, bool]] = field(default_factory=list)
    walks: list[tuple[float, bool]] = field(default_factory=list)
    overreach_cm: list[float] = field(default_factory=list)
    stride_share: list[float] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)


def main(folder: Path, camera: str = "true") -> None:
    """Render, find, print."""
    folder.mkdir(parents=True, exist_ok=True)
    tally, slower = Tally(), []
    for seed, how in WALKS:
        path = render_clip(folder, seed, **how)
        truth = read_truth(path)
        motion = _motion(open_clip(path), truth, camera)
        decode = _time_decoding(open_clip(path))
        try:
            begin = time.perf_counter()
            finding = find(open_clip(path), motion)
            slower.append((time.perf_counter() - begin) / decode)
        except RefusedError as error:
            tally.refused.append(path.name)
            print(f"{path.name}: refused: {error.problem}")
            continue
        print(f"{path.name}: {_score(finding, truth, tally)}, time {slower[-1]:.2f} × decoding")
    _print(tally, slower)
    _print_refusals(folder)


def find(clip: VideoClip, motion: CameraMotion) -> Finding:
    """Feed a clip to the finder."""
    finder = StripFinder(clip.size_px)
    for frame in clip:
        finder.add(frame)
    return finder.finish(motion)


def _motion(clip: VideoClip, truth: Truth, camera: str) -> CameraMotion:
    if camera == "followed":
        follower = CameraFollower(clip.size_px)
        for frame in clip:
            follower.add(frame)
        return follower.finish()
    if np.abs(truth.to_first - np.eye(3)).max() < 1e-9:
        return still_camera(len(truth.times))
    count = len(truth.times)
    middle = count // 2
    to_middle = np.linalg.inv(truth.to_first[middle]) @ truth.to_first
    return CameraMotion(
        to_first=to_middle / to_middle[:, 2:, 2:],
        residual_px=np.zeros(count),
        held=np.ones(count, dtype=bool),
        moving=True,
        held_frame=middle,
    )


def _score(finding: Finding, truth: Truth, tally: Tally) -> str:
    """Hold one finding against its truth; returns a line of figures."""
    stride = float(np.mean([one.length for one in truth.strides]))
    right_way = finding.direction == truth.direction
    floor = [
        apply_homography(np.linalg.inv(truth.floor_to_px[one.mark.frame]), np.array([one.mark.xy_px]))[0]
        for one in finding.stances
    ]
    own: list[int | None] = []
    invented = swapped = 0
    for one, xy in zip(finding.stances, floor, strict=True):
        near = [
            number
            for number, true in enumerate(truth.prints)
            if true.frames is not None
            and true.frames[0] - 3 <= one.mark.frame <= true.frames[1] + 3
            and np.hypot(*(np.array(true.xy) - xy)) < _SAME * stride
        ]
        same = [number for number in near if truth.prints[number].limb == one.mark.limb]
        own.append(same[0] if same else None)
        swapped += bool(near and not same)
        invented += not near
        right = (
            bool(same) and abs(float((np.array(truth.prints[same[0]].xy) - xy) @ truth.heading)) < _HALF_HOOF
        )
        tally.confidence.append((one.confidence * finding.confidence, right))
    whole = [number for number, true in enumerate(truth.prints) if _in_view(true, truth)]
    found = sum(number in own for number in whole)
    tally.whole, tally.found = tally.whole + len(whole), tally.found + found
    tally.invented, tally.swapped = tally.invented + invented, tally.swapped + swapped
    tally.walks.append((finding.confidence, right_way and swapped + invented == 0))
    bias = _overreach_errors(truth, own, floor)
    tally.overreach_cm.append(100 * float(np.mean(bias)) if bias else np.nan)
    lengths = _stride_errors(truth, own, floor)
    tally.stride_share.append(100 * float(np.mean(lengths)) if lengths else np.nan)
    return (
        f"{found}/{len(whole)} found, {invented} invented, {swapped} swapped, overreach "
        f"{tally.overreach_cm[-1]:+.1f} cm, stride {tally.stride_share[-1]:+.1f} %, sure {finding.confidence:.2f}"
    )


def _in_view(true: Any, truth: Truth) -> bool:
    """Whether a print is wholly in view: its stance in the clip, its toe tip seen for a good part of it."""
    if true.frames is None or true.touch_down < 0 or true.lift_off > truth.times[-1]:
        return False
    return bool(true.visible_frames >= 0.3 * (true.frames[1] - true.frames[0] + 1))


def _overreach_errors(truth: Truth, own: list[int | None], floor: list[Array]) -> list[float]:
    """Overreach of the found toe tips minus the true one (m), over the answers found."""
    at = {number: xy for number, xy in zip(own, floor, strict=True) if number is not None}
    ahead = np.array(truth.heading)
    return [
        float((at[one.hind_print] - at[one.fore_print]) @ ahead) - one.value
        for one in truth.overreaches
        if one.hind_print in at and one.fore_print in at
    ]


def _stride_errors(truth: Truth, own: list[int | None], floor: list[Array]) -> list[float]:
    at = {number: xy for number, xy in zip(own, floor, strict=True) if number is not None}
    ahead = np.array(truth.heading)
    return [
        float((at[one.end] - at[one.start]) @ ahead) / one.length - 1
        for one in truth.strides
        if one.start in at and one.end in at
    ]


def _print(tally: Tally, slower: list[float]) -> None:
    errors = np.abs(np.array(tally.overreach_cm))
    errors = errors[np.isfinite(errors)]
    strides = np.abs(np.array(tally.stride_share))
    strides = strides[np.isfinite(strides)]
    print(
        f"\nprints found / wholly in view: {tally.found} / {tally.whole} ({100 * tally.found / tally.whole:.1f} %)"
    )
    print(
        f"invented {tally.invented}, limb swapped {tally.swapped}, refused {len(tally.refused)} of {len(WALKS)}"
    )
    print(
        f"overreach of the found tips, mean of a walk (cm): median {np.median(errors):.2f}, largest {errors.max():.2f}"
    )
    print(f"stride length (%): median {np.median(strides):.2f}, largest {strides.max():.2f}")
    print(f"time / decoding: median {np.median(slower):.2f}, largest {max(slower):.2f}")
    print("confidence of a stance: said, right (n)")
    for low, high in ((0.0, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 1.01)):
        inside = [(said, right) for said, right in tally.confidence if low <= said < high]
        if inside:
            said, right = (float(np.mean([pair[k] for pair in inside])) for k in (0, 1))
            print(f"  {low:.2f}–{high:.2f}: {said:.3f}, {right:.3f} ({len(inside)})")
    said, right = (float(np.mean([pair[k] for pair in tally.walks])) for k in (0, 1))
    print(f"confidence of a walk: said {said:.3f}, right {right:.3f} ({len(tally.walks)})")


def _print_refusals(folder: Path) -> None:
    print("\nclips that must be refused")
    for reason, seed, how in REFUSED:
        path = _spoil(folder, reason, seed, how)
        truth = read_truth(path) if path.with_suffix(".truth.json").exists() else None
        clip = open_clip(path)
        motion = _motion(clip, truth, "true") if truth else still_camera(sum(1 for _ in clip))
        try:
            finding = find(open_clip(path), motion)
            print(
                f"  {reason} ({path.name}): NOT REFUSED: {len(finding.stances)} stances, {finding.confidence:.2f}"
            )
        except RefusedError as error:
            print(f"  {reason} ({path.name}): {error.problem}")


def _spoil(folder: Path, reason: str, seed: int, how: dict[str, Any]) -> Path:
    """A clip that must be refused, rendered unless it is there."""
    if reason not in ("hidden by grass", "a still picture"):
        return render_clip(folder, seed, **how)
    path = folder / f"{reason.replace(' ', '-')}-{seed}.mp4"
    if not path.exists():
        scene = draw_scene(np.random.default_rng(seed), **how)
        truth = truth_of(scene)
        pictures = _grow_grass(scene, truth) if reason == "hidden by grass" else _stand_still(scene)
        encode_clip(path, pictures)
        if reason == "hidden by grass":
            save_truth(truth, path.with_suffix(".truth.json"))
    return path


def _grow_grass(scene: Any, truth: Truth) -> Iterator[tuple[float, Any]]:
    """Swaying blades in front of everything below the fetlocks."""
    rng = np.random.default_rng(scene.seed)
    width, height = scene.size_px
    per_metre = abs(
        float(np.ptp(apply_homography(truth.floor_to_px[0], np.array([[-0.5, 0.0], [0.5, 0.0]]))[:, 0]))
    )
    top = float(np.nanmin(truth.toes_px[..., 1])) - 0.22 * per_metre
    roots = rng.uniform(0, [width, height - top], (int(3.0 * width), 2)) + [0, top]
    long = 0.18 * per_metre * rng.uniform(0.6, 1.3, len(roots))
    lean, tone = rng.normal(0, 0.25, len(roots)), rng.uniform(0.5, 1.1, len(roots))
    for frame in render(scene):
        image = frame.image.copy()
        sway = lean + 0.10 * np.sin(2.0 * frame.t + roots[:, 0] / 60)
        for root, size, turn, shade in zip(roots, long, sway, tone, strict=True):
            tip = root + size * np.array([np.sin(turn), -np.cos(turn)])
            colour = (int(50 * shade), int(120 * shade), int(80 * shade))
            cv2.line(image, tuple(map(int, root)), tuple(map(int, tip)), colour, 2, cv2.LINE_AA)
        yield frame.t, image


def _stand_still(scene: Any) -> Iterator[tuple[float, Any]]:
    """One picture of the walk, shown for three seconds."""
    pictures = list(render(scene))
    image = pictures[len(pictures) // 2].image
    yield from ((index / 30, image) for index in range(90))


def _time_decoding(clip: VideoClip) -> float:
    begin = time.perf_counter()
    for _ in clip:
        pass
    return time.perf_counter() - begin


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:3])
