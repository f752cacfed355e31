"""Plain warnings about a walk: what could be lameness, and what makes the measures less telling."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from scipy.special import stdtrit

from ..quantity import Measured, Quantity
from .limbs import LIMBS, PAIRS, SIDES
from .wording import pair_name, say

LAMENESS: Final = "Could be lameness: have a vet look before you blame the build."

#: Left and right must differ by this share of their mean before it is called uneven; assumed. A walk-by has a
#: handful of strides, and with so few a smaller difference comes and goes in sound animals: in dogs, telling 4 %
#: took up to 347 strides (Marrero I et al. (2026) Animals 16:624, doi 10.3390/ani16040624), and in cows step
#: asymmetry repeated worst of all trackway measures (Telezhenko E (2005), licentiate thesis, SLU Skara).
UNEVEN: Final[Mapping[str, float]] = {"step_length": 0.15, "step_time": 0.15, "stance": 0.10}
#: Share of the stride with three feet or four on the floor. Group means of dairy cows were 69 to 80 % with three
#: (Flower FC et al. (2006, 2007) J Dairy Sci 89:2084 and 90:1235); this bound is set above them all.
LONG_SUPPORT: Final = 0.85
#: Standard deviation of stride time as a share of its mean; assumed.
IRREGULAR: Final = 0.10
SPEED_CHANGE: Final = 0.10
#: Slower and faster than all published group means of adult cows, 0.85 to 1.22 m/s (Flower et al. 2005 to 2007).
SLOW, HURRIED = 0.7, 1.5
FEW: Final = 3


def find_cautions(measures: Mapping[str, Quantity], *, one_sided: bool) -> tuple[str, ...]:
    """Every caution the measures call for, the lameness ones first.

    Parameters
    ----------
    measures : mapping
        As :func:`~stride.walk.measures.measure_all` gives them.
    one_sided : bool
        True where one side alone falls short; that alone calls for a look at soundness.

    Returns
    -------
    tuple of str
        Plain sentences.
    """
    soundness = [
        *_find_unevenness(measures),
        *_find_long_support(measures),
        *_find_irregular_rhythm(measures),
    ]
    if soundness or one_sided:
        soundness.append(LAMENESS)
    return (*soundness, *_find_gait(measures), *_find_pace(measures), *_find_thin_evidence(measures))


def stands_out(measured: Measured, least: float) -> bool:
    """Whether a difference is at least so large and its 95 % interval, the animal's own spread included,
    misses 0.

    False where there is one value only: nothing then tells the animal's own spread.
    """
    if measured.spread is None or measured.n < 2 or abs(measured.value) < least:
        return False
    error = math.hypot(measured.total, measured.spread / math.sqrt(measured.n))
    return abs(measured.value) > float(stdtrit(2 * (measured.n - 1), 0.975)) * error


def _find_unevenness(measures: Mapping[str, Quantity]) -> list[str]:
    found = []
    verbs = {"step_length": "steps longer", "step_time": "takes longer to step", "stance": "stands longer"}
    for pair in PAIRS:
        for name, verb in verbs.items():
            measured = measures[f"evenness_{name}_{pair}"]
            if isinstance(measured, Measured) and stands_out(measured, UNEVEN[name]):
                larger, smaller = ("left", "right") if measured.value > 0 else ("right", "left")
                found.append(
                    f"Uneven: the {larger} {pair_name(pair)} foot {verb} than the {smaller}, by "
                    f"{_percent(measured.value)} of their mean."
                )
    return found


def _find_long_support(measures: Mapping[str, Quantity]) -> list[str]:
    two, fewer = measures["support_two"], measures["support_under_two"]
    if not (isinstance(two, Measured) and isinstance(fewer, Measured)):
        return []
    share = 1 - two.value - fewer.value
    if share - 1.645 * math.hypot(two.total, fewer.total) <= LONG_SUPPORT:
        return []
    return [
        f"Three feet or four were on the floor for {_percent(share)} of the time, which is long; a sore animal keeps "
        "its feet down, and so does a slow one."
    ]


def _find_irregular_rhythm(measures: Mapping[str, Quantity]) -> list[str]:
    time = measures["stride_time"]
    if not isinstance(time, Measured) or time.spread is None or time.n < FEW + 1:
        return []
    share = time.spread / time.value
    if share <= IRREGULAR:
        return []
    return [
        f"Irregular rhythm: stride times vary by {_percent(share)} about their mean of {say(time, doubt=False)}."
    ]


def _find_gait(measures: Mapping[str, Quantity]) -> list[str]:
    """Whether it was a walk at all: duty factor above a half, footfalls spread over the stride.

    The bounds on limb phase, an eighth of a stride about 0 and about 1/2, are Hildebrand's as later papers
    use them.
    """
    duties = [one for limb in LIMBS if isinstance(one := measures[f"duty_factor_{limb}"], Measured)]
    if duties:
        duty = math.fsum(one.value for one in duties) / len(duties)
        if duty < 0.5:
            return [
                f"Not a walk: each foot was down for only {_percent(duty)} of the stride. Overreach at a trot says "
                "nothing about filling the print at a walk."
            ]
    phase = measures["limb_phase_left_fore"]
    if not isinstance(phase, Measured):
        return []
    if abs(phase.value - 0.5) < 0.125:
        return ["The feet came down in diagonal pairs, as at a trot; judge the overreach from an easy walk."]
    if min(phase.value, 1 - phase.value) < 0.125:
        return ["The two feet of a side came down almost together, as at a pace; judge from an easy walk."]
    return []


def _find_pace(measures: Mapping[str, Quantity]) -> list[str]:
    found = []
    change, speed = measures["speed_change"], measures["speed"]
    if isinstance(change, Measured) and abs(change.value) > max(SPEED_CHANGE, 1.96 * change.total):
        way = "faster" if change.value > 0 else "slower"
        found.append(
            f"The animal went {_percent(change.value)} {way} towards the end; a steady walk tells more, because "
            "stride and overreach change with speed."
        )
    if isinstance(speed, Measured) and speed.unit == "m/s":
        if speed.value < SLOW:
            found.append(f"It walked slowly, {say(speed, doubt=False)}; a slow animal steps short.")
        elif speed.value > HURRIED:
            found.append(f"It was hurried, {say(speed, doubt=False)}; a hurried animal steps long.")
    return found


def _find_thin_evidence(measures: Mapping[str, Quantity]) -> list[str]:
    found = []
    sides = {side: one for side in SIDES if isinstance(one := measures[f"overreach_{side}"], Measured)}
    few = [f"{one.n} on the {side}" for side, one in sides.items() if one.n < FEW]
    if few:
        found.append(
            f"Few strides were measured: {' and '.join(few)}. Strides of one animal differ; film more of them."
        )
    if len(sides) == 1:
        missing = "right" if "left" in sides else "left"
        found.append(f"The {missing} side was not measured: a one-sided fault there would go unseen.")
    if any(measured.unit == "stride" for measured in sides.values()):
        found.append(
            "The clip has no scale: lengths are shares of this animal's own stride, and a short stride with the hind "
            "foot in the print looks like a long one."
        )
    return found


def _percent(share: float) -> str:
    return f"{100 * abs(share):.0f} %"
