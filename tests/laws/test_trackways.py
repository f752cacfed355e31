"""What must hold of any walk: how its measures change when the world is scaled, moved, turned or mirrored."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stride.quantity import Measured
from stride.simulate.gait import draw_plan, walk_animal
from stride.walk.limbs import opposite_of
from stride.walk.marks import Animal
from stride.walk.measures import measure_all
from stride.walk.trackway import lay_trackway

from ..footfalls import flat_ground, observe, rescale

GROUND = flat_ground(scale_error=0.006, turn_error=0.004)
LENGTH_POWER = {"m": 1, "m/s": 1}

seeds = st.integers(min_value=0, max_value=2**32 - 1)
walks = st.builds(
    lambda seed, per_limb, direction: (np.random.default_rng(seed), per_limb, direction),
    seeds,
    st.integers(min_value=2, max_value=5),
    st.sampled_from(["left_to_right", "right_to_left"]),
)
few = settings(max_examples=12, deadline=None, derandomize=True)


def seen_prints(walk):
    rng, per_limb, direction = walk
    return observe(
        walk_animal(draw_plan(rng), rng, prints_per_limb=per_limb, direction=direction), GROUND, rng
    )


def measured(prints, ground=GROUND):
    return measure_all(lay_trackway(prints, ground, animal=Animal(hip_height=1.4)))


def assert_same(one, other, *, factor=1.0, sign=1.0, spread=1e-5, name=""):
    """The same quantity, its size by ``factor``, its direction by ``sign``; ``spread`` is its relative tolerance."""
    assert bool(one) == bool(other), name
    if not isinstance(one, Measured):
        return
    for field in ("value", "random", "common"):
        turn = sign if field == "value" else 1.0
        size = abs(one.value) + one.total
        assert getattr(other, field) == pytest.approx(
            factor * turn * getattr(one, field), rel=1e-6, abs=1e-7 * size
        ), (
            name,
            field,
        )
    assert (one.n, one.unit, one.spread is None) == (other.n, other.unit, other.spread is None), name
    if one.spread is not None:
        assert other.spread == pytest.approx(
            factor * one.spread, rel=spread, abs=1e-6 * (abs(one.value) + one.total)
        ), name


def moved(prints, *, turn=0.0, by=(0.0, 0.0), later=0.0, mirrored=False):
    flip = np.diag([1.0, -1.0 if mirrored else 1.0])
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]) @ flip
    return tuple(
        replace(
            one,
            limb=opposite_of(one.limb) if mirrored else one.limb,
            xy=matrix @ one.xy + by,
            cov=matrix @ one.cov @ matrix.T,
            limb_cov=matrix @ one.limb_cov @ matrix.T,
            ground_jacobian=matrix @ one.ground_jacobian,
            touch_down=one.touch_down + later,
            lift_off=one.lift_off + later,
        )
        for one in prints
    )


@given(walks, st.floats(min_value=0.2, max_value=500.0))
@few
def test_lengths_grow_with_the_ground_and_times_do_not(walk, factor):
    prints = seen_prints(walk)
    before, after = measured(prints), measured([rescale(one, factor) for one in prints])
    for name, one in before.items():
        if name in {"stride_length_per_hip_height", "froude"}:
            continue
        power = LENGTH_POWER.get(one.unit, 0) if isinstance(one, Measured) else 0
        assert_same(one, after[name], factor=factor**power, name=name)


@given(
    walks,
    st.tuples(st.floats(min_value=-20, max_value=20), st.floats(min_value=-20, max_value=20)),
    st.floats(min_value=-100, max_value=100),
)
@few
def test_where_and_when_do_not_matter(walk, by, later):
    prints = seen_prints(walk)
    before, after = measured(prints), measured(moved(prints, by=by, later=later))
    for name, one in before.items():
        assert_same(one, after[name], name=name)


@given(walks, st.floats(min_value=-3.1, max_value=3.1))
@few
def test_the_direction_on_the_floor_does_not_matter(walk, turn):
    prints = seen_prints(walk)
    before, after = measured(prints), measured(moved(prints, turn=turn))
    for name, one in before.items():
        assert_same(one, after[name], name=name)


def other_side(name):
    if "left" in name:
        return name.replace("left", "right")
    return name.replace("right", "left")


@given(walks)
@few
def test_mirrored_with_sides_swapped(walk):
    prints = seen_prints(walk)
    before, after = measured(prints), measured(moved(prints, mirrored=True))
    for name, one in before.items():
        # phases count from the left hind, which is another foot after the swap
        if not name.startswith("limb_phase"):
            assert_same(
                one, after[other_side(name)], sign=-1.0 if name.startswith("evenness") else 1.0, name=name
            )


@given(walks, st.randoms(use_true_random=False))
@few
def test_the_order_in_which_prints_are_listed_does_not_matter(walk, random):
    prints = list(seen_prints(walk))
    before = measured(prints)
    random.shuffle(prints)
    after = measured(prints)
    for name, one in before.items():
        assert_same(one, after[name], name=name)


@given(walks, st.floats(min_value=0.01, max_value=1000.0))
@few
def test_a_walk_without_scale_gives_the_same_shares(walk, unit):
    prints = seen_prints(walk)
    unscaled = flat_ground("none", scale_error=0.006, turn_error=0.004)
    with_scale = measured(prints)
    without = measured([rescale(one, unit) for one in prints], unscaled)
    for name, one in with_scale.items():
        if (
            isinstance(one, Measured)
            and one.unit in {"1", "s", "1/min"}
            and "hip" not in name
            and name != "froude"
        ):
            # the scale error, which differs not at all between strides of one length, leaves a trace in the spread
            assert_same(one, without[name], spread=1e-3, name=name)
    # lengths in strides are the shares themselves, with the errors of the division
    share = with_scale["overreach_share"]
    assert_same(replace(share, unit="stride"), without["overreach"], name="overreach")
