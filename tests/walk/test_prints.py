from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from stride.errors import RefusedError
from stride.numeric.agreement import measure_coverage
from stride.simulate.camera import draw_camera
from stride.simulate.gait import GaitPlan, draw_plan, stand_animal, walk_animal
from stride.walk.camera import still_camera
from stride.walk.limbs import LIMBS
from stride.walk.prints import find_prints

from ..hoof_paths import SIZE_PX, frame_times, see_from, track_walk, true_ground, true_motion

VIEW = see_from()
GROUND = true_ground(VIEW)


def stances_in(walk, t):
    """True prints of which the film shows a fifth of a second or more."""
    return [one for one in walk.prints if min(one.lift_off, t[-1]) - max(one.touch_down, t[0]) > 0.2]


def match(prints, walk):
    """The true print that each found one is: of its limb and standing in the middle of the time it was seen.

    Fails where one stands for none, or where two stand for one.
    """
    pairs = []
    for one in prints:
        middle = 0.5 * (one.seen_from + one.seen_to)
        own = [true for true in walk.prints if true.limb == one.limb]
        found = [true for true in own if true.touch_down <= middle <= true.lift_off]
        assert len(found) == 1, f"a print of the {one.limb} at {middle:.2f} s was invented"
        pairs.append((one, found[0]))
    assert len({(true.limb, true.touch_down) for _, true in pairs}) == len(pairs)
    return pairs


def see_walk(seed, *, frame_rate=60.0, hidden=None, plan=None, **noise):
    """A walk past a phone, its tracks and its prints; every second animal goes the other way."""
    rng = np.random.default_rng([81, *np.atleast_1d(seed)])
    direction = "left_to_right" if rng.random() < 0.5 else "right_to_left"
    walk = walk_animal(plan or draw_plan(rng), rng, prints_per_limb=4, direction=direction)
    view = draw_camera(rng, "tripod", walk, SIZE_PX).view_at(0.0)
    t = frame_times(walk, frame_rate, start=rng.uniform(0, 1 / frame_rate))
    tracks = track_walk(walk, view, t, rng, hidden=hidden(walk) if hidden else None, **noise)
    return walk, t, find_prints(tracks, still_camera(len(t)), true_ground(view))


@pytest.mark.parametrize(
    ("frame_rate", "noise_px"),
    [(24.0, 0.5), (30.0, 1.0), (60.0, 0.2), (60.0, 1.0), (120.0, 0.5), (240.0, 0.5)],
)
def test_every_stance_is_found_and_none_is_invented(frame_rate, noise_px):
    for seed in range(4):
        walk, t, prints = see_walk((1, seed), frame_rate=frame_rate, noise_px=noise_px)
        found = {(true.limb, true.touch_down) for _, true in match(prints, walk)}
        assert {(true.limb, true.touch_down) for true in stances_in(walk, t)} <= found


@pytest.fixture(scope="module")
def seen():
    """Thirty walks at 60 frames a second: noise of half a pixel, clicks of half a pixel, one idea of each toe."""
    pairs = []
    for seed in range(30):
        walk, _, prints = see_walk((2, seed), noise_px=0.5, mark_px=0.5, limb_px=0.3)
        pairs += match(prints, walk)
    return pairs


@pytest.mark.parametrize("axis", [0, 1], ids=["along", "across"])
def test_places_are_as_sure_as_they_say(seen, axis):
    rows = [
        (one.xy[axis], true.xy[axis], math.sqrt(one.cov[axis, axis] + one.limb_cov[axis, axis]))
        for one, true in seen
    ]
    assert 0.93 <= measure_coverage(*np.transpose(rows)).share <= 0.98
    found, true, error = np.transpose(rows)
    assert abs(np.mean(found - true)) < 0.2 * np.mean(error)


@pytest.mark.parametrize(("event", "latest"), [("touch_down", 0.026), ("lift_off", 0.026)])
def test_times_are_at_least_as_sure_as_they_say(seen, event, latest):
    """Bias within 10 ms and 95 % within 26 ms is what a marker on the hoof gives (Starke & Clayton 2015)."""
    rows = [
        (getattr(one, event), getattr(true, event), getattr(one, f"{event}_error"))
        for one, true in seen
        if getattr(one, event) is not None
    ]
    found, true, error = np.transpose(rows)
    assert len(found) > 0.7 * len(seen)
    assert abs(np.mean(found - true)) < 0.010
    assert np.quantile(np.abs(found - true), 0.95) < latest
    assert measure_coverage(found, true, error).share > 0.94
    assert error.max() < 0.06


