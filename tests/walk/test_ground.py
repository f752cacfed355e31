from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stride.errors import MarksError
from stride.numeric.agreement import measure_coverage
from stride.numeric.homography import apply_homography
from stride.simulate.camera import draw_camera
from stride.simulate.gait import draw_plan, walk_animal
from stride.walk.camera import CameraMotion, still_camera
from stride.walk.ground import fit_ground
from stride.walk.marks import FloorPoint, HoofMark, KnownLength, Marks
from stride.walk.settings import Settings

from ..hoof_paths import SIZE_PX, see_from

SETTINGS = Settings()
STILL = still_camera(3)
SIX = np.array([[-2.0, -0.6], [0, -0.6], [2, -0.6], [2, 0.6], [0, 0.6], [-2, 0.6]])
FOUR = SIX[[0, 2, 3, 5]]


def show(view, xy):
    """Floor points (m) in the picture (px)."""
    return view.to_px(np.column_stack([xy, np.zeros(len(xy))]))


def mark_points(xy_px, xy):
    return Marks(
        ground=tuple(
            FloorPoint(frame=0, xy_px=tuple(p), xy_m=tuple(m)) for p, m in zip(xy_px, xy, strict=True)
        )
    )


def mark_length(view, start, end, length=None, frame=0, click=0.0):
    ends = show(view, np.array([start, end], dtype=float)) + click
    known = float(np.hypot(*np.subtract(end, start))) if length is None else length
    return KnownLength(frame=frame, from_px=tuple(ends[0]), to_px=tuple(ends[1]), length=known)


def fit(marks, camera=STILL):
    return fit_ground(marks, camera, SIZE_PX, SETTINGS)


def draw_view(rng):
    """Where somebody would put a phone: higher or lower, nearer or farther, not quite square to the walk."""
    return draw_camera(rng, "tripod", walk_animal(draw_plan(rng), rng, prints_per_limb=2), SIZE_PX).view_at(
        0.0
    )


def length_of(ground, view, start, end):
    """A length along the walk as the ground gives it, with its standard error."""
    ends = show(view, np.array([start, end], dtype=float))
    slope = np.diff(ground.jacobian_by_parameters(ends)[:, 0], axis=0)[0]
    return float(np.diff(ground.to_floor(ends)[:, 0])[0]), float(np.sqrt(slope @ ground.covariance @ slope))


def test_exact_floor_points_give_the_floor():
    view = see_from(yaw=0.08, roll=0.02)
    ground = fit(mark_points(show(view, SIX), SIX))
    at = np.array([[-1.7, 0.3], [0.4, -0.5], [2.6, 0.9]])
    assert ground.to_floor(show(view, at)) == pytest.approx(at, abs=1e-6)
    assert (ground.kind, ground.unit) == ("plane", "m")
    assert 0.001 < ground.scale_error < 0.01


@pytest.mark.parametrize("points", [FOUR, SIX], ids=["four points", "six points"])
def test_95_in_100_intervals_of_the_plane_hold_the_truth(points):
    """Clicks of 1 px and a tape good to 5 mm, as the settings say, over many phones."""
    rng = np.random.default_rng(51)
    at = np.array([[-1.3, -0.15], [1.4, 0.15]])
    distances, strides = [], []
    for _ in range(150):
        view = draw_view(rng)
        clicks = show(view, points) + SETTINGS.floor_point_error_px * rng.standard_normal(points.shape)
        taped = points + SETTINGS.floor_point_error * rng.standard_normal(points.shape)
        ground = fit(mark_points(clicks, taped))
        spots = show(view, at)
        slope = ground.jacobian_by_parameters(spots).reshape(4, -1)
        miss = (ground.to_floor(spots) - at).reshape(4)
        distances.append(miss @ np.linalg.solve(slope @ ground.covariance @ slope.T, miss))
        length, _ = length_of(ground, view, (-0.7, 0.0), (0.7, 0.0))
        strides.append((length / 1.4, 1.0, ground.scale_error))
    held = measure_coverage(*np.transpose(strides))
    assert held.interval[0] < 0.95 < held.interval[1]
    # squared distances of two points average 4, somewhat less where contradiction inflates the doubt
    assert 2.6 < np.mean(distances) < 4.6


def test_points_that_disagree_make_the_doubt_larger():
    view = see_from()
    good = fit(mark_points(show(view, SIX), SIX))
    bad = fit(mark_points(show(view, SIX), SIX + np.where(np.arange(6) == 3, 0.15, 0.0)[:, None]))
    assert bad.scale_error > 1.5 * good.scale_error


