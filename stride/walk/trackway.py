"""The prints laid along the line of walk, every number with its derivative by every source of error."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import RefusedError
from ..numeric.propagation import ErrorModel, Linear, direction_of, estimate_spread, mean_of, symmetric_root
from ..quantity import Measured, Quantity, Unmeasured
from .ground import Ground
from .limbs import LIMBS, Limb
from .marks import Animal, Direction
from .prints import Print

Array = NDArray[np.float64]

#: Standard error of a hip height that a person measured (m); assumed.
_HIP_HEIGHT_ERROR: Final = 0.02
#: Longest gap between prints of a limb, in usual strides, in which no print was missed.
_MISSED_PRINT: Final = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Trackway:
    """Prints along and across the line of walk, in time.

    The sources of error are, in this order: x and y of every print, every touch-down, every lift-off, the
    direction of the line of walk beyond what the print errors explain, and the hip height.

    Parameters
    ----------
    prints : tuple of Print
    heading : (float, float)
        Unit vector of the line of walk on the floor, pointing where the animal goes.
    unit : {"m", "stride"}
        Of all lengths.
    along, across : tuple of Linear
        Place of each print along the heading, and across it to the animal's left.
    touch_down, lift_off : tuple of Linear or None
        Seconds; None where the event was not seen.
    hip_height : Linear or None
        In m.
    of_limb : mapping
        Indices of each limb's prints in the order they were made.
    pairs : tuple of (int, int)
        Start and end print of every stride: consecutive prints of one limb, none missed between them.
    errors : ErrorModel
    spans_floor : bool
        False where the floor was not marked with points, so that distances across the walk mean nothing.
    has_lengths : bool
        False where the clip has neither a scale nor one whole stride.
    """

    prints: tuple[Print, ...]
    heading: tuple[float, float]
    unit: Literal["m", "stride"]
    along: tuple[Linear, ...]
    across: tuple[Linear, ...]
    touch_down: tuple[Linear | None, ...]
    lift_off: tuple[Linear | None, ...]
    hip_height: Linear | None
    of_limb: Mapping[Limb, tuple[int, ...]]
    pairs: tuple[tuple[int, int], ...]
    errors: ErrorModel
    spans_floor: bool
    has_lengths: bool

    def length(self, start: int, end: int) -> Linear:
        """Distance along the walk from one print to another."""
        return self.along[end] - self.along[start]

    def time(self, start: int, end: int) -> Linear | None:
        """Time from one touch-down to another (s), where both were seen."""
        return _less(self.touch_down[end], self.touch_down[start])

    def stance(self, index: int) -> Linear | None:
        """Time from a print's touch-down to its lift-off (s), where both were seen."""
        return _less(self.lift_off[index], self.touch_down[index])

    def swing(self, start: int, end: int) -> Linear | None:
        """Time from a print's lift-off to the next touch-down of the limb (s), where both were seen."""
        return _less(self.touch_down[end], self.lift_off[start])

    def measured(
        self, number: Linear, unit: str, groups: Sequence[Sequence[Linear]] = (), *, n: int | None = None
    ) -> Measured:
        """The number with its doubt.

        Parameters
        ----------
        number : Linear
        unit : str
        groups : sequence of sequences of Linear
            The single values it comes from; spread is pooled over groups, about each group's own mean.
        n : int, optional
            How many single values, where that is not the number of ``groups``' members.
        """
        random, common = self.errors.standard_errors(number)
        return Measured(
            value=number.value,
            unit=unit,
            random=random,
            common=common,
            spread=estimate_spread(groups, self.errors),
            n=n if n is not None else max(sum(map(len, groups)), 1),
        )

    def measured_mean(self, singles: Sequence[Linear], unit: str, reason: str) -> Quantity:
        """Mean of single values, or the reason where there is none."""
        if not singles:
            return Unmeasured(reason=reason)
        return self.measured(mean_of(singles), unit, [singles])


