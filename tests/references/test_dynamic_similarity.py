"""Relative stride length and Froude number of printed examples, put through the measures."""

from __future__ import annotations

import pytest

from stride.walk.marks import Animal
from stride.walk.measures import measure_all
from stride.walk.trackway import lay_trackway

from ..footfalls import flat_ground, walk_evenly
from .dynamic_similarity import COW_HIP_HEIGHT, LAW_1976, LAW_1983, WORKED_EXAMPLES
from .walking_cattle import GROUP_MEANS


def measured(stride_length, stride_time, hip_height):
    prints = walk_evenly(stride_length, stride_time)
    found = measure_all(lay_trackway(prints, flat_ground(), animal=Animal(hip_height=hip_height)))
    return found["stride_length_per_hip_height"].value, found["froude"].value


@pytest.mark.parametrize("row", WORKED_EXAMPLES, ids=lambda row: f"{row.relative} at {row.hip_height} m")
def test_worked_examples(row):
    """The printed speed came from the law of 1976; its Froude number must lead back to the relative stride.

    Within 1 %: the printed exponents 1.67 and 1.17 are rounded, and so is the factor 0.25.
    """
    relative, froude = measured(row.stride_length, row.stride_length / row.speed, row.hip_height)
    assert relative == pytest.approx(row.relative, abs=0.005)
    assert LAW_1976.factor * froude**LAW_1976.exponent == pytest.approx(row.relative, rel=0.01)
    if row.froude is not None:
        assert froude == pytest.approx(row.froude, abs=0.005)


@pytest.mark.parametrize("law", [LAW_1976, LAW_1983], ids=["1976", "1983"])
@pytest.mark.parametrize("row", GROUP_MEANS, ids=lambda row: row.group)
def test_walking_cows_lie_near_both_laws(row, law):
    """Plausibility only, within 15 %: the cows' hip height is assumed."""
    relative, froude = measured(row.stride_length, row.stride_time, COW_HIP_HEIGHT)
    assert relative == pytest.approx(law.factor * froude**law.exponent, rel=0.15)