def test_points_may_be_marked_in_any_frame_of_a_camera_that_moves():
    """The held picture is that of the first frame; in the second everything lies 40 px further left."""
    view = see_from()
    shift = np.array([[1.0, 0, 40], [0, 1, 0], [0, 0, 1]])
    camera = CameraMotion(
        to_first=np.stack([np.eye(3), shift]),
        residual_px=np.zeros(2),
        held=np.ones(2, dtype=bool),
        moving=True,
    )
    marks = mark_points(show(view, SIX), SIX)
    later = tuple(
        replace(one, frame=1, xy_px=(one.xy_px[0] - 40, one.xy_px[1])) if k % 2 else one
        for k, one in enumerate(marks.ground)
    )
    assert fit(replace(marks, ground=later), camera).matrix == pytest.approx(fit(marks).matrix, rel=1e-6)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        pytest.param(SIX[:3], "3 floor points are marked", id="three points"),
        pytest.param(SIX[[0, 1, 2, 0]] + [[0, 0], [0, 0], [0, 0], [1, 0]], "one line", id="one row"),
        pytest.param(SIX[[0, 1, 2, 5]], "one line", id="three of four in a row"),
        pytest.param(np.tile(SIX[0], (4, 1)), "coincide", id="one point four times"),
    ],
)
def test_points_that_span_no_plane_are_refused_in_words(points, words):
    with pytest.raises(MarksError, match=words) as caught:
        fit(mark_points(show(see_from(), points), points))
    assert caught.value.problem.endswith(".") and caught.value.remedy.endswith(".")


def test_points_that_contradict_one_another_are_refused_in_words():
    wrong = SIX.copy()
    wrong[2] += [0.6, 0.3]
    with pytest.raises(MarksError, match="contradict one another") as caught:
        fit(mark_points(show(see_from(), SIX), wrong))
    assert "x along the walk" in caught.value.remedy


def test_the_map_is_trusted_between_the_points_and_a_little_beyond():
    view = see_from()
    ground = fit(mark_points(show(view, SIX), SIX))
    inside = np.array([[0.0, 0.0], [1.9, -0.55], [-1.9, 0.55], [2.3, 0.0]])
    outside = np.array([[3.2, 0.0], [0.0, 2.0], [-2.0, -1.2]])
    assert ground.trusts(show(view, inside)).all()
    assert not ground.trusts(show(view, outside)).any()
    mirrored = replace(ground, trusted_px=ground.trusted_px[::-1])
    assert np.array_equal(mirrored.trusts(show(view, inside)), ground.trusts(show(view, inside)))
    assert fit(Marks()).trusts(show(view, outside)).all()


@pytest.mark.parametrize(
    "marks",
    [
        pytest.param(mark_points(show(see_from(yaw=0.05), SIX), SIX), id="plane"),
        pytest.param(Marks(lengths=(mark_length(see_from(yaw=0.05), (-1, 0), (1, 0)),)), id="length"),
        pytest.param(Marks(), id="none"),
    ],
)
def test_there_and_back_and_the_slopes_match_differences(marks):
    ground = fit(marks)
    spots = np.array([[140.0, 655.0], [700.0, 600.0], [1200.0, 580.0]])
    assert ground.to_picture(ground.to_floor(spots)) == pytest.approx(spots, abs=1e-6)
    moved = [(ground.to_floor(spots + d) - ground.to_floor(spots - d)) / 2e-3 for d in 1e-3 * np.eye(2)]
    assert ground.jacobian_by_point(spots) == pytest.approx(np.stack(moved, axis=-1), rel=1e-4, abs=1e-8)
    for k, parameter in enumerate(ground.parameters):
        step = 1e-6 / np.abs(parameter @ np.array([200.0, 600.0, 1.0])).max()
        up, down = (replace(ground, matrix=ground.matrix + s * parameter) for s in (step, -step))
        slope = (up.to_floor(spots) - down.to_floor(spots)) / (2 * step)
        assert ground.jacobian_by_parameters(spots)[:, :, k] == pytest.approx(slope, rel=1e-3, abs=1e-6)
    assert ground.covariance == pytest.approx(ground.covariance.T, rel=1e-6)
    assert np.linalg.eigvalsh(ground.covariance).min() >= -1e-12


def test_a_length_gives_the_scale_along_its_own_row():
    view = see_from()
    ground = fit(Marks(lengths=(mark_length(view, (-1.0, 0.1), (1.0, 0.1)),)))
    assert (ground.kind, ground.unit) == ("length", "m")
    assert length_of(ground, view, (-2.0, 0.1), (-0.6, 0.1))[0] == pytest.approx(1.4, rel=1e-6)
    # one pixel at either end of 402 px, and 5 mm of tape on 2 m
    assert ground.scale_error == pytest.approx(np.hypot(np.sqrt(2) / 401.6, 0.005 / 2), rel=0.01)


