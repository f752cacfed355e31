from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stride.errors import MarksError
from stride.simulate.gait import draw_plan, walk_animal
from stride.walk.direction import estimate_shape, find_direction, side_towards_camera
from stride.walk.limbs import pair_of
from stride.walk.marks import FloorPoint, HoofMark, KnownLength, Marks

from ..hoof_paths import frame_times, see_from

SIZE_PX = (1280, 720)


def mark(*hooves):
    return Marks(
        hooves=tuple(HoofMark(limb=limb, frame=frame, xy_px=(float(x), 600.0)) for limb, frame, x in hooves)
    )


def mark_stances(seed, direction, *, pan_px=0.0):
    """Every stance of a simulated walk once, at its middle; a camera that turns shifts the picture each frame."""
    rng = np.random.default_rng([61, seed])
    walk = walk_animal(draw_plan(rng), rng, prints_per_limb=3, direction=direction)
    t = frame_times(walk)
    hooves = []
    for one in walk.prints:
        middle = 0.5 * (max(one.touch_down, 0.0) + min(one.lift_off, t[-1]))
        frame = int(np.abs(t - middle).argmin())
        x, y = see_from().to_px(np.array([[*one.xy, 0.0]]))[0]
        hooves.append(HoofMark(limb=one.limb, frame=frame, xy_px=(float(x) - pan_px * frame, float(y))))
    return Marks(hooves=tuple(hooves))


@pytest.mark.parametrize("direction", ["left_to_right", "right_to_left"])
@pytest.mark.parametrize("seed", range(6))
def test_the_way_is_found_from_marked_stances(seed, direction):
    assert find_direction(mark_stances(seed, direction)) == direction


@pytest.mark.parametrize("direction", ["left_to_right", "right_to_left"])
def test_a_camera_that_turns_with_the_animal_does_not_turn_the_way_round(direction):
    """The picture may even run the other way; that fore feet are ahead of hind feet stays."""
    marks = mark_stances(0, direction)
    x = np.array([one.xy_px[0] for one in marks.hooves])
    frame = np.array([one.frame for one in marks.hooves])
    speed = float(np.polyfit(frame, x, 1)[0])
    assert find_direction(mark_stances(0, direction, pan_px=1.2 * speed)) == direction


def test_two_hooves_of_one_frame_are_enough():
    assert find_direction(mark(("left_fore", 8, 700), ("left_hind", 8, 500))) == "left_to_right"
    assert find_direction(mark(("left_fore", 8, 500), ("right_hind", 8, 700))) == "right_to_left"


def test_one_foot_in_two_stances_is_enough():
    assert find_direction(mark(("left_fore", 8, 300), ("left_fore", 80, 560))) == "left_to_right"
    assert find_direction(mark(("right_hind", 8, 560), ("right_hind", 80, 300))) == "right_to_left"


def test_what_the_user_said_goes_first():
    told = replace(mark(("left_fore", 8, 700), ("left_hind", 8, 500)), direction="right_to_left")
    assert find_direction(told) == "right_to_left"


@pytest.mark.parametrize(
    "marks",
    [
        pytest.param(mark(("left_fore", 8, 700)), id="one hoof"),
        pytest.param(mark(("left_fore", 8, 700), ("right_fore", 8, 500)), id="fore feet of one frame"),
        pytest.param(mark(("left_fore", 8, 700), ("left_hind", 60, 900)), id="two feet of two frames"),
        pytest.param(mark(("left_fore", 8, 300), ("left_fore", 20, 302)), id="one stance twice"),
    ],
)
def test_marks_that_cannot_tell_are_refused_in_words(marks):
    with pytest.raises(MarksError, match=f"The {len(marks.hooves)} marked hooves do not tell") as caught:
        find_direction(marks)
    assert '"direction"' in caught.value.remedy


def test_the_camera_sees_the_side_it_is_on():
    assert (side_towards_camera("left_to_right"), side_towards_camera("right_to_left")) == ("right", "left")


def test_the_toe_points_where_the_animal_goes():
    assert estimate_shape(Marks(), "left_to_right", SIZE_PX).facing == 1
    assert estimate_shape(Marks(), "right_to_left", SIZE_PX).facing == -1


def test_hoof_length_comes_from_the_scale_where_there_is_one():
    """12 cm, whatever gives the scale: a known length, or two floor points of one row."""
    known = KnownLength(frame=0, from_px=(100.0, 600.0), to_px=(500.0, 600.0), length=2.0)
    points = tuple(
        FloorPoint(frame=0, xy_px=(100.0 + 200.0 * x, 600.0 - 80 * y), xy_m=(x, y))
        for x in (0.0, 2.0)
        for y in (0.0, 0.5)
    )
    for marks in (Marks(lengths=(known,)), Marks(ground=points), Marks(lengths=(known,), ground=points)):
        assert estimate_shape(marks, "left_to_right", SIZE_PX).length_px == pytest.approx(24.0, rel=0.02)


def test_hoof_length_comes_from_the_strides_where_there_is_no_scale():
    marks = mark_stances(1, "left_to_right")
    own = [one.xy_px[0] for one in marks.hooves if one.limb == "right_fore"]
    expected = np.median(np.abs(np.diff(own))) / 11.5
    assert estimate_shape(marks, "left_to_right", SIZE_PX).length_px == pytest.approx(expected, rel=0.05)
    assert {pair_of(one.limb) for one in marks.hooves} == {"fore", "hind"}


@pytest.mark.parametrize("size_px", [(320, 180), (1280, 720), (720, 1280), (3840, 2160)])
def test_without_either_a_usual_length_is_taken_and_never_a_wild_one(size_px):
    usual = estimate_shape(Marks(), "left_to_right", size_px).length_px
    assert usual == max(8.0, 0.02 * max(size_px))
    close = KnownLength(frame=0, from_px=(0.0, 0.0), to_px=(300.0, 0.0), length=0.05)
    assert estimate_shape(Marks(lengths=(close,)), "left_to_right", size_px).length_px == 0.06 * max(size_px)
