"""The camera followed on a small filmed floor whose every pose is known."""

from __future__ import annotations

from dataclasses import replace
from functools import cache, partial

import cv2
import numpy as np
import pytest

from stride.media.encoder import encode_clip
from stride.media.reader import open_clip
from stride.numeric.homography import apply_homography
from stride.walk.camera import CameraMotion, still_camera
from stride.walk.clip import Frame
from stride.walk.holding import CameraFollower

from .filmed import HEIGHT, WALK, Film, film, shaking, turning

SIZE = (480, 270)
FEET_ROW = (SIZE[1] - 1) / 2 + 420.0 * HEIGHT / WALK


def resting(t: float) -> tuple[np.ndarray, np.ndarray]:
    return np.zeros(3), np.zeros(3)


HAND = Film(pose=shaking(), frames=45)
TURN = Film(pose=turning(0.9, 2.0, seed=1), frames=60)


@cache
def frames_of(what: Film) -> tuple[Frame, ...]:
    return tuple(film(what))


def follow(frames, size_px=SIZE) -> CameraMotion:
    follower = CameraFollower(size_px)
    for frame in frames:
        follower.add(frame)
    motion = follower.finish()
    assert motion.moving == follower.moved
    return motion


def errors_of(motion: CameraMotion, what: Film) -> tuple[np.ndarray, np.ndarray]:
    """Error per axis (px) of each held frame's map in the band of the feet, and what was stated."""
    band = np.array([[share * SIZE[0], FEET_ROW] for share in (0.25, 0.5, 0.75)])
    held = np.flatnonzero(motion.held)
    to_px = what.floor_to_px(float(what.times[motion.held_frame]), FEET_ROW)
    error = []
    for i in held:
        true = to_px @ np.linalg.inv(what.floor_to_px(float(what.times[i]), FEET_ROW))
        gap = apply_homography(motion.to_first[i], band) - apply_homography(true, band)
        error.append(np.sqrt((gap**2).mean()))
    return np.array(error), motion.residual_px[held]


def test_a_tripod_gives_exactly_the_same_picture_throughout():
    motion = follow(frames_of(Film(pose=resting, frames=40)))
    assert not motion.moving
    assert motion.held.all()
    assert (motion.to_first == np.eye(3)).all()
    assert (motion.residual_px > 0).all()
    assert (motion.residual_px < 0.1).all()
    assert motion.notes == ()
    plain = still_camera(40)
    assert (plain.to_first == motion.to_first).all()


@pytest.mark.parametrize("what", [HAND, TURN], ids=["hand", "turn"])
def test_the_floor_stands_still_under_a_moving_camera(what):
    motion = follow(frames_of(what))
    error, stated = errors_of(motion, what)
    assert motion.moving
    assert motion.held.all()
    assert np.quantile(error, 0.95) < 0.2
    # In this short band of errors the stated one is neither a boast nor empty.
    assert 0.25 < np.sqrt((error**2).mean() / (stated**2).mean()) < 2.0
    assert motion.residual_px[motion.held_frame] == 0


def test_a_wide_turn_is_held_in_a_picture_from_its_middle():
    motion = follow(frames_of(TURN))
    assert 20 <= motion.held_frame <= 40
    near = follow(frames_of(HAND))
    assert near.held_frame == 0
    assert near.to_first[0] == pytest.approx(np.eye(3))


def test_compression_does_not_drag_the_floor(tmp_path):
    path = tmp_path / "turn.mp4"
    encode_clip(path, ((one.t, one.image) for one in frames_of(TURN)), frame_rate=30, crf=26)
    error, _ = errors_of(follow(open_clip(path)), TURN)
    assert len(error) == TURN.frames
    assert np.median(error) < 0.15
    assert error.max() < 0.5


def test_an_animal_before_a_bare_barn_is_not_taken_for_the_barn():
    bare = Film(pose=turning(0.9, 2.0, seed=2), frames=30, contrast=0.0)
    motion = follow(frames_of(bare))
    assert not motion.held.any()
    assert len(motion.notes) == 1
    assert "the floor shows too little" in motion.notes[0]


def test_nothing_at_all_to_see_is_said():
    blank = [replace(one, luma=np.full(SIZE[::-1], 90, np.uint8)) for one in frames_of(HAND)[:20]]
    motion = follow(blank)
    assert not motion.held.any()
    assert "From 0.00 s" in motion.notes[0]


