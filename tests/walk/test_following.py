from __future__ import annotations

import numpy as np
import pytest

from stride.walk.following import (
    Corridor,
    HoofShape,
    Picture,
    find_clear,
    follow_swinging,
    watch_standing,
)

from ..painted_hooves import FRAME_RATE, SHAPE, Hoof, paint_scene, stands

TOE = (150.0, 148.0)
ALONE = Hoof(limb="left_fore", stances=(stands(*TOE, -1.0, 0.7), stands(300, 148, 1.1, 9.0)))
LANDING = Hoof(limb="left_fore", stances=(stands(10, 148, -1.0, 0.1), stands(*TOE, 0.5, 9.0)))


def passing(begin, end):
    """A near hoof that swings past, lower in the picture, and is in front at the height of its swing."""
    return Hoof(limb="right_fore", stances=(stands(100, 166, -1.0, begin), stands(200, 166, end, 9.0)))


def film(scene, frames):
    return [Picture(index=k, t=k / FRAME_RATE, luma=scene.paint(k)) for k in frames]


def misses(standing, place=TOE):
    return np.hypot(*(standing.xy_px - place).T)


@pytest.mark.parametrize("facing", [1, -1])
@pytest.mark.parametrize("length_px", [8.0, 20.0, 37.3])
def test_a_hoof_counts_behind_and_above_its_tip(length_px, facing):
    weight, (column, row) = HoofShape(length_px=length_px, facing=facing).weight()
    assert weight.dtype == np.float32
    assert weight.min() >= 0 and weight.max() <= 1
    assert weight[int(row) - 2, int(column - facing * length_px / 2)] > 0.99
    assert weight[:, -1 if facing > 0 else 0].max() < 0.1
    behind, ahead = np.flatnonzero(weight[int(row)])[[0, -1]]
    assert (column - behind > ahead - column) == (facing > 0)


def test_the_two_ways_are_mirror_images():
    right, (x, y) = HoofShape(length_px=20.0, facing=1).weight()
    left, (mirrored_x, mirrored_y) = HoofShape(length_px=20.0, facing=-1).weight()
    assert np.array_equal(left, right[:, ::-1])
    assert (mirrored_x, mirrored_y) == (right.shape[1] - 1 - x, y)


def test_a_floor_point_is_carried_from_picture_to_picture():
    shift = np.array([[1.0, 0, 12], [0, 1, -3], [0, 0, 1]])
    luma = np.zeros((4, 4), dtype=np.uint8)
    still, moved = (Picture(index=k, t=0.0, luma=luma, to_first=m) for k, m in enumerate((np.eye(3), shift)))
    point = np.array([5.0, 6.0])
    assert moved.carry(point, still) == pytest.approx([17.0, 3.0])
    assert still.carry(moved.carry(point, still), moved) == pytest.approx(point)
    unknown = Picture(index=2, t=0.0, luma=luma)
    assert unknown.carry(point, still) is point


@pytest.mark.parametrize("seed", range(4))
def test_a_standing_hoof_is_watched_until_it_leaves(seed):
    """It leaves at 0.70 s, frame 42; the heel rises for a sixth of a second before."""
    scene = paint_scene([ALONE], seed)
    standing = watch_standing(film(scene, range(5, 75)), np.array(TOE), SHAPE)
    last = 5 + len(standing.xy_px) - 1
    assert 38 <= last <= 48
    frames = np.arange(5, last + 1)
    assert misses(standing)[frames <= 31].max() < 0.1
    assert misses(standing)[frames <= 40].max() < 0.08 * SHAPE.length_px
    assert standing.seen.mean() > 0.95 and standing.seen[-1]
    assert -0.05 < standing.angle < 0.7 and not standing.brief


@pytest.mark.parametrize("seed", range(4))
def test_a_standing_hoof_is_watched_back_to_its_landing(seed):
    """It lands at 0.50 s, frame 30."""
    scene = paint_scene([LANDING], seed)
    standing = watch_standing(film(scene, range(60, 4, -1)), np.array(TOE), SHAPE)
    first = 60 - (len(standing.xy_px) - 1)
    assert 28 <= first <= 33
    assert misses(standing).max() < 1.0
    assert standing.angle == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_a_hoof_hidden_for_a_while_is_waited_for(seed):
    """Followed back in time; what passes in front of it is never taken for it."""
    scene = paint_scene(
        [Hoof(limb="left_fore", stances=(stands(*TOE, -1.0, 9.0),)), passing(0.25, 1.15)], seed
    )
    frames = range(84, 4, -1)
    standing = watch_standing(film(scene, frames), np.array(TOE), SHAPE)
    hidden = np.array([scene.hidden("left_fore", k) for k in frames])
    assert (hidden > 0.5).sum() >= 5
    assert len(standing.xy_px) == len(frames)
    assert not standing.seen[hidden > 0.4].any()
    assert np.isinf(standing.variance_px2[~standing.seen]).all()
    assert standing.seen[hidden == 0].mean() > 0.95
    assert misses(standing).max() < 0.5


def test_a_hind_hoof_that_lands_where_it_stood_is_not_it():
    """The hind foot comes down on the very print, a fifth of a second after the fore has left it."""
    for seed in range(4):
        follower = Hoof(limb="left_hind", stances=(stands(30, 148, -1.0, 0.4), stands(149, 148.5, 0.9, 9.0)))
        scene = paint_scene([ALONE, follower], seed)
        standing = watch_standing(film(scene, range(5, 110)), np.array(TOE), SHAPE)
        assert 5 + len(standing.xy_px) - 1 < 54


