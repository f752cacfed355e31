from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stride.detect.gait import FEET, TROT
from stride.detect.strip_finder import StripFinder
from stride.errors import RefusedError
from stride.walk.camera import CameraMotion, still_camera
from stride.walk.clip import Frame
from stride.walk.limbs import side_of
from stride.walk.marks import Marks

from .walkers import SIZE_PX, paint_frames, true_stances, walking_gait

LEVELS = (150.0, 143.0)
DURATION = 5.0


def find(frames, camera=None, marks=None, size_px=SIZE_PX):
    finder = StripFinder(size_px)
    for frame in frames:
        finder.add(frame)
    return finder.finish(camera or still_camera(len(frames)), marks)


@pytest.fixture(scope="module", params=[1, -1], ids=["to the right", "to the left"])
def walk(request):
    gait = walking_gait(heading=request.param, levels=LEVELS)
    frames = list(paint_frames([gait], duration=DURATION))
    return gait, frames, find(frames)


def true_toes(gait):
    """Limb, toe column, row, start and end of the stances wholly in view."""
    near, far = ("right", "left") if gait.heading > 0 else ("left", "right")
    return [
        (
            f"{near if FEET[foot].startswith('near') else far}_{FEET[foot].split('_')[1]}",
            toe,
            level,
            start,
            end,
        )
        for foot, _, toe, level, start, end in true_stances(gait, DURATION, SIZE_PX[0])
        if start > 0 and end < DURATION and 12 < toe < SIZE_PX[0] - 12
    ]


def test_every_stance_in_view_is_found_and_named(walk):
    gait, _, finding = walk
    for limb, toe, level, start, end in true_toes(gait):
        near = [
            one
            for one in finding.stances
            if one.mark.limb == limb and start * 15 - 2 <= one.mark.frame <= end * 15 + 2
        ]
        assert len(near) == 1, (limb, toe, start)
        assert near[0].mark.xy_px == pytest.approx((toe, level), abs=3.5)
        assert near[0].confidence > 0.5


def test_nothing_is_invented(walk):
    gait, _, finding = walk
    possible = true_stances(gait, DURATION, SIZE_PX[0])
    for one in finding.stances:
        t = one.mark.frame / 15
        assert any(
            abs(toe - one.mark.xy_px[0]) < 4 and start - 0.1 < t < end + 0.1
            for _, _, toe, _, start, end in possible
        )


def test_hind_and_fore_tips_are_read_alike(walk):
    gait, _, finding = walk
    errors = {"fore": [], "hind": []}
    for limb, toe, _, start, end in true_toes(gait):
        errors[limb.split("_")[1]] += [
            gait.heading * (one.mark.xy_px[0] - toe)
            for one in finding.stances
            if one.mark.limb == limb and start <= one.mark.frame / 15 <= end
        ]
    assert np.mean(errors["hind"]) - np.mean(errors["fore"]) == pytest.approx(0.0, abs=0.5)


def test_direction_and_near_side(walk):
    gait, _, finding = walk
    assert finding.direction == ("left_to_right" if gait.heading > 0 else "right_to_left")
    assert finding.near_side == ("right" if gait.heading > 0 else "left")
    rows = {"near": [], "far": []}
    for one in finding.stances:
        side = "near" if side_of(one.mark.limb) == finding.near_side else "far"
        rows[side].append(one.mark.xy_px[1])
    assert np.mean(rows["near"]) > np.mean(rows["far"]) + 3


def test_standing_frames_and_hooves(walk):
    _, frames, finding = walk
    for one in finding.stances:
        first, last = one.frames
        assert 0 <= first <= one.mark.frame <= last < len(frames)
    assert finding.hooves == tuple(one.mark for one in finding.stances)
    assert finding.confidence > 0.8


