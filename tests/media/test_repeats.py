from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest

from stride.media.encoder import encode_clip
from stride.media.reader import open_clip
from stride.media.repeats import flag_repeats


def moving_scene(step: int, rng: np.random.Generator) -> np.ndarray:
    """Sensor noise everywhere, and a dark animal-sized block that has moved by so many pixels."""
    image = rng.normal(120, 2, (144, 256, 1)).repeat(3, axis=2)
    left = 20 + step
    image[50:100, left : left + 60] = rng.normal(60, 2, (50, 60, 1))
    return np.clip(image, 0, 255).astype(np.uint8)


def repeated_flags(path: Path, order: list[int], *, motion: int = 2, seed: int = 1) -> list[bool]:
    rng = np.random.default_rng(seed)
    scenes = {step: moving_scene(step * motion, rng) for step in sorted(set(order))}
    encode_clip(path, [(k / 30, scenes[step]) for k, step in enumerate(order)], crf=23)
    clip = open_clip(path)
    flags = [one.repeated for one in clip]
    assert clip.describe().timing.repeated == sum(flags)
    return flags


@pytest.mark.parametrize(
    "order",
    [
        list(range(20)),
        [*range(8), 7, *range(8, 16)],
        [*range(8), 7, 7, 7, *range(8, 16)],
        [n // 2 for n in range(24)],
        [n - n // 5 for n in range(25)],
    ],
    ids=["none", "one", "three in a row", "every second", "every fifth"],
)
def test_pictures_stored_twice_are_noticed(tmp_path, order):
    flags = repeated_flags(tmp_path / "clip.mp4", order)
    assert flags == [False] + [a == b for a, b in pairwise(order)]


def test_a_scene_without_motion_holds_no_repeats(tmp_path):
    image = np.full((144, 256, 3), 90, np.uint8)
    cv2.circle(image, (100, 70), 30, (200, 180, 160), -1)
    encode_clip(tmp_path / "clip.mp4", [(k / 30, image) for k in range(20)])
    assert open_clip(tmp_path / "clip.mp4").describe().timing.repeated == 0


def test_a_repeated_last_picture_is_noticed(tmp_path):
    assert repeated_flags(tmp_path / "clip.mp4", [*range(12), 11])[-1]


def test_pictures_come_in_order_and_at_most_three_are_read_ahead():
    read = []

    def pictures():
        for number in range(10):
            read.append(number)
            yield number, np.full((40, 60), number * 20, np.uint8)

    for number, (item, luma, repeated) in enumerate(flag_repeats(pictures())):
        assert (item, int(luma[0, 0]), repeated) == (number, number * 20, False)
        assert read[-1] <= number + 3


@pytest.mark.parametrize("shape", [(1, 1), (2, 3), (1, 500), (500, 2), (2160, 3840)])
def test_pictures_of_any_size_are_compared(shape):
    levels = [0, 40, 40, 80, 120]
    flags = [one for _, _, one in flag_repeats((k, np.full(shape, k, np.uint8)) for k in levels)]
    assert flags in ([False, False, True, False, False], [False] * 5)


def test_nothing_in_gives_nothing_out():
    assert list(flag_repeats([])) == []
