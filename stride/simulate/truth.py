"""What is really in a rendered clip: everything a measurement could be held against."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..errors import OutputError, StrideError
from ..walk.limbs import LIMBS, Limb, Side
from ..walk.marks import Direction, Point
from .animal import painting_order
from .bystanders import handler_parts, part_outline, post_outlines
from .camera import View
from .gait import TrueOverreach, TrueStride, true_overreaches, true_strides
from .scene import Scene
from .shapes import hoof_outline, leg_pieces
from .skeleton import LegPose, Pose, poses_at

Array = NDArray[np.float64]

FORMAT = "stride-truth"
VERSION = 1

_INSIDE_PX = 2.0
_DECIMALS = {"times": 9, "toes": 6, "toes_px": 4, "pitch": 5, "floor_to_px": 8}


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenPrint:
    """One true print of the clip.

    Parameters
    ----------
    limb : Limb
    xy : (float, float)
        Toe tip on the floor (m).
    touch_down, lift_off : float
        Seconds from the first frame; may lie outside the clip, and be infinite for a hoof that never moves.
    xy_px : (float, float)
        Toe tip in the held picture, the first frame's pixels; it may lie outside the picture.
    frames : (int, int) or None
        First and last frame in which the hoof stands there; None where no frame shows it.
    visible_frames : int
        In how many of them the toe tip is in the picture and not hidden.
    """

    limb: Limb
    xy: Point
    touch_down: float
    lift_off: float
    xy_px: Point
    frames: tuple[int, int] | None
    visible_frames: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """The truth of one clip. Limbs come in the order of ``LIMBS``.

    Parameters
    ----------
    size_px : (int, int)
    direction : {"left_to_right", "right_to_left"}
    near_side : {"left", "right"}
    heading : (float, float)
        Unit vector of the line of walk on the floor, pointing where the animal goes.
    times : (N,) float array
        Seconds from the first frame.
    floor_to_px : (N, 3, 3) float array
        From the floor (m) to each frame's own pixels.
    to_first : (N, 3, 3) float array
        From each frame's pixels to the first frame's, for points of the floor.
    toes : (N, 4, 3) float array
        Toe tips (m).
    toes_px : (N, 4, 2) float array
        Toe tips in each frame's own pixels.
    pitch : (N, 4) float array
        Of the hooves (rad).
    visible : (N, 4) bool array
        Toe tip inside the picture and hidden by nothing.
    prints : tuple of SeenPrint
        By touch-down.
    strides : tuple of TrueStride
    overreaches : tuple of TrueOverreach
        Both index ``prints``.
    crosses : tuple of (x, y)
        Chalk crosses on the floor (m).
    stick : ((x, y), (x, y)) or None
        Ends of the stick on the floor (m).
    plan : dict
        The plan's values by name.
    """

    size_px: tuple[int, int]
    direction: Direction
    near_side: Side
    heading: Point
    times: Array
    floor_to_px: Array
    to_first: Array
    toes: Array
    toes_px: Array
    pitch: Array
    visible: NDArray[np.bool_]
    prints: tuple[SeenPrint, ...]
    strides: tuple[TrueStride, ...]
    overreaches: tuple[TrueOverreach, ...]
    crosses: tuple[Point, ...]
    stick: tuple[Point, Point] | None
    plan: dict[str, Any]


def truth_of(scene: Scene) -> Truth:
    """The truth of a scene, without rendering it."""
    walk, start = scene.walk, float(scene.times[0])
    poses = poses_at(walk, scene.build, scene.times)
    views = [scene.camera.view_at(float(t)) for t in scene.times]
    toes = np.stack([walk.hoof_at(limb, scene.times) for limb in LIMBS], axis=1)
    toes_px = np.stack([view.to_px(toe) for view, toe in zip(views, toes, strict=True)])
    pitch = np.stack([walk.pitch_at(limb, scene.times) for limb in LIMBS], axis=1)
    every = zip(views, poses, toes_px, scene.times, strict=True)
    visible = np.stack([_seen(scene, view, pose, spots, float(t)) for view, pose, spots, t in every])
    if scene.empty:
        visible[:] = False
    floor_to_px = scene.camera.floor_to_px(scene.times)
    prints = () if scene.empty else _seen_prints(scene, visible)
    ahead = walk.heading
    return Truth(
        size_px=scene.size_px,
        direction=walk.direction,
        near_side=walk.near_side,
        heading=(float(ahead[0]), float(ahead[1])),
        times=scene.times - start,
        floor_to_px=floor_to_px,
        to_first=floor_to_px[0] @ np.linalg.inv(floor_to_px),
        toes=toes,
        toes_px=toes_px,
        pitch=pitch,
        visible=visible,
        prints=prints,
        strides=() if scene.empty else true_strides(walk),
        overreaches=() if scene.empty else true_overreaches(walk),
        crosses=scene.barn.marks.crosses,
        stick=scene.barn.marks.stick,
        plan=asdict(walk.plan),
    )


def floor_px(floor_to_px: Array, xy: Array) -> Array:
    """Pixels of floor points, (K, 2) m → (K, 2), by a homography (3, 3)."""
    mapped = np.column_stack([xy, np.ones(len(xy))]) @ floor_to_px.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def save_truth(truth: Truth, path: Path) -> None:
    """Write the truth as JSON.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    document: dict[str, Any] = {"format": FORMAT, "version": VERSION, "limbs": list(LIMBS)}
    document |= {name: _plain(getattr(truth, name), _DECIMALS.get(name, 12)) for name in truth.__slots__}
    try:
        path.write_text(json.dumps(document, separators=(",", ":")) + "\n", encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"{path} could not be written ({error.strerror}).", "Choose another place."
        ) from error


