import doctest

import pytest

from stride.quantity import Measured, Unmeasured
from stride.walk import wording
from stride.walk.verdict import SideVerdict, Verdict
from stride.walk.wording import (
    class_meaning,
    class_name,
    explain,
    family_of,
    limb_name,
    name_of,
    say,
    say_amount,
    say_judgement,
    say_number,
    say_overreach,
    say_probability,
    say_time,
    say_verdict,
    unit_for,
)

from ..builders import make_analysis


def measured(value, unit="m", random=0.003, common=0.0):
    return Measured(value=value, unit=unit, random=random, common=common)


def test_the_examples_in_the_docstrings_hold():
    assert doctest.testmod(wording).failed == 0


def test_every_measure_of_a_walk_has_a_name_an_explanation_and_a_unit():
    for name, quantity in make_analysis(hip_height=1.3).measures.items():
        assert "_" not in name_of(name) and name_of(name)[0].isupper()
        assert explain(name).endswith(".")
        assert unit_for(quantity.unit, name).label
    names = [name_of(name) for name in make_analysis().measures]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("measure", "name"),
    [
        ("overreach", "Overreach, mean of the walk"),
        ("overreach_right", "Overreach, right side"),
        ("stance_time_left_fore", "Time on the ground, left front foot"),
        ("step_length_hind", "Step length, hind feet"),
        ("evenness_step_time_fore", "Evenness of step time, front feet"),
        ("support_under_two", "Fewer than two feet down"),
        ("hock_angle_left_hind", "Hock angle, left hind foot"),
        ("topline_dip", "Topline dip"),
        ("ear_angle_left", "Ear angle, left side"),
    ],
)
def test_names(measure, name):
    assert name_of(measure) == name


def test_an_unknown_measure_has_no_explanation_and_keeps_its_unit():
    assert explain("topline_dip") == ""
    assert family_of("topline_dip_left") == "topline_dip"
    assert say(measured(3.2, unit="kg", random=0.1), "topline_dip") == "3.20 ± 0.20 kg"
    assert say(measured(0.4, unit="1", random=0.02), "topline_dip") == "0.40 ± 0.04 (no unit)"


@pytest.mark.parametrize(
    ("quantity", "measure", "words"),
    [
        (measured(-0.081, random=0.003, common=0.002), "overreach", "−8.1 ± 0.7 cm"),
        (measured(0.081, random=0.003, common=0.002), "overreach", "+8.1 ± 0.7 cm"),
        (measured(1.556, random=0.002, common=0.0094), "stride_length", "155.6 ± 1.9 cm"),
        (measured(1.556, random=0.05), "stride_length", "156 ± 10 cm"),
        (measured(-0.059, unit="stride", random=0.004), None, "−5.9 ± 0.8 % of a stride"),
        (measured(1.2345, unit="s", random=0.008), "stride_time", "1.234 ± 0.016 s"),
        (measured(1.26, unit="m/s", random=0.02), "speed", "1.26 ± 0.04 m/s"),
        (measured(0.81, unit="stride/s", random=0.01), "speed", "0.81 ± 0.02 strides per second"),
        (measured(193.5, unit="1/min", random=1.2), "cadence", "193.5 ± 2.4 per minute"),
        (measured(2.478, unit="rad", random=0.02), "hock_angle_left_hind", "142.0 ± 2.2°"),
        (measured(0.652, unit="1", random=0.01), "duty_factor_left_hind", "65.2 ± 2.0 % of the stride"),
        (measured(-0.02, unit="1", random=0.012), "evenness_stance_fore", "−2.0 ± 2.4 %"),
        (
            measured(1.18, unit="1", random=0.02),
            "stride_length_per_hip_height",
            "1.18 ± 0.04 times hip height",
        ),
        (measured(0.122, unit="1", random=0.005), "froude", "0.122 ± 0.010 (no unit)"),
        (Unmeasured(reason="hip height was not given"), "froude", "not measured: hip height was not given"),
    ],
)
def test_values_are_said_in_a_persons_units_at_the_digits_their_doubt_supports(quantity, measure, words):
    assert say(quantity, measure) == words


def test_a_doubt_that_is_there_is_never_rounded_away_and_one_that_is_not_is_zero():
    assert say(measured(0.05, random=0.00001)) == "5.0 ± 0.1 cm"
    assert say(measured(0.05, random=0.0)) == "5.0 ± 0.0 cm"
    assert say_amount(1e-18, "m") == "0.0 cm"


def test_doubt_and_unit_can_be_left_out():
    assert say(measured(1.5), doubt=False) == "150.0 cm"
    assert say(measured(1.5), unit=False) == "150.0 ± 0.6"


def test_zero_has_no_sign():
    assert say_number(-0.0001, 2, signed=True) == "0.00"


@pytest.mark.parametrize(
    ("value", "words", "short"),
    [
        (-0.081, "8.1 ± 0.6 cm short of the front print", "8.1 ± 0.6 cm short"),
        (0.03, "3.0 ± 0.6 cm past the front print", "3.0 ± 0.6 cm past"),
        (-0.0003, "level with the front print, ± 0.6 cm", "level, ± 0.6 cm"),
    ],
)
def test_overreach_in_words(value, words, short):
    assert say_overreach(measured(value)) == words
    assert say_overreach(measured(value), short=True) == short
    assert "±" not in say_overreach(measured(value), doubt=False)


def test_a_moment_without_known_doubt_says_so():
    assert say_time(1.2, None) == "1.200 s, doubt not known"


def test_probability_is_never_rounded_to_certainty():
    words = [say_probability(p) for p in (0.0, 0.004, 0.5, 0.9949, 0.996, 1.0)]
    assert words == ["under 1 %", "under 1 %", "50 %", "99 %", "over 99 %", "over 99 %"]


def test_limbs_are_front_and_hind():
    assert [limb_name(limb) for limb in ("left_fore", "right_hind")] == ["left front", "right hind"]


def test_a_named_and_an_undecided_judgement():
    odds = {"short_strided": 0.93, "fills_the_print": 0.07, "overstepping": 0.0}
    named = SideVerdict(stride_class="short_strided", probability=odds)
    assert say_judgement(named) == "Short-strided, probability 93 %."
    undecided = SideVerdict(stride_class="undecided", probability=odds | {"short_strided": 0.7})
    assert say_judgement(undecided) == "Undecided: likeliest is “short-strided”, probability 70 %."
    assert say_judgement(SideVerdict(stride_class="undecided", probability={})) == "Nothing could be judged."


def test_the_verdict_says_the_walk_each_side_and_what_would_settle_it():
    verdict: Verdict = make_analysis(overreach_left=0.01, overreach_right=-0.11, random_factor=5).verdict
    words = say_verdict(verdict)
    assert words[0].startswith("Undecided")
    assert words[1] == class_meaning("undecided")
    assert words[2].startswith("Left side alone: fills the print")
    assert words[3].startswith("Right side alone: short-strided")
    assert words[4] == verdict.to_settle
    assert {class_name(c) for c in ("short_strided", "fills_the_print", "overstepping", "undecided")} == {
        "Short-strided",
        "Fills the print",
        "Overstepping",
        "Undecided",
    }
