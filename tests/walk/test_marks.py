from __future__ import annotations

from dataclasses import replace

import pytest

from stride.errors import MarksError
from stride.walk.marks import (
    FloorPoint,
    HoofMark,
    KnownLength,
    Landmark,
    Marks,
    check_frames,
    check_places,
)

SIZE_PX = (320, 180)
MARKS = Marks(
    ground=(FloorPoint(frame=3, xy_px=(10.0, 150.0), xy_m=(0.0, 0.0)),),
    lengths=(KnownLength(frame=4, from_px=(10.0, 150.0), to_px=(200.0, 151.0), length=2.0),),
    hooves=(HoofMark(limb="left_hind", frame=5, xy_px=(100.0, 140.0)),),
    landmarks=(Landmark(name="hock", limb="left_hind", frame=6, xy_px=(80.0, 100.0)),),
)


def test_marks_in_the_picture_and_in_the_clip_pass():
    check_places(MARKS, SIZE_PX)
    check_frames(MARKS, 7)
    check_places(Marks(), SIZE_PX)
    check_frames(Marks(), 0)


@pytest.mark.parametrize(
    ("part", "what"),
    [
        ({"ground": (replace(MARKS.ground[0], xy_px=(10.0, 181.0)),)}, "Floor point 1 in frame 3"),
        (
            {"lengths": (replace(MARKS.lengths[0], from_px=(-2.0, 5.0)),)},
            "An end of known length 1 in frame 4",
        ),
        ({"lengths": (replace(MARKS.lengths[0], to_px=(5.0, -2.0)),)}, "An end of known length 1 in frame 4"),
        ({"hooves": (replace(MARKS.hooves[0], xy_px=(900.0, 90.0)),)}, "The left hind in frame 5"),
        ({"landmarks": (replace(MARKS.landmarks[0], xy_px=(320.0, 90.0)),)}, "The hock in frame 6"),
    ],
)
def test_a_mark_off_the_picture_is_named(part, what):
    with pytest.raises(MarksError, match=rf"{what} lies at .*off the picture of 320 × 180 px"):
        check_places(replace(MARKS, **part), SIZE_PX)


@pytest.mark.parametrize(
    ("xy_px", "inside"),
    [((-0.5, -0.5), True), ((319.5, 179.5), True), ((-0.6, 0.0), False), ((0.0, 179.6), False)],
)
def test_a_pixel_reaches_half_a_pixel_about_its_centre(xy_px, inside):
    marks = Marks(hooves=(HoofMark(limb="left_fore", frame=0, xy_px=xy_px),))
    if inside:
        check_places(marks, SIZE_PX)
    else:
        with pytest.raises(MarksError):
            check_places(marks, SIZE_PX)


@pytest.mark.parametrize(
    ("frames", "what"),
    [
        (6, "The hock is marked in frame 6, but the clip can be read up to frame 5"),
        (3, "The hock"),
        (0, "The"),
    ],
)
def test_a_mark_after_the_end_is_named(frames, what):
    with pytest.raises(MarksError, match=what):
        check_frames(MARKS, frames)


def test_the_latest_mark_is_the_one_that_is_named():
    with pytest.raises(MarksError, match="An end of known length 1 is marked in frame 4"):
        check_frames(replace(MARKS, hooves=(), landmarks=()), 4)
