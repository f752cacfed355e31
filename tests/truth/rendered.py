"""Rendered clips with their truth, and how far a measurement is from it. Nothing here is tuned on what it reports."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from stride.media.encoder import encode_clip
from stride.numeric.homography import apply_homography
from stride.quantity import Measured
from stride.records.marks_document import read_marks
from stride.simulate.marks import marks_from_truth
from stride.simulate.scene import draw_scene, render
from stride.simulate.truth import SeenPrint, Truth, load_truth, save_truth, truth_of
from stride.walk.analysis import Analysis
from stride.walk.camera import CameraMotion
from stride.walk.marks import Marks
from stride.walk.prints import Print

# Prints lie at least half a stride apart; a measured one within this of a true one of its limb is that one (px).
_SAME_PRINT_PX = 25.0


def render_clip(folder: Path, seed: int, **options: Any) -> Path:
    """The clip of a seed, rendered into a folder unless it is there already, its truth beside it."""
    path = folder / f"{options.get('camera', 'tripod')}-{seed}.mp4"
    if path.exists() and path.with_suffix(".truth.json").exists():
        return path
    scene = draw_scene(np.random.default_rng(seed), **options)
    encode_clip(path, ((frame.t, frame.image) for frame in render(scene)))
    save_truth(truth_of(scene), path.with_suffix(".truth.json"))
    return path


def read_truth(path: Path) -> Truth:
    """The truth beside a clip."""
    return load_truth(path.with_suffix(".truth.json"))


def mark_clip(truth: Truth, seed: int, **options: Any) -> Marks:
    """Marks as a user would make them, from the truth and a seed of their own."""
    document = marks_from_truth(truth, np.random.default_rng(seed), **options)
    return read_marks(json.dumps(document))


@dataclass(slots=True)
class Errors:
    """Measured minus true, gathered over clips (cm, %, ms); ``held`` tells whether the 95 % interval has the truth."""

    overreach: list[float] = field(default_factory=list)
    overreach_held: list[bool] = field(default_factory=list)
    walk: list[float] = field(default_factory=list)
    walk_held: list[bool] = field(default_factory=list)
    stride: list[float] = field(default_factory=list)
    stride_held: list[bool] = field(default_factory=list)
    touch_down: list[float] = field(default_factory=list)
    touch_down_held: list[bool] = field(default_factory=list)
    lift_off: list[float] = field(default_factory=list)
    lift_off_held: list[bool] = field(default_factory=list)
    prints: int = 0
    prints_in_view: int = 0
    invented: int = 0

    def take(self, analysis: Analysis, truth: Truth) -> None:
        """Add one clip."""
        truth = hold_truth(truth, analysis.camera)
        own = [find_true_print(one, truth) for one in analysis.prints]
        self.prints += len({number for number in own if number is not None})
        self.invented += sum(number is None for number in own) + _doubles(own)
        self.prints_in_view += sum(
            one.visible_frames >= 0.3 * (one.frames[1] - one.frames[0] + 1) and one.visible_frames > 8
            for one in truth.prints
            if one.frames is not None
        )
        scale = 1.0
        if analysis.ground.unit == "stride":
            scale = float(np.mean([one.length for one in truth.strides]))
        self._take_overreaches(analysis, truth, own, scale)
        self._take_strides(analysis, truth, own)
        self._take_times(analysis, truth, own)

    def _take_overreaches(
        self, analysis: Analysis, truth: Truth, own: Sequence[int | None], scale: float
    ) -> None:
        true = {one.hind_print: one.value / scale for one in truth.overreaches}
        errors: dict[str, list[float]] = {}
        values: dict[str, list[float]] = {}
        for one in analysis.overreaches:
            number = own[one.hind_print]
            if number is None or number not in true:
                continue
            error = one.value.value - true[number]
            self.overreach.append(100 * scale * error)
            self.overreach_held.append(abs(error) <= 1.96 * one.value.total)
            errors.setdefault(one.side, []).append(error)
            values.setdefault(one.side, []).append(true[number])
        mean = analysis.measures["overreach"]
        if errors and isinstance(mean, Measured):
            # The walk's mean is the mean of its sides; the truth is taken over the same overreaches.
            truth_mean = float(np.mean([np.mean(side) for side in values.values()]))
            self.walk.append(100 * scale * (mean.value - truth_mean))
            self.walk_held.append(abs(mean.value - truth_mean) <= 1.96 * mean.total)

    def _take_strides(self, analysis: Analysis, truth: Truth, own: Sequence[int | None]) -> None:
        true = {(one.start, one.end): one.length for one in truth.strides}
        pairs = [
            (one, true[own[one.start], own[one.end]])  # type: ignore[index]
            for one in analysis.strides
            if (own[one.start], own[one.end]) in true
        ]
        mean = analysis.measures["stride_length"]
        if pairs and isinstance(mean, Measured) and mean.unit == "m":
            truth_mean = float(np.mean([length for _, length in pairs]))
            measured = float(np.mean([one.length.value for one, _ in pairs]))
            self.stride.append(100 * (measured / truth_mean - 1))
            self.stride_held.append(abs(measured - truth_mean) <= 1.96 * mean.total)

    def _take_times(self, analysis: Analysis, truth: Truth, own: Sequence[int | None]) -> None:
        for one, number in zip(analysis.prints, own, strict=True):
            if number is None:
                continue
            true = truth.prints[number]
            for event in ("touch_down", "lift_off"):
                t, error = getattr(one, event), getattr(one, f"{event}_error")
                if t is None:
                    continue
                miss = t - getattr(true, event)
                getattr(self, event).append(1000 * miss)
                getattr(self, f"{event}_held").append(abs(miss) <= 1.96 * error)

    def table(self) -> list[tuple[str, str]]:
        """Rows of name and figures."""
        walk, stride = np.abs(self.walk), np.abs(self.stride)
        rows = [
            ("prints found / in view, invented", f"{self.prints} / {self.prints_in_view}, {self.invented}"),
            ("overreach, per stride (cm): median, 95 %, largest", _spell(self.overreach)),
            ("  95 % intervals that hold it", _share(self.overreach_held)),
            ("overreach, mean of a walk (cm): median, largest", f"{np.median(walk):.2f}, {walk.max():.2f}"),
            ("  95 % intervals that hold it", _share(self.walk_held)),
        ]
        if len(stride):
            rows += [
                ("stride length (%): median, largest", f"{np.median(stride):.2f}, {stride.max():.2f}"),
                ("  95 % intervals that hold it", _share(self.stride_held)),
            ]
        for event in ("touch_down", "lift_off"):
            error = np.array(getattr(self, event))
            name = event.replace("_", "-")
            rows += [
                (
                    f"{name} (ms): bias, 95 % within",
                    f"{error.mean():+.1f}, {np.quantile(np.abs(error), 0.95):.1f}",
                ),
                ("  95 % intervals that hold it", _share(getattr(self, f"{event}_held"))),
            ]
        return rows


def hold_truth(truth: Truth, camera: CameraMotion) -> Truth:
    """The truth with its prints in the picture that the measurement holds still, not in the first frame's."""
    if camera.held_frame == 0:
        return truth
    back = np.linalg.inv(truth.to_first[camera.held_frame])
    held = [apply_homography(back, np.array([one.xy_px]))[0] for one in truth.prints]
    prints = tuple(
        replace(one, xy_px=(float(xy[0]), float(xy[1]))) for one, xy in zip(truth.prints, held, strict=True)
    )
    return replace(truth, prints=prints)


def find_true_print(one: Print, truth: Truth) -> int | None:
    """Number of the true print a measured one is, by its limb and place in the held picture."""

    def apart(true: SeenPrint) -> float:
        return float(np.hypot(*(np.array(true.xy_px) - one.xy_px)))

    candidates = [(apart(true), number) for number, true in enumerate(truth.prints) if true.limb == one.limb]
    distance, number = min(candidates)
    return number if distance < _SAME_PRINT_PX else None


def _doubles(own: Sequence[int | None]) -> int:
    known = [number for number in own if number is not None]
    return len(known) - len(set(known))


def _spell(errors: Sequence[float]) -> str:
    size = np.abs(errors)
    return f"{np.median(size):.2f}, {np.quantile(size, 0.95):.2f}, {size.max():.2f} (n = {len(size)})"


def _share(held: Sequence[bool]) -> str:
    return f"{100 * np.mean(held):.0f} % of {len(held)}"
