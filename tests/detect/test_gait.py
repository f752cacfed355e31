from __future__ import annotations

import numpy as np
import pytest

from stride.detect.gait import FEET, WALK

from .walkers import walking_gait


def test_a_hind_foot_answers_on_its_side():
    gait = walking_gait(reach_px=(6.0, 4.0), stride_time=1.2)
    for side in (0, 1):
        fore, hind = (gait.expect(foot, np.arange(4.0)) for foot in (side, side + 2))
        np.testing.assert_allclose(hind.toe - fore.toe, gait.reach[side])
        np.testing.assert_allclose(hind.start - fore.start, WALK.delay * 1.2)


def test_the_sides_step_half_a_stride_apart():
    gait = walking_gait(stride_time=1.2)
    near, far = gait.expect(FEET.index("near_fore"), np.arange(4.0)), gait.expect(1, np.arange(4.0))
    np.testing.assert_allclose(far.start - near.start, 0.6, atol=0.03)


def test_places_run_against_the_columns_for_an_animal_that_walks_to_the_left():
    right, left = (walking_gait(heading=heading).expect(0, np.arange(4.0)).toe for heading in (1, -1))
    assert (np.diff(right) > 0).all()
    np.testing.assert_allclose(right + left, 319.0)


def test_size_of_a_hoof():
    gait = walking_gait(stride_px=92.0)
    assert gait.stride_px == pytest.approx(0.98 * 92.0)
    assert gait.hoof_px == pytest.approx(0.98 * 92.0 / 11.5)
