"""What several packages' tests share: one rendered walk, drawn once in a session."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from stride.media.encoder import encode_clip
from stride.session import Result, measure_clip
from stride.simulate.marks import marks_from_truth
from stride.simulate.scene import draw_scene, render
from stride.simulate.truth import Truth, truth_of

SIZE_PX = (640, 360)
FRAME_RATE = 30.0
DURATION = 2.2


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmedWalk:
    """A small rendered clip with its marks file beside it, and all that is true of it.

    ``frames`` are the pictures before encoding, with their times; ``marks`` is the document of the marks file.
    """

    clip: Path
    marks_file: Path
    marks: dict[str, Any]
    truth: Truth
    frames: list[tuple[float, NDArray[np.uint8]]]


@pytest.fixture(scope="session")
def filmed_walk(tmp_path_factory: pytest.TempPathFactory) -> FilmedWalk:
    """A walk past a tripod; treat the files as read-only and copy what is to be changed."""
    folder = tmp_path_factory.mktemp("filmed")
    scene = draw_scene(
        np.random.default_rng(24),
        handler="none",
        post="none",
        size_px=SIZE_PX,
        frame_rate=FRAME_RATE,
        longest=DURATION,
    )
    truth = truth_of(scene)
    frames = [(frame.t, frame.image) for frame in render(scene)]
    clip = folder / "aisle.mp4"
    encode_clip(clip, frames, frame_rate=FRAME_RATE)
    marks = marks_from_truth(truth, np.random.default_rng(5), noise_px=0.3, clip_name=clip.name, tag="214")
    marks_file = folder / "aisle.marks.json"
    marks_file.write_text(json.dumps(marks), encoding="utf-8")
    return FilmedWalk(clip=clip, marks_file=marks_file, marks=marks, truth=truth, frames=frames)


@pytest.fixture(scope="session")
def measured_walk(filmed_walk: FilmedWalk, tmp_path_factory: pytest.TempPathFactory) -> Result:
    """The same clip measured, with everything a user gets in its result folder."""
    return measure_clip(filmed_walk.clip, out=tmp_path_factory.mktemp("measured") / "result")
