"""One analysis ⇄ one versioned JSON document (``"format": "stride-analysis"``)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, get_args

import numpy as np
from numpy.typing import NDArray

from ..errors import RecordsError
from ..quantity import Measured, Quantity, Unmeasured
from ..walk.analysis import Analysis
from ..walk.camera import CameraMotion, still_camera
from ..walk.clip import Clip, Timing
from ..walk.ground import Ground
from ..walk.limbs import LIMBS, SIDES
from ..walk.prints import Print
from ..walk.settings import Settings
from ..walk.strides import Overreach, Stride
from ..walk.tracks import HoofTrack
from ..walk.verdict import SideVerdict, StrideClass, Verdict
from .document import Node, parse_document
from .marks_document import marks_from_node, write_marks

FORMAT, VERSION = "stride-analysis", 1
Array = NDArray[np.float64]
Document = dict[str, Any]

_UNITS = ("m", "s", "m/s", "1/min", "rad", "stride", "stride/s", "1")
_CLASSES: tuple[StrideClass, ...] = get_args(StrideClass)


def write_analysis(analysis: Analysis) -> Document:
    """The document of an analysis, ready for ``json.dumps``.

    Lengths on the floor are metres (``…_m``) where the clip has a scale; where it has none they are in an arbitrary
    length (``…_any``), and no metres are claimed anywhere.
    """
    marks = write_marks(analysis.marks)
    return {
        "format": FORMAT,
        "version": VERSION,
        "made_by": analysis.made_by,
        "clip": _write_clip(analysis.clip),
        "camera": _write_camera(analysis.camera),
        "ground": _write_ground(analysis.ground),
        "direction": analysis.direction,
        "near_side": analysis.near_side,
        "heading": list(analysis.heading),
        "verdict": _write_verdict(analysis.verdict),
        "measures": {name: _write_quantity(one) for name, one in analysis.measures.items()},
        "overreaches": [
            {"side": one.side, "fore_print": one.fore_print, "hind_print": one.hind_print}
            | _write_quantity(one.value)
            for one in analysis.overreaches
        ],
        "prints": [_write_print(one, analysis.ground) for one in analysis.prints],
        "strides": [_write_stride(one) for one in analysis.strides],
        "tracks": [_write_track(one) for one in analysis.tracks],
        "marks": {key: value for key, value in marks.items() if key not in ("format", "version")},
        "settings": {field.name: getattr(analysis.settings, field.name) for field in fields(Settings)},
    }


def read_analysis(text: str | bytes) -> Analysis:
    """An analysis from the text of its document.

    Raises
    ------
    RecordsError
        Naming the place in the document and what was needed there.
    """
    node = parse_document(text, format_name=FORMAT, version=VERSION, error=RecordsError)
    parts = (
        "format version made_by clip camera ground direction near_side heading verdict measures overreaches "
        "prints strides tracks marks settings"
    ).split()
    f = node.fields(parts, required=parts)
    clip = _read_clip(f["clip"])
    prints = f["prints"].each(_read_print)
    ground = _read_ground(f["ground"])
    for number, one in enumerate(prints):
        if one.ground_jacobian.shape != (2, len(ground.covariance)):
            f["prints"].items()[number].refuse(
                "a ground jacobian of two rows, one column for each ground parameter"
            )
    return Analysis(
        clip=clip,
        camera=_read_camera(f["camera"], clip.frames),
        ground=ground,
        marks=marks_from_node(f["marks"]),
        direction=f["direction"].one_of(("left_to_right", "right_to_left")),
        near_side=f["near_side"].one_of(SIDES),
        heading=f["heading"].point(),
        tracks=f["tracks"].each(_read_track),
        prints=prints,
        strides=f["strides"].each(lambda one: _read_stride(one, len(prints))),
        overreaches=f["overreaches"].each(lambda one: _read_overreach(one, len(prints))),
        measures=_read_mapping(f["measures"], _read_quantity),
        verdict=_read_verdict(f["verdict"]),
        settings=_read_settings(f["settings"]),
        made_by=f["made_by"].text(),
    )


def _write_clip(clip: Clip) -> Document:
    timing = clip.timing
    return {
        "name": clip.name,
        "sha256": clip.sha256,
        "frames": clip.frames,
        "duration_s": clip.duration,
        "size_px": list(clip.size_px),
        "timing": {
            "source": timing.source,
            "slowed": timing.slowed,
            "frame_rate": timing.frame_rate,
            "irregular": timing.irregular,
            "repeated": timing.repeated,
            "note": timing.note,
        },
    }


def _read_clip(node: Node) -> Clip:
    names = ("name", "sha256", "frames", "duration_s", "size_px", "timing")
    f = node.fields(names, required=names)
    names = ("source", "slowed", "frame_rate", "irregular", "repeated", "note")
    t = f["timing"].fields(names, required=names)
    width, height = f["size_px"].point()
    return Clip(
        name=f["name"].text(),
        sha256=f["sha256"].text(),
        frames=f["frames"].whole(least=1),
        duration=f["duration_s"].number(),
        size_px=(int(width), int(height)),
        timing=Timing(
            source=t["source"].one_of(("container", "capture_tag", "told")),
            slowed=t["slowed"].number(above=0),
            frame_rate=t["frame_rate"].number(),
            irregular=t["irregular"].whole(),
            repeated=t["repeated"].whole(),
            note=t["note"].text(most=5000),
        ),
    )


def _write_camera(camera: CameraMotion) -> Document:
    document: Document = {
        "moving": camera.moving,
        "residual_px": camera.residual_px.tolist(),
        "held": camera.held.tolist(),
        "held_frame": camera.held_frame,
        "notes": list(camera.notes),
    }
    if camera.moving:
        document["to_first"] = camera.to_first.reshape(-1, 9).tolist()
    return document


def _read_camera(node: Node, frames: int) -> CameraMotion:
    needed = ("moving", "residual_px", "held", "held_frame", "notes")
    f = node.fields((*needed, "to_first"), required=needed)
    moving = f["moving"].one_of((True, False))
    residual, held = (
        _read_array(f["residual_px"], (frames,)),
        np.array(f["held"].each(_read_flag), dtype=bool),
    )
    if len(held) != frames:
        f["held"].refuse(f"{frames} entries, one for each frame")
    if moving and "to_first" not in f:
        node.refuse("“to_first” in it, since the camera moved")
    maps = (
        _read_array(f["to_first"], (frames, 9)).reshape(-1, 3, 3) if moving else still_camera(frames).to_first
    )
    return CameraMotion(
        to_first=maps,
        residual_px=residual,
        held=held,
        moving=moving,
        held_frame=f["held_frame"].whole(),
        notes=f["notes"].each(_read_sentence),
    )


def _write_ground(ground: Ground) -> Document:
    return {
        "kind": ground.kind,
        "unit": ground.unit,
        "scale_error": ground.scale_error,
        "matrix": ground.matrix.tolist(),
        "parameters": ground.parameters.reshape(-1, 9).tolist(),
        "covariance": ground.covariance.tolist(),
        "trusted_px": ground.trusted_px.tolist(),
    }


def _read_ground(node: Node) -> Ground:
    names = ("kind", "unit", "scale_error", "matrix", "parameters", "covariance", "trusted_px")
    f = node.fields(names, required=names)
    count = len(f["parameters"].items())
    return Ground(
        kind=f["kind"].one_of(("plane", "length", "none")),
        unit=f["unit"].one_of(("m", "stride")),
        scale_error=f["scale_error"].number(),
        matrix=_read_array(f["matrix"], (3, 3)),
        parameters=_read_array(f["parameters"], (count, 9)).reshape(-1, 3, 3),
        covariance=_read_array(f["covariance"], (count, count)),
        trusted_px=_read_array(f["trusted_px"], (len(f["trusted_px"].items()), 2)),
    )


def _write_print(one: Print, ground: Ground) -> Document:
    unit = "m" if ground.unit == "m" else "any"
    return {
        "limb": one.limb,
        f"xy_{unit}": one.xy.tolist(),
        f"cov_{unit}2": one.cov.tolist(),
        f"limb_cov_{unit}2": one.limb_cov.tolist(),
        "ground_jacobian": one.ground_jacobian.tolist(),
        "xy_px": one.xy_px.tolist(),
        "touch_down_s": one.touch_down,
        "touch_down_error_s": one.touch_down_error,
        "lift_off_s": one.lift_off,
        "lift_off_error_s": one.lift_off_error,
        "frames": list(one.frames),
        "seen_from_s": one.seen_from,
        "seen_to_s": one.seen_to,
        "source": one.source,
        "confidence": one.confidence,
    }


def _read_print(node: Node) -> Print:
    unit = "m" if isinstance(node.value, dict) and "xy_m" in node.value else "any"
    names = (
        f"limb xy_{unit} cov_{unit}2 limb_cov_{unit}2 ground_jacobian xy_px touch_down_s touch_down_error_s "
        "lift_off_s lift_off_error_s frames seen_from_s seen_to_s source confidence"
    ).split()
    f = node.fields(names, required=names)
    first, last = f["frames"].point()
    return Print(
        limb=f["limb"].one_of(LIMBS),
        xy=_read_array(f[f"xy_{unit}"], (2,)),
        cov=_read_array(f[f"cov_{unit}2"], (2, 2)),
        limb_cov=_read_array(f[f"limb_cov_{unit}2"], (2, 2)),
        ground_jacobian=_read_array(f["ground_jacobian"], (2, None)),
        xy_px=_read_array(f["xy_px"], (2,)),
        touch_down=_read_number_or_none(f["touch_down_s"]),
        touch_down_error=_read_number_or_none(f["touch_down_error_s"]),
        lift_off=_read_number_or_none(f["lift_off_s"]),
        lift_off_error=_read_number_or_none(f["lift_off_error_s"]),
        frames=(int(first), int(last)),
        seen_from=f["seen_from_s"].number(),
        seen_to=f["seen_to_s"].number(),
        source=f["source"].one_of(("marked", "found")),
        confidence=f["confidence"].number(),
    )


_STRIDE_PARTS = ("length", "time", "speed", "stance_time", "swing_time", "duty_factor")


def _write_stride(one: Stride) -> Document:
    parts = {name: getattr(one, name) for name in _STRIDE_PARTS}
    return {"limb": one.limb, "start": one.start, "end": one.end} | {
        name: None if part is None else _write_quantity(part) for name, part in parts.items()
    }


def _read_stride(node: Node, prints: int) -> Stride:
    names = ("limb", "start", "end", *_STRIDE_PARTS)
    f = node.fields(names, required=names)
    parts = {name: None if f[name].value is None else _read_measured(f[name]) for name in _STRIDE_PARTS}
    length = parts.pop("length")
    if length is None:
        f["length"].refuse("a measured length")
    return Stride(
        limb=f["limb"].one_of(LIMBS),
        start=_read_index(f["start"], prints),
        end=_read_index(f["end"], prints),
        length=length,
        **parts,
    )


def _read_overreach(node: Node, prints: int) -> Overreach:
    names = ("side", "fore_print", "hind_print")
    f = node.fields((*names, *_MEASURED), required=names)
    rest = {key: value for key, value in node.value.items() if key not in names}
    return Overreach(
        side=f["side"].one_of(SIDES),
        fore_print=_read_index(f["fore_print"], prints),
        hind_print=_read_index(f["hind_print"], prints),
        value=_read_measured(Node(value=rest, place=node.place, error=node.error)),
    )


def _read_index(node: Node, count: int) -> int:
    index = node.whole()
    if index >= count:
        node.refuse(f"the number of a print, below {count}")
    return index


def _write_track(track: HoofTrack) -> Document:
    return {
        "limb": track.limb,
        "source": track.source,
        "first_frame": int(track.frames[0]),
        "t_s": track.t.tolist(),
        "xy_px": track.xy_px.tolist(),
        "state": ["seen" if seen else "bridged" for seen in track.seen],
        "cov_px2": track.cov_px2.reshape(-1, 4).tolist(),
        "offset_px2": track.offset_px2.tolist(),
        "limb_px2": track.limb_px2,
    }


def _read_track(node: Node) -> HoofTrack:
    names = ("limb", "source", "first_frame", "t_s", "xy_px", "state", "cov_px2", "offset_px2", "limb_px2")
    f = node.fields(names, required=names)
    first, count = f["first_frame"].whole(), len(f["t_s"].items())
    state = f["state"].each(lambda one: one.one_of(("seen", "bridged")))
    if len(state) != count:
        f["state"].refuse(f"{count} entries, one for each time")
    return HoofTrack(
        limb=f["limb"].one_of(LIMBS),
        source=f["source"].one_of(("marked", "found")),
        frames=np.arange(first, first + count),
        t=_read_array(f["t_s"], (count,)),
        xy_px=_read_array(f["xy_px"], (count, 2)),
        cov_px2=_read_array(f["cov_px2"], (count, 4)).reshape(-1, 2, 2),
        seen=np.array([one == "seen" for one in state], dtype=bool),
        offset_px2=_read_array(f["offset_px2"], (count,)),
        limb_px2=f["limb_px2"].number(),
    )


_MEASURED = ("value", "unit", "random", "common", "spread", "n")


def _write_quantity(one: Quantity) -> Document:
    if isinstance(one, Unmeasured):
        return {"reason": one.reason}
    return {name: getattr(one, name) for name in _MEASURED}


def _read_quantity(node: Node) -> Quantity:
    if isinstance(node.value, dict) and "reason" in node.value:
        return Unmeasured(reason=node.fields(("reason",))["reason"].text(most=5000))
    return _read_measured(node)


def _read_measured(node: Node) -> Measured:
    f = node.fields(_MEASURED, required=("value", "unit", "random", "common"))
    return Measured(
        value=f["value"].number(),
        unit=f["unit"].one_of(_UNITS),
        random=f["random"].number(above=-1e-300),
        common=f["common"].number(above=-1e-300),
        spread=_read_number_or_none(f["spread"], above=-1e-300) if "spread" in f else None,
        n=f["n"].whole(least=1) if "n" in f else 1,
    )


def _write_verdict(verdict: Verdict) -> Document:
    return {
        "stride_class": verdict.stride_class,
        "probability": dict(verdict.probability),
        "sides": {
            side: {"stride_class": one.stride_class, "probability": dict(one.probability)}
            for side, one in verdict.sides.items()
        },
        "reasons": list(verdict.reasons),
        "cautions": list(verdict.cautions),
        "linked_build": verdict.linked_build,
        "other_causes": list(verdict.other_causes),
        "to_settle": verdict.to_settle,
    }


def _read_verdict(node: Node) -> Verdict:
    names = (
        "stride_class",
        "probability",
        "sides",
        "reasons",
        "cautions",
        "linked_build",
        "other_causes",
        "to_settle",
    )
    f = node.fields(names, required=names)
    sides = f["sides"].fields(SIDES)
    return Verdict(
        stride_class=f["stride_class"].one_of(_CLASSES),
        probability=_read_probability(f["probability"]),
        sides={side: _read_side(sides[side]) for side in SIDES if side in sides},
        reasons=f["reasons"].each(_read_sentence),
        cautions=f["cautions"].each(_read_sentence),
        linked_build=None if f["linked_build"].value is None else _read_sentence(f["linked_build"]),
        other_causes=f["other_causes"].each(_read_sentence),
        to_settle=None if f["to_settle"].value is None else _read_sentence(f["to_settle"]),
    )


def _read_side(node: Node) -> SideVerdict:
    f = node.fields(("stride_class", "probability"), required=("stride_class", "probability"))
    return SideVerdict(
        stride_class=f["stride_class"].one_of(_CLASSES), probability=_read_probability(f["probability"])
    )


def _read_probability(node: Node) -> Mapping[Any, float]:
    return {name: one.number(above=-1e-9, below=1 + 1e-9) for name, one in node.fields(_CLASSES[:3]).items()}


def _read_settings(node: Node) -> Settings:
    f = node.fields([field.name for field in fields(Settings)])
    try:
        return Settings(**{name: one.number() for name, one in f.items()})
    except ValueError as error:
        node.refuse(f"usable settings ({error})")


def _read_sentence(node: Node) -> str:
    return node.text(most=5000)


def _read_flag(node: Node) -> bool:
    return node.one_of((True, False))


def _read_number_or_none(node: Node, above: float = -np.inf) -> float | None:
    return None if node.value is None else node.number(above=above)


def _read_mapping(node: Node, read: Any) -> dict[str, Any]:
    if not isinstance(node.value, dict):
        node.refuse("an object")
    return {name: read(one) for name, one in node.fields(list(node.value)).items()}


def _read_array(node: Node, shape: tuple[int | None, ...]) -> Array:
    """Numbers in nested lists of the given shape; None for any length."""

    def read(one: Node, depth: int) -> Any:
        if depth == len(shape):
            return one.number()
        items = one.items()
        wanted = shape[depth]
        if wanted is not None and len(items) != wanted:
            one.refuse(f"{wanted} entries")
        return [read(item, depth + 1) for item in items]

    values = read(node, 0)
    if len(shape) == 2 and len({len(row) for row in values}) > 1:
        node.refuse("rows of the same length")
    return np.array(values, dtype=float).reshape([-1 if size is None else size for size in shape])
