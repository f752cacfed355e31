from __future__ import annotations

import numpy as np
import pytest

from stride.numeric.agreement import measure_coverage
from stride.numeric.corners import find_corner
from stride.simulate.gait import draw_plan, walk_animal

from ..hoof_paths import frame_times, see_from, track_walk

FRAME = 1 / 60


def model_path(t, break_at, kind):
    """A path of the very kind that is sought (px): in x it hurries, in y it sinks or rises a little."""
    away = np.minimum(t - break_at, 0.0) if kind == "landing" else np.maximum(t - break_at, 0.0)
    if kind == "landing":
        return np.column_stack([500 + 600 * away - 900 * away**2, 300 + 150 * away + 400 * away**2])
    return np.column_stack([500 + 4000 * away**2 + 6000 * away**3, 300 - 900 * away**2])


@pytest.mark.parametrize("kind", ["landing", "leaving"])
def test_the_break_is_found_between_frames(kind):
    t = np.arange(0, 18) * FRAME
    for part in np.linspace(0, 1, 7):
        at = 0.14 + part * FRAME
        corner = find_corner(t, model_path(t, at, kind), np.full(18, 1e-4), between=(0.09, 0.21), kind=kind)
        assert corner.t == pytest.approx(at, abs=0.05 * FRAME)
        assert corner.error < 0.05 * FRAME


@pytest.mark.parametrize(("kind", "noise"), [("landing", 0.3), ("landing", 1.0), ("leaving", 0.3)])
def test_95_in_100_intervals_hold_the_break(kind, noise):
    rng = np.random.default_rng(41)
    rows = []
    for _ in range(300):
        t = np.arange(0, 18) * FRAME + rng.uniform(-0.2, 0.2, 18) * FRAME
        at = rng.uniform(0.13, 0.17)
        xy = model_path(t, at, kind) + noise * rng.standard_normal((18, 2))
        corner = find_corner(t, xy, np.full(18, noise**2), between=(0.09, 0.21), kind=kind)
        rows.append((corner.t, at, corner.error))
    found, true, _ = np.transpose(rows)
    # A break that is known to less than a cell of the grid gets the whole cell's doubt, so more than 95 hold.
    assert 0.93 <= measure_coverage(*np.transpose(rows)).share <= 0.99
    assert abs(np.mean(found - true)) < 0.1 * FRAME


@pytest.fixture(scope="module")
def hoof_breaks():
    """Corners of simulated hooves at 60 frames a second with half a pixel of noise, with the true times."""
    rows = {"landing": [], "leaving": []}
    for seed in range(10):
        rng = np.random.default_rng([42, seed])
        walk = walk_animal(draw_plan(rng), rng, prints_per_limb=4)
        t = frame_times(walk, start=rng.uniform(0, FRAME))
        for track in track_walk(walk, see_from(), t, rng, noise_px=0.5):
            for one in (one for one in walk.prints if one.limb == track.limb):
                for kind, at in (("landing", one.touch_down), ("leaving", one.lift_off)):
                    if t[0] + 0.25 < at < t[-1] - 0.25:
                        about = at + rng.uniform(-1, 1) * FRAME
                        near = np.abs(t - about) < 0.13
                        between = (about - 0.06, about + 0.06)
                        variance = np.full(int(near.sum()), 0.25)
                        corner = find_corner(t[near], track.xy_px[near], variance, between=between, kind=kind)
                        rows[kind].append((corner.t, at, corner.error))
    return {kind: np.array(values) for kind, values in rows.items()}


@pytest.mark.parametrize(
    ("kind", "least", "latest"),
    [
        pytest.param("landing", 0.92, 0.026, id="landing"),
        # A real lift-off begins softer than any such curve; whoever uses it allows for that.
        pytest.param("leaving", 0.85, 0.030, id="leaving"),
    ],
)
def test_breaks_of_simulated_hooves(hoof_breaks, kind, least, latest):
    """Bias within 10 ms and 95 % within 26 ms is what a marker on the hoof gives (Starke & Clayton 2015)."""
    found, true, error = hoof_breaks[kind].T
    assert len(found) > 90
    assert abs(np.mean(found - true)) < 0.010
    assert np.quantile(np.abs(found - true), 0.95) < latest
    assert measure_coverage(found, true, error).share > least


def test_a_path_that_bends_otherwise_gives_a_larger_doubt():
    """What the curve cannot follow counts as error, not as certainty."""
    t = np.arange(0, 18) * FRAME
    xy = model_path(t, 0.15, "landing")
    plain = find_corner(t, xy, np.full(18, 0.01), between=(0.09, 0.21), kind="landing")
    shaken = xy + np.where(np.arange(18) % 2, 1.0, -1.0)[:, None]
    rough = find_corner(t, shaken, np.full(18, 0.01), between=(0.09, 0.21), kind="landing")
    assert rough.error > 3 * plain.error


def test_without_a_break_nothing_is_certain():
    rng = np.random.default_rng(43)
    t = np.arange(0, 18) * FRAME
    xy = 0.5 * rng.standard_normal((18, 2))
    corner = find_corner(t, xy, np.full(18, 0.25), between=(0.09, 0.21), kind="landing")
    assert corner.error > 0.015
