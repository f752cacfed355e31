"""Rendered clips: the pictures show what the truth says, and the same seed gives the same clip."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from stride.simulate.camera import CameraKind
from stride.simulate.scene import Scene, draw_scene, render
from stride.simulate.truth import floor_px, truth_of
from stride.walk.limbs import LIMBS

CAMERAS: tuple[CameraKind, ...] = ("tripod", "handheld", "panning")
SMALL = (640, 360)


def plain_scene(seed: int, **options) -> Scene:
    """A scene without grain, blur or shadow, with pale hooves on a dark floor."""
    scene = draw_scene(
        np.random.default_rng(seed), handler="none", post="none", floor="rubber", frame_rate=30.0, **options
    )
    light = replace(
        scene.light, noise=0.0, blur_px=0.0, shutter=1e-4, shadow=0.0, level=1.0, falloff=0.0, ambient=0.9
    )
    return replace(
        scene, light=light, look=replace(scene.look, hoof_colour=(200, 220, 230), mud=0.0, coat="white")
    )


def some_frames(scene: Scene, count: int) -> Scene:
    n = len(scene.times)
    return replace(scene, times=scene.times[np.linspace(0.25 * n, 0.75 * n, count).astype(int)])


def edge_ahead(image, toe_px, ahead):
    """Distance from the toe tip, along the way the animal goes, to where the hoof begins (px)."""
    along = np.arange(-14, 15)
    x = (toe_px[0] + ahead * along).astype(np.float32)[None]
    y = np.full(x.shape, toe_px[1] - 1.5, np.float32)
    line = cv2.remap(image.mean(axis=2).astype(np.float32), x, y, cv2.INTER_LINEAR)[0]
    middle = (line[-4:].mean() + line[:8].max()) / 2
    inside = np.flatnonzero(line >= middle)
    j = inside[-1]
    return along[j] + (line[j] - middle) / (line[j] - line[j + 1]) if j + 1 < len(line) else np.inf


@pytest.mark.parametrize("seed", range(2))
def test_a_standing_hoof_begins_at_the_true_toe_tip(seed):
    scene = some_frames(plain_scene(seed), 6)
    truth = truth_of(scene)
    ahead = 1 if scene.walk.direction == "left_to_right" else -1
    gaps = []
    for frame in render(scene):
        for k in range(4):
            x, y = truth.toes_px[frame.index, k]
            flat = truth.toes[frame.index, k, 2] == 0 and abs(truth.pitch[frame.index, k]) < 0.02
            if flat and truth.visible[frame.index, k] and 40 < x < 1240 and y < 700:
                gaps.append(edge_ahead(frame.image, (x, y), ahead))
    assert len(gaps) >= 8
    # A millimetre and a half above the floor the slanted toe has drawn back by about a pixel.
    assert abs(np.median(gaps) + 0.75) < 0.5
    assert np.quantile(np.abs(gaps), 0.9) < 2.5


@pytest.mark.parametrize("camera", CAMERAS)
def test_standing_toes_lie_where_the_floor_map_puts_their_prints(camera):
    scene = draw_scene(np.random.default_rng(4), camera=camera, size_px=SMALL, frame_rate=20.0)
    truth = truth_of(scene)
    for one in truth.prints:
        for frame in range(*(one.frames or (0, 0))):
            spot = floor_px(truth.floor_to_px[frame], np.array([one.xy]))[0]
            assert np.allclose(spot, truth.toes_px[frame, LIMBS.index(one.limb)], atol=1e-6)
            held = floor_px(truth.to_first[frame], spot[None])[0]
            assert np.allclose(held, one.xy_px, atol=1e-6)


def test_a_still_camera_holds_still_and_a_turning_one_turns():
    for camera, turned in zip(CAMERAS, ((0, 1e-9), (1.0, 80.0), (300.0, 1e9)), strict=True):
        scene = draw_scene(np.random.default_rng(2), camera=camera, size_px=(1280, 720), frame_rate=20.0)
        matrix = scene.camera.floor_to_px(scene.times)
        spots = np.array([floor_px(one, np.zeros((1, 2)))[0] for one in matrix])
        travel = np.ptp(spots, axis=0).max()
        assert turned[0] <= travel <= turned[1]


def test_a_turning_camera_sweeps_forty_to_ninety_degrees():
    for seed in range(6):
        scene = draw_scene(np.random.default_rng(seed), camera="panning", size_px=SMALL)
        yaw = np.degrees(np.interp(scene.times, *scene.camera.turning))
        assert 35 < np.ptp(yaw) < 95


def test_the_same_seed_renders_the_same_pictures():
    pictures = []
    for seed in (7, 7, 8):
        scene = some_frames(draw_scene(np.random.default_rng(seed), size_px=SMALL), 2)
        pictures.append(np.stack([frame.image for frame in render(scene)]))
    assert np.array_equal(pictures[0], pictures[1])
    assert not np.array_equal(pictures[0], pictures[2])
    assert pictures[0].dtype == np.uint8 and pictures[0].shape == (2, 360, 640, 3)


@pytest.mark.parametrize("camera", CAMERAS)
def test_the_barn_behind_keeps_its_place_on_the_floor(camera):
    """A patch of empty floor, found again in a later frame, lies where the floor map says."""
    scene = replace(plain_scene(5, camera=camera), empty=True)
    scene = replace(scene, barn=replace(scene.barn, floor="concrete"), times=scene.times[60:66:5])
    first, second = (frame.image for frame in render(scene))
    truth = truth_of(scene)
    spots = floor_px(truth.floor_to_px[0], np.array([[x, 0.2] for x in (-1.5, -0.6, 0.3, 1.2)]))
    checked = 0
    for spot in spots:
        x, y = np.round(spot).astype(int)
        if not (60 < x < 1220 and 60 < y < 660):
            continue
        checked += 1
        patch = first[y - 16 : y + 17, x - 16 : x + 17]
        expected = floor_px(np.linalg.inv(truth.to_first[1]), np.array([[x, y]], dtype=float))[0]
        low = np.round(expected).astype(int) - 36
        window = second[low[1] : low[1] + 73, low[0] : low[0] + 73]
        _, _, _, best = cv2.minMaxLoc(cv2.matchTemplate(window, patch, cv2.TM_CCOEFF_NORMED))
        assert np.hypot(*(low + best + 16 - expected)) < 1.5
    assert checked >= 1


def test_uneven_clocks_and_missing_frames_stay_in_order():
    scene = draw_scene(np.random.default_rng(3), jitter=0.004, dropped=0.05, frame_rate=30.0)
    step = np.diff(scene.times)
    assert step.min() > 0 and step.max() > 1.8 / 30
    assert np.std(step) > 0.002


@pytest.mark.parametrize("action", ["trot", "halt", "stand", "empty"])
def test_refusable_clips_render_too(action):
    scene = some_frames(draw_scene(np.random.default_rng(1), action=action, size_px=(320, 180)), 1)
    frame = next(render(scene))
    assert frame.image.shape == (180, 320, 3)
    truth = truth_of(scene)
    assert bool(truth.prints) == (action != "empty")
    assert (truth.strides == ()) == (action in ("stand", "empty"))


def test_a_second_animal_and_a_handler_are_seen():
    base = some_frames(draw_scene(np.random.default_rng(9), handler="none", post="none", size_px=SMALL), 1)
    more = some_frames(
        draw_scene(np.random.default_rng(9), handler="far", post="none", companion="standing", size_px=SMALL),
        1,
    )
    alone = replace(more, handler=None, companion=None)
    pair, one = (next(render(scene)).image.astype(int) for scene in (more, alone))
    assert (np.abs(pair - one).max(axis=2) > 30).mean() > 0.02
    assert base.companion is None and base.handler is None
