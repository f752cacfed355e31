from __future__ import annotations

import math

import pytest
from scipy.special import ndtri

from stride.quantity import Measured, Unmeasured


@pytest.mark.parametrize("coverage", [0.68, 0.90, 0.95, 0.99])
def test_intervals_are_those_of_the_normal_distribution(coverage):
    low, high = Measured(value=2.0, unit="m", random=0.3, common=0.4).interval(coverage)
    half = float(ndtri((1 + coverage) / 2)) * 0.5
    assert (low, high) == pytest.approx((2.0 - half, 2.0 + half), abs=3e-5)


def test_another_coverage_is_refused_with_those_there_are():
    with pytest.raises(ValueError, match=r"0\.5; use one of 0\.68, 0\.90, 0\.95, 0\.99"):
        Measured(value=2.0, unit="m", random=0.3, common=0.4).interval(0.5)


@pytest.mark.parametrize("name", ["value", "random", "common", "spread"])
@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_what_is_no_number_is_refused(name, bad):
    with pytest.raises(ValueError, match="must be finite"):
        Measured(**{"value": 1.0, "unit": "m", "random": 0.1, "common": 0.1, name: bad})


@pytest.mark.parametrize("name", ["random", "common", "spread"])
def test_an_uncertainty_below_zero_is_refused(name):
    with pytest.raises(ValueError, match="cannot be negative"):
        Measured(**{"value": 1.0, "unit": "m", "random": 0.1, "common": 0.1, name: -0.1})


def test_a_number_is_true_and_its_absence_is_false():
    assert Measured(value=0.0, unit="m", random=0.0, common=0.0)
    assert not Unmeasured(reason="hip height was not given")
