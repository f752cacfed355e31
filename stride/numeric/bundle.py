"""Views and landmarks found together from all sights (bundle adjustment)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from .turns import cross_matrices, vectors_of
from .views import SHARED, VIEW, Landmarks, Sights, Views, whitening

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

# Misfit, in standard errors, at which a sight counts a quarter: first and last.
_SOFT = (16.0, 3.0)
# The median length of two independent errors of size 1.
_MEDIAN_LENGTH = 1.1774


@dataclass(frozen=True, slots=True, kw_only=True)
class Beliefs:
    """What is known before anything is seen, as standard errors.

    Parameters
    ----------
    focal_px, log_focal : float
        Focal length, and the error of its logarithm.
    pitch, roll : float
        Of the floor against level (rad).
    readout : float
        Time between neighbouring rows, about 0 (s).
    place : float
        Of each view about the reference view's place (distances to the floor).
    log_zoom : (J,) float array
        Of each view about its first guess.
    nearness, nearness_error : float
        Inverse depth of points off the floor (1 / distance to the floor).
    turn : float
        Of each view about its first guess (rad); it only keeps unseen views from running away.
    """

    focal_px: float
    log_focal: float = 0.25
    pitch: float = 0.15
    roll: float = 0.04
    readout: float = 15e-6
    place: float = 0.25
    log_zoom: Array
    nearness: float = 0.15
    nearness_error: float = 0.12
    turn: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundle:
    """The most likely views and landmarks.

    Parameters
    ----------
    views : Views
    nudge_px : (L, 2) float array
        Correction of each landmark's place in its own view.
    nearness : (L,) float array
        Inverse depth along its own view's axis (1 / distance to the floor).
    covariance : (4 + 7 J, 4 + 7 J) float array
        Of the shared numbers and of each view's; zero for the reference view.
    scale : float
        Factor on all given errors that makes the misfits as large as they should be; ``covariance`` has it in.
    """

    views: Views
    nudge_px: Array
    nearness: Array
    covariance: Array
    scale: float


def adjust_bundle(
    start: Views, landmarks: Landmarks, sights: Sights, beliefs: Beliefs, *, reference: int, rounds: int = 12
) -> Bundle:
    """Views and landmarks that explain all sights best.

    Gauss–Newton steps with the landmarks eliminated (Triggs et al. 2000, doi 10.1007/3-540-44480-7_21), sights
    down-weighted by their misfit after Geman & McClure.

    Parameters
    ----------
    start : Views
        First guess; the reference view has no turn and no place.
    landmarks : Landmarks
    sights : Sights
    beliefs : Beliefs
    reference : int
        The view that stays where it is.
    rounds : int
        Most steps.
    """
    problem = _Problem(start, landmarks, sights, beliefs, reference)
    state = problem.begin()
    soft, damping = _SOFT[0], 1e-4
    cost = problem.cost(state, soft)
    for _ in range(rounds):
        system = problem.linearise(state, soft)
        fresh = problem.step(state, system, damping)
        fresh_cost = problem.cost(fresh, soft)
        if fresh_cost > cost * (1 + 1e-9):
            damping = 30 * damping + 1e-6
            if damping > 1e3:
                break
            continue
        settled = cost - fresh_cost < 1e-3 * cost
        state, damping, cost = fresh, damping / 10, fresh_cost
        if settled and soft <= _SOFT[1]:
            break
        if soft > _SOFT[1]:
            soft = max(_SOFT[1], soft / 2)
            cost = problem.cost(state, soft)
    return problem.finish(state, _SOFT[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    views: Views
    nudge: Array
    nearness: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _System:
    """Normal equations: of the views, the inverse of the landmarks' own, and what couples them."""

    view: Array
    pull: Array
    point: Array
    point_pull: Array
    coupling: sparse.csr_array

    def reduce(self) -> tuple[Array, Array]:
        """Normal matrix and right side of the views with the landmarks eliminated."""
        points = len(self.point)
        inverse = sparse.bsr_array(
            (self.point, np.arange(points), np.arange(points + 1)), shape=(3 * points, 3 * points)
        )
        carried = (self.coupling @ inverse).tocsr()
        normal = self.view - (carried @ self.coupling.T).toarray()
        return normal, self.pull - carried @ self.point_pull.reshape(-1)


