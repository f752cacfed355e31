from dataclasses import replace

import numpy as np
import pytest

from stride.numeric.bundle import Beliefs, _Problem, adjust_bundle
from stride.numeric.homography import apply_homography
from stride.numeric.resection import resect_views
from stride.numeric.turns import turns_by
from stride.numeric.views import SHARED, VIEW, Landmarks, Sights, Views, keep_landmarks

VIEWS, LANDMARKS, REFERENCE, NOISE = 14, 240, 7, 0.1
BAND = np.array([[-200.0, 185.0], [0.0, 195.0], [200.0, 205.0]])


def turning_camera() -> Views:
    rng = np.random.default_rng(0)
    yaw = np.linspace(-0.4, 0.4, VIEWS)
    shake = turns_by(
        np.column_stack([rng.normal(0, 0.008, VIEWS), np.zeros(VIEWS), rng.normal(0, 0.008, VIEWS)])
    )
    turn = shake @ turns_by(np.column_stack([np.zeros(VIEWS), -yaw, np.zeros(VIEWS)]))
    place = rng.normal(0, 0.015, (VIEWS, 3))
    normal = np.array([0.01, 0.995, -0.08])
    return Views(
        focal_px=800.0,
        normal=normal / np.linalg.norm(normal),
        readout=2e-5,
        turn=turn @ turn[REFERENCE].T,
        place=(place - place[REFERENCE]) @ turn[REFERENCE].T,
        log_zoom=np.zeros(VIEWS),
        drift_px=np.column_stack([rng.uniform(-400, -200, VIEWS), rng.uniform(-20, 20, VIEWS)]),
        row_px=180.0,
    )


def seen_by(views: Views, seed: int = 1) -> tuple[Landmarks, Sights]:
    """Points of floor and wall, and their noisy sights in the views near the one they were picked in."""
    rng = np.random.default_rng(seed)
    own = rng.integers(0, VIEWS, LANDMARKS)
    xy = np.column_stack([rng.uniform(-420, 420, LANDMARKS), rng.uniform(-220, 250, LANDMARKS)])
    landmarks = Landmarks(
        view=own, xy_px=xy, on_floor=xy[:, 1] > 120, cov_px2=np.tile(0.05**2 * np.eye(2), (LANDMARKS, 1, 1))
    )
    pairs = [(j, k) for k in range(LANDMARKS) for j in range(VIEWS) if 0 < abs(j - own[k]) <= 3]
    view, landmark = (np.array(column) for column in zip(*pairs, strict=True))
    ray = views.rays(own, views.unroll(own, xy))
    direction = np.einsum("mji,mj->mi", views.turn[own], ray)
    depth = np.where(
        landmarks.on_floor, views.floor_nearness(own, direction), rng.uniform(0.1, 0.2, LANDMARKS)
    )
    point = direction[landmark] + depth[landmark, None] * (views.place[own[landmark]] - views.place[view])
    seen = np.einsum("mij,mj->mi", views.turn[view], point)
    spot = views.focal_px * seen[:, :2] / seen[:, 2:]
    rolled = spot.copy()
    for _ in range(10):
        rolled = spot + (views.readout * (rolled[:, 1] - views.row_px))[:, None] * views.drift_px[view]
    rolled += rng.normal(0, NOISE, rolled.shape)
    return landmarks, Sights(
        view=view, landmark=landmark, xy_px=rolled, cov_px2=np.tile(NOISE**2 * np.eye(2), (len(view), 1, 1))
    )


def guessed(views: Views) -> Views:
    """What following alone would know: no sway, a level floor, the usual focal length, turns a little wrong."""
    wrong = np.random.default_rng(2).normal(0, 0.002, (VIEWS, 3))
    wrong[REFERENCE] = 0
    return replace(
        views,
        focal_px=900.0,
        normal=np.array([0.0, 1.0, 0.0]),
        readout=0.0,
        turn=turns_by(wrong) @ views.turn,
        place=np.zeros((VIEWS, 3)),
    )


def map_errors(views: Views, true: Views) -> np.ndarray:
    pairs = zip(views.floor_maps(), true.floor_maps(), strict=True)
    return np.array([apply_homography(a, BAND) - apply_homography(b, BAND) for a, b in pairs])


BELIEFS = Beliefs(focal_px=900.0, log_zoom=np.full(VIEWS, 0.002))


@pytest.fixture(scope="module")
def solved():
    true = turning_camera()
    landmarks, sights = seen_by(true)
    return (
        true,
        landmarks,
        sights,
        adjust_bundle(guessed(true), landmarks, sights, BELIEFS, reference=REFERENCE),
    )