def load_truth(path: Path) -> Truth:
    """Read what ``save_truth`` wrote.

    Raises
    ------
    StrideError
        If the file is not a truth document of this version.
    """
    document = json.loads(path.read_text(encoding="utf-8"))
    if document.get("format") != FORMAT or document.get("version") != VERSION:
        raise StrideError(
            f"{path.name} is {document.get('format')!r} version {document.get('version')!r}, "
            f"but {FORMAT!r} version {VERSION} was needed.",
            "Render the clip again.",
        )
    arrays = {name: np.array(document[name], dtype=float) for name in ("times", "toes", "toes_px", "pitch")}
    return Truth(
        size_px=(int(document["size_px"][0]), int(document["size_px"][1])),
        direction=document["direction"],
        near_side=document["near_side"],
        heading=_point(document["heading"]),
        floor_to_px=np.array(document["floor_to_px"], dtype=float),
        to_first=np.array(document["to_first"], dtype=float),
        visible=np.array(document["visible"], dtype=bool),
        prints=tuple(_load_print(one) for one in document["prints"]),
        strides=tuple(TrueStride(**one) for one in document["strides"]),
        overreaches=tuple(TrueOverreach(**one) for one in document["overreaches"]),
        crosses=tuple(_point(one) for one in document["crosses"]),
        stick=None
        if document["stick"] is None
        else (_point(document["stick"][0]), _point(document["stick"][1])),
        plan=document["plan"],
        **arrays,
    )


def _seen(scene: Scene, view: View, pose: Pose, toes_px: Array, t: float) -> NDArray[np.bool_]:
    """Which toe tips are in the picture with nothing painted over them."""
    width, height = view.size_px
    low, high = _INSIDE_PX, np.array([width, height]) - 1 - _INSIDE_PX
    inside = np.all((toes_px >= low) & (toes_px <= high), axis=1)
    order = painting_order(scene.walk.near_side == "right", pose)
    seen = inside.copy()
    over = _shapes_in_front(scene, view, t)
    for k, limb in enumerate(LIMBS):
        if seen[k] and any(_covers(shape, toes_px[k]) for shape in over):
            seen[k] = False
        for other in order[order.index(limb) + 1 :]:
            if seen[k] and any(
                _covers(s, toes_px[k]) for s in _leg_shapes(scene, view, pose, pose.legs[other])
            ):
                seen[k] = False
    return np.asarray(seen)


def _leg_shapes(scene: Scene, view: View, pose: Pose, leg: LegPose) -> list[Array]:
    """What one leg covers, as convex outlines in the picture (px)."""
    shapes = [view.to_px(hoof_outline(scene.look, leg, pose))]
    for start, end, half in leg_pieces(scene.build, scene.look, leg):
        spots = view.to_px(np.stack([start, end]))
        wide = half * view.px_per_m(np.stack([start, end]))
        along = spots[1] - spots[0]
        across = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-6)
        shapes.append(np.vstack([spots + wide[:, None] * across, spots - wide[:, None] * across]))
    return shapes


def _shapes_in_front(scene: Scene, view: View, t: float) -> list[Array]:
    """What a post and a handler on the near side cover (px)."""
    shapes = post_outlines(view, scene.post) if scene.post else []
    if scene.handler and scene.handler.side == "near":
        shapes += [part_outline(view, part) for part in handler_parts(scene.handler, scene.walk, t)]
    return shapes


def _covers(shape: Array, spot: Array) -> bool:
    hull = cv2.convexHull(shape.astype(np.float32))
    return cv2.pointPolygonTest(hull, (float(spot[0]), float(spot[1])), False) > 0


def _seen_prints(scene: Scene, visible: NDArray[np.bool_]) -> tuple[SeenPrint, ...]:
    start = float(scene.times[0])
    spots = floor_px(
        scene.camera.floor_to_px(scene.times[:1])[0], np.array([p.xy for p in scene.walk.prints])
    )
    prints = []
    for one, spot in zip(scene.walk.prints, spots, strict=True):
        standing = np.flatnonzero((scene.times >= one.touch_down) & (scene.times <= one.lift_off))
        prints.append(
            SeenPrint(
                limb=one.limb,
                xy=one.xy,
                touch_down=one.touch_down - start,
                lift_off=one.lift_off - start,
                xy_px=(float(spot[0]), float(spot[1])),
                frames=(int(standing[0]), int(standing[-1])) if standing.size else None,
                visible_frames=int(visible[standing, LIMBS.index(one.limb)].sum()),
            )
        )
    return tuple(prints)


def _plain(value: Any, decimals: int) -> Any:
    """A value as JSON writes it; infinite times become null."""
    if isinstance(value, np.ndarray):
        return value.tolist() if value.dtype == bool else np.round(value, decimals).tolist()
    if isinstance(value, tuple):
        return [_plain(one, decimals) for one in value]
    if isinstance(value, dict):
        return {key: _plain(one, decimals) for key, one in value.items()}
    if is_dataclass(value):
        return {one.name: _plain(getattr(value, one.name), decimals) for one in fields(value)}
    if isinstance(value, float):
        return round(value, decimals) if math.isfinite(value) else None
    return value


def _load_print(one: dict[str, Any]) -> SeenPrint:
    return SeenPrint(
        limb=one["limb"],
        xy=_point(one["xy"]),
        touch_down=-math.inf if one["touch_down"] is None else one["touch_down"],
        lift_off=math.inf if one["lift_off"] is None else one["lift_off"],
        xy_px=_point(one["xy_px"]),
        frames=None if one["frames"] is None else (one["frames"][0], one["frames"][1]),
        visible_frames=one["visible_frames"],
    )


def _point(pair: list[float]) -> Point:
    return float(pair[0]), float(pair[1])
