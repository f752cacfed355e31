"""A camera that turns and sways above a floor: its views, and points sighted in several of them.

The camera is a pinhole of one unknown focal length. Lengths are in units of its distance from the floor in the
reference view, which makes the floor's map fixed by rotation, small translation and the floor's tilt alone: six numbers
a view instead of the eight of a free plane-to-plane map, and a few that all views share.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .turns import turn_by, turns_by

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Numbers a view has: turn (3), place (3), log zoom (1).
VIEW = 7
#: Numbers all views share: log focal length, tilt of the floor about the level and about the line of sight, and the
#: seconds by which each picture row is read out after the one above.
SHARED = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Views:
    """Poses of J views and what they share.

    Parameters
    ----------
    focal_px : float
    normal : (3,) float array
        Unit vector from the reference view straight down to the floor, in its axes (x right, y down, z ahead).
    readout : float
        Time between neighbouring rows (s).
    turn : (J, 3, 3) float array
        Rotation from the reference view's axes to each view's.
    place : (J, 3) float array
        Of each lens, in the reference view's axes (distances to the floor).
    log_zoom : (J,) float array
        How much longer each focal length is, as a natural logarithm.
    drift_px : (J, 2) float array
        Speed of the picture (px/s): what a row read later is displaced by. Given, not estimated.
    row_px : float
        Row from which the readout counts, from the middle of the picture.
    """

    focal_px: float
    normal: Array
    readout: float
    turn: Array
    place: Array
    log_zoom: Array
    drift_px: Array
    row_px: float

    def __len__(self) -> int:
        return len(self.turn)

    def only(self, which: Indices) -> Views:
        """Some of the views."""
        return replace(
            self,
            turn=self.turn[which],
            place=self.place[which],
            log_zoom=self.log_zoom[which],
            drift_px=self.drift_px[which],
        )

    def moved(self, shared: Array, own: Array) -> Views:
        """The views after small changes of what they share (4,) and of each one's own numbers (J, 7)."""
        tilt = turn_by(np.array([shared[1], 0.0, shared[2]]))
        return replace(
            self,
            focal_px=self.focal_px * float(np.exp(shared[0])),
            normal=tilt @ self.normal,
            readout=self.readout + float(shared[3]),
            turn=turns_by(own[:, :3]) @ self.turn,
            place=self.place + own[:, 3:6],
            log_zoom=self.log_zoom + own[:, 6],
        )

    def focal_of(self, view: Indices) -> Array:
        """Focal length of each of these views (px): (M,)."""
        return np.asarray(self.focal_px * np.exp(self.log_zoom[view]))

    def unroll(self, view: Indices, xy_px: Array) -> Array:
        """Points as they would be had all rows been read with row ``row_px``: (M, 2)."""
        late = (xy_px[:, 1] - self.row_px) * self.readout
        return np.asarray(xy_px - late[:, None] * self.drift_px[view])

    def rays(self, view: Indices, xy_px: Array) -> Array:
        """Directions in each view's axes of points in its picture: (M, 3), one ahead."""
        return np.column_stack([xy_px / self.focal_of(view)[:, None], np.ones(len(xy_px))])

    def floor_nearness(self, view: Indices, direction: Array) -> Array:
        """Inverse depth (M,) at which directions (M, 3), in the reference view's axes, meet the floor from views."""
        return np.asarray(direction @ self.normal / (1.0 - self.place[view] @ self.normal))

    def floor_maps(self) -> Array:
        """Homographies of floor points from each view to the reference view, pixels from the middle: (J, 3, 3)."""
        back = self.turn.transpose(0, 2, 1)
        height = 1.0 - self.place @ self.normal
        lift = np.eye(3) + self.place[:, :, None] * self.normal / height[:, None, None]
        outer = np.diag([self.focal_px, self.focal_px, 1.0])
        inner = np.zeros_like(back)
        inner[:, 0, 0] = inner[:, 1, 1] = np.exp(-self.log_zoom) / self.focal_px
        inner[:, 2, 2] = 1.0
        unroll = np.tile(np.eye(3), (len(back), 1, 1))
        unroll[:, :2, 1] -= self.readout * self.drift_px
        unroll[:, :2, 2] += self.readout * self.row_px * self.drift_px
        return np.asarray(outer @ lift @ back @ inner @ unroll)


@dataclass(frozen=True, slots=True, kw_only=True)
class Landmarks:
    """Points of the scene, each known by its place in one view.

    Parameters
    ----------
    view : (L,) int array
        The view it was picked in.
    xy_px : (L, 2) float array
        Its place there, from the middle of the picture.
    on_floor : (L,) bool array
        Known to lie on the floor; the others lie at any depth.
    cov_px2 : (L, 2, 2) float array
        Of that place, against where later sights put it.
    """

    view: Indices
    xy_px: Array
    on_floor: NDArray[np.bool_]
    cov_px2: Array

    def __len__(self) -> int:
        return len(self.view)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sights:
    """Landmarks seen in views other than their own.

    Parameters
    ----------
    view, landmark : (M,) int array
    xy_px : (M, 2) float array
        From the middle of the picture.
    cov_px2 : (M, 2, 2) float array
    """

    view: Indices
    landmark: Indices
    xy_px: Array
    cov_px2: Array

    def __len__(self) -> int:
        return len(self.view)


def keep_landmarks(
    landmarks: Landmarks, sights: Sights, which: NDArray[np.bool_]
) -> tuple[Landmarks, Sights]:
    """Some of the landmarks (L,), and the sights of those alone."""
    number = np.cumsum(which) - 1
    seen = which[sights.landmark]
    return Landmarks(
        view=landmarks.view[which],
        xy_px=landmarks.xy_px[which],
        on_floor=landmarks.on_floor[which],
        cov_px2=landmarks.cov_px2[which],
    ), Sights(
        view=sights.view[seen],
        landmark=number[sights.landmark[seen]],
        xy_px=sights.xy_px[seen],
        cov_px2=sights.cov_px2[seen],
    )


def whitening(cov: Array) -> Array:
    """(N, 2, 2) matrices that turn errors of these covariances into independent ones of size 1."""
    return np.asarray(np.linalg.cholesky(np.linalg.inv(cov)).transpose(0, 2, 1))
