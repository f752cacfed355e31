from __future__ import annotations

import numpy as np
import pytest

from stride.walk.anchors import compare_anchors, estimate_mark_error, keep_anchor, share_out_errors
from stride.walk.following import HoofShape

from ..textures import make_texture, to_picture

SHAPE = HoofShape(length_px=24.0, facing=1)
SIZE_PX = (220, 140)
# What two stances of one hoof differ by in its picture: 3 % of its length and a third of a pixel.
LOOK_PX = float(np.hypot(0.35, 0.03 * SHAPE.length_px))


def find_each_other(click, look):
    """Findings of every tip in every picture, (A, A, 2), from click errors and errors of looking (A, 2)."""
    off = click + look
    shift = off[None, :] - off[:, None]
    shift[np.arange(len(off)), np.arange(len(off))] = np.nan
    return shift


def draw_marks(rng, count, click_px, look_px=LOOK_PX):
    click = click_px * rng.standard_normal((count, 2))
    return click, find_each_other(click, look_px / np.sqrt(2) * rng.standard_normal((count, 2)))


def film(rng, tips, clicks, noise=2.0):
    """Anchors of one hoof that stood at several places, each clicked a little off."""
    texture = make_texture(rng, waves=40)
    anchors = []
    for number, (tip, click) in enumerate(zip(tips, clicks, strict=True)):
        picture = texture.draw(SIZE_PX, tip) + noise / 25 * rng.standard_normal(SIZE_PX[::-1])
        mark = (float(tip[0] + click[0]), float(tip[1] + click[1]))
        anchors.append(keep_anchor(to_picture(picture), 10 * number, mark, SHAPE))
    return anchors


def test_clicks_are_compared_by_the_pictures_about_them():
    rng = np.random.default_rng(111)
    tips = np.array([110.0, 70.0]) + rng.uniform(-10, 10, (4, 2))
    clicks = 2.0 * rng.standard_normal((4, 2))
    shift = compare_anchors(film(rng, tips, clicks), SHAPE)
    assert np.isnan(shift[np.arange(4), np.arange(4)]).all()
    expected = find_each_other(clicks, np.zeros((4, 2)))
    assert shift == pytest.approx(expected, abs=0.1, nan_ok=True)


def test_another_hoof_is_not_found():
    rng = np.random.default_rng(112)
    tips, clicks = np.full((2, 2), [110.0, 70.0]), np.zeros((2, 2))
    anchors = [film(rng, tips[:1], clicks[:1])[0] for _ in range(4)]
    assert np.isnan(compare_anchors(anchors, SHAPE)).all()


def test_an_anchor_at_the_edge_keeps_its_place():
    """The piece is cut off at the edge of the picture, and the mark is still where it was in it."""
    luma = to_picture(make_texture(np.random.default_rng(113)).draw(SIZE_PX))
    for xy in ((3.0, 4.0), (217.5, 138.0), (110.25, 70.5)):
        anchor = keep_anchor(luma, 5, xy, SHAPE)
        assert (anchor.frame, tuple(anchor.mark_in_band)) == (5, xy)
        left, top = (round(a - b) for a, b in zip(xy, anchor.mark, strict=True))
        height, width = anchor.window.shape
        assert np.array_equal(anchor.window, luma[top : top + height, left : left + width])
        assert anchor.mark + [left, top] == pytest.approx(np.array(xy))
        assert not np.shares_memory(anchor.window, luma)


@pytest.mark.parametrize("click_px", [0.5, 1.0, 3.0])
def test_the_click_error_is_learned_from_the_marks(click_px):
    """Four marks of each of four limbs; a single clip tells it to about a fifth."""
    rng = np.random.default_rng(114)
    found = [
        estimate_mark_error([draw_marks(rng, 4, click_px)[1] for _ in range(4)], SHAPE, 1.0)
        for _ in range(60)
    ]
    assert np.sqrt(np.mean(np.square(found))) == pytest.approx(click_px, rel=0.15)
    assert np.std(found) < 0.35 * click_px


def test_without_marks_to_compare_the_assumed_error_stays():
    assert estimate_mark_error([], SHAPE, 1.7) == pytest.approx(1.7)
    alone = [np.full((1, 1, 2), np.nan)] * 4
    assert estimate_mark_error(alone, SHAPE, 1.7) == pytest.approx(1.7)
    unlike = [np.full((3, 3, 2), np.nan)] * 4
    assert estimate_mark_error(unlike, SHAPE, 1.7) == pytest.approx(1.7)


def test_nobody_clicks_better_than_a_third_of_a_pixel():
    exact = [find_each_other(np.zeros((5, 2)), np.zeros((5, 2)))] * 4
    assert estimate_mark_error(exact, SHAPE, 1.0) == pytest.approx(0.3, abs=0.02)


def test_one_wild_finding_hardly_changes_the_click_error():
    rng = np.random.default_rng(115)
    shifts = [draw_marks(rng, 5, 1.0)[1] for _ in range(4)]
    before = estimate_mark_error(shifts, SHAPE, 1.0)
    shifts[0][1, 2], shifts[0][2, 1] = [14.0, 9.0], [-14.0, -9.0]
    assert estimate_mark_error(shifts, SHAPE, 1.0) == pytest.approx(before, rel=0.25)


@pytest.mark.parametrize("click_px", [1.0, 3.0])
@pytest.mark.parametrize("count", [2, 4, 6])
def test_click_errors_are_shared_out_and_what_is_left_is_stated(count, click_px):
    """What is left has a part of its own in each mark, and one that all marks of the limb have in common."""
    rng = np.random.default_rng(116)
    before, left, own, stated = [], [], [], []
    for _ in range(200):
        click, shift = draw_marks(rng, count, click_px)
        errors = share_out_errors(shift, click_px, SHAPE)
        rest = click + errors.offset_px
        before.append(np.mean(click**2))
        left.append(np.mean(rest**2))
        own.append(((rest - rest.mean(axis=0)) ** 2).sum() / 2 / (count - 1))
        stated.append((errors.own_px2.mean(), errors.limb_px2))
    stated_own, stated_limb = np.mean(stated, axis=0)
    assert np.mean(left) < 0.75 * np.mean(before)
    assert np.sqrt(np.mean(left)) == pytest.approx(np.sqrt(stated_own + stated_limb), rel=0.15)
    assert np.sqrt(np.mean(own)) == pytest.approx(np.sqrt(stated_own), rel=0.25)


def test_a_single_mark_keeps_all_of_its_error():
    errors = share_out_errors(np.full((1, 1, 2), np.nan), 1.5, SHAPE)
    assert errors.offset_px.tolist() == [[0.0, 0.0]]
    assert (errors.own_px2.tolist(), errors.limb_px2) == ([pytest.approx(2.25)], 0.0)


def test_one_bad_click_is_taken_out_and_the_others_stay():
    click = np.zeros((5, 2))
    click[3] = [2.5, -1.5]
    errors = share_out_errors(find_each_other(click, np.zeros((5, 2))), 1.0, SHAPE)
    rest = click + errors.offset_px
    assert np.abs(rest - rest.mean(axis=0)).max() < 0.7
    assert np.abs(errors.offset_px[[0, 1, 2, 4]]).max() < 0.8


def test_a_finding_that_does_not_lead_back_is_left_out():
    shift = find_each_other(np.zeros((3, 2)), np.zeros((3, 2)))
    shift[0, 1] = [6.0, 0.0]
    errors = share_out_errors(shift, 1.0, SHAPE)
    assert errors.offset_px == pytest.approx(np.zeros((3, 2)), abs=1e-9)
