from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from stride.walk.support import SUPPORTS, measure_support
from stride.walk.trackway import lay_trackway

from ..footfalls import SINGLE_FOOT, flat_ground, walk_evenly


def support_of(prints):
    return measure_support(lay_trackway(prints, flat_ground()))


def sampled_shares(duties, phases, samples=200_000):
    """Shares of a stride by counting feet at many moments: another way to the same numbers."""
    moment = (np.arange(samples) + 0.5) / samples
    down = sum(((moment - phases[limb]) % 1.0 < duties[limb]).astype(int) for limb in phases)
    return [np.mean(down < 2), *(np.mean(down == feet) for feet in (2, 3, 4))]


def test_uneven_walk_against_counting():
    duties = {"left_fore": 0.61, "right_fore": 0.72, "left_hind": 0.68, "right_hind": 0.79}
    phases = {"left_hind": 0.0, "left_fore": 0.21, "right_hind": 0.53, "right_fore": 0.70}
    support = support_of(walk_evenly(duty=duties, phases=phases, prints_per_limb=4))
    assert [support[name].value for name in SUPPORTS] == pytest.approx(
        sampled_shares(duties, phases), abs=2e-5
    )


def test_a_trot_has_moments_with_fewer_than_two_feet():
    phases = {"left_hind": 0.0, "right_fore": 0.0, "right_hind": 0.5, "left_fore": 0.5}
    support = support_of(walk_evenly(duty=0.42, phases=phases))
    assert support["support_under_two"].value == pytest.approx(0.16)
    assert support["support_two"].value == pytest.approx(0.84)


def test_the_window_is_a_whole_number_of_strides():
    for prints_per_limb in (3, 4, 5):
        support = support_of(walk_evenly(duty=0.7, prints_per_limb=prints_per_limb))
        assert support["support_three"].value == pytest.approx(0.80)
        assert support["support_three"].n == prints_per_limb - 2


def test_error_follows_the_events():
    seen = support_of(walk_evenly(duty=0.7, event_error=0.01, prints_per_limb=3))["support_three"]
    drawn = []
    rng = np.random.default_rng(11)
    exact = walk_evenly(duty=0.7, event_error=0.01, prints_per_limb=3)
    for _ in range(400):
        prints = [
            replace(
                one,
                touch_down=one.touch_down + 0.01 * rng.standard_normal(),
                lift_off=one.lift_off + 0.01 * rng.standard_normal(),
            )
            for one in exact
        ]
        drawn.append(support_of(prints)["support_three"].value)
    assert seen.random == pytest.approx(np.std(drawn), rel=0.15)
    assert seen.common == 0.0


def test_a_limb_lost_for_a_while_shortens_the_window():
    prints = list(walk_evenly(duty=0.7, prints_per_limb=6))
    third = [i for i, one in enumerate(prints) if one.limb == "right_fore"][2]
    prints[third] = replace(prints[third], lift_off=None, lift_off_error=None)
    support = support_of(prints)
    assert support["support_three"].value == pytest.approx(0.80)
    assert (
        support["support_three"].n < support_of(walk_evenly(duty=0.7, prints_per_limb=6))["support_three"].n
    )


@pytest.mark.parametrize("limb", sorted(SINGLE_FOOT))
def test_a_foot_never_seen(limb):
    prints = [one for one in walk_evenly() if one.limb != limb]
    assert {one.reason for one in support_of(prints).values()} == {
        "not every foot was seen to land and leave the floor"
    }


def test_less_than_one_stride_together():
    support = support_of(walk_evenly(prints_per_limb=2, phases={**SINGLE_FOOT, "right_fore": 1.75}))
    assert not any(support.values())
    assert "one whole stride" in support["support_two"].reason


def test_shares_add_up_and_their_errors_cancel():
    support = support_of(walk_evenly(duty=0.68, event_error=0.01))
    assert math.fsum(one.value for one in support.values()) == pytest.approx(1.0)
    assert support["support_two"].random == pytest.approx(support["support_three"].random)
