from __future__ import annotations

from dataclasses import replace

import pytest

from stride.quantity import Measured, Unmeasured
from stride.walk.cautions import LAMENESS, find_cautions, stands_out
from stride.walk.measures import measure_all
from stride.walk.trackway import lay_trackway

from ..footfalls import SINGLE_FOOT, flat_ground, walk_evenly

ERRORS = {"error": (0.003, 0.006), "event_error": 0.006}


def cautions(prints, kind="plane", one_sided=False):
    measures = measure_all(lay_trackway(prints, flat_ground(kind)))
    return find_cautions(measures, one_sided=one_sided)


def test_an_even_sound_walk_raises_none():
    assert cautions(walk_evenly(**ERRORS)) == ()


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        (
            {"duty": {"left_fore": 0.60, "right_fore": 0.70, "left_hind": 0.66, "right_hind": 0.66}},
            "right front foot stands longer",
        ),
        ({"overreach": {"left": 0.0, "right": 0.10}}, "right hind foot steps longer than the left, by 29 %"),
        ({"phases": {**SINGLE_FOOT, "right_fore": 0.69}}, "left front foot takes longer to step"),
        ({"duty": 0.74}, "Three feet or four were on the floor for 96 %"),
    ],
)
def test_what_could_be_lameness(changed, expected):
    found = cautions(walk_evenly(**ERRORS, **changed))
    assert any(expected in one for one in found), found
    assert found[-1] == LAMENESS


def test_irregular_rhythm():
    prints = []
    for k, one in enumerate(walk_evenly(prints_per_limb=5, **ERRORS)):
        shift = 0.12 * (1 if (k // 4) % 2 else -1)
        prints.append(replace(one, touch_down=one.touch_down + shift, lift_off=one.lift_off + shift))
    assert any(one.startswith("Irregular rhythm") for one in cautions(prints))
    assert LAMENESS in cautions(prints)


def test_one_sided_shortfall_is_enough_for_a_vet():
    assert cautions(walk_evenly(**ERRORS), one_sided=True) == (LAMENESS,)


@pytest.mark.parametrize(
    ("measured", "expected"),
    [
        (Measured(value=0.2, unit="1", random=0.01, common=0.0, spread=0.02, n=3), True),
        (Measured(value=-0.2, unit="1", random=0.01, common=0.0, spread=0.02, n=3), True),
        (Measured(value=0.14, unit="1", random=0.01, common=0.0, spread=0.02, n=3), False),
        (Measured(value=0.2, unit="1", random=0.1, common=0.0, spread=0.02, n=3), False),
        (Measured(value=0.2, unit="1", random=0.01, common=0.0, spread=0.2, n=3), False),
        (Measured(value=0.2, unit="1", random=0.01, common=0.0, spread=None, n=1), False),
        # the same numbers from two strides a side leave too much doubt: t with 2 degrees of freedom
        (Measured(value=0.2, unit="1", random=0.03, common=0.0, spread=0.06, n=2), False),
        (Measured(value=0.2, unit="1", random=0.03, common=0.0, spread=0.06, n=4), True),
    ],
)
def test_a_difference_stands_out_only_beyond_its_doubt(measured, expected):
    assert stands_out(measured, 0.15) is expected


def test_a_trot_is_no_walk():
    phases = {"left_hind": 0.0, "right_fore": 0.0, "right_hind": 0.5, "left_fore": 0.5}
    assert any("Not a walk" in one for one in cautions(walk_evenly(duty=0.44, phases=phases, **ERRORS)))


# Hildebrand's partition as quoted by later papers: within an eighth of 0 a pace, within an eighth of 1/2 a trot,
# between them a single-foot walk (read in a secondary source; see tests/references).
@pytest.mark.parametrize(
    ("phase", "expected"),
    [
        (0.02, "pace"),
        (0.12, "pace"),
        (0.13, None),
        (0.25, None),
        (0.37, None),
        (0.38, "trot"),
        (0.5, "trot"),
        (0.9, "pace"),
    ],
)
def test_limb_phase_tells_the_footfall_order(phase, expected):
    phases = {"left_hind": 0.0, "left_fore": phase, "right_hind": 0.5, "right_fore": (phase + 0.5) % 1}
    found = cautions(walk_evenly(phases=phases, **ERRORS))
    assert [word for word in ("pace", "trot") for one in found if f"at a {word}" in one] == (
        [expected] if expected else []
    )


def test_pace():
    assert any("walked slowly, 0.50 m/s" in one for one in cautions(walk_evenly(1.0, 2.0, **ERRORS)))
    assert any("hurried, 1.80 m/s" in one for one in cautions(walk_evenly(1.8, 1.0, **ERRORS)))


@pytest.mark.parametrize(("sign", "way"), [(-1, "faster"), (1, "slower")])
def test_change_of_speed(sign, way):
    def bend(t):
        return t + sign * 0.02 * t**2

    prints = [
        replace(one, touch_down=bend(one.touch_down), lift_off=bend(one.lift_off))
        for one in walk_evenly(**ERRORS)
    ]
    assert any(f"% {way} towards the end" in one for one in cautions(prints))


def test_thin_evidence():
    few = cautions(walk_evenly(prints_per_limb=2, **ERRORS))
    assert any("1 on the left and 1 on the right" in one for one in few)
    one_side = cautions([one for one in walk_evenly(**ERRORS) if one.limb.startswith("right")])
    assert any("left side was not measured" in one for one in one_side)
    unscaled = cautions(walk_evenly(**ERRORS), kind="none")
    assert any("no scale" in one for one in unscaled)


def test_nothing_measured_nothing_said():
    measures = measure_all(lay_trackway(walk_evenly(), flat_ground()))
    nothing = dict.fromkeys(measures, Unmeasured(reason="hidden"))
    assert find_cautions(nothing, one_sided=False) == ()
