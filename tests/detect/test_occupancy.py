from __future__ import annotations

import numpy as np
import pytest

from stride.detect.occupancy import Occupancy
from stride.imaging.standing import HOLD
from stride.imaging.strip import STEP

from .test_bars import strip

VIEW = 200


def occupancy(*bars, seen=None, slope=0.0):
    standing = strip(*bars)
    if seen is None:
        seen = np.ones(standing.lowest.shape, dtype=bool)
    return Occupancy(standing, seen, slope, VIEW, (30.0, 60.0))


def one(value):
    return float(np.asarray(value).ravel()[0])


BAR = (20, 30, 50, 57, 40)
SPAN = ((20 - HOLD) * STEP, (30 + HOLD) * STEP)


def test_a_filled_box_is_full_and_an_empty_one_empty():
    map_ = occupancy(BAR)
    filled, seen = map_.cover(np.array(40.0), np.array(50.0), np.array(57.0), *map(np.array, SPAN))
    assert (one(filled), one(seen)) == (1.0, 1.0)
    filled, _ = map_.cover(np.array(40.0), np.array(80.0), np.array(87.0), *map(np.array, SPAN))
    assert one(filled) == 0.0


def test_depth_tells_feet_apart():
    map_ = occupancy(BAR)
    other = np.array(40.0 + 2 * map_.tolerance + 2)
    filled, _ = map_.cover(other, np.array(50.0), np.array(57.0), *map(np.array, SPAN))
    assert one(filled) == 0.0
    nearer, _ = map_.cover(np.array(30.0), np.array(50.0), np.array(57.0), *map(np.array, SPAN), nearer=True)
    assert one(nearer) == 1.0


def test_what_was_not_filmed_does_not_count():
    seen = np.ones((60, 200), dtype=bool)
    seen[:, 54:] = False
    map_ = occupancy((20, 30, 50, 53, 40), seen=seen)
    filled, share = map_.cover(np.array(40.0), np.array(50.0), np.array(57.0), *map(np.array, SPAN))
    assert one(filled) == 1.0
    assert one(share) == pytest.approx(0.5)


@pytest.mark.parametrize(("heading", "toe"), [(1, 57.0), (-1, 50.0)])
def test_a_stance_fits_with_its_toe_ahead(heading, toe):
    map_ = occupancy(BAR)
    hoof, level = np.array(8.0), np.array(40.0)
    right, _ = map_.stance(heading, np.array(toe), level, *map(np.array, SPAN), hoof)
    behind, _ = map_.stance(heading, np.array(toe - heading * 6.0), level, *map(np.array, SPAN), hoof)
    assert one(right) == 1.0
    assert one(behind) < 0.5


def test_a_pastern_over_its_hoof_is_no_foot_farther_away():
    map_ = occupancy(BAR, (20, 30, 58, 64, 34))
    fit, _ = map_.stance(-1, np.array(58.0), np.array(34.0), *map(np.array, SPAN), np.array(8.0))
    assert one(fit) < 0.6


def test_level_takes_the_slope_out():
    bars = [(20, 30, x, x + 7, round(40 + 0.1 * (x + 3.5 - 99.5))) for x in (10, 90, 180)]
    map_ = occupancy(*bars, slope=0.1)
    lefts = np.array([10.0, 90.0, 180.0])
    filled, _ = map_.cover(np.full(3, 40.0), lefts, lefts + 7, *(np.full(3, t) for t in SPAN))
    np.testing.assert_allclose(filled, 1.0)
