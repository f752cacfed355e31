"""The truth of a clip: what is hidden, what is written down and read back."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from stride.errors import OutputError, StrideError
from stride.simulate.scene import draw_scene
from stride.simulate.truth import load_truth, save_truth, truth_of
from stride.walk.limbs import LIMBS, side_of

SMALL = (640, 360)


@pytest.fixture(scope="module")
def scene():
    return draw_scene(np.random.default_rng(6), handler="none", post="none", size_px=SMALL, frame_rate=20.0)


@pytest.fixture(scope="module")
def truth(scene):
    return truth_of(scene)


def test_most_stances_of_a_clear_clip_are_visible(truth):
    inside = np.all((truth.toes_px > 2) & (truth.toes_px < np.array(SMALL) - 3), axis=2)
    assert truth.visible[inside].mean() > 0.85
    assert not truth.visible[~inside].any()


def test_only_nearer_legs_hide_a_hoof(truth):
    near = np.array([side_of(limb) == truth.near_side for limb in LIMBS])
    inside = np.all((truth.toes_px > 2) & (truth.toes_px < np.array(SMALL) - 3), axis=2)
    hidden = inside & ~truth.visible
    assert hidden[:, ~near].sum() > hidden[:, near].sum()


def test_prints_know_their_frames(truth):
    for one in truth.prints:
        if one.frames is not None:
            first, last = one.frames
            assert one.touch_down <= truth.times[first] and truth.times[last] <= one.lift_off
            assert one.visible_frames <= last - first + 1
            still = truth.toes[first : last + 1, LIMBS.index(one.limb)]
            assert np.ptp(still, axis=0).max() == 0.0


def test_a_post_hides_what_passes_behind_it(scene, truth):
    blocked = draw_scene(
        np.random.default_rng(6), handler="none", post="post", size_px=SMALL, frame_rate=20.0
    )
    assert blocked.post is not None
    there = truth_of(replace(scene, post=blocked.post))
    assert there.visible.sum() < truth.visible.sum()
    assert not np.any(there.visible & ~truth.visible)


def test_saved_and_read_back_it_is_the_same(truth, tmp_path):
    save_truth(truth, tmp_path / "clip.truth.json")
    again = load_truth(tmp_path / "clip.truth.json")
    for name in ("times", "floor_to_px", "to_first", "toes", "toes_px", "pitch"):
        assert np.allclose(getattr(again, name), getattr(truth, name), atol=1e-4)
    assert np.array_equal(again.visible, truth.visible)
    assert [one.frames for one in again.prints] == [one.frames for one in truth.prints]
    assert again.overreaches == pytest.approx(truth.overreaches) or len(again.overreaches) == len(
        truth.overreaches
    )
    assert again.plan["stride_length"] == pytest.approx(truth.plan["stride_length"])


def test_a_standing_animal_has_times_without_end(tmp_path):
    truth = truth_of(draw_scene(np.random.default_rng(1), action="stand", size_px=SMALL, frame_rate=5.0))
    save_truth(truth, tmp_path / "clip.truth.json")
    text = (tmp_path / "clip.truth.json").read_text()
    assert "Infinity" not in text and "NaN" not in text
    assert [one.lift_off for one in load_truth(tmp_path / "clip.truth.json").prints] == [np.inf] * 4


def test_strange_files_are_refused_in_words(truth, tmp_path):
    (tmp_path / "other.json").write_text(json.dumps({"format": "stride-truth", "version": 99}))
    with pytest.raises(StrideError, match="version 1 was needed"):
        load_truth(tmp_path / "other.json")
    with pytest.raises(OutputError, match="could not be written"):
        save_truth(truth, tmp_path / "missing" / "clip.truth.json")
