from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from stride.numeric.agreement import measure_coverage
from stride.simulate.camera import draw_camera
from stride.simulate.gait import GaitPlan, draw_plan, walk_animal
from stride.walk.camera import still_camera
from stride.walk.lifts import find_heights, measure_lifts
from stride.walk.limbs import LIMBS
from stride.walk.prints import find_prints

from ..hoof_paths import SIZE_PX, frame_times, see_from, track_walk, true_ground

PLAN = GaitPlan(scatter_along=0.0, scatter_across=0.0)


def see_walk(seed, *, plan=None, hidden=None, noise_px=0.5):
    rng = np.random.default_rng([101, seed])
    direction = "left_to_right" if seed % 2 else "right_to_left"
    walk = walk_animal(plan or draw_plan(rng), rng, prints_per_limb=4, direction=direction)
    view = draw_camera(rng, "tripod", walk, SIZE_PX).view_at(0.0)
    return walk, see_through(view, walk, rng, noise_px=noise_px, hidden=hidden)


def see_through(view, walk, rng, **how):
    """What measuring a lift takes: tracks, prints, camera and ground."""
    t = frame_times(walk)
    tracks, camera, ground = track_walk(walk, view, t, rng, **how), still_camera(len(t)), true_ground(view)
    return tracks, find_prints(tracks, camera, ground), camera, ground


def true_lift(walk, limb):
    own = [one for one in walk.prints if one.limb == limb]
    swings = [(a.lift_off, b.touch_down) for a, b in pairwise(own)]
    within = [swing for swing in swings if swing[0] > 0 and swing[1] < walk.duration]
    return np.mean([walk.hoof_at(limb, np.linspace(*swing, 200))[:, 2].max() for swing in within])


def test_lifts_are_as_sure_as_they_say():
    rows = []
    for seed in range(20):
        walk, seen = see_walk(seed)
        for limb, lift in measure_lifts(*seen, 1.0).items():
            assert lift.unit == "m"
            rows.append((lift.value, true_lift(walk, limb), lift.total))
    found, true, error = np.transpose(rows)
    assert measure_coverage(found, true, error).share > 0.93
    assert abs(np.mean(found - true)) < 0.003
    assert np.mean(error) < 0.009


def test_a_clip_without_scale_gives_shares_of_a_stride():
    walk = walk_animal(PLAN, np.random.default_rng(1), prints_per_limb=4)
    tracks, prints, camera, ground = see_through(see_from(), walk, np.random.default_rng(2), noise_px=0.2)
    metres = measure_lifts(tracks, prints, camera, ground, 1.0)
    # the same floor in an arbitrary length, 250 to the metre
    loose = replace(ground, matrix=np.diag([250.0, 250.0, 1.0]) @ ground.matrix, unit="stride", kind="none")
    shares = measure_lifts(
        tracks, find_prints(tracks, camera, loose), camera, loose, 250.0 * PLAN.stride_length
    )
    for limb in LIMBS:
        assert shares[limb].unit == "stride"
        assert shares[limb].value == pytest.approx(metres[limb].value / PLAN.stride_length, rel=1e-6)
        assert shares[limb].total == pytest.approx(metres[limb].total / PLAN.stride_length, rel=0.02)


def test_the_doubt_of_the_scale_is_common():
    _, (tracks, prints, camera, ground) = see_walk(3)
    plain = measure_lifts(tracks, prints, camera, ground, 1.0)["left_fore"]
    loose = measure_lifts(tracks, prints, camera, replace(ground, scale_error=0.1), 1.0)["left_fore"]
    assert loose.common == pytest.approx(np.hypot(plain.common, 0.1 * plain.value))
    assert loose.random == plain.random


def hide_swings(share):
    """Hides the given share of every swing, from its beginning."""

    def spells(walk):
        found = {}
        for limb in LIMBS:
            own = [one for one in walk.prints if one.limb == limb]
            found[limb] = tuple(
                (a.lift_off + 0.05, a.lift_off + 0.05 + share * (b.touch_down - a.lift_off))
                for a, b in pairwise(own)
            )
        return found

    return spells


def test_swings_mostly_hidden_are_left_out():
    walk = walk_animal(PLAN, np.random.default_rng(4), prints_per_limb=4)
    view = see_from()
    for share, measured in ((0.1, True), (0.6, False)):
        seen = see_through(view, walk, np.random.default_rng(5), hidden=hide_swings(share)(walk))
        for limb, lift in measure_lifts(*seen, 1.0).items():
            assert bool(lift) == measured
            if measured:
                assert lift.value == pytest.approx(true_lift(walk, limb), abs=2.5 * lift.total)
            else:
                assert "no swing" in lift.reason


def test_without_prints_or_a_length_there_is_a_reason_for_every_limb():
    _, (tracks, prints, camera, ground) = see_walk(6)
    for found in (
        measure_lifts(tracks, (), camera, ground, 1.0),
        measure_lifts((), prints, camera, ground, 1.0),
        measure_lifts(tracks, prints, camera, ground, None),
    ):
        assert list(found) == list(LIMBS)
        assert not any(found.values())
        assert all(one.reason for one in found.values())


def test_heights_run_from_the_first_print_to_the_last():
    """A stance is left out but for its ends; frames in which the hoof was hidden are NaN."""
    walk = walk_animal(PLAN, np.random.default_rng(7), prints_per_limb=4)
    tracks, prints, camera, ground = see_through(see_from(), walk, np.random.default_rng(8), noise_px=0.2)
    heights = find_heights(tracks, prints, camera, ground, 1.0)
    assert list(heights) == list(LIMBS)
    for limb, (t, height) in heights.items():
        own = [one for one in prints if one.limb == limb]
        assert t[0] == own[0].seen_to and t[-1] == own[-1].seen_from
        assert (np.diff(t) > 0).all()
        assert np.isfinite(height).all()
        assert height == pytest.approx(walk.hoof_at(limb, t)[:, 2], abs=0.025)
    hidden = tuple(replace(track, seen=track.seen & (track.frames % 7 > 0)) for track in tracks)
    for t, height in find_heights(hidden, prints, camera, ground, 2.0).values():
        frames = np.searchsorted(tracks[0].t, t)
        assert np.array_equal(np.isnan(height), frames % 7 == 0)
        assert np.nanmax(height) < 0.08
    assert find_heights(tracks, (), camera, ground, 1.0) == {}


def test_frames_in_which_the_camera_was_lost_have_no_height():
    _, (tracks, prints, camera, ground) = see_walk(9)
    held = np.arange(len(camera.held)) % 3 > 0
    heights = find_heights(tracks, prints, replace(camera, held=held), ground, 1.0)
    for t, _ in heights.values():
        assert held[np.searchsorted(tracks[0].t, t)].all()