class _Problem:
    """The residuals of a bundle and their derivatives."""

    def __init__(
        self, start: Views, landmarks: Landmarks, sights: Sights, beliefs: Beliefs, reference: int
    ) -> None:
        self.start, self.landmarks, self.sights, self.beliefs = start, landmarks, sights, beliefs
        self.count = SHARED + VIEW * len(start)
        self.own = landmarks.view[sights.landmark]
        self.floor = landmarks.on_floor[sights.landmark]
        self.whiten = whitening(sights.cov_px2)
        self.hold = np.linalg.inv(landmarks.cov_px2)
        self.free = np.r_[0 : SHARED + VIEW * reference, SHARED + VIEW * (reference + 1) : self.count]
        common = [beliefs.log_focal, beliefs.pitch, beliefs.roll, beliefs.readout]
        each = np.empty((len(start), VIEW))
        each[:, :3], each[:, 3:6], each[:, 6] = beliefs.turn, beliefs.place, beliefs.log_zoom
        self.precision = np.concatenate([common, each.reshape(-1)]) ** -2.0

    def begin(self) -> _State:
        count = len(self.landmarks)
        return _State(
            views=self.start, nudge=np.zeros((count, 2)), nearness=np.full(count, self.beliefs.nearness)
        )

    def finish(self, state: _State, soft: float) -> Bundle:
        misfit = np.linalg.norm(self._residual(state), axis=1)
        # What the views and landmarks take up of the sights' errors does not show in the misfits.
        taken = len(self.free) + 2 * len(self.landmarks)
        share = max(1.0 - taken / max(2 * len(misfit) + 2 * len(self.landmarks), 1), 0.2)
        scale = float(np.median(misfit) / _MEDIAN_LENGTH / np.sqrt(share)) if len(misfit) else 1.0
        normal, _ = self.linearise(state, soft).reduce()
        covariance = np.zeros_like(normal)
        covariance[np.ix_(self.free, self.free)] = np.linalg.inv(normal[np.ix_(self.free, self.free)])
        return Bundle(
            views=state.views,
            nudge_px=state.nudge,
            nearness=self._depths(state),
            covariance=covariance * scale**2,
            scale=scale,
        )

    def cost(self, state: _State, soft: float) -> float:
        square = (self._residual(state) ** 2).sum(axis=1)
        robust = square / (1 + square / soft**2)
        place = np.einsum("li,lij,lj->", state.nudge, self.hold, state.nudge)
        depth = ((state.nearness - self.beliefs.nearness) / self.beliefs.nearness_error) ** 2
        return float(robust.sum() + self.precision @ self._off_belief(state) ** 2 + place + depth.sum())

    def linearise(self, state: _State, soft: float) -> _System:
        residual, by_view, columns, by_point = self._derive(state)
        root = 1.0 / (1 + (residual**2).sum(axis=1) / soft**2)
        residual = residual * root[:, None]
        by_view, by_point = by_view * root[:, None, None], by_point * root[:, None, None]
        points = len(self.landmarks)
        to_views = _sparse_rows(by_view, columns, self.count)
        to_points = _sparse_rows(by_point, 3 * self.sights.landmark[:, None] + np.arange(3), 3 * points)
        view = (to_views.T @ to_views).toarray()
        view[np.diag_indices(self.count)] += self.precision
        point = sum_by(self.sights.landmark, by_point.transpose(0, 2, 1) @ by_point, points)
        own = np.zeros((points, 3, 3))
        own[:, :2, :2], own[:, 2, 2] = self.hold, self.beliefs.nearness_error**-2.0
        off = np.column_stack([state.nudge, state.nearness - self.beliefs.nearness])
        flat = residual.reshape(-1)
        return _System(
            view=view,
            pull=to_views.T @ flat - self.precision * self._off_belief(state),
            point=np.asarray(np.linalg.inv(point + own), dtype=float),
            point_pull=(to_points.T @ flat).reshape(points, 3) - (own @ off[:, :, None])[:, :, 0],
            coupling=(to_views.T @ to_points).tocsr(),
        )

    def step(self, state: _State, system: _System, damping: float) -> _State:
        """The state one Gauss–Newton step on."""
        normal, pull = system.reduce()
        kept = normal[np.ix_(self.free, self.free)]
        kept[np.diag_indices(len(kept))] *= 1 + damping
        view = np.zeros(self.count)
        view[self.free] = np.linalg.solve(kept, pull[self.free])
        view[0] = np.clip(view[0], -0.3, 0.3)
        back = system.point_pull - (system.coupling.T @ view).reshape(-1, 3)
        point = np.einsum("lij,lj->li", system.point, back)
        return _State(
            views=state.views.moved(view[:SHARED], view[SHARED:].reshape(-1, VIEW)),
            nudge=state.nudge + point[:, :2],
            nearness=state.nearness + point[:, 2],
        )

    def _off_belief(self, state: _State) -> Array:
        """How far every number of the views is from what was believed."""
        views, start = state.views, self.start
        common = [
            np.log(views.focal_px / self.beliefs.focal_px),
            np.arctan2(views.normal[2], views.normal[1]),
            -np.arctan2(views.normal[0], views.normal[1]),
            views.readout,
        ]
        turned = vectors_of(views.turn @ start.turn.transpose(0, 2, 1))
        each = np.column_stack([turned, views.place, views.log_zoom - start.log_zoom])
        return np.concatenate([common, each.reshape(-1)])

    def _rays(self, state: _State, view: Indices, landmark: Indices) -> Array:
        views = state.views
        return views.rays(view, views.unroll(view, self.landmarks.xy_px[landmark]) + state.nudge[landmark])

    def _depths(self, state: _State) -> Array:
        views, view = state.views, self.landmarks.view
        ray = self._rays(state, view, np.arange(len(view)))
        direction = np.einsum("mji,mj->mi", views.turn[view], ray)
        return np.where(self.landmarks.on_floor, views.floor_nearness(view, direction), state.nearness)

    def _residual(self, state: _State) -> Array:
        views, sights = state.views, self.sights
        ray = self._rays(state, self.own, sights.landmark)
        direction = np.einsum("mji,mj->mi", views.turn[self.own], ray)
        point = direction + self._nearness(state, direction)[:, None] * (
            views.place[self.own] - views.place[sights.view]
        )
        seen = np.einsum("mij,mj->mi", views.turn[sights.view], point)
        spot = views.focal_of(sights.view)[:, None] * seen[:, :2] / np.maximum(seen[:, 2:], 1e-3)
        return self._whitened(spot, views)

    def _whitened(self, spot: Array, views: Views) -> Array:
        gap = views.unroll(self.sights.view, self.sights.xy_px) - spot
        return np.asarray((self.whiten @ gap[:, :, None])[:, :, 0])

    def _nearness(self, state: _State, direction: Array) -> Array:
        on_floor = state.views.floor_nearness(self.own, direction)
        return np.where(self.floor, on_floor, state.nearness[self.sights.landmark])

    def _derive(self, state: _State) -> tuple[Array, Array, Indices, Array]:
        """Whitened residuals (M, 2); change of the predicted places with the views' numbers (M, 2, 18), and the (M, 18)
        columns those are; and with the landmark's three numbers (M, 2, 3)."""
        views, sights = state.views, self.sights
        mine, other = self.own, sights.view
        ray = self._rays(state, mine, sights.landmark)
        back = views.turn[mine].transpose(0, 2, 1)
        direction = np.einsum("mij,mj->mi", back, ray)
        height = 1.0 - views.place[mine] @ views.normal
        nearness = self._nearness(state, direction)
        base = views.place[mine] - views.place[other]
        seen = np.einsum("mij,mj->mi", views.turn[other], direction + nearness[:, None] * base)
        spot, by_seen = project(seen, views.focal_of(other))
        by_point = by_seen @ views.turn[other]
        by_nearness = (by_point @ base[:, :, None])[:, :, 0]
        slope = np.where(self.floor[:, None], views.normal / height[:, None], 0.0)
        by_ray = (by_point + by_nearness[:, :, None] * slope[:, None, :]) @ back
        own_zoom = -(by_ray[:, :, :2] @ ray[:, :2, None])[:, :, 0]
        by_anchor = by_ray[:, :, :2] / views.focal_of(mine)[:, None, None]

        rows = np.empty((len(seen), 2, SHARED + 2 * VIEW))
        rows[:, :, 0] = spot + own_zoom
        tilted = (direction + nearness[:, None] * views.place[mine]) / height[:, None]
        rows[:, :, 1] = by_nearness * (self.floor * (tilted @ np.cross([1.0, 0, 0], views.normal)))[:, None]
        rows[:, :, 2] = by_nearness * (self.floor * (tilted @ np.cross([0, 0, 1.0], views.normal)))[:, None]
        late_mine = self.landmarks.xy_px[sights.landmark, 1] - views.row_px
        late_other = sights.xy_px[:, 1] - views.row_px
        rows[:, :, 3] = late_other[:, None] * views.drift_px[other] - np.einsum(
            "mij,mj->mi", by_anchor, late_mine[:, None] * views.drift_px[mine]
        )
        a, b = SHARED, SHARED + VIEW
        rows[:, :, a : a + 3] = by_ray @ cross_matrices(ray)
        rows[:, :, a + 3 : a + 6] = nearness[:, None, None] * (
            by_point + by_nearness[:, :, None] * slope[:, None, :]
        )
        rows[:, :, a + 6] = own_zoom
        rows[:, :, b : b + 3] = -by_seen @ cross_matrices(seen)
        rows[:, :, b + 3 : b + 6] = -nearness[:, None, None] * by_point
        rows[:, :, b + 6] = spot
        point = np.concatenate([by_anchor, (by_nearness * ~self.floor[:, None])[:, :, None]], axis=2)
        columns = np.column_stack(
            [
                np.broadcast_to(np.arange(SHARED), (len(seen), SHARED)),
                SHARED + VIEW * mine[:, None] + np.arange(VIEW),
                SHARED + VIEW * other[:, None] + np.arange(VIEW),
            ]
        )
        return self._whitened(spot, views), self.whiten @ rows, columns, self.whiten @ point


