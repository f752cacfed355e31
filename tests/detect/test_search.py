from __future__ import annotations

import numpy as np
import pytest

from stride.detect.bars import find_bars, find_levels, find_slope
from stride.detect.gait import TROT, WALK
from stride.detect.occupancy import Occupancy
from stride.detect.refine import LEAST_FIT, LEAST_SEEN, fit_gait
from stride.detect.search import guess_gaits

from .walkers import paint_strip, true_stances, walking_gait

WIDTH, DURATION = 320, 5.0


def find(standing, headings=(1, -1), pattern=WALK):
    bars = find_bars(standing, standing.hoof)
    seen = np.ones(standing.lowest.shape, dtype=bool)
    slope = find_slope(bars, (WIDTH - 1) / 2)
    levels = find_levels(bars, slope, (WIDTH - 1) / 2)
    occupancy = Occupancy(standing, seen, slope, WIDTH, levels)
    guesses = guess_gaits(bars, occupancy, pattern, headings, 6)
    fits = [fit for _, gait in guesses if (fit := fit_gait(occupancy, gait)) is not None]
    return max(fits, key=lambda one: one.score, default=None)


def held_against(fitted, gait):
    """How many true stances were found as what they are, how many others were found, and the true ones in all."""
    true = true_stances(gait, DURATION, WIDTH)
    found = [one for one in fitted.footfalls if one.fit > LEAST_FIT and one.seen > LEAST_SEEN]
    right = {
        (foot, number)
        for foot, number, toe, _, start, _ in true
        if any(one.foot == foot and abs(one.toe - toe) < 8 and abs(one.start - start) < 0.2 for one in found)
    }
    return len(right), len(found) - len(right), len(true)


@pytest.mark.parametrize("heading", [1, -1])
@pytest.mark.parametrize(("stride_px", "stride_time"), [(92.0, 1.2), (70.0, 1.0), (120.0, 1.5)])
def test_a_whole_walk_is_found(heading, stride_px, stride_time):
    gait = walking_gait(heading=heading, stride_px=stride_px, stride_time=stride_time)
    fitted = find(paint_strip(gait))
    right, others, true = held_against(fitted, gait)
    assert fitted.gait.heading == heading
    assert (right, others) == (true, 0)
    assert fitted.gait.stride_time == pytest.approx(stride_time, rel=0.05)
    assert fitted.gait.reach.mean() == pytest.approx(5.0, abs=3)


@pytest.mark.parametrize("reach", [(-18.0, -16.0), (0.0, 0.0), (14.0, 16.0)])
def test_short_and_long_overreach(reach):
    gait = walking_gait(reach_px=reach)
    fitted = find(paint_strip(gait))
    right, others, true = held_against(fitted, gait)
    assert right >= true - 1
    assert others == 0
    assert fitted.gait.reach == pytest.approx(reach, abs=4)


def test_missing_bars_are_bridged_as_gaps():
    gait = walking_gait()
    stances = true_stances(gait, DURATION, WIDTH)
    missing = [one[:2] for one in stances if one[:2] in ((0, 1), (3, 1), (2, 2))]
    assert len(missing) == 3
    fitted = find(paint_strip(gait, missing=missing))
    right, others, true = held_against(fitted, gait)
    assert (right, others) == (true - 3, 0)
    absent = {(one.foot, one.number) for one in fitted.footfalls if one.fit <= LEAST_FIT}
    assert len(absent) >= 3


def test_false_bars_are_left_out():
    gait = walking_gait()
    rng = np.random.default_rng(5)
    boots = [(40.0 + 50 * k, 48.0 + 50 * k, 95.0, -0.2 + 0.6 * k, 0.5 + 0.6 * k) for k in range(6)]
    clutter = [
        (x, x + rng.uniform(3, 12), rng.uniform(60, 100), t, t + rng.uniform(0.5, 1.5))
        for x, t in zip(rng.uniform(0, 300, 12), rng.uniform(0, 4, 12), strict=True)
    ]
    fitted = find(paint_strip(gait, false_bars=boots + clutter))
    right, others, true = held_against(fitted, gait)
    assert right >= true - 2
    assert others <= 1


def test_half_a_stride_is_not_taken_for_one():
    # Both sides at one depth: every second print could be one foot's.
    gait = walking_gait(levels=(84.0, 83.0), reach_px=(0.0, 0.0))
    fitted = find(paint_strip(gait))
    assert fitted.gait.stride_time == pytest.approx(1.2, rel=0.1)


def test_a_marked_way_of_walk_is_kept_to():
    fitted = find(paint_strip(walking_gait()), headings=(-1,))
    assert fitted is None or fitted.score < 1.0


def test_an_empty_strip_holds_no_walk():
    standing = paint_strip(walking_gait(start=100.0))
    assert find_bars(standing, standing.hoof) == []


def test_a_trot_has_its_own_pattern():
    gait = walking_gait(pattern=TROT, stride_time=0.8, stride_px=110.0)
    fitted = find(paint_strip(gait, duration=DURATION), pattern=TROT)
    delay = (fitted.gait.time_shift[2:] - fitted.gait.time_shift[:2]) / fitted.gait.stride_time
    assert delay.mean() == pytest.approx(TROT.delay, abs=0.06)
