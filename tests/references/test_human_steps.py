"""Steps, strides, cadence and speed against a printed table of people, who walk like a pair of hind feet."""

from __future__ import annotations

import pytest

from stride.walk.measures import measure_all
from stride.walk.trackway import lay_trackway

from ..footfalls import flat_ground, walk_evenly
from .human_steps import STEP_TABLE


@pytest.mark.parametrize("row", STEP_TABLE, ids=lambda row: row.who)
def test_steps(row):
    stride_time = 2 * 60 / row.steps_per_minute
    prints = [one for one in walk_evenly(row.stride_length, stride_time) if one.limb.endswith("hind")]
    found = measure_all(lay_trackway(prints, flat_ground()))
    assert found["step_length_hind"].value == pytest.approx(row.step_length)
    assert found["speed"].value == pytest.approx(row.speed, rel=row.rounding)
    # cadence here counts four feet, there two
    assert found["cadence"].value == pytest.approx(2 * row.steps_per_minute)
