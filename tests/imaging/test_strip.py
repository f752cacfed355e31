from __future__ import annotations

import cv2
import numpy as np
import pytest

from stride.imaging.strip import STEP, BandRecorder
from stride.numeric.homography import apply_homography

SIZE = (1280, 720)


def paint(seed=0, size=SIZE):
    rng = np.random.default_rng(seed)
    picture = cv2.GaussianBlur(rng.uniform(0, 255, (size[1], size[0])), (0, 0), 3)
    return cv2.normalize(picture, None, 20, 230, cv2.NORM_MINMAX).astype(np.uint8)


def record(pictures, times, size=SIZE):
    recorder = BandRecorder(size)
    for index, (t, picture) in enumerate(zip(times, pictures, strict=True)):
        recorder.add(index, t, picture)
    return recorder


def still(count):
    return np.tile(np.eye(3), (count, 1, 1)), np.ones(count, dtype=bool)


@pytest.mark.parametrize("frame_rate", [10.0, 15.0, 24.0, 25.0, 30.0, 50.0, 60.0, 119.88])
def test_steps_are_even_whatever_the_frame_rate(frame_rate):
    times = np.arange(0, 2.0, 1 / frame_rate)
    picture = paint(size=(320, 180))
    band = record([picture] * len(times), times, (320, 180)).finish(*still(len(times)))
    np.testing.assert_allclose(np.diff(band.t), STEP)
    shown = times[band.frames]
    assert np.abs(shown - band.t).max() <= max(0.5 / frame_rate, 0.03) + 1e-9


def test_keeps_little_of_a_fast_clip():
    times = np.arange(240) / 60
    recorder = record([paint(size=(640, 360))] * 240, times, (640, 360))
    band = recorder.finish(*still(240))
    assert len(band.pixels) == pytest.approx(4 * 15, abs=1)


def test_reduces_to_a_working_size_and_says_where_it_came_from():
    picture = paint()
    band = record([picture] * 20, np.arange(20) * STEP).finish(*still(20))
    assert band.reduction == 2
    assert band.view_width == band.width == 640
    # The middle of a 2 × 2 block of pixels is one pixel of the band.
    held = apply_homography(band.to_held, np.array([[10.0, 20.0]]))[0]
    assert held == pytest.approx([20.5, 40.5 + int(0.35 * 720)])
    block = picture[int(held[1]) : int(held[1]) + 2, int(held[0]) : int(held[0]) + 2]
    assert int(band.pixels[0, 20, 10]) == pytest.approx(block.mean(), abs=1)


def test_a_moving_camera_is_laid_on_the_held_picture():
    world = paint(size=(1000, 500))
    shifts = [(0, 0), (40, 6), (90, 3), (140, 8)] * 5
    pictures = [world[y : y + 360, x : x + 640] for x, y in shifts]
    to_first = np.array([[[1, 0, x], [0, 1, y], [0, 0, 1.0]] for x, y in shifts])
    band = record(pictures, np.arange(20) * STEP, (640, 360)).finish(to_first, np.ones(20, dtype=bool))
    assert band.width > 640 + 130
    seen = (band.pixels > 0).all(axis=0)
    spread = np.ptp(band.pixels[:, seen].astype(int), axis=0)
    assert seen.mean() > 0.3
    assert np.percentile(spread, 95) <= 2
    row, column = np.argwhere(seen)[1000]
    x, y = apply_homography(band.to_held, np.array([[column, row]], dtype=float))[0]
    assert int(band.pixels[0, row, column]) == pytest.approx(int(world[round(y), round(x)]), abs=3)


def test_frames_whose_motion_is_lost_show_nothing():
    pictures = [paint(size=(640, 360))] * 20
    to_first, held = still(20)
    to_first[3:, 0, 2] = 5.0
    held[7:9] = False
    band = record(pictures, np.arange(20) * STEP, (640, 360)).finish(to_first, held)
    lost = np.isin(band.frames, [7, 8])
    assert lost.any()
    assert (band.pixels[lost] == 0).all()
    assert (band.pixels[~lost] > 0).any(axis=(1, 2)).all()
