"""Published group means of walking cows, put through the measures."""

from __future__ import annotations

import pytest

from stride.walk.judgement import judge
from stride.walk.measures import measure_all
from stride.walk.settings import Settings
from stride.walk.trackway import lay_trackway

from ..footfalls import flat_ground, walk_evenly
from .walking_cattle import GROUP_MEANS, OVERLAP_MEANS, SUPPORT_MEANS


@pytest.mark.parametrize("row", GROUP_MEANS, ids=lambda row: row.group)
def test_speed_is_stride_length_over_stride_time(row):
    """Within 3 %: the printed speed is a mean of ratios, the means of length and time are not."""
    found = measure_all(lay_trackway(walk_evenly(row.stride_length, row.stride_time), flat_ground()))
    assert found["speed"].value == pytest.approx(row.speed, rel=0.03)


def test_cadence_lies_in_the_published_band():
    """Stride times of 1.26 to 1.49 s are 161 to 190 footfalls a minute (derived)."""
    cadences = [
        measure_all(lay_trackway(walk_evenly(row.stride_length, row.stride_time), flat_ground()))[
            "cadence"
        ].value
        for row in GROUP_MEANS
    ]
    assert (round(min(cadences)), round(max(cadences))) == (161, 190)


@pytest.mark.parametrize("row", SUPPORT_MEANS, ids=lambda row: row.group)
def test_three_foot_support_fits_the_swing_time(row):
    """Share of the stride with exactly three feet down, of an evenly spaced walk with the printed times.

    After milking the printed times give 75 % where 71.7 ± 2.0 % is printed, hence the width.
    """
    duty = 1 - row.swing_time / row.stride_time
    found = measure_all(lay_trackway(walk_evenly(stride_time=row.stride_time, duty=duty), flat_ground()))
    assert found["support_three"].value == pytest.approx(row.three_feet, abs=0.04)


@pytest.mark.parametrize("row", OVERLAP_MEANS, ids=lambda row: row.floor)
def test_published_mean_overlaps_fill_the_print(row):
    """Means of dairy cows lie near zero: a band that called them short-strided would be too narrow."""
    prints = walk_evenly(row.stride_length, overreach=row.overlap, prints_per_limb=6, error=(0.003, 0.006))
    found = measure_all(lay_trackway(prints, flat_ground()))
    assert found["overreach"].value == pytest.approx(row.overlap)
    assert judge(found, Settings()).stride_class == "fills_the_print"
