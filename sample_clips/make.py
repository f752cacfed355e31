"""Make the sample clips of this folder: rendered, not filmed, of animals and a farm that do not exist.

Run ``python sample_clips/make.py`` after installing the package; every clip comes with the marks a user might
have placed on it and with the truth it was rendered from.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from stride.media.encoder import open_encoder
from stride.simulate.barn import WallKind
from stride.simulate.camera import CameraKind
from stride.simulate.coat import CoatKind
from stride.simulate.marks import GroundMarks, marks_from_truth
from stride.simulate.plan import draw_plan
from stride.simulate.scene import Scene, draw_scene, render
from stride.simulate.truth import save_truth, truth_of
from stride.walk.marks import Direction

FOLDER = Path(__file__).parent
SIZE_PX = (1280, 720)
FRAME_RATE = 60.0


@dataclass(frozen=True, kw_only=True)
class Sample:
    """One animal of Alder Brook, an invented farm."""

    tag: str
    seed: int
    overreach: tuple[float, float]
    direction: Direction
    camera: CameraKind
    coat: CoatKind
    wall: WallKind
    ground: GroundMarks
    hooves: Literal["marked", "found"] = "marked"


SAMPLES = (
    Sample(
        tag="214",
        seed=214,
        overreach=(0.01, -0.01),
        direction="left_to_right",
        camera="tripod",
        coat="patched",
        wall="boards",
        ground="plane",
    ),
    Sample(
        tag="307",
        seed=307,
        overreach=(0.0, -0.14),
        direction="left_to_right",
        camera="handheld",
        coat="red",
        wall="blocks",
        ground="plane",
    ),
    Sample(
        tag="118",
        seed=118,
        overreach=(0.15, 0.13),
        direction="right_to_left",
        camera="tripod",
        coat="roan",
        wall="rails",
        ground="length",
        hooves="found",
    ),
)


def scene_of(sample: Sample) -> Scene:
    """The scene of a sample: calm light, little noise, nothing in the way."""
    rng = np.random.default_rng(sample.seed)
    plan = draw_plan(rng, overreach=sample.overreach, scatter=(0.015, 0.010))
    scene = draw_scene(
        rng,
        plan=plan,
        camera=sample.camera,
        direction=sample.direction,
        coat=sample.coat,
        handler="far" if sample.tag == "307" else "none",
        post="none",
        light="soft",
        floor="concrete",
        wall=sample.wall,
        size_px=SIZE_PX,
        frame_rate=FRAME_RATE,
        longest=4.8,
    )
    return replace(scene, light=replace(scene.light, noise=0.8, shutter=1 / 250))


def write_json(path: Path, document: dict[str, Any]) -> None:
    """Write a document, a number a line."""
    path.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


def make(sample: Sample) -> None:
    """Render one sample and write its marks and its truth beside it."""
    scene = scene_of(sample)
    truth = truth_of(scene)
    clip = FOLDER / f"alder-brook-{sample.tag}.mp4"
    with open_encoder(clip, size_px=SIZE_PX, frame_rate=FRAME_RATE, crf=24, preset="slow") as encoder:
        for frame in render(scene):
            encoder.write(frame.image, frame.t)
    marks = marks_from_truth(
        truth,
        np.random.default_rng(sample.seed + 1),
        per_stance=2,
        noise_px=0.8,
        floor_noise_px=0.5,
        ground=sample.ground,
        clip_name=clip.name,
        tag=sample.tag,
    )
    marks["clip"]["sha256"] = hashlib.sha256(clip.read_bytes()).hexdigest()
    if sample.hooves == "found":
        # Marked by hand in a file of its own: what lies beside the clip gives its scale, and no hoof.
        write_json(clip.with_suffix(".by-hand.json"), marks)
        del marks["hooves"]
    write_json(clip.with_suffix(".marks.json"), marks)
    save_truth(truth, clip.with_suffix(".truth.json"))


if __name__ == "__main__":
    for one in SAMPLES:
        make(one)
        print(f"alder-brook-{one.tag}.mp4")