@pytest.mark.parametrize("seed", range(3))
def test_a_hoof_marked_in_the_clear_is_not_looked_for_as_it_was_when_hidden(seed):
    hoof = Hoof(limb="left_fore", stances=(stands(*TOE, -1.0, 9.0),))
    scene = paint_scene([hoof, passing(0.25, 1.15)], seed)
    hidden = np.array([scene.hidden("left_fore", k) for k in range(90)])
    first = int(np.flatnonzero(hidden > 0.02)[0])
    for marked in (first - 5, first - 1):
        pictures = film(scene, range(marked - 8, marked + 9))
        clear = find_clear(pictures, pictures[8], np.array(TOE), SHAPE)
        assert hidden[clear.index] < 0.02


def test_a_picture_alone_is_the_clearest():
    (picture,) = film(paint_scene([ALONE], 3), [10])
    assert find_clear([picture], picture, np.array(TOE), SHAPE) is picture
    assert watch_standing([picture], np.array(TOE), SHAPE).brief


def test_a_corridor_leads_from_one_place_to_the_next():
    corridor = Corridor(
        start=np.array([100.0, 150.0]),
        end=np.array([240.0, 148.0]),
        begin=1.0,
        finish=1.4,
        height_px=18.0,
        loose=0.15,
    )
    assert corridor.centre(1.0).tolist() == corridor.centre(0.5).tolist() == [100.0, 150.0]
    assert corridor.centre(1.4).tolist() == corridor.centre(2.0).tolist() == [240.0, 148.0]
    assert corridor.centre(1.2) == pytest.approx([170.0, 131.0])
    steps = np.diff([corridor.centre(t)[0] for t in np.linspace(1.0, 1.4, 20)])
    assert (steps > 0).all()
    for t in np.linspace(1.0, 1.4, 9):
        assert corridor.holds(corridor.centre(t), t, 20.0)
        assert not corridor.holds(corridor.centre(t) + [60.0, 0.0], t, 20.0)
        assert not corridor.holds(corridor.centre(t) + [0.0, 40.0], t, 20.0)
    # it is wider in the middle than at its ends
    assert corridor.holds(corridor.centre(1.2) + [25.0, 0.0], 1.2, 20.0)
    assert not corridor.holds(corridor.centre(1.0) + [25.0, 0.0], 1.0, 20.0)


def test_a_corridor_may_be_followed_backward():
    corridor = Corridor(
        start=np.array([240.0, 148.0]),
        end=np.array([100.0, 150.0]),
        begin=1.4,
        finish=1.0,
        height_px=18.0,
        loose=0.15,
    )
    assert corridor.centre(1.4).tolist() == [240.0, 148.0]
    assert corridor.centre(1.0).tolist() == [100.0, 150.0]
    assert corridor.centre(1.1)[0] < corridor.centre(1.3)[0]


@pytest.mark.parametrize(
    ("backward", "within"),
    [
        pytest.param(True, 0.1, id="back from where it lands"),
        # A hoof that leaves the floor is noticed late; how far off that is it keeps on its way.
        pytest.param(False, 0.9, id="on from where it leaves"),
    ],
)
def test_a_swinging_hoof_is_followed_through_the_air(backward, within):
    """All of the way, to within a share of its length."""
    for seed in range(4):
        scene = paint_scene([ALONE], seed)
        pictures = film(scene, range(30, 80))
        start, end, frames = (TOE, (300.0, 148.0), pictures)
        if backward:
            start, end, frames = end, start, pictures[::-1]
        standing = watch_standing(frames, np.array(start), SHAPE)
        rest = frames[len(standing.xy_px) - 1 :]
        corridor = Corridor(
            start=np.array(start),
            end=np.array(end),
            begin=rest[0].t,
            finish=42 / FRAME_RATE if backward else 66 / FRAME_RATE,
            height_px=0.9 * SHAPE.length_px,
            loose=0.15,
        )
        swing = follow_swinging(rest, standing, corridor, SHAPE)
        assert len(swing.xy_px) > 18
        true = scene.toes_px("left_fore", [one.index for one in rest[1 : 1 + len(swing.xy_px)]])
        assert np.hypot(*(swing.xy_px - true)[swing.seen].T).max() < within * SHAPE.length_px
        assert swing.seen[-1] and np.isfinite(swing.variance_px2[swing.seen]).all()
        # a hoof known to a share of a pixel where it stood is known less and less
        assert (np.diff(swing.variance_px2[swing.seen]) > 0).all()


def test_a_swing_into_nothing_is_not_made_up():
    """Where the hoof vanishes, the last entry is the last that was seen."""
    scene = paint_scene([ALONE], 5)
    pictures = film(scene, range(30, 52))
    empty = paint_scene([], 5)
    pictures += film(empty, range(52, 70))
    standing = watch_standing(pictures, np.array(TOE), SHAPE)
    rest = pictures[len(standing.xy_px) - 1 :]
    corridor = Corridor(
        start=np.array(TOE),
        end=np.array([300.0, 148.0]),
        begin=rest[0].t,
        finish=66 / FRAME_RATE,
        height_px=18.0,
        loose=0.15,
    )
    swing = follow_swinging(rest, standing, corridor, SHAPE)
    assert rest[len(swing.xy_px)].index <= 52