def test_the_strip_is_shown_in_the_held_picture(walk):
    _, frames, finding = walk
    strip = finding.strip
    assert strip.nearness.shape == (len(strip.t), len(strip.line_px))
    assert strip.t[-1] == pytest.approx(frames[-1].t)
    assert strip.line_px[0, 0] == pytest.approx(0.0, abs=1)
    assert strip.line_px[-1, 0] == pytest.approx(SIZE_PX[0] - 1, abs=1)
    shown = ~np.isnan(strip.nearness)
    assert 0.005 < shown.mean() < 0.2


def test_a_moving_camera_gives_marks_in_each_frames_own_pixels():
    gait, edge = walking_gait(levels=LEVELS), 10
    rng = np.random.default_rng(4)
    (width, height), frames, to_first = SIZE_PX, [], []
    for frame in paint_frames([gait], duration=DURATION, size_px=(width + 2 * edge, height + 2 * edge)):
        dx, dy = (int(v) for v in rng.integers(-4, 5, 2)) if frame.index else (0, 0)
        luma = frame.luma[edge + dy : edge + dy + height, edge + dx : edge + dx + width]
        frames.append(replace(frame, luma=luma))
        to_first.append([[1, 0, dx], [0, 1, dy], [0, 0, 1.0]])
    count = len(frames)
    camera = CameraMotion(
        to_first=np.array(to_first),
        residual_px=np.zeros(count),
        held=np.ones(count, dtype=bool),
        moving=True,
    )
    finding = find(frames, camera)
    assert len(finding.stances) >= 9
    for one in finding.stances:
        held = camera.hold(np.array([one.mark.frame]), np.array([one.mark.xy_px]))[0]
        assert held == pytest.approx(one.xy_px, abs=1e-6)
        t = one.mark.frame / 15
        assert any(
            abs(toe - edge - held[0]) < 4 and start - 0.1 < t < end + 0.1
            for _, _, toe, _, start, end in true_stances(gait, DURATION, SIZE_PX[0] + edge)
        )


class TestRefusals:
    def refuse(self, frames, marks=None):
        with pytest.raises(RefusedError) as refused:
            find(frames, marks=marks)
        return refused.value

    def test_an_empty_aisle(self):
        assert "Nothing moves" in self.refuse(list(paint_frames([], duration=3.0))).problem

    def test_a_still_picture(self):
        frame = next(iter(paint_frames([walking_gait(levels=LEVELS)], duration=0.1)))
        frames = [Frame(index=k, t=k / 15, luma=frame.luma, load_image=frame.load_image) for k in range(45)]
        assert "Nothing moves" in self.refuse(frames).problem

    def test_a_standing_animal(self):
        gait = walking_gait(levels=LEVELS)
        error = self.refuse(list(paint_frames([gait], duration=3.0, standing=True)))
        assert "moves" in error.problem

    def test_a_trot(self):
        gait = walking_gait(levels=LEVELS, pattern=TROT, stride_time=0.8, stride_px=110.0)
        assert "trots" in self.refuse(list(paint_frames([gait], duration=4.0))).problem

    def test_a_clip_cut_short(self):
        error = self.refuse(list(paint_frames([walking_gait(levels=LEVELS)], duration=1.2)))
        assert "1.2 s" in error.problem

    def test_two_animals(self):
        gaits = [
            walking_gait(levels=LEVELS, stride_px=70.0, start=1.0),
            walking_gait(levels=LEVELS, stride_px=70.0, start=-2.5),
        ]
        error = self.refuse(list(paint_frames(gaits, duration=7.0)))
        assert "Two animals" in error.problem

    def test_the_wrong_way_of_walk(self):
        frames = list(paint_frames([walking_gait(levels=LEVELS)], duration=DURATION))
        self.refuse(frames, marks=Marks(direction="right_to_left"))

    def test_every_refusal_says_what_to_do(self):
        error = self.refuse(list(paint_frames([], duration=3.0)))
        assert error.problem.endswith(".")
        assert error.remedy.endswith(".")
