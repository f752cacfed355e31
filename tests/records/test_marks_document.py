from __future__ import annotations

import json
import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stride.errors import MarksError
from stride.records.marks_document import read_marks, write_marks
from stride.walk.limbs import LIMBS
from stride.walk.marks import Animal, FloorPoint, HoofMark, KnownLength, Landmark, Marks

HEAD = {"format": "stride-marks", "version": 1}


def numbers(low: float = -1e6, high: float = 1e6):
    return st.floats(low, high, allow_nan=False)


FRAMES = st.integers(0, 10**6)
POINTS = st.tuples(numbers(), numbers())
TEXTS = st.text(min_size=1, max_size=80)
MARKS = st.builds(
    Marks,
    clip_name=st.none() | TEXTS,
    clip_sha256=st.none() | st.text("0123456789abcdef", min_size=64, max_size=64),
    direction=st.sampled_from([None, "left_to_right", "right_to_left"]),
    ground=st.lists(st.builds(FloorPoint, frame=FRAMES, xy_px=POINTS, xy_m=POINTS), max_size=5).map(tuple),
    lengths=st.lists(
        st.builds(KnownLength, frame=FRAMES, from_px=POINTS, to_px=POINTS, length=numbers(0.001, 999)),
        max_size=3,
    ).map(tuple),
    hooves=st.lists(
        st.builds(HoofMark, limb=st.sampled_from(LIMBS), frame=FRAMES, xy_px=POINTS),
        max_size=8,
        unique_by=lambda mark: (mark.limb, mark.frame),
    ).map(tuple),
    landmarks=st.lists(
        st.builds(Landmark, name=TEXTS, limb=st.none() | st.sampled_from(LIMBS), frame=FRAMES, xy_px=POINTS),
        max_size=3,
    ).map(tuple),
    animal=st.builds(Animal, tag=st.none() | TEXTS, hip_height=st.none() | numbers(0.31, 2.49)),
)

WORDS = [
    "format", "version", "clip", "name", "sha256", "direction", "ground", "lengths", "hooves", "landmarks", "animal",
    "tag", "hip_height_m", "frame", "xy_px", "xy_m", "from_px", "to_px", "length_m", "limb", *LIMBS,
]  # fmt: skip
LEAVES = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.sampled_from(WORDS)
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(WORDS), inner, max_size=5),
    max_leaves=20,
)


@given(MARKS)
def test_what_is_written_reads_back_equal(marks):
    assert read_marks(json.dumps(write_marks(marks), allow_nan=False)) == marks


def test_the_layout_is_the_documented_one():
    marks = read_marks(
        """
        {"format": "stride-marks", "version": 1,
         "clip": {"name": "aisle.mp4"},
         "direction": "right_to_left",
         "ground":    [{"frame": 0, "xy_px": [412.0, 655.5], "xy_m": [-2.0, -0.6]}],
         "lengths":   [{"frame": 0, "from_px": [400.0, 650.0], "to_px": [700.0, 652.0], "length_m": 2.0}],
         "hooves":    [{"limb": "left_fore", "frame": 12, "xy_px": [512.3, 640.1]}],
         "landmarks": [{"name": "hock", "limb": "left_hind", "frame": 40, "xy_px": [301.0, 420.0]}],
         "animal":    {"tag": "214", "hip_height_m": 1.32}}
        """
    )
    assert marks == Marks(
        clip_name="aisle.mp4",
        direction="right_to_left",
        ground=(FloorPoint(frame=0, xy_px=(412.0, 655.5), xy_m=(-2.0, -0.6)),),
        lengths=(KnownLength(frame=0, from_px=(400.0, 650.0), to_px=(700.0, 652.0), length=2.0),),
        hooves=(HoofMark(limb="left_fore", frame=12, xy_px=(512.3, 640.1)),),
        landmarks=(Landmark(name="hock", limb="left_hind", frame=40, xy_px=(301.0, 420.0)),),
        animal=Animal(tag="214", hip_height=1.32),
    )


def read_or_refuse(text: str | bytes) -> Marks | None:
    """Every outcome is a value or a MarksError with two sentences."""
    try:
        marks = read_marks(text)
    except MarksError as error:
        assert error.problem.endswith(".")
        assert error.remedy.endswith(".")
        return None
    assert isinstance(marks, Marks)
    return marks


@given(st.dictionaries(st.sampled_from(WORDS), VALUES, max_size=6))
@settings(max_examples=300)
def test_any_object_is_read_or_refused(value):
    read_or_refuse(json.dumps({**value, **HEAD}))


@given(VALUES)
def test_any_json_is_read_or_refused(value):
    read_or_refuse(json.dumps(value))


@given(st.binary(max_size=60) | st.text(string.printable, max_size=60).map(str.encode))
def test_any_bytes_are_read_or_refused(data):
    read_or_refuse(data)


@given(MARKS, st.data())
def test_a_document_with_one_value_exchanged_is_read_or_refused(marks, data):
    document = write_marks(marks)
    places = list(find_places(document))
    parent, key = data.draw(st.sampled_from(places))
    parent[key] = data.draw(VALUES)
    read = read_or_refuse(json.dumps(document))
    assert read is None or read_marks(json.dumps(write_marks(read))) == read


def find_places(value):
    """Every list and object of a document with each of its keys."""
    if isinstance(value, (dict, list)):
        for key in value if isinstance(value, dict) else range(len(value)):
            yield value, key
            yield from find_places(value[key])


@pytest.mark.parametrize(
    ("value", "place"),
    [
        ({"hooves": [{"limb": "left_fore", "frame": 1.5, "xy_px": [1, 2]}]}, "hooves[0].frame"),
        ({"hooves": [{"limb": "left_fore", "frame": True, "xy_px": [1, 2]}]}, "hooves[0].frame"),
        ({"hooves": [{"limb": "left_fore", "frame": 1, "xy_px": [1, "2"]}]}, "hooves[0].xy_px[1]"),
        ({"hooves": [{"limb": "left_fore", "frame": 1}]}, "“xy_px”"),
        ({"hooves": {"limb": "left_fore"}}, "hooves; needed a list"),
        (
            {"lengths": [{"frame": 0, "from_px": [0, 0], "to_px": [9, 9], "length_m": 0}]},
            "lengths[0].length_m",
        ),
        ({"animal": {"tag": 214}}, "animal.tag"),
        ({"animal": {"hip_height_m": 132}}, "a number above 0.3 and below 2.5"),
        ({"clip": {"nam": "a.mp4"}}, "“nam” is not known here"),
        ({"direction": "left"}, "left_to_right"),
    ],
)
def test_a_complaint_names_the_place(value, place):
    with pytest.raises(MarksError) as caught:
        read_marks(json.dumps({**HEAD, **value}))
    assert place in caught.value.problem


def test_a_file_too_large_to_be_marks_is_refused():
    with pytest.raises(MarksError, match="at most 64 MB"):
        read_marks(b" " * 64_000_001)