def test_a_length_does_not_care_which_end_is_named_first():
    view = see_from(yaw=0.06, roll=0.01)
    forward = fit(Marks(lengths=(mark_length(view, (-1.0, 0.0), (1.0, 0.0)),)))
    back = fit(Marks(lengths=(mark_length(view, (1.0, 0.0), (-1.0, 0.0)),)))
    assert forward.matrix == pytest.approx(back.matrix, rel=1e-9)


def test_two_lengths_at_two_distances_give_the_tilt_as_well():
    """A camera much lower than the assumed one: one length leaves the far row wrong, a second sets it right."""
    view = see_from(height=0.6)
    near, far = mark_length(view, (-1, -0.8), (1, -0.8)), mark_length(view, (-1, 0.8), (1, 0.8))
    one, both = fit(Marks(lengths=(near,))), fit(Marks(lengths=(near, far)))
    for ground, allowed in ((one, 0.25), (both, 0.02)):
        length, error = length_of(ground, view, (-0.7, 0.5), (0.7, 0.5))
        assert abs(length - 1.4) < allowed
        assert abs(length - 1.4) < 2.5 * error
    assert abs(length_of(one, view, (-0.7, 0.5), (0.7, 0.5))[0] - 1.4) > 0.05


@pytest.mark.parametrize("lengths", [1, 2])
def test_intervals_from_known_lengths_hold_the_truth(lengths):
    """Of a stride elsewhere on the floor, over many phones. What is assumed of a phone is wide on purpose.

    Two lengths lie one behind the other, as a board and the seam of a floor do.
    """
    rng = np.random.default_rng(52)
    rows = []
    for _ in range(200):
        view = draw_view(rng)
        known = []
        x = rng.uniform(-1.5, -0.5)
        for _ in range(lengths):
            y = rng.uniform(-0.5, 0.5)
            taped = 2.0 + SETTINGS.floor_point_error * rng.standard_normal()
            click = SETTINGS.floor_point_error_px * rng.standard_normal((2, 2))
            known.append(mark_length(view, (x, y), (x + 2, y), length=taped, click=click))
        x, y = rng.uniform(-1.5, 0.0), rng.choice([-0.15, 0.15])
        length, error = length_of(fit(Marks(lengths=tuple(known))), view, (x, y), (x + 1.4, y))
        rows.append((length, 1.4, error))
    assert measure_coverage(*np.transpose(rows)).interval[1] > 0.95
    assert np.std([row[0] for row in rows]) < 0.04


def test_a_length_in_a_turned_camera_counts_where_the_walk_is_half_done():
    """Held picture and middle frame differ by a shift of 200 px; the floor is the one the middle frame sees."""
    view = see_from()
    shift = np.array([[1.0, 0, 200], [0, 1, 0], [0, 0, 1]])
    camera = CameraMotion(
        to_first=np.stack([np.eye(3), shift, shift]),
        residual_px=np.zeros(3),
        held=np.ones(3, dtype=bool),
        moving=True,
    )
    hooves = tuple(HoofMark(limb="left_fore", frame=frame, xy_px=(600.0, 620.0)) for frame in (0, 1, 2))
    length = mark_length(view, (-1.0, 0.0), (1.0, 0.0), frame=1)
    ground = fit(Marks(lengths=(length,), hooves=hooves), camera)
    plain = fit(Marks(lengths=(length,), hooves=hooves))
    spots = np.array([[300.0, 640.0], [900.0, 600.0]])
    assert ground.to_floor(apply_homography(shift, spots)) == pytest.approx(plain.to_floor(spots), abs=1e-9)


def test_too_short_a_length_is_refused_in_words():
    view = see_from()
    with pytest.raises(MarksError, match="only 8 px long") as caught:
        fit(Marks(lengths=(mark_length(view, (0.0, 0.0), (8 / 204.8, 0.0), length=0.04),)))
    assert "longer" in caught.value.remedy


def test_without_marks_there_is_no_scale_but_a_level_floor():
    view = see_from()
    ground = fit(Marks())
    assert (ground.kind, ground.unit, ground.scale_error) == ("none", "stride", 0.0)
    parts = [length_of(ground, view, (x, 0.0), (x + 1.4, 0.0))[0] for x in (-2.0, -0.7, 0.6)]
    assert parts == pytest.approx([parts[0]] * 3, rel=1e-9)
    assert parts[0] > 0
    # farther away is farther up
    assert (
        ground.to_floor(np.array([[640.0, 560.0]]))[0, 1] > ground.to_floor(np.array([[640.0, 640.0]]))[0, 1]
    )
