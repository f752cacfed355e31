from __future__ import annotations

import cv2
import numpy as np
import pytest

from stride.imaging.standing import HOLD, estimate_floor, find_standing, raise_threshold
from stride.imaging.strip import STEP, Band

HEIGHT, WIDTH, COUNT = 80, 320, 60
HOOF = 8


def paint_floor(seed=0):
    rng = np.random.default_rng(seed)
    grain = cv2.GaussianBlur(rng.standard_normal((HEIGHT, WIDTH)), (0, 0), 5)
    return 120 + 60 * grain + 3 * rng.standard_normal((HEIGHT, WIDTH))


def make_band(pictures, seed=1, noise=1.0):
    rng = np.random.default_rng(seed)
    stack = np.array(pictures) + noise * rng.standard_normal((len(pictures), HEIGHT, WIDTH))
    return Band(
        t=np.arange(len(pictures)) * STEP,
        frames=np.arange(len(pictures)),
        pixels=np.clip(np.rint(stack), 1, 255).astype(np.uint8),
        to_held=np.eye(3),
        reduction=1,
        view_width=WIDTH,
    )


def walk_a_leg(pictures, *, stance=(20, 35), x=150, row=50, tone=40.0, speed=16):
    """A block that comes from the left, stands with its sole on ``row``, and goes on to the right."""
    for k, picture in enumerate(pictures):
        place = x + speed * (min(0, k - stance[0]) + max(0, k - stance[1]))
        lift = 0 if stance[0] <= k <= stance[1] else 6
        left, right = max(0, place - HOOF + 1), max(0, place + 1)
        picture[row - 20 - lift : row + 1 - lift, left:right] = tone


def find(pictures, **kwargs):
    band = make_band(pictures, **kwargs)
    return find_standing(band, estimate_floor(band))


def plain(count=COUNT, seed=0):
    return [paint_floor(seed) for _ in range(count)]


def test_a_standing_hoof_shows_where_and_while_it_stands():
    pictures = plain()
    walk_a_leg(pictures)
    standing = find(pictures)
    times, columns = np.nonzero(standing.lowest >= 0)
    assert times.min() == pytest.approx(20 + HOLD, abs=1)
    assert times.max() == pytest.approx(35 - HOLD, abs=1)
    assert columns.min() == pytest.approx(150 - HOOF + 1, abs=1)
    assert columns.max() == pytest.approx(150, abs=1)
    assert np.median(standing.lowest[standing.lowest >= 0]) == 50


def test_an_empty_floor_shows_nothing():
    standing = find(plain())
    assert (standing.lowest < 0).mean() > 0.999


@pytest.mark.parametrize("depth", [0.5, 0.8])
def test_a_passing_shadow_is_no_foot_and_hides_none(depth):
    pictures = plain()
    walk_a_leg(pictures, tone=25.0)
    for k, picture in enumerate(pictures):
        edge = 16 * (k - 30) + 150
        shade = np.ones(WIDTH)
        shade[max(0, edge - 120) : max(0, edge + 120)] = depth
        picture[30:70] *= cv2.GaussianBlur(shade[None], (9, 1), 0)
    standing = find(pictures)
    hoof = standing.lowest[24:32, 145:150]
    assert (hoof >= 45).mean() > 0.8
    elsewhere = np.delete(standing.lowest, np.arange(130, 165), axis=1)
    assert (elsewhere >= 0).mean() < 0.01


def test_a_print_left_in_soft_ground_is_no_foot():
    pictures = plain()
    walk_a_leg(pictures)
    for picture in pictures[36:]:
        picture[44:51, 143:151] -= 25
    standing = find(pictures)
    assert (standing.lowest[42:, 135:160] < 0).all()
    assert (standing.lowest[:16, 135:160] < 0).all()


def test_light_that_changes_slowly_is_no_foot():
    pictures = [picture * (1 + 0.2 * np.sin(k / 20)) for k, picture in enumerate(plain())]
    standing = find(pictures)
    assert (standing.lowest >= 0).mean() < 0.005


def test_a_raised_threshold_leaves_only_what_stands_out():
    pictures = plain()
    walk_a_leg(pictures, tone=40.0)
    walk_a_leg(pictures, x=250, row=50, tone=112.0, stance=(20, 35))
    standing = find(pictures)
    raised = raise_threshold(standing, 6.0)
    assert (raised.lowest[25:30, 144:150] >= 0).any()
    assert (raised.lowest[25:30, 244:250] < 0).all()


def test_travel_is_how_far_things_go():
    pictures = plain()
    for k, picture in enumerate(pictures):
        picture[20:60, 5 * k : 5 * k + 20] = 30
    assert estimate_floor(make_band(pictures)).travel == pytest.approx(0.8, abs=0.15)
    assert estimate_floor(make_band(plain())).travel == 0.0


def test_parts_never_seen_empty_are_told():
    pictures = plain()
    rng = np.random.default_rng(3)
    for picture in pictures:
        picture[:, 100:140] = rng.uniform(0, 255, (HEIGHT, 40))
    floor = estimate_floor(make_band(pictures))
    assert not floor.known[:, 105:135].any()
    assert floor.known[:, :90].all()
