"""One filmed walk-by: what is in it, and its pictures."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..walk.marks import Direction
from .animal import Animal, cut_animal, draw_build, draw_look, paint_body, paint_legs
from .barn import Barn, FloorKind, FloorMarks, WallKind, draw_barn, paint_barn, paint_surfaces
from .camera import Camera, CameraKind, View, draw_camera
from .canvas import Canvas, Image, flatten, lay_over
from .coat import CoatKind
from .gait import Walk, walk_animal
from .light import Light, LightKind, draw_light
from .plan import GaitPlan, draw_plan
from .shadow import animal_shadow, contact_shapes, lay_shadow
from .shapes import Look
from .skeleton import Build, Pose, poses_at

Array = NDArray[np.float64]

_LONGEST = 7.0
_BLURRED_STEP_PX = 3.0
_MOST_MOMENTS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything that decides a clip; two equal scenes render the same pictures.

    Parameters
    ----------
    walk : Walk
    camera : Camera
    light : Light
    barn : Barn
    build : Build
    look : Look
    times : (N,) float array
        Time of each frame (s): the middle of its exposure, on the walk's clock.
    seed : int
        Of the painting and of the sensor's noise.
    """

    walk: Walk
    camera: Camera
    light: Light
    barn: Barn
    build: Build
    look: Look
    times: Array
    seed: int

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.camera.size_px


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderedFrame:
    """One picture: ``image`` is (H, W, 3) uint8, blue-green-red; ``t`` counts from the first frame (s)."""

    index: int
    t: float
    image: Image


def draw_scene(
    rng: np.random.Generator,
    *,
    camera: CameraKind = "tripod",
    coat: CoatKind | None = None,
    light: LightKind | None = None,
    floor: FloorKind | None = None,
    wall: WallKind | None = None,
    size_px: tuple[int, int] = (1280, 720),
    frame_rate: float = 60.0,
    direction: Direction | None = None,
    plan: GaitPlan | None = None,
    longest: float = _LONGEST,
) -> Scene:
    """Draw a clip; whatever is not given is drawn.

    Parameters
    ----------
    rng : numpy.random.Generator
    camera : {"tripod", "handheld", "panning"}
    coat, light, floor, wall : kinds, optional
    size_px : (int, int)
        Width and height.
    frame_rate : float
        (1/s)
    direction : {"left_to_right", "right_to_left"}, optional
    plan : GaitPlan, optional
    longest : float
        The clip is cut to so many seconds about the middle of the view.
    """
    plan = plan or draw_plan(rng)
    direction = direction or ("left_to_right" if rng.random() < 0.5 else "right_to_left")
    reach = rng.uniform(2.4, 3.6) if camera != "panning" else rng.uniform(4.0, 5.5)
    sign = 1 if direction == "left_to_right" else -1
    walk = walk_animal(plan, rng, start_x=-sign * reach, span=2 * reach, direction=direction)
    view = draw_camera(rng, camera, walk, size_px)
    spare = max(walk.duration - longest, 0.0) / 2
    times = np.arange(spare, walk.duration - spare, 1 / frame_rate)
    return Scene(
        walk=walk,
        camera=view,
        light=draw_light(rng, light),
        barn=draw_barn(rng, _draw_floor_marks(rng), floor, wall),
        build=draw_build(rng, plan.hip_height, plan.trunk_length),
        look=draw_look(rng, coat),
        times=times,
        seed=int(rng.integers(2**31)),
    )


def render(scene: Scene) -> Iterator[RenderedFrame]:
    """Render the clip, one frame at a time."""
    rng = np.random.default_rng(scene.seed)
    animal = cut_animal(rng, scene.walk, scene.build, scene.look, scene.light)
    surfaces = paint_surfaces(scene.barn, scene.light)
    grain = _paint_grain(rng, scene)
    kept: Image | None = None
    for index, t in enumerate(scene.times):
        view = scene.camera.view_at(float(t))
        if scene.camera.kind == "tripod":
            if kept is None:
                kept = paint_barn(view, scene.barn, surfaces, fine=2)
            picture = kept.copy()
        else:
            picture = paint_barn(view, scene.barn, surfaces)
        _place_animal(picture, view, scene, animal, float(t))
        picture = _expose(picture, scene, grain, index, float(t))
        yield RenderedFrame(index=index, t=float(t - scene.times[0]), image=picture)