def test_a_turning_camera_is_found_with_its_focal_length_floor_and_shutter(solved):
    true, _, _, bundle = solved
    assert bundle.views.focal_px == pytest.approx(800, rel=0.002)
    assert bundle.views.readout == pytest.approx(2e-5, rel=0.1)
    assert np.abs(map_errors(bundle.views, true)).max() < 0.6
    assert bundle.scale == pytest.approx(1, abs=0.2)
    assert bundle.views.turn[REFERENCE] == pytest.approx(np.eye(3), abs=1e-12)


def test_the_covariance_tells_the_error_of_the_poses(solved):
    true, _, _, bundle = solved
    turn = 2 * np.array(bundle.views.turn @ true.turn.transpose(0, 2, 1))
    error = 0.25 * np.column_stack([turn[:, 2, 1] - turn[:, 1, 2], turn[:, 0, 2] - turn[:, 2, 0]])
    stated = np.sqrt(np.diag(bundle.covariance)[SHARED:].reshape(-1, VIEW)[:, :2])
    others = np.arange(VIEWS) != REFERENCE
    assert 0.4 < np.sqrt(np.mean((error / np.where(stated > 0, stated, 1))[others] ** 2)) < 2.0
    assert (stated[REFERENCE] == 0).all()


def test_derivatives_are_those_of_the_residuals():
    true = turning_camera()
    landmarks, sights = seen_by(true)
    problem = _Problem(guessed(true), landmarks, sights, BELIEFS, REFERENCE)
    state = problem.begin()
    _, by_view, columns, by_point = problem._derive(state)

    def residual(change, nudge):
        moved = replace(
            state,
            views=state.views.moved(change[:SHARED], change[SHARED:].reshape(-1, VIEW)),
            nudge=state.nudge + nudge[:2],
            nearness=state.nearness + nudge[2],
        )
        return problem._residual(moved)

    for column in (0, 1, 2, 3, SHARED + 3 * VIEW, SHARED + 3 * VIEW + 4, SHARED + 5 * VIEW + 6):
        change = np.zeros(problem.count)
        change[column] = 1e-9 if column == 3 else 1e-6
        slope = (residual(-change, np.zeros(3)) - residual(change, np.zeros(3))) / (2 * change[column])
        analytic = (by_view * (columns == column)[:, None, :]).sum(axis=2)
        assert analytic == pytest.approx(slope, abs=1e-5 * np.abs(slope).max())
    for k in range(3):
        nudge = 1e-6 * np.eye(3)[k]
        slope = (residual(np.zeros(problem.count), -nudge) - residual(np.zeros(problem.count), nudge)) / 2e-6
        assert by_point[:, :, k] == pytest.approx(slope, abs=1e-5 * np.abs(slope).max())


def test_a_moving_animal_among_the_landmarks_is_left_out(solved):
    true, landmarks, sights, clean = solved
    animal = np.arange(LANDMARKS) % 6 == 0
    on_animal = animal[sights.landmark]
    xy = (
        sights.xy_px
        + on_animal[:, None] * [[9.0, 1.0]] * (sights.view - landmarks.view[sights.landmark])[:, None]
    )
    bundle = adjust_bundle(guessed(true), landmarks, replace(sights, xy_px=xy), BELIEFS, reference=REFERENCE)
    assert np.abs(map_errors(bundle.views, true)).max() < np.abs(map_errors(clean.views, true)).max() + 0.5


def test_views_are_placed_among_known_landmarks(solved):
    true, landmarks, sights, bundle = solved
    start = replace(bundle.views, turn=guessed(true).turn, place=np.zeros((VIEWS, 3)))
    placed = resect_views(
        start, bundle, landmarks, sights, place_error=0.03, zoom_error=np.full(VIEWS, 0.002)
    )
    apart = map_errors(placed.views, bundle.views)
    assert np.abs(apart).max() < 0.4
    assert placed.covariance.shape == (VIEWS, VIEW, VIEW)


def test_the_sights_of_kept_landmarks_stay_with_them(solved):
    _, landmarks, sights, _ = solved
    which = np.arange(LANDMARKS) % 2 == 1
    fewer, theirs = keep_landmarks(landmarks, sights, which)
    assert len(fewer) == LANDMARKS // 2
    assert np.array_equal(
        fewer.view[theirs.landmark], landmarks.view[sights.landmark][which[sights.landmark]]
    )
