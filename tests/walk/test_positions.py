from dataclasses import replace

import numpy as np
import pytest

from stride.walk.camera import CameraMotion
from stride.walk.positions import find_display_length, find_positions, project_across, project_along

from ..builders import make_analysis


@pytest.mark.parametrize("direction", ["left_to_right", "right_to_left"])
def test_a_hoof_in_stance_stays_at_its_print_whatever_the_camera_does(direction):
    analysis = make_analysis(direction=direction, pan_px=800.0)
    found = find_positions(analysis.tracks, analysis.camera, analysis.ground, analysis.heading)
    assert [one.limb for one in found] == [one.limb for one in analysis.tracks]
    for one in analysis.prints:
        track = next(track for track in found if track.limb == one.limb)
        end = one.lift_off if one.lift_off is not None else np.inf
        stood = track.along[(track.t > one.touch_down) & (track.t < end)]
        assert stood == pytest.approx(np.full(len(stood), one.xy @ np.array(analysis.heading)), abs=1e-6)
    rising = found[0].along[-1] - found[0].along[0]
    assert rising > 3


def test_frames_whose_camera_was_lost_are_left_out_and_a_track_of_none_too():
    analysis = make_analysis()
    held = np.ones(analysis.clip.frames, dtype=bool)
    held[10:20] = False
    camera = CameraMotion(
        to_first=analysis.camera.to_first, residual_px=analysis.camera.residual_px, held=held, moving=False
    )
    found = find_positions(analysis.tracks, camera, analysis.ground, analysis.heading)
    assert {len(one.t) for one in found} == {analysis.clip.frames - 10}
    lost = replace(camera, held=np.zeros_like(held))
    assert find_positions(analysis.tracks, lost, analysis.ground, analysis.heading) == ()


def test_along_and_across_turn_with_the_heading():
    xy = np.array([[1.0, 0.0], [0.0, 2.0]])
    assert project_along(xy, (0.0, 1.0)) == pytest.approx([0.0, 2.0])
    assert project_across(xy, (1.0, 0.0)) == pytest.approx([0.0, 2.0])
    assert project_across(xy, (-1.0, 0.0)) == pytest.approx([0.0, -2.0])


def test_one_unit_of_distance_is_a_metre_or_the_mean_stride_or_unknown():
    scaled, bare = make_analysis(), make_analysis(unit="stride")
    assert find_display_length(scaled.prints, scaled.strides, scaled.ground, scaled.heading) == 1.0
    mean = np.mean([one.length.value for one in bare.strides])
    assert find_display_length(bare.prints, bare.strides, bare.ground, bare.heading) == pytest.approx(mean)
    assert find_display_length(bare.prints, (), bare.ground, bare.heading) is None