def lay_trackway(
    prints: Sequence[Print],
    ground: Ground,
    *,
    direction: Direction | None = None,
    animal: Animal | None = None,
) -> Trackway:
    """Lay the prints along the line of walk.

    Where the clip has no scale, lengths are divided by the mean length of all strides.

    Parameters
    ----------
    prints : sequence of Print
    ground : Ground
        The floor they stand on.
    direction : {"left_to_right", "right_to_left"}, optional
        Needed only where no limb has two prints.
    animal : Animal, optional
        For its hip height.

    Raises
    ------
    RefusedError
        Where the prints do not tell which way the animal walked.
    """
    prints = tuple(prints)
    angle, excess = _fit_heading(prints, direction)
    n = len(prints)
    size = 4 * n + 2

    def source(value: float, at: int) -> Linear:
        gradient = np.zeros(size)
        gradient[at] = 1.0
        return Linear(value=value, gradient=gradient)

    turn = np.zeros(size)
    turn[: 2 * n], turn[4 * n] = angle.gradient, 1.0
    cosine, sine = direction_of(Linear(value=angle.value, gradient=turn))
    x = [source(float(one.xy[0]), 2 * i) for i, one in enumerate(prints)]
    y = [source(float(one.xy[1]), 2 * i + 1) for i, one in enumerate(prints)]
    along = [a * cosine + b * sine for a, b in zip(x, y, strict=True)]
    across = [b * cosine - a * sine for a, b in zip(x, y, strict=True)]
    of_limb = order_by_limb(prints)
    pairs = _find_strides(prints, [one.value for one in along], of_limb)
    if ground.unit == "stride" and pairs:
        mean_stride = mean_of([along[end] - along[start] for start, end in pairs])
        along = [one / mean_stride for one in along]
        across = [one / mean_stride for one in across]
    height = animal.hip_height if animal else None
    return Trackway(
        prints=prints,
        heading=(math.cos(angle.value), math.sin(angle.value)),
        unit=ground.unit,
        along=tuple(along),
        across=tuple(across),
        touch_down=tuple(
            None if one.touch_down is None else source(one.touch_down, 2 * n + i)
            for i, one in enumerate(prints)
        ),
        lift_off=tuple(
            None if one.lift_off is None else source(one.lift_off, 3 * n + i) for i, one in enumerate(prints)
        ),
        hip_height=None if height is None else source(height, 4 * n + 1),
        of_limb=of_limb,
        pairs=pairs,
        errors=_model_errors(prints, ground, excess),
        spans_floor=ground.kind == "plane",
        has_lengths=ground.unit == "m" or bool(pairs),
    )


def estimate_heading(prints: Sequence[Print], direction: Direction | None = None) -> tuple[float, float]:
    """Unit vector of the line of walk on the floor, pointing where the animal goes.

    Weighted least squares over the prints of all limbs: one direction for all, each limb with its own place
    across the walk. Which way along the line follows from the order of the prints.

    Parameters
    ----------
    prints : sequence of Print
    direction : {"left_to_right", "right_to_left"}, optional
        Taken as the line of walk, along the floor's x, where no limb has two prints.

    Raises
    ------
    RefusedError
        Where no limb has two prints at different places and no direction is given.
    """
    angle, _ = _fit_heading(tuple(prints), direction)
    return math.cos(angle.value), math.sin(angle.value)


def order_by_limb(prints: Sequence[Print]) -> dict[Limb, tuple[int, ...]]:
    """Indices of each limb's prints, in the order they were made."""
    ordered = sorted(range(len(prints)), key=lambda i: sum(prints[i].frames))
    return {limb: tuple(i for i in ordered if prints[i].limb == limb) for limb in LIMBS}


def _less(end: Linear | None, start: Linear | None) -> Linear | None:
    return None if end is None or start is None else end - start


def _fit_heading(prints: tuple[Print, ...], direction: Direction | None) -> tuple[Linear, float]:
    """Angle of the heading (rad) with its gradient by the 2N print coordinates, and its excess variance
    (rad²).

    The excess comes from prints that lie off the line by more than their errors: the animal's own placing of
    its feet, which moves the fitted line without moving the line it walked.
    """
    n = len(prints)
    xy = np.array([one.xy for one in prints], dtype=float).reshape(n, 2)
    rows = [list(own) for own in order_by_limb(prints).values() if len(own) > 1]
    advance = sum((xy[own[-1]] - xy[own[0]] for own in rows), start=np.zeros(2))
    if not np.hypot(*advance) > 0:
        if direction is None:
            raise RefusedError(
                "No foot was seen to stand in two places, but the way the animal walks is found from two "
                "prints of one foot.",
                "Film a longer stretch of the walk, at least two whole strides, or state the direction in "
                "the marks.",
            )
        return Linear(value=0.0 if direction == "left_to_right" else math.pi, gradient=np.zeros(2 * n)), 0.0
    angle, scatter = math.atan2(advance[1], advance[0]), 0.0
    gradient = np.zeros((n, 2))
    for _ in range(3):
        normal = np.array([-math.sin(angle), math.cos(angle)])
        variance = np.array([normal @ one.cov @ normal for one in prints]) + scatter
        slope, pull, scatter = _fit_slope(xy @ [normal[1], -normal[0]], xy @ normal, variance, scatter, rows)
        gradient = pull[:, None] * normal
        angle += math.atan(slope)
    excess = scatter * float(np.sum(gradient**2))
    return Linear(value=angle, gradient=gradient.ravel()), excess