def _place_animal(picture: Image, view: View, scene: Scene, animal: Animal, t: float) -> None:
    times = _moments(scene, view, t)
    poses = poses_at(scene.walk, scene.build, times)
    pose = poses[len(poses) // 2]
    lay_shadow(
        picture,
        view,
        scene.light,
        animal_shadow(scene.build, scene.look, pose, scene.light),
        contact_shapes(scene.look, pose),
    )
    gain = scene.light.level * scene.light.gain_at(t, float(pose.middle[0]))
    for part in ("far", "body", "near"):
        moments = [pose] if part == "body" else poses
        corner, size = _window(view, scene.build, moments, body=part == "body")
        if min(size) < 2:
            continue
        canvases = []
        for moment in moments:
            canvas = Canvas(corner, size)
            if part == "body":
                paint_body(canvas, view, animal, moment)
            else:
                paint_legs(canvas, view, animal, moment, near=part == "near")
            canvases.append(canvas)
        lay_over(picture, flatten(canvases), corner, gain)


def _moments(scene: Scene, view: View, t: float) -> Array:
    """Times within one exposure at which the animal is painted."""
    step_px = 5.0 * float(view.px_per_m(scene.walk.body_at([t]))[0]) * scene.light.shutter
    count = int(np.clip(math.ceil(step_px / _BLURRED_STEP_PX), 1, _MOST_MOMENTS))
    count += 1 - count % 2
    return t + scene.light.shutter * ((np.arange(count) + 0.5) / count - 0.5)


def _window(
    view: View, build: Build, poses: list[Pose], *, body: bool
) -> tuple[tuple[int, int], tuple[int, int]]:
    """Piece of the picture that legs or body can cover: corner and size (px)."""
    if body:
        pose, half = poses[0], build.trunk_length / 2
        points = [
            pose.place(x, z - pose.middle[2], y)
            for x in (-half - 0.6 * build.size, half + 1.15 * build.size)
            for y in (-0.3, 0.3)
            for z in (0.3 * build.size, 1.75 * build.size)
        ]
    else:
        margin = 0.27 * build.size * np.array([[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.6]])
        points = [
            joint + shift
            for pose in poses
            for leg in pose.legs.values()
            for joint in (*leg.joints, leg.toe)
            for shift in margin
        ]
    spots = view.to_px(np.array(points))
    low = np.clip(np.floor(spots.min(axis=0)) - 8, 0, view.size_px).astype(int)
    high = np.clip(np.ceil(spots.max(axis=0)) + 8, 0, view.size_px).astype(int)
    return (int(low[0]), int(low[1])), (int(high[0] - low[0]), int(high[1] - low[1]))


def _draw_floor_marks(rng: np.random.Generator) -> FloorMarks:
    near, far = -rng.uniform(0.55, 0.85), rng.uniform(0.55, 0.9)
    reach = rng.uniform(1.5, 2.2)
    crosses = tuple((x, y) for y in (near, far) for x in (-reach, 0.0, reach))
    stick_y, start = near + rng.uniform(0.12, 0.2), rng.uniform(-1.6, -0.4)
    return FloorMarks(crosses=crosses, stick=((start, stick_y), (start + 2.0, stick_y)))


def _paint_grain(rng: np.random.Generator, scene: Scene) -> list[NDArray[np.int16]]:
    """Pieces of sensor noise, larger than the picture, to be cut at random."""
    width, height = scene.size_px
    shape = (height + 64, width + 64)
    grains = []
    for _ in range(3):
        luma = rng.standard_normal((*shape, 1), dtype=np.float32)
        chroma = rng.standard_normal((*shape, 3), dtype=np.float32)
        grain = scene.light.noise * (0.85 * luma + 0.5 * cv2.GaussianBlur(chroma, (3, 3), 0))
        grains.append(np.round(grain).astype(np.int16))
    return grains


def _expose(picture: Image, scene: Scene, grain: list[NDArray[np.int16]], index: int, t: float) -> Image:
    """Focus, exposure and noise of one frame."""
    light = scene.light
    if light.blur_px > 0.25:
        cv2.GaussianBlur(picture, (5, 5), light.blur_px, picture)
    gain = light.gain_at(t, 0.0)
    if abs(gain - 1) > 1e-3:
        cv2.convertScaleAbs(picture, picture, gain)
    rng = np.random.default_rng([scene.seed, index])
    dy, dx = rng.integers(0, 64, 2)
    width, height = scene.size_px
    piece = grain[rng.integers(len(grain))][dy : dy + height, dx : dx + width]
    return np.asarray(cv2.add(picture, piece, dtype=cv2.CV_8U), dtype=np.uint8)
