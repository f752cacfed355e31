from __future__ import annotations

import numpy as np
import pytest

from stride.detect.bars import find_bars, find_slope
from stride.imaging.standing import HOLD, Standing
from stride.imaging.strip import STEP

HOOF = 8.0


def strip(*bars, count=60, width=200):
    """Bars given as (first picture, last picture, left, right, row)."""
    lowest = np.full((count, width), -1, dtype=np.int16)
    for first, last, left, right, row in bars:
        lowest[first : last + 1, left : right + 1] = row
    empty = np.zeros((count, 1, width), dtype=np.uint8)
    return Standing(
        strength=empty,
        lowest=lowest,
        difference=empty.astype(np.int16),
        threshold=2.5,
        hold=HOLD,
        hoof=HOOF,
    )


def test_a_bar_is_measured():
    (bar,) = find_bars(strip((20, 29, 50, 57, 40)), HOOF)
    # A stance shows only HOLD pictures after it began and until HOLD before it ended.
    assert bar.start == pytest.approx((20 - HOLD - 0.5) * STEP)
    assert bar.end == pytest.approx((29 + HOLD + 0.5) * STEP)
    assert (bar.left, bar.right, bar.row, bar.area) == (50, 57, 40, 80)
    assert bar.upright == pytest.approx(1.0)
    assert bar.begun


def test_a_bar_from_the_first_picture_on_has_no_known_start():
    (bar,) = find_bars(strip((0, 9, 50, 57, 40)), HOOF)
    assert not bar.begun


def test_bars_at_different_depths_are_not_joined():
    bars = find_bars(strip((20, 29, 50, 57, 40), (20, 29, 58, 65, 60)), HOOF)
    assert sorted(bar.row for bar in bars) == [40, 60]


def test_what_drifts_is_not_upright():
    moving = [(20 + k, 20 + k, 50 + 2 * k, 60 + 2 * k, 40) for k in range(12)]
    (bar,) = find_bars(strip(*moving), HOOF)
    assert bar.upright < 0.1


def test_two_feet_on_one_place_are_split_at_the_waist():
    bars = find_bars(strip((10, 20, 50, 57, 40), (21, 21, 53, 54, 40), (22, 32, 51, 58, 40)), HOOF)
    assert len(bars) == 2
    first, second = sorted(bars, key=lambda bar: bar.start)
    assert first.end <= second.start + 3 * HOLD * STEP


def test_what_overhangs_a_hoof_is_left_out():
    bars = find_bars(strip((20, 29, 50, 57, 40), (21, 28, 58, 63, 33)), HOOF)
    assert [bar.row for bar in bars] == [40]


def test_specks_are_left_out():
    assert find_bars(strip((20, 29, 50, 51, 40), (5, 5, 100, 108, 40)), HOOF) == []
    assert find_bars(strip(), HOOF) == []


@pytest.mark.parametrize("slope", [-0.1, 0.0, 0.05])
def test_slope_of_the_line_of_walk(slope):
    places = range(10, 190, 30)
    bars = find_bars(strip(*((20, 29, x, x + 7, round(60 + slope * (x - 100))) for x in places)), HOOF)
    assert find_slope(bars, 99.5) == pytest.approx(slope, abs=0.02)
