"""Prints written down from a gait, or seen from a true walk with errors drawn as they are stated."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np

from stride.simulate.gait import Walk
from stride.walk.ground import Ground
from stride.walk.limbs import LIMBS, SIDES, Limb, Side, limb_at, pair_of, side_of
from stride.walk.marks import Direction
from stride.walk.prints import Print

#: Touch-down as a share of the left hind's stride: left hind, left fore, right hind, right fore, evenly spaced.
SINGLE_FOOT: Mapping[Limb, float] = {
    "left_hind": 0.0,
    "left_fore": 0.25,
    "right_hind": 0.5,
    "right_fore": 0.75,
}
FRAME_RATE = 240.0


def flat_ground(
    kind: Literal["plane", "length", "none"] = "plane", *, scale_error: float = 0.0, turn_error: float = 0.0
) -> Ground:
    """A floor whose two uncertain parameters are the logarithm of its scale and its turn (rad)."""
    return Ground(
        kind=kind,
        matrix=np.eye(3),
        parameters=np.zeros((2, 3, 3)),
        covariance=np.diag([scale_error**2, turn_error**2]),
        scale_error=scale_error,
        trusted_px=np.empty((0, 2)),
        unit="stride" if kind == "none" else "m",
    )


def make_print(
    limb: Limb,
    xy: tuple[float, float],
    touch_down: float | None,
    lift_off: float | None,
    *,
    error: tuple[float, float] = (0.0, 0.0),
    limb_error: tuple[float, float] = (0.0, 0.0),
    event_error: float = 0.0,
) -> Print:
    """One print; an event that was not seen is None, and then counts as a frame just within the clip."""
    seen = [t for t in (touch_down, lift_off) if t is not None]
    first = seen[0] if touch_down is not None else seen[0] - 0.1
    last = seen[-1] if lift_off is not None else seen[-1] + 0.1
    x, y = xy
    return Print(
        limb=limb,
        xy=np.array(xy, dtype=float),
        cov=np.diag(np.square(error)),
        limb_cov=np.diag(np.square(limb_error)),
        ground_jacobian=np.array([[x, -y], [y, x]], dtype=float),
        xy_px=np.array(xy, dtype=float),
        touch_down=touch_down,
        touch_down_error=None if touch_down is None else event_error,
        lift_off=lift_off,
        lift_off_error=None if lift_off is None else event_error,
        frames=(round(first * FRAME_RATE), round(last * FRAME_RATE)),
        source="marked",
    )


def walk_evenly(
    stride_length: float = 1.4,
    stride_time: float = 1.25,
    *,
    prints_per_limb: int = 4,
    duty: float | Mapping[Limb, float] = 0.66,
    phases: Mapping[Limb, float] = SINGLE_FOOT,
    overreach: float | Mapping[Side, float] = 0.0,
    track_width: float = 0.3,
    direction: Direction = "left_to_right",
    error: tuple[float, float] = (0.0, 0.0),
    limb_error: tuple[float, float] = (0.0, 0.0),
    event_error: float = 0.0,
) -> tuple[Print, ...]:
    """Prints of a walk that never varies, ordered by touch-down.

    Each hind print lies ``overreach`` past the fore print of its side whose lift-off is nearest its touch-down.
    """
    ahead = 1.0 if direction == "left_to_right" else -1.0
    duties = duty if isinstance(duty, Mapping) else dict.fromkeys(LIMBS, duty)
    past = overreach if isinstance(overreach, Mapping) else dict.fromkeys(SIDES, overreach)
    prints = []
    for limb in LIMBS:
        fore = limb_at(side_of(limb), "fore")
        shift, reach = 0, 0.0
        if pair_of(limb) == "hind":
            shift = round(phases[limb] - phases[fore] - duties[fore])
            reach = past[side_of(limb)]
        for k in range(prints_per_limb):
            x = stride_length * (k + shift + phases[fore]) + reach
            y = track_width / 2 * (1 if side_of(limb) == "left" else -1)
            touch_down = 2.0 + stride_time * (k + phases[limb])
            prints.append(
                make_print(
                    limb,
                    (ahead * x, ahead * y),
                    touch_down,
                    touch_down + duties[limb] * stride_time,
                    error=error,
                    limb_error=limb_error,
                    event_error=event_error,
                )
            )
    return tuple(sorted(prints, key=lambda one: one.touch_down or 0.0))


def observe(
    walk: Walk,
    ground: Ground,
    rng: np.random.Generator,
    *,
    error: tuple[float, float] = (0.005, 0.012),
    limb_error: tuple[float, float] = (0.003, 0.006),
    event_error: float = 0.008,
    ground_unit: float = 1.0,
) -> tuple[Print, ...]:
    """Prints of a true walk with errors drawn from the very covariances they state.

    ``ground_unit`` is the length of a metre in the ground's coordinates, for a ground without scale. Each print's own
    variance is drawn between half and twice the square of ``error``.
    """
    ground_shift = np.linalg.cholesky(ground.covariance + 1e-30 * np.eye(2)) @ rng.standard_normal(2)
    of_limb = {limb: np.array(limb_error) * rng.standard_normal(2) for limb in LIMBS}
    prints = []
    for true in walk.prints:
        own_error = np.array(error) * math.sqrt(rng.uniform(0.5, 2.0))
        times = np.array([true.touch_down, true.lift_off]) + event_error * rng.standard_normal(2)
        seen = make_print(
            true.limb,
            true.xy,
            float(times[0]),
            float(times[1]),
            error=(float(own_error[0]), float(own_error[1])),
            limb_error=limb_error,
            event_error=event_error,
        )
        moved = seen.xy + own_error * rng.standard_normal(2) + of_limb[true.limb]
        prints.append(rescale(replace(seen, xy=moved + seen.ground_jacobian @ ground_shift), ground_unit))
    return tuple(prints)


def rescale(one: Print, factor: float) -> Print:
    """The same print in floor coordinates ``factor`` times as large."""
    return replace(
        one,
        xy=one.xy * factor,
        cov=one.cov * factor**2,
        limb_cov=one.limb_cov * factor**2,
        ground_jacobian=one.ground_jacobian * factor,
    )
