from __future__ import annotations

import math

import pytest

from stride.walk.settings import Settings


def test_the_defaults_are_the_ones_that_are_told():
    settings = Settings()
    assert (settings.band, settings.band_share, settings.min_probability) == (0.06, 0.05, 0.90)


@pytest.mark.parametrize("name", Settings.__slots__)
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan])
def test_every_setting_is_above_zero(name, value):
    with pytest.raises(ValueError, match=f"{name} must be above zero"):
        Settings(**{name: value})


@pytest.mark.parametrize("value", [0.5, 1.0, 90.0])
def test_a_class_is_named_by_a_share_above_one_half(value):
    with pytest.raises(ValueError, match="min_probability must lie between"):
        Settings(min_probability=value)
