"""One hoof followed in one direction of time, from a place known in one frame."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..imaging.locate import Patch, Sighting, cut_patch, refine_patch, search_patch
from .clip import Image

Array = NDArray[np.float64]

# Similarity above which a patch counts as the hoof of the start frame, and as the hoof of the frame before.
_SAME = 0.80
_LIKE = 0.60
# A hoof that was lost is taken up again only on better evidence, lest the leg that hid it be taken for it.
_AGAIN = 0.75
# A hoof hidden while it stands may be waited for longer than one lost in the air (s).
_WAIT_STANDING = 0.9
_WAIT_SWINGING = 0.12


@dataclass(frozen=True, slots=True, kw_only=True)
class HoofShape:
    """The size of a hoof in the picture and the way it points.

    Parameters
    ----------
    length_px : float
    facing : int
        1 where the toe points to the right of the picture, −1 where it points to the left.
    """

    length_px: float
    facing: int

    def weight(self) -> tuple[NDArray[np.float32], tuple[float, float]]:
        """How much each pixel about the toe tip counts, and where the tip is: the hoof lies behind and above it."""
        back, ahead = round(1.25 * self.length_px), round(0.40 * self.length_px)
        above, below = round(1.15 * self.length_px), round(0.30 * self.length_px)
        columns = np.arange(-back, ahead + 1) / self.length_px
        rows = np.arange(-above, below + 1) / self.length_px
        across = _plateau(columns, -1.05, 0.05, 0.15)
        along = _plateau(rows, -0.95, 0.05, 0.12)
        weight = np.outer(along, across).astype(np.float32)
        if self.facing < 0:
            weight = np.ascontiguousarray(weight[:, ::-1])
            return weight, (float(ahead), float(above))
        return weight, (float(back), float(above))


def _plateau(x: Array, low: float, high: float, soft: float) -> Array:
    """1 between low and high, falling off as a bell outside."""
    outside = np.maximum(np.maximum(low - x, x - high), 0.0)
    return np.exp(-0.5 * (outside / soft) ** 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """One hoof point followed from one frame on, one entry for each frame, in the order followed.

    Parameters
    ----------
    frames : (K,) int array
    xy_px : (K, 2) float array
    variance_px2 : (K,) float array
        Error against the start frame, per axis.
    seen : (K,) bool array
    anchored : (K,) bool array
        Found by the picture of the start frame itself, so that nothing can have drifted.
    """

    frames: NDArray[np.intp]
    xy_px: Array
    variance_px2: Array
    seen: NDArray[np.bool_]
    anchored: NDArray[np.bool_]


@dataclass(slots=True)
class Following:
    """The state of following one hoof: feed it frame after frame, then take its path.

    Parameters
    ----------
    luma : (H, W) uint8 array
        The start frame.
    frame : int
    t : float
    xy_px : (2,) float array
        The toe tip in the start frame.
    shape : HoofShape
    """

    luma: Image
    frame: int
    t: float
    xy_px: Array
    shape: HoofShape
    finished: bool = False
    _anchor: Patch = field(init=False)
    _recent: Patch = field(init=False)
    _angle: float = field(init=False, default=0.0)
    _velocity: Array = field(init=False, default_factory=lambda: np.zeros(2))
    _variance: float = field(init=False, default=0.01)
    _last_seen_t: float = field(init=False)
    _rows: list[tuple[int, float, float, float, bool, bool]] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        weight, point = self.shape.weight()
        self._anchor = cut_patch(self.luma, self.xy_px, angle=0.0, weight=weight, point=point)
        self._recent = self._anchor
        self._last_seen_t = self.t
        self._keep(self.frame, True, True)

    def step(self, luma: Image, frame: int, t: float) -> None:
        """Follow the hoof into the next frame (in the direction of following)."""
        if self.finished:
            return
        elapsed = abs(t - self.t)
        sighting, anchored = self._look(luma, elapsed, abs(t - self._last_seen_t))
        self.t = t
        if sighting is None:
            self._coast(elapsed)
        else:
            self._accept(luma, sighting, anchored, abs(t - self._last_seen_t))
            self._last_seen_t = t
        waited = abs(t - self._last_seen_t)
        patience = _WAIT_STANDING if self._standing(elapsed) else _WAIT_SWINGING
        if waited > patience or not self._inside(luma):
            self.finished = True
            return
        self._keep(frame, sighting is not None, anchored)

    def path(self) -> Path:
        """What has been followed so far, without a hidden tail."""
        rows = self._rows
        while len(rows) > 1 and not rows[-1][4]:
            rows.pop()
        table = np.array(rows, dtype=float)
        return Path(
            frames=table[:, 0].astype(np.intp),
            xy_px=table[:, 1:3],
            variance_px2=table[:, 3],
            seen=table[:, 4] > 0,
            anchored=table[:, 5] > 0,
        )

    def _look(self, luma: Image, elapsed: float, unseen: float) -> tuple[Sighting | None, bool]:
        if self._standing(elapsed):
            still = refine_patch(
                luma, self._anchor, self.xy_px, angle=self._angle, turning=False, iterations=3
            )
            if still.similarity > _SAME and np.abs(still.xy_px - self.xy_px).max() < 1.5:
                return still, True
        guess = self.xy_px + self._velocity * elapsed
        moving = float(np.hypot(*self._velocity)) * elapsed
        reach = int(np.clip(3 + 0.6 * moving + 40 * (unseen - elapsed), 3, 1.5 * self.shape.length_px))
        coarse, _ = search_patch(luma, self._recent, guess, angle=self._angle, reach_px=reach)
        found = refine_patch(luma, self._recent, coarse, angle=self._angle, turning=True)
        enough = _LIKE if unseen <= elapsed else _AGAIN
        if np.hypot(*(found.xy_px - coarse)) > 3.0 or found.similarity < enough:
            return None, False
        start = refine_patch(luma, self._anchor, found.xy_px, angle=found.angle, turning=True)
        if start.similarity > _SAME and np.hypot(*(start.xy_px - found.xy_px)) < 0.15 * self.shape.length_px:
            return start, True
        return found, False

    def _accept(self, luma: Image, sighting: Sighting, anchored: bool, elapsed: float) -> None:
        shift = sighting.xy_px - self.xy_px
        if elapsed > 0:
            self._velocity = shift / elapsed
        own = float(np.trace(sighting.cov_px2)) / 2
        if anchored:
            self._variance = max(own, 0.05**2)
        else:
            self._variance += own + 0.08**2 + (0.02 * float(np.hypot(*shift))) ** 2
        self.xy_px, self._angle = sighting.xy_px, float(np.clip(sighting.angle, -1.6, 1.6))
        if not anchored or self._recent is not self._anchor:
            self._recent = cut_patch(
                luma, self.xy_px, angle=self._angle, weight=self._anchor.weight, point=self._anchor.point
            )

    def _coast(self, elapsed: float) -> None:
        self.xy_px = self.xy_px + self._velocity * elapsed
        self._velocity = self._velocity * 0.9
        self._variance += 1.0 + (0.3 * float(np.hypot(*self._velocity)) * elapsed) ** 2

    def _standing(self, elapsed: float) -> bool:
        return float(np.hypot(*self._velocity)) * max(elapsed, 1e-3) < 0.03 * self.shape.length_px

    def _inside(self, luma: Image) -> bool:
        height, width = luma.shape
        return bool(0 <= self.xy_px[0] < width and 0 <= self.xy_px[1] < height)

    def _keep(self, frame: int, seen: bool, anchored: bool) -> None:
        self._rows.append((frame, self.xy_px[0], self.xy_px[1], self._variance, seen, anchored))
