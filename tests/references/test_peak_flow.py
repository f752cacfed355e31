"""Agreement and repeatability against the worked examples of Bland and Altman."""

from __future__ import annotations

import numpy as np
import pytest

from stride.numeric.agreement import measure_agreement, repeatability, within_subject_sd

from . import peak_flow


def test_limits_of_agreement_as_printed():
    """Bias and SD to the printed digit; the paper made its limits from those rounded values."""
    found = measure_agreement(peak_flow.WRIGHT[0], peak_flow.MINI_WRIGHT[0], multiple=2.0)
    assert round(found.bias, 1) == peak_flow.PRINTED_BIAS
    assert round(found.sd, 1) == peak_flow.PRINTED_SD
    assert found.limits == pytest.approx(peak_flow.PRINTED_LIMITS, abs=0.1)


def test_limits_of_agreement_at_full_precision():
    found = measure_agreement(peak_flow.WRIGHT[0], peak_flow.MINI_WRIGHT[0])
    assert found.limits == pytest.approx(peak_flow.LIMITS_196, abs=1e-6)
    assert found.bias_interval == pytest.approx(peak_flow.BIAS_INTERVAL, abs=1e-4)
    assert found.limit_error == pytest.approx(peak_flow.LIMIT_ERROR, abs=1e-6)


@pytest.mark.parametrize(("meter", "table"), [("wright", peak_flow.WRIGHT), ("mini", peak_flow.MINI_WRIGHT)])
def test_within_subject_sd_and_repeatability(meter, table):
    values = np.transpose(table)
    assert within_subject_sd(values) == pytest.approx(peak_flow.WITHIN_SD[meter], abs=1e-4)
    assert repeatability(values, multiple=2.0) == pytest.approx(peak_flow.REPEATABILITY[meter], abs=0.005)


@pytest.mark.parametrize(("readings", "sd"), peak_flow.CHILDREN)
def test_standard_deviation_of_one_child(readings, sd):
    assert within_subject_sd([readings]) == pytest.approx(sd, abs=0.005)
