"""Support shares against exact tables and a published ruminant."""

from __future__ import annotations

import math

import pytest

from stride.walk.limbs import LIMBS, pair_of
from stride.walk.measures import measure_all
from stride.walk.trackway import lay_trackway

from ..footfalls import flat_ground, walk_evenly
from .limb_support import SHEEP_DUTY, SHEEP_THREE_FEET, SUPPORT_TABLE


def measured(duty, phase=0.25):
    phases = {"left_hind": 0.0, "left_fore": phase, "right_hind": 0.5, "right_fore": 0.5 + phase}
    return measure_all(lay_trackway(walk_evenly(duty=duty, phases=phases), flat_ground()))


@pytest.mark.parametrize("row", SUPPORT_TABLE, ids=lambda row: f"duty {row.duty}, phase {row.phase}")
def test_support_table(row):
    found = measured(row.duty, row.phase)
    shares = [found[name].value for name in ("support_two", "support_three", "support_four")]
    assert shares == pytest.approx([row.two, row.three, row.four], abs=1e-9)
    assert found["support_under_two"].value == pytest.approx(0.0, abs=1e-9)
    assert found["duty_factor_left_hind"].value == pytest.approx(row.duty)
    assert found["limb_phase_left_fore"].value == pytest.approx(row.phase)


def test_mean_number_of_feet_down_is_the_sum_of_the_duty_factors():
    duties = {"left_fore": 0.61, "right_fore": 0.67, "left_hind": 0.70, "right_hind": 0.64}
    found = measured(duties, phase=0.21)
    feet = math.fsum(
        n * found[name].value for n, name in ((2, "support_two"), (3, "support_three"), (4, "support_four"))
    )
    assert found["support_under_two"].value == pytest.approx(0.0, abs=1e-9)
    assert feet == pytest.approx(math.fsum(found[f"duty_factor_{limb}"].value for limb in LIMBS))


def test_sheep():
    found = measured({limb: SHEEP_DUTY[pair_of(limb)] for limb in LIMBS})
    assert found["support_three"].value == pytest.approx(SHEEP_THREE_FEET, abs=0.001)
    assert found["support_four"].value == pytest.approx(0.0, abs=1e-9)
