import cv2
import numpy as np
import pytest

from stride.imaging.overlap import find_shifts


def barn(seed: int) -> np.ndarray:
    smooth = cv2.GaussianBlur(np.random.default_rng(seed).normal(size=(270, 900)), (0, 0), 3)
    return np.clip(128 + 30 * smooth / smooth.std(), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("shift", [(0, 0), (60, -4), (-150, 6)])
def test_the_floor_tells_how_far_the_view_has_moved(shift):
    wide = barn(1)
    before = wide[10:260, 210:690]
    after = wide[10 - shift[1] : 260 - shift[1], 210 - shift[0] : 690 - shift[0]]
    shifts = find_shifts(before, after, top_row=160)
    assert np.abs(shifts[0] - shift).max() < 5


def test_what_stands_above_the_floor_does_not_matter():
    wide = barn(2)
    before, after = wide[10:260, 210:690].copy(), wide[10:260, 150:630].copy()
    cow = np.random.default_rng(3).integers(0, 255, (100, 250)).astype(np.uint8)
    before[30:130, 100:350] = after[30:130, 100:350] = cow
    assert np.abs(find_shifts(before, after, top_row=160)[0] - (60, 0)).max() < 5


def test_another_scene_is_not_taken_for_this_one():
    assert find_shifts(barn(4)[:250, :480], barn(5)[:250, :480], top_row=160) == []
