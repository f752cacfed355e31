"""One filmed walk-by: what is in it, and its pictures."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..walk.marks import Direction
from .animal import Animal, cut_animal, draw_build, draw_look, paint_body, paint_legs
from .barn import Barn, FloorKind, FloorMarks, WallKind, draw_barn, paint_barn, paint_surfaces
from .bystanders import (
    Handler,
    HandlerSide,
    Part,
    Post,
    PostKind,
    draw_handler,
    draw_post,
    handler_parts,
    paint_parts,
    paint_post,
    paint_rope,
    part_outline,
)
from .camera import Camera, CameraKind, View, draw_camera
from .canvas import Canvas, Image, flatten, lay_over
from .coat import CoatKind
from .gait import Walk, stand_animal, walk_animal
from .light import Light, LightKind, draw_light, expose, paint_grain
from .plan import GaitPlan, draw_plan
from .shadow import animal_shadow, bar_corners, cast, contact_shapes, lay_shadow
from .shapes import Look
from .skeleton import Build, Pose, poses_at

Array = NDArray[np.float64]
Action = Literal["walk", "trot", "halt", "stand", "empty"]

_LONGEST = 7.0
_HOOF_SPEED = 5.0
_BLURRED_STEP_PX = 4.0
_MOST_MOMENTS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Companion:
    """A second animal in the picture."""

    walk: Walk
    build: Build
    look: Look


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
    handler : Handler or None
    roped : bool
        Whether the handler leads the animal by a rope.
    post : Post or None
        Stands between camera and animal.
    companion : Companion or None
        A second animal.
    empty : bool
        True for a barn without its animal.
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
    handler: Handler | None = None
    roped: bool = False
    post: Post | None = None
    companion: Companion | None = None
    empty: bool = False

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
    action: Action = "walk",
    handler: HandlerSide | Literal["drawn", "none"] | None = None,
    post: PostKind | Literal["drawn", "none"] | None = None,
    companion: Literal["following", "standing", "none"] = "none",
    coat: CoatKind | None = None,
    light: LightKind | None = None,
    floor: FloorKind | None = None,
    wall: WallKind | None = None,
    size_px: tuple[int, int] = (1280, 720),
    frame_rate: float = 60.0,
    jitter: float = 0.0,
    dropped: float = 0.0,
    direction: Direction | None = None,
    plan: GaitPlan | None = None,
    longest: float = _LONGEST,
) -> Scene:
    """Draw a clip; whatever is not given is drawn.

    Parameters
    ----------
    rng : numpy.random.Generator
    camera : {"tripod", "handheld", "panning"}
    action : {"walk", "trot", "halt", "stand", "empty"}
        What the animal does; "halt" stops in view, "empty" is a barn without an animal.
    handler : {"near", "far", "drawn", "none"}, optional
        "drawn" puts one on either side; about one clip in three has one when this is left out.
    post : {"post", "gate", "drawn", "none"}, optional
        About one clip in eight has one when this is left out.
    companion : {"following", "standing", "none"}
        A second animal, walking behind or standing farther from the camera.
    coat, light, floor, wall : kinds, optional
    size_px : (int, int)
        Width and height.
    frame_rate : float
        (1/s)
    jitter : float
        Standard deviation of each frame's time (s), for a phone with an uneven clock.
    dropped : float
        Share of frames missing.
    direction : {"left_to_right", "right_to_left"}, optional
    plan : GaitPlan, optional
    longest : float
        The clip is cut to so many seconds about the middle of the view.
    """
    plan = plan or draw_plan(rng, gait="trot" if action == "trot" else "walk", halts=action == "halt")
    direction = direction or ("left_to_right" if rng.random() < 0.5 else "right_to_left")
    walk = _draw_walk(rng, plan, action, direction, panning=camera == "panning")
    view = draw_camera(rng, camera, walk, size_px)
    other = _draw_companion(rng, companion, walk)
    barn = draw_barn(rng, _draw_floor_marks(rng), floor, wall)
    if companion == "standing":
        barn = replace(barn, wall_y=max(barn.wall_y, 2.3))
    if handler is None:
        handler = "drawn" if rng.random() < 0.35 else "none"
    if post is None:
        post = "drawn" if rng.random() < 0.12 else "none"
    return Scene(
        walk=walk,
        camera=view,
        light=draw_light(rng, light),
        barn=barn,
        build=draw_build(rng, plan.hip_height, plan.trunk_length),
        look=draw_look(rng, coat),
        times=_draw_times(rng, walk, longest, frame_rate=frame_rate, jitter=jitter, dropped=dropped),
        seed=int(rng.integers(2**31)),
        handler=None if handler == "none" else draw_handler(rng, handler),
        roped=bool(rng.random() < 0.8),
        post=None if post == "none" else draw_post(rng, view.place[1], post),
        companion=other,
        empty=action == "empty",
    )


def render(scene: Scene) -> Iterator[RenderedFrame]:
    """Render the clip, one frame at a time."""
    rng = np.random.default_rng(scene.seed)
    animals = [cut_animal(rng, scene.walk, scene.build, scene.look, scene.light)]
    if scene.companion:
        other = scene.companion
        animals.append(cut_animal(rng, other.walk, other.build, other.look, scene.light))
    surfaces = paint_surfaces(scene.barn, scene.light)
    grain = paint_grain(rng, scene.light, scene.size_px)
    kept: Image | None = None
    for index, t in enumerate(scene.times):
        view = scene.camera.view_at(float(t))
        if scene.camera.kind == "tripod":
            if kept is None:
                kept = paint_barn(view, scene.barn, surfaces, fine=2)
            picture = kept.copy()
        else:
            picture = paint_barn(view, scene.barn, surfaces)
        _stage(picture, view, scene, animals, float(t))
        gain = scene.light.gain_at(float(t), 0.0)
        expose(picture, scene.light, gain, grain, np.random.default_rng([scene.seed, index]))
        yield RenderedFrame(index=index, t=float(t - scene.times[0]), image=picture)


def _stage(picture: Image, view: View, scene: Scene, animals: list[Animal], t: float) -> None:
    """Place everything that stands in the barn into one frame, back to front; the led animal comes first."""
    if scene.companion:
        _place_animal(picture, view, animals[1], scene.companion.walk, t)
    person = handler_parts(scene.handler, scene.walk, t) if scene.handler else []
    if scene.handler and scene.handler.side == "far":
        _place_handler(picture, view, scene, person, t)
    if not scene.empty:
        _place_animal(picture, view, animals[0], scene.walk, t)
        if scene.handler and scene.roped:
            _place_rope(picture, view, scene, person, t)
    if scene.handler and scene.handler.side == "near":
        _place_handler(picture, view, scene, person, t)
    if scene.post:
        paint_post(picture, view, scene.post, scene.light.level * scene.light.gain_at(t, scene.post.x))


def _place_animal(picture: Image, view: View, animal: Animal, walk: Walk, t: float) -> None:
    build, look, light = animal.build, animal.look, animal.light
    poses = poses_at(walk, build, _moments(light, view, walk, t))
    pose = poses[len(poses) // 2]
    lay_shadow(picture, view, light, animal_shadow(build, look, pose, light), contact_shapes(look, pose))
    gain = light.level * light.gain_at(t, float(pose.middle[0]))
    for part in ("far", "body", "near"):
        moments = [pose] if part == "body" else poses
        corner, size = _window(view, build, moments, body=part == "body")
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


def _place_handler(picture: Image, view: View, scene: Scene, person: list[Part], t: float) -> None:
    shapes = [cast(bar_corners(p.start, p.end, p.half_start), scene.light) for p in person]
    lay_shadow(picture, view, scene.light, shapes, [])
    spots = np.vstack([part_outline(view, part) for part in person])
    corner, size = _clipped(view, spots)
    if min(size) < 2:
        return
    canvas = Canvas(corner, size)
    paint_parts(canvas, view, person)
    gain = scene.light.level * scene.light.gain_at(t, float(person[0].start[0]))
    lay_over(picture, flatten([canvas]), corner, gain)


def _place_rope(picture: Image, view: View, scene: Scene, person: list[Part], t: float) -> None:
    pose = poses_at(scene.walk, scene.build, t)[0]
    hand = person[-1].end if scene.handler and scene.handler.side == "far" else person[3].end
    halter = pose.poll + 0.7 * (pose.muzzle - pose.poll)
    ends = view.to_px(np.stack([hand, halter, halter + np.array([0.0, 0.0, -0.35])]))
    corner, size = _clipped(view, ends)
    if min(size) < 2:
        return
    canvas = Canvas(corner, size)
    paint_rope(canvas, view, hand, halter, float(view.px_per_m(halter)[0]))
    lay_over(picture, flatten([canvas]), corner, scene.light.level)


def _moments(light: Light, view: View, walk: Walk, t: float) -> Array:
    """Times within one exposure at which the legs are painted."""
    step_px = _HOOF_SPEED * float(view.px_per_m(walk.body_at([t]))[0]) * light.shutter
    count = int(np.clip(math.ceil(step_px / _BLURRED_STEP_PX), 1, _MOST_MOMENTS))
    count += 1 - count % 2
    return np.asarray(t + light.shutter * ((np.arange(count) + 0.5) / count - 0.5))


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
    return _clipped(view, view.to_px(np.array(points)))


def _clipped(view: View, spots: Array) -> tuple[tuple[int, int], tuple[int, int]]:
    """Corner and size (px) of the part of the picture about some points."""
    low = np.clip(np.floor(spots.min(axis=0)) - 8, 0, view.size_px).astype(int)
    high = np.clip(np.ceil(spots.max(axis=0)) + 8, 0, view.size_px).astype(int)
    return (int(low[0]), int(low[1])), (int(high[0] - low[0]), int(high[1] - low[1]))


def _draw_walk(
    rng: np.random.Generator, plan: GaitPlan, action: Action, direction: Direction, *, panning: bool
) -> Walk:
    reach = rng.uniform(4.0, 5.5) if panning else rng.uniform(2.4, 3.6)
    sign = 1 if direction == "left_to_right" else -1
    if action in ("stand", "empty"):
        return stand_animal(plan, x=rng.uniform(-0.8, 0.8), direction=direction)
    span = 2 * reach if action != "halt" else rng.uniform(0.9, 1.3) * reach
    return walk_animal(plan, rng, start_x=-sign * reach, span=span, direction=direction)


def _draw_companion(
    rng: np.random.Generator, kind: Literal["following", "standing", "none"], walk: Walk
) -> Companion | None:
    if kind == "none":
        return None
    plan = draw_plan(rng)
    sign = 1 if walk.direction == "left_to_right" else -1
    if kind == "standing":
        other = stand_animal(
            plan,
            x=rng.uniform(-1.5, 1.5),
            y=rng.uniform(1.2, 1.5),
            duration=walk.duration,
            direction=walk.direction,
        )
    else:
        speed = walk.plan.stride_length / walk.plan.stride_time
        plan = replace(plan, stride_time=plan.stride_length / speed)
        start = walk.body_at([0.0])[0, 0] - sign * rng.uniform(2.7, 3.2)
        other = walk_animal(plan, rng, start_x=float(start), span=9.0, direction=walk.direction)
    return Companion(
        walk=other, build=draw_build(rng, plan.hip_height, plan.trunk_length), look=draw_look(rng)
    )


def _draw_times(
    rng: np.random.Generator,
    walk: Walk,
    longest: float,
    *,
    frame_rate: float,
    jitter: float,
    dropped: float,
) -> Array:
    spare = max(walk.duration - longest, 0.0) / 2
    times = np.arange(spare, walk.duration - spare, 1 / frame_rate)
    if jitter:
        shift = np.clip(jitter * rng.standard_normal(len(times)), -0.4 / frame_rate, 0.4 / frame_rate)
        times = times + shift
    if dropped:
        times = times[rng.random(len(times)) >= dropped]
    return np.asarray(times)


def _draw_floor_marks(rng: np.random.Generator) -> FloorMarks:
    near, far = -rng.uniform(0.55, 0.85), rng.uniform(0.55, 0.9)
    reach = rng.uniform(1.5, 2.2)
    crosses = tuple((x, y) for y in (near, far) for x in (-reach, 0.0, reach))
    stick_y, start = near + rng.uniform(0.12, 0.2), rng.uniform(-1.6, -0.4)
    return FloorMarks(crosses=crosses, stick=((start, stick_y), (start + 2.0, stick_y)))
