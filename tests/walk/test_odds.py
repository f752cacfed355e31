from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy import stats

from stride.quantity import Measured, Unmeasured
from stride.walk.odds import (
    MOST_STRIDES,
    Belief,
    band_of,
    common_error_to_settle,
    form_beliefs,
    judge_side,
    name_class,
    strides_to_settle,
    weigh_classes,
)
from stride.walk.settings import Settings

SETTINGS = Settings()
BELIEF = Belief(mean=-0.07, random=0.004, common=0.003, spread=0.02, weight=1 / 6, n=6, freedom=7)


def overreach(value, *, n=3, spread=0.01, unit="m", random=0.003, common=0.004):
    return Measured(value=value, unit=unit, random=random, common=common, spread=spread, n=n)


def test_probabilities_sum_to_one_and_are_mirrored():
    left, right = (weigh_classes(replace(BELIEF, mean=mean), 0.06) for mean in (-0.07, 0.07))
    assert math.fsum(left.values()) == pytest.approx(1.0)
    assert left["short_strided"] == pytest.approx(right["overstepping"])
    assert left["fills_the_print"] == pytest.approx(right["fills_the_print"])


def test_on_the_edge_it_is_even_money():
    assert weigh_classes(replace(BELIEF, mean=0.06), 0.06)["overstepping"] == pytest.approx(0.5)


def test_a_well_known_spread_gives_the_normal_probability():
    sure = replace(BELIEF, freedom=1e6)
    expected = stats.norm.cdf((-0.06 + 0.07) / math.sqrt(0.004**2 + 0.003**2 + 0.02**2 / 6))
    assert weigh_classes(sure, 0.06)["short_strided"] == pytest.approx(expected, abs=1e-4)


def test_a_guessed_spread_widens_the_doubt():
    few, many = (replace(BELIEF, freedom=f).interval() for f in (3, 300))
    assert few[0] < many[0] < BELIEF.mean < many[1] < few[1]
    # where measuring error rules, the guess hardly matters
    measured = replace(BELIEF, common=0.05)
    assert measured.effective_freedom > 1000


def test_spread_is_part_assumed_and_part_seen():
    measures = {
        "overreach": overreach(-0.05, n=6, spread=0.01),
        "overreach_left": overreach(-0.04),
        "overreach_right": overreach(-0.06),
    }
    whole, left = (form_beliefs(measures, SETTINGS)[key] for key in (None, "left"))
    # weight 3 of 0.025 against 6 - 2 degrees of freedom of 0.01
    assert whole.spread == pytest.approx(math.sqrt((3 * 0.025**2 + 4 * 0.01**2) / 7))
    assert whole.freedom == 7
    assert whole.weight == pytest.approx((1 / 3 + 1 / 3) / 4)
    assert (left.mean, left.weight, left.spread) == (-0.04, 1 / 3, whole.spread)


def test_one_stride_rests_on_the_assumed_spread():
    one = overreach(-0.09, n=1, spread=None)
    beliefs = form_beliefs(
        {"overreach": one, "overreach_left": one, "overreach_right": Unmeasured(reason="hidden")}, SETTINGS
    )
    assert set(beliefs) == {None, "left"}
    assert beliefs[None].spread == pytest.approx(0.025)
    assert beliefs[None].freedom == 3
    assert name_class(weigh_classes(beliefs[None], 0.06), SETTINGS) == "undecided"


def test_nothing_measured_nothing_believed():
    none = Unmeasured(reason="hidden")
    assert (
        form_beliefs(dict.fromkeys(("overreach", "overreach_left", "overreach_right"), none), SETTINGS) == {}
    )


def test_without_scale_the_band_and_the_assumed_spread_are_shares():
    one = overreach(-0.05, unit="stride", n=1, spread=None)
    beliefs = form_beliefs(
        {"overreach": one, "overreach_left": one, "overreach_right": Unmeasured(reason="hidden")}, SETTINGS
    )
    assert beliefs[None].spread == pytest.approx(SETTINGS.assumed_spread_share)
    assert (band_of("m", SETTINGS), band_of("stride", SETTINGS)) == (0.06, 0.05)


def test_a_class_is_named_from_the_set_probability_up():
    probability = {"short_strided": 0.92, "fills_the_print": 0.08, "overstepping": 0.0}
    assert name_class(probability, SETTINGS) == "short_strided"
    assert name_class(probability, Settings(min_probability=0.95)) == "undecided"
    assert judge_side(replace(BELIEF, mean=0.0), 0.06, SETTINGS).stride_class == "fills_the_print"


def test_more_strides_settle_what_is_off_the_edge():
    undecided = replace(BELIEF, mean=-0.068, weight=1 / 2, n=2, freedom=3)
    assert name_class(weigh_classes(undecided, 0.06), SETTINGS) == "undecided"
    more = strides_to_settle(undecided, 0.06, SETTINGS)
    assert 1 < more <= MOST_STRIDES
    assert name_class(weigh_classes(undecided.with_more(more), 0.06), SETTINGS) == "short_strided"
    assert name_class(weigh_classes(undecided.with_more(more - 1), 0.06), SETTINGS) == "undecided"


def test_strides_do_not_settle_what_is_common():
    shared = replace(BELIEF, mean=-0.07, common=0.02)
    assert strides_to_settle(shared, 0.06, SETTINGS) is None
    needed = common_error_to_settle(shared, 0.06, SETTINGS)
    assert needed == pytest.approx(0.01 / 1.2816, rel=1e-4)
    endless = replace(shared, random=0.0, weight=1e-9, freedom=1e6)
    assert (
        name_class(weigh_classes(replace(endless, common=needed * 0.99), 0.06), SETTINGS) == "short_strided"
    )
    assert name_class(weigh_classes(replace(endless, common=needed * 1.01), 0.06), SETTINGS) == "undecided"
