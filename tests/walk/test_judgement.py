from __future__ import annotations

import math
from dataclasses import replace

import pytest

from stride.quantity import Measured, Unmeasured
from stride.walk.cautions import LAMENESS
from stride.walk.judgement import OTHER_CAUSES, judge
from stride.walk.measures import measure_all
from stride.walk.settings import Settings
from stride.walk.trackway import lay_trackway

from ..footfalls import flat_ground, walk_evenly

ERRORS = {"error": (0.004, 0.008), "limb_error": (0.002, 0.004), "event_error": 0.006}


def measures_of(overreach, *, kind="plane", prints_per_limb=5, stride_length=1.4):
    prints = walk_evenly(stride_length, overreach=overreach, prints_per_limb=prints_per_limb, **ERRORS)
    return measure_all(lay_trackway(prints, flat_ground(kind, scale_error=0.005)))


def verdict_of(overreach, **walk):
    return judge(measures_of(overreach, **walk), Settings())


@pytest.mark.parametrize(
    ("overreach", "expected"),
    [(-0.15, "short_strided"), (0.0, "fills_the_print"), (0.12, "overstepping"), (-0.062, "undecided")],
)
def test_the_class_of_the_mean(overreach, expected):
    verdict = verdict_of(overreach)
    assert verdict.stride_class == expected
    assert math.fsum(verdict.probability.values()) == pytest.approx(1.0)
    assert set(verdict.sides) == {"left", "right"}
    if expected != "undecided":
        assert verdict.probability[expected] >= 0.9
        assert verdict.to_settle is None


def test_reasons_name_the_walk_each_side_and_the_band():
    reasons = " ".join(verdict_of(-0.15).reasons)
    assert "On average the hind foot lands 15.0 ±" in reasons and "(8 strides)" in reasons
    assert "left hind alone lands 15.0 ±" in reasons and "right hind alone lands 15.0 ±" in reasons
    assert "within 6.0 cm of the front print counts as filling it" in reasons


def test_linked_build_is_a_pointer():
    short, past = verdict_of(-0.15), verdict_of(0.15)
    assert "post-legged" in short.linked_build and "pointer, not a finding" in short.linked_build
    assert "sickle-hocked" in past.linked_build and "no published measurement" in past.linked_build
    assert verdict_of(0.0).linked_build is None
    assert verdict_of(-0.062).linked_build is None


@pytest.mark.parametrize(
    ("overreach", "degrees", "speaks_against"),
    [
        (-0.15, 140, True),
        (-0.15, 150, False),
        (-0.15, 165, False),
        (0.15, 166, True),
        (0.15, 155, False),
        (0.15, 135, False),
    ],
)
def test_a_measured_hock_may_contradict_the_link(overreach, degrees, speaks_against):
    angle = Measured(value=math.radians(degrees), unit="rad", random=math.radians(1.5), common=0.0, n=2)
    verdict = judge({**measures_of(overreach), "hock_angle_left_hind": angle}, Settings())
    assert f"{degrees}" in verdict.linked_build
    assert ("speaks against" in verdict.linked_build) is speaks_against


def test_other_causes_unless_the_print_is_filled():
    for overreach in (-0.15, 0.15, -0.062):
        assert verdict_of(overreach).other_causes == OTHER_CAUSES
    assert verdict_of(0.0).other_causes == ()


def test_a_one_sided_shortfall_is_never_averaged_away():
    verdict = verdict_of({"left": -0.12, "right": 0.09})
    assert verdict.stride_class == "fills_the_print"
    assert verdict.sides["left"].stride_class == "short_strided"
    assert verdict.sides["right"].stride_class != "short_strided"
    assert any(
        "One-sided: the left hind foot falls short" in one and "hides it" in one for one in verdict.reasons
    )
    assert LAMENESS in verdict.cautions
    assert verdict.other_causes == OTHER_CAUSES


def test_one_stride_a_side_gives_an_honest_doubt():
    assert verdict_of(-0.075, prints_per_limb=2).stride_class == "undecided"
    assert verdict_of(-0.15, prints_per_limb=2).stride_class == "short_strided"
    assert (
        verdict_of(-0.15, prints_per_limb=2).probability["short_strided"]
        < verdict_of(-0.15, prints_per_limb=6).probability["short_strided"]
    )


def test_more_strides_would_settle_it():
    verdict = verdict_of(-0.072, prints_per_limb=2)
    assert verdict.stride_class == "undecided"
    assert "more strides like these would settle it" in verdict.to_settle


def test_the_edge_cannot_be_settled():
    assert "edge of the band: no number of strides" in verdict_of(-0.06).to_settle


def test_a_better_scale_would_settle_it():
    measures = measures_of(-0.08)
    shared = {
        name: replace(one, common=0.03)
        for name, one in measures.items()
        if name.startswith("overreach") and one
    }
    verdict = judge({**measures, **shared}, Settings())
    assert verdict.stride_class == "undecided"
    assert "More strides alone would not settle it" in verdict.to_settle
    assert "3.0 cm" in verdict.to_settle and "1.6 cm" in verdict.to_settle


def test_near_the_edge_takes_too_many_strides():
    assert "more than 40 more strides" in verdict_of(-0.0645, prints_per_limb=2).to_settle


def test_without_scale_the_band_is_a_share_of_the_stride():
    verdict = verdict_of(-0.11 * 1.4, kind="none")
    assert verdict.stride_class == "short_strided"
    assert any("5.0 % of a stride of the front print" in one for one in verdict.reasons)
    assert any("no scale" in one for one in verdict.cautions)


def test_settings_move_the_band_and_the_bar():
    measures = measures_of(-0.15)
    assert judge(measures, Settings(band=0.2)).stride_class == "fills_the_print"
    assert judge(measures_of(-0.075), Settings(min_probability=0.6)).stride_class == "short_strided"


def test_nothing_measured_is_undecided_with_its_reason():
    nothing = dict.fromkeys(measures_of(0.0), Unmeasured(reason="no hind print could be paired"))
    verdict = judge(nothing, Settings())
    assert verdict.stride_class == "undecided"
    assert verdict.probability == {} and verdict.sides == {}
    assert verdict.reasons == ("Nothing could be judged: no hind print could be paired.",)
    assert "Film a longer stretch" in verdict.to_settle


def test_one_side_seen():
    prints = [one for one in walk_evenly(overreach=-0.15, **ERRORS) if one.limb.startswith("right")]
    verdict = judge(measure_all(lay_trackway(prints, flat_ground())), Settings())
    assert set(verdict.sides) == {"right"}
    assert verdict.stride_class == "short_strided"
    assert any("left side was not measured" in one for one in verdict.cautions)


def test_longevity_is_never_promised():
    for overreach in (-0.15, 0.0, 0.15, {"left": -0.12, "right": 0.09}):
        verdict = verdict_of(overreach)
        words = " ".join([*verdict.reasons, *verdict.cautions, verdict.linked_build or ""]).lower()
        assert not any(word in words for word in ("longev", "last longer", "stay sound", "break down"))