def test_events_outside_the_film_are_not_told():
    walk, t, prints = see_walk((3, 0), noise_px=0.3)
    for one, true in match(prints, walk):
        if true.touch_down < t[0]:
            assert one.touch_down is None and one.touch_down_error is None
        if true.lift_off > t[-1]:
            assert one.lift_off is None and one.lift_off_error is None
        assert (one.touch_down is None) == (true.touch_down < t[0] + 0.05)


def test_an_animal_that_halts_stays_on_its_last_prints():
    walk, _, prints = see_walk((4, 0), noise_px=0.3, plan=GaitPlan(halts=True))
    last = [one for one, true in match(prints, walk) if math.isinf(true.lift_off)]
    assert len(last) == 4
    assert all(one.lift_off is None for one in last)


def test_a_print_carries_what_the_rest_needs():
    rng = np.random.default_rng(82)
    walk = walk_animal(GaitPlan(), rng, prints_per_limb=3)
    t = frame_times(walk)
    ground = replace(
        GROUND,
        parameters=np.stack([np.vstack([GROUND.matrix[:2], np.zeros((1, 3))])]),
        covariance=np.array([[0.01**2]]),
    )
    prints = find_prints(track_walk(walk, VIEW, t, rng, limb_px=0.4), still_camera(len(t)), ground)
    middles = [0.5 * (one.seen_from + one.seen_to) for one in prints]
    assert middles == sorted(middles)
    for one in prints:
        assert one.xy == pytest.approx(ground.to_floor(one.xy_px[None])[0])
        # the only parameter is the logarithm of the scale
        assert one.ground_jacobian[:, 0] == pytest.approx(one.xy)
        by_point = ground.jacobian_by_point(one.xy_px[None])[0]
        assert one.limb_cov == pytest.approx(0.4**2 * by_point @ by_point.T)
        first, last = one.frames
        assert (t[first], t[last]) == (one.seen_from, one.seen_to)
        assert (one.source, one.confidence) == ("marked", 1.0)


def test_the_errors_of_a_mark_do_not_average_out():
    plain, marked = (see_walk((5, 0), noise_px=0.5, mark_px=mark)[2] for mark in (0.0, 2.0))
    for one, other in zip(plain, marked, strict=True):
        assert other.cov[0, 0] > 4 * one.cov[0, 0]


def hide(event, before, after):
    """Hides every hoof about one event of its second print."""

    def hidden(walk):
        spells = {}
        for limb in LIMBS:
            at = getattr([one for one in walk.prints if one.limb == limb][1], event)
            spells[limb] = ((at - before, at + after),)
        return spells

    return hidden


@pytest.mark.parametrize("event", ["touch_down", "lift_off"])
def test_a_hidden_event_is_less_sure_and_one_hidden_for_long_is_not_told(event):
    told = {}
    for spell in (0.0, 0.07, 0.2, 0.7):
        rows = []
        for seed in range(4):
            how = hide(event, spell / 2, spell / 2) if spell else None
            walk, _, prints = see_walk((6, seed), noise_px=0.4, hidden=how)
            second = {limb: [one for one in walk.prints if one.limb == limb][1] for limb in LIMBS}
            rows += [
                (getattr(one, event), getattr(true, event), getattr(one, f"{event}_error"))
                for one, true in match(prints, walk)
                if true == second[true.limb]
            ]
        assert len(rows) == 16
        told[spell] = rows
    assert all(found is None and error is None for found, _, error in told.pop(0.7))
    errors = [np.mean([row[2] for row in rows]) for rows in told.values()]
    assert errors[1] > 1.2 * errors[0]
    assert errors[2] > 1.5 * errors[1]
    for rows in told.values():
        assert measure_coverage(*np.transpose(rows)).share > 0.9


def test_a_hoof_hidden_in_the_middle_of_its_stance_stood_there_all_along():
    """A leg that passes by for a third of a second makes no second print of it."""
    rng = np.random.default_rng(83)
    walk = walk_animal(GaitPlan(), rng, prints_per_limb=4)
    t = frame_times(walk)
    spells = {
        limb: tuple(
            (0.5 * (one.touch_down + one.lift_off) - 0.17, 0.5 * (one.touch_down + one.lift_off) + 0.17)
            for one in walk.prints
            if one.limb == limb
        )
        for limb in LIMBS
    }
    whole, parted = (
        match(
            find_prints(
                track_walk(walk, VIEW, t, np.random.default_rng(84), hidden=how), still_camera(len(t)), GROUND
            ),
            walk,
        )
        for how in (None, spells)
    )
    assert len(whole) == len(parted)
    alone = {(true.limb, true.touch_down): one for one, true in whole}
    for one, true in parted:
        assert one.xy == pytest.approx(alone[true.limb, true.touch_down].xy, abs=0.004)
    assert sum(one.cov[0, 0] for one, _ in parted) > 1.1 * sum(one.cov[0, 0] for one, _ in whole)