def test_a_cut_ends_what_is_held():
    other = Film(pose=turning(0.3, 2.0, seed=3), frames=60, seed=9)
    spliced = [*frames_of(TURN)[:20], *frames_of(other)[20:]]
    motion = follow(spliced)
    assert motion.held[25:].all()
    assert not motion.held[:20].any()
    assert motion.held_frame >= 20
    assert any("jumps to another view" in note for note in motion.notes)
    error, _ = errors_of(motion, other)
    assert np.quantile(error, 0.95) < 0.3


def test_a_zoom_is_not_measured_through():
    zoomed = replace(HAND, frames=60, zoom=lambda t: 1.3 ** float(np.clip((t - 1.2) / 0.4, 0, 1)))
    motion = follow(frames_of(zoomed))
    assert motion.held[:36].all()
    assert not motion.held[40:].any()
    assert any("zoomed" in note for note in motion.notes)


def test_a_jerk_loses_the_camera_and_it_is_found_again():
    smeared = [
        replace(one, luma=cv2.blur(one.luma, (31, 1))) if 24 <= one.index < 30 else one
        for one in frames_of(TURN)
    ]
    motion = follow(smeared)
    assert not motion.held[25:29].any()
    assert motion.held[:24].all()
    assert motion.held[36:].all()
    assert any("blurred" in note for note in motion.notes)
    error, _ = errors_of(motion, TURN)
    assert error.max() < 0.6


def test_a_hand_over_the_lens_does_not_move_a_tripod():
    still = frames_of(Film(pose=resting, frames=40))
    dark = np.full(SIZE[::-1], 20, np.uint8)
    motion = follow([replace(one, luma=dark) if 15 <= one.index < 22 else one for one in still])
    assert not motion.moving
    assert motion.held.all()
    assert (motion.to_first == np.eye(3)).all()


def test_a_rolling_shutter_is_noticed_and_taken_out():
    big = Film(
        pose=turning(0.9, 2.0, seed=2),
        frames=45,
        readout=0.03,
        size_px=(640, 360),
        focal_px=560.0,
        animal=False,
    )
    motion = follow(frames_of(big), big.size_px)
    assert any("rolling shutter" in note for note in motion.notes)
    assert motion.held.all()
    row = 179.5 + 560.0 * HEIGHT / WALK
    floor, held = [], []
    for i, t in enumerate(big.times):
        band = np.array([[share * 640, row + rise] for share in (0.3, 0.5, 0.7) for rise in (-20, 20)])
        for spot in band:
            floor.append(apply_homography(np.linalg.inv(big.floor_to_px(float(t), spot[1])), spot[None])[0])
            held.append(apply_homography(motion.to_first[i], spot[None])[0])
    # Whatever the held picture leans by itself, one floor must explain all frames.
    design = np.column_stack([np.array(floor), np.ones(len(floor))])
    spots = np.array(held)
    rows = np.zeros((2 * len(spots), 9))
    rows[0::2, :3], rows[0::2, 6:] = design, -spots[:, :1] * design
    rows[1::2, 3:6], rows[1::2, 6:] = design, -spots[:, 1:] * design
    one_floor = np.linalg.svd(rows / np.abs(rows).max(axis=0))[2][-1] / np.abs(rows).max(axis=0)
    gap = apply_homography(one_floor.reshape(3, 3), np.array(floor)) - spots
    assert np.sqrt((gap**2).mean()) < 0.3


def test_a_bumped_tripod_is_seen_to_have_moved():
    def bumped(t: float) -> tuple[np.ndarray, np.ndarray]:
        return np.array([0.0, -0.02 if t > 0.7 else 0.0, 0.0]), np.zeros(3)

    what = Film(pose=bumped, frames=40)
    motion = follow(frames_of(what))
    error, _ = errors_of(motion, what)
    assert motion.moving
    assert motion.held.all()
    assert np.quantile(error, 0.9) < 0.25


def test_points_are_mapped_by_the_frame_they_were_seen_in():
    maps = np.tile(np.eye(3), (3, 1, 1))
    maps[2, 0, 2] = 5.0
    motion = CameraMotion(
        to_first=maps, residual_px=np.zeros(3), held=np.ones(3, dtype=bool), moving=True, held_frame=0
    )
    held = motion.hold(np.array([0, 2]), np.array([[1.0, 2.0], [1.0, 2.0]]))
    assert held.tolist() == [[1.0, 2.0], [6.0, 2.0]]


def test_a_motion_needs_one_entry_for_every_frame():
    make = partial(
        CameraMotion, to_first=np.tile(np.eye(3), (3, 1, 1)), held=np.ones(3, dtype=bool), moving=False
    )
    with pytest.raises(ValueError, match="one entry for every frame"):
        make(residual_px=np.zeros(2))
