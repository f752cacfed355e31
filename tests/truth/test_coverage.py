"""Whether stated doubts are honest: simulated walks, seen with the errors their prints state."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stride.numeric.agreement import measure_coverage
from stride.simulate.gait import draw_plan, walk_animal
from stride.walk.judgement import judge
from stride.walk.measures import measure_all
from stride.walk.settings import Settings
from stride.walk.trackway import lay_trackway

from ..footfalls import flat_ground, observe
from .walks import true_measures

WALKS = 400
REPORTED = ("overreach_left", "overreach_right", "overreach", "stride_length", "cadence", "speed")


def see_walks(seed, walks, *, ground, per_limb=(3, 6), **errors):
    """Plan, true measures and found measures of many animals, each of its own seed."""
    for k in range(walks):
        rng = np.random.default_rng([seed, k])
        direction = "left_to_right" if rng.random() < 0.5 else "right_to_left"
        walk = walk_animal(
            draw_plan(rng), rng, prints_per_limb=int(rng.integers(*per_limb)), direction=direction
        )
        found = measure_all(lay_trackway(observe(walk, ground, rng, **errors), ground))
        yield walk, true_measures(walk), found


def coverage_by_name(seen):
    columns = {}
    for _, truth, found in seen:
        for name, value in truth.items():
            if found[name]:
                columns.setdefault(name, []).append((found[name].value, value, found[name].total))
    return {name: measure_coverage(*np.transpose(rows)) for name, rows in columns.items()}


@pytest.fixture(scope="module")
def coverage():
    return coverage_by_name(see_walks(41, WALKS, ground=flat_ground(scale_error=0.006, turn_error=0.004)))


@pytest.mark.parametrize("name", [*REPORTED, "stance_time_left_fore", "stance_time_right_hind"])
def test_95_in_100_intervals_hold_the_truth(coverage, name):
    """The target is 93 to 97 %; four hundred walks leave ± 2 % of chance to each share."""
    assert coverage[name].n > 0.99 * WALKS
    assert 0.93 <= coverage[name].share <= 0.97 or (
        coverage[name].interval[0] < 0.95 < coverage[name].interval[1]
    )


def test_intervals_of_every_measure_together(coverage):
    held, n = (sum(getattr(one, field) for one in coverage.values()) for field in ("held", "n"))
    assert len(coverage) == 25
    assert 0.94 <= held / n <= 0.96


@pytest.mark.parametrize(
    "conditions",
    [
        pytest.param({"per_limb": (2, 3)}, id="one stride a limb"),
        pytest.param(
            {"error": (0.02, 0.04), "limb_error": (0.02, 0.02), "event_error": 0.02}, id="large errors"
        ),
        pytest.param(
            {"error": (0.001, 0.001), "limb_error": (0.0, 0.0), "event_error": 0.001}, id="small errors"
        ),
    ],
)
def test_intervals_under_other_conditions(conditions):
    found = coverage_by_name(
        see_walks(42, 100, ground=flat_ground(scale_error=0.006, turn_error=0.004), **conditions)
    )
    shares = {name: round(one.share, 3) for name, one in found.items()}
    assert 0.93 <= np.mean(list(shares.values())) <= 0.97, shares
    assert min(shares.values()) > 0.95 - 4 * math.sqrt(0.95 * 0.05 / 100), shares


def test_intervals_without_scale():
    ground = flat_ground("none", scale_error=0.006, turn_error=0.004)
    rows = []
    for _, truth, found in see_walks(43, 100, ground=ground, ground_unit=311.0):
        for name in ("overreach_left", "overreach_right"):
            rows.append((found[name].value, truth[name] / truth["stride_length"], found[name].total))
        rows.append(
            (found["overreach_share"].value, truth["overreach_share"], found["overreach_share"].total)
        )
    held = measure_coverage(*np.transpose(rows))
    assert 0.92 <= held.share <= 0.98


def true_class(overreach, band):
    return "short_strided" if overreach < -band else "overstepping" if overreach > band else "fills_the_print"


@pytest.fixture(scope="module")
def verdicts():
    settings = Settings()
    rows = []
    ground = flat_ground(scale_error=0.006, turn_error=0.004)
    for walk, _, found in see_walks(44, 250, ground=ground, per_limb=(2, 6), error=(0.008, 0.015)):
        usual = {"left": walk.plan.overreach_left, "right": walk.plan.overreach_right}
        verdict = judge(found, settings)
        rows.append(
            (true_class(sum(usual.values()) / 2, settings.band), verdict.stride_class, verdict.probability)
        )
        for side, judged in verdict.sides.items():
            rows.append((true_class(usual[side], settings.band), judged.stride_class, judged.probability))
    return rows


def test_a_named_class_is_the_animals_own(verdicts):
    """Named at a probability of at least 0.90; the class is judged by what the animal usually does."""
    named = [(true, called) for true, called, _ in verdicts if called != "undecided"]
    assert len(named) > 0.6 * len(verdicts)
    assert np.mean([true == called for true, called in named]) >= 0.98


def test_probabilities_are_neither_bold_nor_timid(verdicts):
    chances = np.array(
        [(p, name == true) for true, _, probability in verdicts for name, p in probability.items()]
    )
    for low, high in ((0.05, 0.35), (0.35, 0.65), (0.65, 0.90)):
        told, happened = chances[(chances[:, 0] >= low) & (chances[:, 0] < high)].T
        doubt = 3 * math.sqrt(np.sum(told * (1 - told))) / len(told)
        assert abs(happened.mean() - told.mean()) < doubt, (low, told.mean(), happened.mean(), len(told))
