from __future__ import annotations

import math

import numpy as np
import pytest

from stride.numeric.agreement import (
    measure_agreement,
    measure_coverage,
    repeatability,
    summarise_errors,
    within_subject_sd,
)


def test_limits_are_about_the_bias():
    agreement = measure_agreement([1.0, 2.0, 3.0, 4.0], [0.9, 2.1, 2.9, 4.1], multiple=2.0)
    assert agreement.bias == pytest.approx(0.0)
    assert agreement.limits[1] == pytest.approx(2 * agreement.sd)
    assert agreement.limits[0] == pytest.approx(-agreement.limits[1])


@pytest.mark.parametrize(
    ("first", "second"),
    [([1.0], [1.0]), ([1.0, 2.0], [1.0]), ([1.0, math.nan], [1.0, 2.0]), ([[1.0, 2.0]], [[1.0, 2.0]])],
)
def test_agreement_refuses_what_it_cannot_use(first, second):
    with pytest.raises(ValueError, match=r"agreement needs"):
        measure_agreement(first, second)


def test_within_subject_sd_of_pairs():
    assert within_subject_sd([[1.0, 3.0], [5.0, 5.0]]) == pytest.approx(1.0)
    assert repeatability([[1.0, 3.0], [5.0, 5.0]]) == pytest.approx(1.96 * math.sqrt(2))


@pytest.mark.parametrize("values", [[1.0, 2.0], [[1.0], [2.0]], [[1.0, math.inf]]])
def test_within_subject_sd_refuses_what_it_cannot_use(values):
    with pytest.raises(ValueError, match=r"repeats need"):
        within_subject_sd(values)


def test_repeatability_is_exceeded_one_time_in_twenty():
    rng = np.random.default_rng(3)
    values = rng.normal(size=(400, 1)) * 5 + rng.normal(size=(400, 2))
    differences = np.abs(np.diff(values, axis=1))
    assert np.mean(differences > repeatability(values)) == pytest.approx(0.05, abs=0.025)


def test_coverage_counts_intervals_that_hold_the_truth():
    coverage = measure_coverage(np.zeros(20), np.r_[np.full(19, 1.9), 2.1], np.ones(20))
    assert (coverage.held, coverage.n, coverage.share) == (19, 20, 0.95)
    # exact binomial interval of 19 in 20, as in any table of Clopper-Pearson limits
    assert coverage.interval == pytest.approx((0.7513, 0.9987), abs=1e-4)
    assert measure_coverage([0.0], [1.2], [1.0], level=0.68).held == 0
    # none or all of n held: the far end is 1 less the n-th root of 0.025
    assert measure_coverage(np.zeros(10), np.full(10, 9.0), np.ones(10)).interval == pytest.approx(
        (0, 0.30850), abs=1e-5
    )
    assert measure_coverage(np.zeros(10), np.zeros(10), np.ones(10)).interval == pytest.approx(
        (0.69150, 1), abs=1e-5
    )


def test_coverage_refuses_what_it_cannot_use():
    with pytest.raises(ValueError, match=r"coverage needs"):
        measure_coverage([], [], [])
    with pytest.raises(ValueError, match=r"coverage needs"):
        measure_coverage([1.0], [1.0, 2.0], [1.0])


def test_summary_of_errors():
    summary = summarise_errors([-3.0, 1.0, 2.0])
    assert (summary.n, summary.bias, summary.median_size) == (3, 0.0, 2.0)
    assert summary.size_95 == pytest.approx(2.9)
    with pytest.raises(ValueError, match=r"at least 1 error"):
        summarise_errors([])