def test_a_hoof_that_is_lost_for_a_moment_makes_no_second_print():
    """For four frames in mid-stance the track is on something else half a hoof away."""
    rng = np.random.default_rng(92)
    walk = walk_animal(GaitPlan(), rng, prints_per_limb=4)
    t = frame_times(walk)
    tracks = []
    for track in track_walk(walk, VIEW, t, rng, noise_px=0.3):
        middles = [0.5 * (one.touch_down + one.lift_off) for one in walk.prints if one.limb == track.limb]
        off = (np.abs(t[:, None] - middles) < 0.033).any(axis=1)
        tracks.append(replace(track, xy_px=track.xy_px + np.outer(off, [12.0, -4.0])))
    prints = find_prints(tracks, still_camera(len(t)), GROUND)
    for one, true in match(prints, walk):
        assert one.xy == pytest.approx(true.xy, abs=0.02)


@pytest.mark.parametrize(
    ("kind", "seed"), [("handheld", 0), ("handheld", 1), ("panning", 2), ("panning", 3)], ids=str
)
def test_a_camera_that_moves_is_taken_out(kind, seed):
    rng = np.random.default_rng([85, seed])
    walk = walk_animal(draw_plan(rng), rng, prints_per_limb=4)
    camera = draw_camera(rng, kind, walk, SIZE_PX)
    t = frame_times(walk)
    ground = true_ground(camera.view_at(0.0))
    views = [camera.view_at(float(one)) for one in t]
    tracks = track_walk(walk, views, t, rng, noise_px=0.4)
    prints = find_prints(tracks, true_motion(camera, t, residual_px=0.3), ground)
    pairs = match(prints, walk)
    assert len(pairs) >= len(stances_in(walk, t))
    misses = [(one.xy - true.xy) for one, true in pairs]
    assert np.abs(misses).max() < 0.012
    for one, true in pairs:
        if one.touch_down is not None:
            assert one.touch_down == pytest.approx(true.touch_down, abs=0.045)


def test_frames_in_which_the_camera_was_lost_are_not_used():
    rng = np.random.default_rng(86)
    walk = walk_animal(GaitPlan(), rng, prints_per_limb=4)
    t = frame_times(walk)
    lost = (t > 1.0) & (t < 2.6)
    tracks = tuple(
        replace(track, xy_px=track.xy_px + 300.0 * lost[:, None]) for track in track_walk(walk, VIEW, t, rng)
    )
    camera = replace(still_camera(len(t)), held=~lost, moving=True)
    for one, true in match(find_prints(tracks, camera, GROUND), walk):
        assert one.xy == pytest.approx(true.xy, abs=0.02)
        assert not lost[list(one.frames)].any()


def test_an_animal_that_stands_is_refused_in_words():
    rng = np.random.default_rng(87)
    walk = stand_animal(GaitPlan())
    t = np.arange(0, 4, 1 / 60)
    tracks = track_walk(walk, VIEW, t, rng, noise_px=0.5)
    with pytest.raises(RefusedError, match=r"moved only \d+ px in all: the animal does not walk") as caught:
        find_prints(tracks, still_camera(len(t)), GROUND)
    assert "whole stride" in caught.value.remedy


def test_hooves_that_never_stand_are_refused_in_words():
    """A walk filmed on wheels, so to say."""
    walk = walk_animal(GaitPlan(), np.random.default_rng(88), prints_per_limb=2)
    t = np.arange(0, 2, 1 / 60)
    rolling = [
        replace(track, xy_px=np.column_stack([100 + 300 * t, 600 + 0 * t]))
        for track in track_walk(walk, VIEW, t, np.random.default_rng(89))
    ]
    with pytest.raises(RefusedError, match="No hoof was seen to stand"):
        find_prints(rolling, still_camera(len(t)), GROUND)


def test_a_camera_lost_throughout_is_refused_in_words():
    walk = walk_animal(GaitPlan(), np.random.default_rng(90), prints_per_limb=3)
    t = frame_times(walk)
    tracks = track_walk(walk, VIEW, t, np.random.default_rng(91))
    lost = replace(still_camera(len(t)), held=np.zeros(len(t), dtype=bool), moving=True)
    with pytest.raises(RefusedError, match="camera's motion could not be followed"):
        find_prints(tracks, lost, GROUND)