def project(seen: Array, focal: Array) -> tuple[Array, Array]:
    """Pixels (M, 2) of points (M, 3) in their views' axes, and the derivative (M, 2, 3) by the points."""
    depth = np.maximum(seen[:, 2], 1e-3)
    spot = focal[:, None] * seen[:, :2] / depth[:, None]
    by_seen = np.zeros((len(seen), 2, 3))
    by_seen[:, 0, 0] = by_seen[:, 1, 1] = focal / depth
    by_seen[:, :, 2] = -spot / depth[:, None]
    return spot, by_seen


def sum_by(group: Indices, values: Array, count: int) -> Array:
    """Sums of the rows of each of ``count`` groups."""
    flat = values.reshape(len(values), -1)
    adding = sparse.csr_array(
        (np.ones(len(group)), (group, np.arange(len(group)))), shape=(count, len(group))
    )
    return np.asarray(adding @ flat).reshape(count, *values.shape[1:])


def _sparse_rows(blocks: Array, columns: Indices, width: int) -> sparse.csr_array:
    """Rows (2M, width) from dense blocks (M, 2, K) and the columns (M, K) they belong in."""
    rows, each = 2 * len(blocks), blocks.shape[2]
    return sparse.csr_array(
        (
            blocks.reshape(-1),
            np.repeat(columns, 2, axis=0).reshape(-1).astype(np.int32),
            np.arange(0, rows * each + 1, each),
        ),
        shape=(rows, width),
    )