def _fit_slope(
    along: Array, across: Array, variance: Array, scatter: float, rows: list[list[int]]
) -> tuple[float, Array, float]:
    """Common slope of several rows of prints, its derivative by each ``across``, and the scatter about the
    rows.

    ``scatter`` (a variance) is already part of ``variance``; the new one is what the residuals show beyond
    the rest.
    """
    weight = 1.0 / np.maximum(variance, 1e-6 * (variance.mean() or 1.0))
    lead, aside = np.zeros(len(along)), np.zeros(len(along))
    for own in rows:
        lead[own] = along[own] - np.average(along[own], weights=weight[own])
        aside[own] = across[own] - np.average(across[own], weights=weight[own])
    spread = float(np.sum(weight * lead**2))
    slope = float(np.sum(weight * lead * aside)) / spread
    used = [i for own in rows for i in own]
    freedom = len(used) - len(rows) - 1
    if freedom < 1:
        return slope, weight * lead / spread, 0.0
    residual = (aside - slope * lead)[used]
    expected = float(np.mean(variance[used])) - scatter
    found = float(np.sum(residual**2)) / freedom - expected
    return slope, weight * lead / spread, max(found, 0.0)


def _find_strides(
    prints: Sequence[Print], along: Sequence[float], of_limb: Mapping[Limb, tuple[int, ...]]
) -> tuple[tuple[int, int], ...]:
    """Consecutive prints of one limb, less those with a missed print between them.

    A missed print shows as a gap of two strides in time, or in length where the times are not known. The
    usual gap is the lower quartile, which missed prints do not move.
    """
    candidates = [pair for own in of_limb.values() for pair in pairwise(own)]
    times = {(i, j): _gap_in_time(prints[i], prints[j]) for i, j in candidates}
    seen = [gap for gap in times.values() if gap is not None]
    longest_time = _MISSED_PRINT * float(np.quantile(seen, 0.25)) if seen else math.inf
    lengths = {(i, j): along[j] - along[i] for i, j in candidates}
    longest = _MISSED_PRINT * float(np.quantile(list(lengths.values()), 0.25)) if lengths else math.inf
    kept = []
    for pair in candidates:
        gap = times[pair]
        if lengths[pair] > 0 and (gap <= longest_time if gap is not None else lengths[pair] <= longest):
            kept.append(pair)
    return tuple(sorted(kept))


def _gap_in_time(start: Print, end: Print) -> float | None:
    if start.touch_down is not None and end.touch_down is not None:
        return end.touch_down - start.touch_down
    if start.lift_off is not None and end.lift_off is not None:
        return end.lift_off - start.lift_off
    return None


def _model_errors(prints: tuple[Print, ...], ground: Ground, heading_excess: float) -> ErrorModel:
    n = len(prints)
    random, common = np.zeros((4 * n + 2, 4 * n + 2)), np.zeros((4 * n + 2, 4 * n + 2))
    for i, one in enumerate(prints):
        random[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = one.cov
        for at, error in ((2 * n + i, one.touch_down_error), (3 * n + i, one.lift_off_error)):
            random[at, at] = (error or 0.0) ** 2
    if prints and len(ground.covariance):
        by_ground = np.vstack([one.ground_jacobian for one in prints])
        common[: 2 * n, : 2 * n] += by_ground @ ground.covariance @ by_ground.T
    for limb in LIMBS:
        # one unit error of the limb moves each of its prints by that print's own root
        root = np.zeros((2 * n, 2))
        for i, one in enumerate(prints):
            if one.limb == limb:
                root[2 * i : 2 * i + 2] = symmetric_root(one.limb_cov)
        common[: 2 * n, : 2 * n] += root @ root.T
    common[4 * n, 4 * n] = heading_excess
    common[4 * n + 1, 4 * n + 1] = _HIP_HEIGHT_ERROR**2
    return ErrorModel(random=random, common=common)
