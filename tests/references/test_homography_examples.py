"""The plane-to-plane fit against worked inputs of others."""

from __future__ import annotations

import numpy as np
import pytest

from stride.numeric.homography import apply_homography, fit_homography

from .homography_examples import EXAMPLES


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.name)
def test_four_pairs_give_the_map(example):
    points, images = np.array(example.points, dtype=float), np.array(example.images, dtype=float)
    fit = fit_homography(points, images)
    assert fit.residual == pytest.approx(np.zeros((4, 2)), abs=1e-9)
    found = apply_homography(fit.matrix, np.array([example.check[0]]))[0]
    assert found == pytest.approx(np.array(example.check[1]), abs=0.6 * 10.0**-example.decimals)
    if example.matrix is not None:
        assert fit.matrix == pytest.approx(np.array(example.matrix), abs=1e-10)
