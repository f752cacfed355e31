"""Simulated marks lie where a user could have placed them."""

from __future__ import annotations

import numpy as np
import pytest

from stride.simulate.marks import marks_from_truth
from stride.simulate.scene import draw_scene
from stride.simulate.truth import floor_px, truth_of
from stride.walk.limbs import LIMBS

SIZE = (640, 360)


@pytest.fixture(scope="module")
def truth():
    scene = draw_scene(
        np.random.default_rng(12),
        camera="handheld",
        handler="none",
        post="none",
        size_px=SIZE,
        frame_rate=20.0,
    )
    return truth_of(scene)


def test_exact_marks_lie_on_visible_standing_toes(truth):
    marks = marks_from_truth(truth, np.random.default_rng(0), per_stance=3)
    assert marks["format"] == "stride-marks" and marks["version"] == 1
    for mark in marks["hooves"]:
        k = LIMBS.index(mark["limb"])
        assert truth.visible[mark["frame"], k]
        assert truth.toes[mark["frame"], k, 2] == 0.0
        assert np.allclose(mark["xy_px"], truth.toes_px[mark["frame"], k], atol=0.006)
        assert 0 <= mark["xy_px"][0] < SIZE[0] and 0 <= mark["xy_px"][1] < SIZE[1]
    stances = sum(one.visible_frames > 0 for one in truth.prints)
    assert stances <= len(marks["hooves"]) <= 3 * stances


def test_floor_marks_agree_with_the_floor_map(truth):
    marks = marks_from_truth(truth, np.random.default_rng(0))
    assert len(marks["ground"]) >= 4
    for mark in marks["ground"]:
        spot = floor_px(truth.floor_to_px[mark["frame"]], np.array([mark["xy_m"]]))[0]
        assert np.allclose(spot, mark["xy_px"], atol=0.006)


def test_a_length_mark_spans_the_stick(truth):
    marks = marks_from_truth(truth, np.random.default_rng(0), ground="length")
    (mark,) = marks["lengths"]
    assert mark["length_m"] == 2.0 and "ground" not in marks
    back = floor_px(
        np.linalg.inv(truth.floor_to_px[mark["frame"]]), np.array([mark["from_px"], mark["to_px"]])
    )
    assert np.linalg.norm(back[1] - back[0]) == pytest.approx(2.0, abs=0.01)


def test_noise_and_skipping_have_their_size(truth):
    exact = marks_from_truth(truth, np.random.default_rng(0), per_stance=8)["hooves"]
    spots = []
    for mark in marks_from_truth(truth, np.random.default_rng(1), per_stance=8, noise_px=1.5)["hooves"]:
        spots.append(np.subtract(mark["xy_px"], truth.toes_px[mark["frame"], LIMBS.index(mark["limb"])]))
    assert np.std(spots) == pytest.approx(1.5, rel=0.15)
    fewer = marks_from_truth(truth, np.random.default_rng(1), per_stance=8, skip=0.5, ground="none")
    assert len(fewer["hooves"]) < 0.8 * len(exact)
    assert "ground" not in fewer and "lengths" not in fewer
