"""Marks ⇄ their JSON document (``"format": "stride-marks"``)."""

from __future__ import annotations

from typing import Any

from ..errors import MarksError
from ..walk.limbs import LIMBS
from ..walk.marks import Animal, FloorPoint, HoofMark, KnownLength, Landmark, Marks
from .document import Node, parse_document

FORMAT, VERSION = "stride-marks", 1
LONGEST_TAG = 80


def read_marks(text: str | bytes) -> Marks:
    """Marks from the text of their document.

    Raises
    ------
    MarksError
        Naming the place in the document and what was needed there.
    """
    document = parse_document(text, format_name=FORMAT, version=VERSION, error=MarksError)
    return marks_from_node(document, also=("format", "version"))


def marks_from_node(node: Node, also: tuple[str, ...] = ()) -> Marks:
    """Marks from the object that holds them, within this or another document."""
    known = (*also, "clip", "direction", "ground", "lengths", "hooves", "landmarks", "animal")
    fields = node.fields(known)
    clip = fields["clip"].fields(("name", "sha256")) if "clip" in fields else {}
    return Marks(
        clip_name=clip["name"].text() if "name" in clip else None,
        clip_sha256=clip["sha256"].text(most=64).lower() if "sha256" in clip else None,
        direction=fields["direction"].one_of(("left_to_right", "right_to_left"))
        if "direction" in fields
        else None,
        ground=fields["ground"].each(_read_floor_point) if "ground" in fields else (),
        lengths=fields["lengths"].each(_read_length) if "lengths" in fields else (),
        hooves=_read_hooves(fields["hooves"]) if "hooves" in fields else (),
        landmarks=fields["landmarks"].each(_read_landmark) if "landmarks" in fields else (),
        animal=_read_animal(fields["animal"]) if "animal" in fields else Animal(),
    )


def write_marks(marks: Marks) -> dict[str, Any]:
    """The document of marks, ready for ``json.dumps``; what is absent is left out."""
    document: dict[str, Any] = {"format": FORMAT, "version": VERSION}
    clip = {"name": marks.clip_name, "sha256": marks.clip_sha256}
    if any(clip.values()):
        document["clip"] = {key: value for key, value in clip.items() if value is not None}
    if marks.direction:
        document["direction"] = marks.direction
    if marks.ground:
        document["ground"] = [
            {"frame": p.frame, "xy_px": list(p.xy_px), "xy_m": list(p.xy_m)} for p in marks.ground
        ]
    if marks.lengths:
        document["lengths"] = [
            {"frame": k.frame, "from_px": list(k.from_px), "to_px": list(k.to_px), "length_m": k.length}
            for k in marks.lengths
        ]
    if marks.hooves:
        document["hooves"] = [
            {"limb": h.limb, "frame": h.frame, "xy_px": list(h.xy_px)} for h in marks.hooves
        ]
    if marks.landmarks:
        document["landmarks"] = [
            {"name": m.name, "frame": m.frame, "xy_px": list(m.xy_px)} | ({"limb": m.limb} if m.limb else {})
            for m in marks.landmarks
        ]
    animal = {"tag": marks.animal.tag, "hip_height_m": marks.animal.hip_height}
    if any(value is not None for value in animal.values()):
        document["animal"] = {key: value for key, value in animal.items() if value is not None}
    return document


def _read_floor_point(node: Node) -> FloorPoint:
    fields = node.fields(("frame", "xy_px", "xy_m"), required=("frame", "xy_px", "xy_m"))
    return FloorPoint(
        frame=fields["frame"].whole(), xy_px=fields["xy_px"].point(), xy_m=fields["xy_m"].point()
    )


def _read_length(node: Node) -> KnownLength:
    names = ("frame", "from_px", "to_px", "length_m")
    fields = node.fields(names, required=names)
    return KnownLength(
        frame=fields["frame"].whole(),
        from_px=fields["from_px"].point(),
        to_px=fields["to_px"].point(),
        length=fields["length_m"].number(above=0.0, below=1000.0),
    )


def _read_hooves(node: Node) -> tuple[HoofMark, ...]:
    hooves = node.each(_read_hoof)
    taken: dict[tuple[str, int], int] = {}
    for number, hoof in enumerate(hooves):
        key = (hoof.limb, hoof.frame)
        if key in taken:
            node.items()[number].refuse(
                f"one mark for each hoof and frame; hooves[{taken[key]}] already marks the {hoof.limb} in "
                f"frame {hoof.frame}"
            )
        taken[key] = number
    return hooves


def _read_hoof(node: Node) -> HoofMark:
    names = ("limb", "frame", "xy_px")
    fields = node.fields(names, required=names)
    return HoofMark(
        limb=fields["limb"].one_of(LIMBS), frame=fields["frame"].whole(), xy_px=fields["xy_px"].point()
    )


def _read_landmark(node: Node) -> Landmark:
    fields = node.fields(("name", "limb", "frame", "xy_px"), required=("name", "frame", "xy_px"))
    return Landmark(
        name=fields["name"].text(most=80),
        limb=fields["limb"].one_of(LIMBS) if "limb" in fields else None,
        frame=fields["frame"].whole(),
        xy_px=fields["xy_px"].point(),
    )


def _read_animal(node: Node) -> Animal:
    fields = node.fields(("tag", "hip_height_m"))
    return Animal(
        tag=fields["tag"].text(most=LONGEST_TAG) if "tag" in fields else None,
        hip_height=fields["hip_height_m"].number(above=0.3, below=2.5) if "hip_height_m" in fields else None,
    )
