"""Views found each by itself against landmarks that are taken as known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .bundle import Bundle, project, sum_by
from .turns import cross_matrices
from .views import SHARED, VIEW, Landmarks, Sights, Views, whitening

Array = NDArray[np.float64]

# Misfit, in standard errors, at which a sight counts a quarter, one value for each step.
_SOFT = (24.0, 10.0, 4.0, 3.0, 3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Resection:
    """``views``, and the ``covariance`` (J, 7, 7) of each view's own numbers from its own sights alone."""

    views: Views
    covariance: Array


def resect_views(
    start: Views,
    bundle: Bundle,
    landmarks: Landmarks,
    sights: Sights,
    *,
    place_error: float,
    zoom_error: Array,
) -> Resection:
    """Pose of each of many views, from landmarks fixed by a bundle.

    Parameters
    ----------
    start : Views
        First guesses; what they share is kept. Each place is believed to ``place_error`` (distances to the floor),
        each log zoom to ``zoom_error`` (J,).
    bundle : Bundle
    landmarks : Landmarks
        Those of the bundle, in its own views.
    sights : Sights
        ``view`` counts the views of ``start``.
    """
    fixed, mine = bundle.views, landmarks.view[sights.landmark]
    seen = fixed.unroll(mine, landmarks.xy_px[sights.landmark]) + bundle.nudge_px[sights.landmark]
    nearness = bundle.nearness[sights.landmark]
    direction = np.einsum("mji,mj->mi", fixed.turn[mine], fixed.rays(mine, seen))
    origin = direction + nearness[:, None] * fixed.place[mine]
    whiten = whitening(sights.cov_px2) / bundle.scale
    precision = np.zeros((len(start), VIEW))
    precision[:, :3], precision[:, 3:6], precision[:, 6] = 1e-2, place_error**-2.0, zoom_error**-2.0
    views = start
    normal = np.zeros((len(start), VIEW, VIEW))
    for soft in _SOFT:
        gap, rows = _derive_view(views, sights, origin, nearness)
        gap, rows = (whiten @ gap[:, :, None])[:, :, 0], whiten @ rows
        weight = 1.0 / (1 + (gap**2).sum(axis=1) / soft**2) ** 2
        weighed = (rows * weight[:, None, None]).transpose(0, 2, 1)
        normal = sum_by(sights.view, weighed @ rows, len(start)) + precision[:, :, None] * np.eye(VIEW)
        pull = sum_by(sights.view, (weighed @ gap[:, :, None])[:, :, 0], len(start))
        pull[:, 3:6] -= precision[:, 3:6] * (views.place - start.place)
        pull[:, 6] -= precision[:, 6] * (views.log_zoom - start.log_zoom)
        step = np.linalg.solve(normal, pull[:, :, None])[:, :, 0]
        views = views.moved(np.zeros(SHARED), np.asarray(step, dtype=float))
    return Resection(views=views, covariance=np.asarray(np.linalg.inv(normal), dtype=float))


def _derive_view(views: Views, sights: Sights, origin: Array, nearness: Array) -> tuple[Array, Array]:
    """Residuals (M, 2), and the change (M, 2, 7) of the predicted place with its view's own numbers."""
    turn = views.turn[sights.view]
    seen = np.einsum("mij,mj->mi", turn, origin - nearness[:, None] * views.place[sights.view])
    spot, by_seen = project(seen, views.focal_of(sights.view))
    rows = np.empty((len(seen), 2, VIEW))
    rows[:, :, :3] = -by_seen @ cross_matrices(seen)
    rows[:, :, 3:6] = -nearness[:, None, None] * (by_seen @ turn)
    rows[:, :, 6] = spot
    return views.unroll(sights.view, sights.xy_px) - spot, rows
