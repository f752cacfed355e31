import numpy as np
import pytest

from stride.numeric.poses import Pose, PoseBelief, Targets, fit_pose, project_points, refocused
from stride.numeric.turns import turn_by, vectors_of

FOCAL = 820.0
AT_REST = Pose(turn=np.eye(3), place=np.zeros(3))
MOVED = Pose(
    turn=turn_by(np.array([0.004, -0.02, 0.002])), place=np.array([0.01, 0.002, -0.006]), log_zoom=0.001
)


def scene(count: int = 80, seed: int = 0) -> Targets:
    """Floor below, a wall above, as seen by a camera at rest."""
    rng = np.random.default_rng(seed)
    xy = np.column_stack([rng.uniform(-420, 420, count), rng.uniform(-200, 250, count)])
    ray = np.column_stack([xy / FOCAL, np.ones(count)])
    nearness = np.where(xy[:, 1] > 120, ray[:, 1], 0.14)
    return Targets(origin=ray, nearness=nearness, by_focal=-ray * [1.0, 1.0, 0.0])


def belief(**changes) -> PoseBelief:
    usual = {
        "turn": 0.05,
        "roll": 0.02,
        "place": 0.02,
        "log_zoom": 0.01,
        "focal_px": FOCAL,
        "log_focal": 1e-4,
        "softness_px": (12.0, 6.0, 2.0, 1.5),
    }
    return PoseBelief(**(usual | changes))


def covs(count: int, error: float = 0.2) -> np.ndarray:
    return np.tile(error**2 * np.eye(2), (count, 1, 1))


def test_the_pose_is_found_among_points_of_something_else():
    targets, rng = scene(), np.random.default_rng(1)
    seen = project_points(MOVED, FOCAL, targets) + rng.normal(0, 0.2, (80, 2))
    animal = rng.random(80) < 0.35
    seen[animal] = project_points(AT_REST, FOCAL, targets)[animal] + (1.5, 0.5)
    expected = Pose(turn=turn_by(np.array([0.003, -0.017, 0.001])), place=np.zeros(3))
    fitted = fit_pose(expected, FOCAL, targets, seen, covs(80), belief())
    error = project_points(fitted.pose, FOCAL, targets) - project_points(MOVED, FOCAL, targets)
    assert np.abs(error).max() < 0.35
    assert (fitted.weight[~animal] > 0.25).all()
    assert (fitted.weight[animal] < 0.25).mean() > 0.9


def test_few_points_do_not_bend_the_picture():
    targets = scene(6, seed=2)
    seen = project_points(AT_REST, FOCAL, targets) + np.random.default_rng(3).normal(0, 0.2, (6, 2))
    everywhere = scene(200, seed=4)
    fitted = fit_pose(AT_REST, FOCAL, targets, seen, covs(6), belief(place=0.002, log_zoom=0.001, roll=0.002))
    shift = project_points(fitted.pose, FOCAL, everywhere) - project_points(AT_REST, FOCAL, everywhere)
    assert np.abs(shift).max() < 1.0


def test_the_focal_length_is_learned_from_a_wide_turn():
    targets = scene(seed=5)
    turned = Pose(turn=turn_by(np.array([0.0, -0.12, 0.0])), place=np.zeros(3))
    true = 1.2 * FOCAL
    seen = project_points(turned, true, refocused(targets, 1.2)) + np.random.default_rng(6).normal(
        0, 0.2, (80, 2)
    )
    guess = Pose(turn=turn_by(np.array([0.0, -0.14, 0.0])), place=np.zeros(3))
    fitted = fit_pose(
        guess,
        FOCAL,
        targets,
        seen,
        covs(80),
        belief(log_focal=0.25, softness_px=(40.0, 20.0, 10.0, 4.0, 2.0, 1.5)),
    )
    assert fitted.focal_px == pytest.approx(true, rel=0.02)
    assert abs(np.log(fitted.focal_px / true)) < 3 * fitted.log_focal_error


def test_a_small_turn_says_nothing_of_the_focal_length():
    targets = scene(seed=7)
    seen = project_points(AT_REST, FOCAL, targets) + np.random.default_rng(8).normal(0, 0.2, (80, 2))
    fitted = fit_pose(AT_REST, FOCAL, targets, seen, covs(80), belief(log_focal=0.25))
    assert fitted.log_focal_error > 0.1


def test_an_edge_holds_across_itself_only():
    targets = scene(seed=9)
    seen = project_points(MOVED, FOCAL, targets)
    along = seen + np.array([4.0, 0.0])
    lying = np.tile(np.diag([25.0, 0.04]), (80, 1, 1))
    wrong = np.arange(80) % 2 == 0
    mixed = np.where(wrong[:, None], along, seen)
    cov = np.where(wrong[:, None, None], lying, covs(80))
    fitted = fit_pose(AT_REST, FOCAL, targets, mixed, cov, belief())
    error = project_points(fitted.pose, FOCAL, targets) - seen
    assert np.abs(error).max() < 0.25
    assert vectors_of((fitted.pose.turn @ MOVED.turn.T)[None])[0] == pytest.approx(np.zeros(3), abs=5e-4)
