"""The verdict on a walk: the class, what it rests on, and every doubt about it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from ..quantity import Measured, Quantity
from .cautions import find_cautions
from .limbs import SIDES, Side, limb_at
from .odds import (
    MOST_STRIDES,
    Belief,
    band_of,
    common_error_to_settle,
    form_beliefs,
    judge_side,
    name_class,
    strides_to_settle,
    weigh_classes,
)
from .settings import Settings
from .verdict import SideVerdict, StrideClass, Verdict
from .wording import limb_name, say, say_amount, say_overreach

OTHER_CAUSES: Final[tuple[str, ...]] = (
    "pain or lameness",
    "slow or hurried walking",
    "a slippery or sloping floor",
    "turning",
    "heavy pregnancy or a full udder",
    "fatigue",
    "a fresh trim",
)

_LINKED_BUILD: Final[Mapping[StrideClass, str]] = {
    "short_strided": (
        "A short stride often goes with a straight hind leg (post-legged). That is a pointer, not a finding: it is "
        "common practice, and the walk test of the New South Wales Department of Primary Industries says it of "
        "straight-legged bulls; no paper that measured it in walking cattle was found."
    ),
    "overstepping": (
        "Overstepping is often put down to too much set in the hock (sickle-hocked). That is a pointer, not a "
        "finding: it is common practice only, no published measurement of it was found."
    ),
}
#: Hock angles (deg) of the linear trait "rear legs, side view": its middle, and its straight end.
_MIDDLE_HOCK, _STRAIGHT_HOCK = 147.0, 160.0
#: Error common to the clip that no filming and marking by hand goes below, as a share of the band.
_LEAST_COMMON: Final = 0.03


def judge(measures: Mapping[str, Quantity], settings: Settings) -> Verdict:
    """Judge a walk by its mean overreach and each side's.

    A class is named only where its probability reaches ``settings.min_probability``. The probability counts
    the errors of measuring, what is common to the clip, and the animal's own variation from stride to stride.
    It never says how long an animal will last, and does not replace an examination.

    Parameters
    ----------
    measures : mapping
        As :func:`~stride.walk.measures.measure_all` gives them; ``hock_angle_left_hind`` and
        ``hock_angle_right_hind`` (rad) are shown beside the linked build where they are present.
    settings : Settings

    Returns
    -------
    Verdict
    """
    beliefs = form_beliefs(measures, settings)
    whole = measures["overreach"]
    if not isinstance(whole, Measured) or not beliefs:
        return _judge_nothing(measures)
    band, belief = band_of(whole.unit, settings), beliefs[None]
    probability = weigh_classes(belief, band)
    stride_class = name_class(probability, settings)
    sides = {side: judge_side(beliefs[side], band, settings) for side in SIDES if side in beliefs}
    short_side = _find_short_side(sides)
    return Verdict(
        stride_class=stride_class,
        probability=probability,
        sides=sides,
        reasons=_give_reasons(
            measures, whole, band=band, belief=belief, short_side=short_side, stride_class=stride_class
        ),
        cautions=find_cautions(measures, one_sided=short_side is not None),
        linked_build=_link_build(stride_class, measures),
        other_causes=() if stride_class == "fills_the_print" and short_side is None else OTHER_CAUSES,
        to_settle=_say_what_settles(belief, band, whole.unit, settings)
        if stride_class == "undecided"
        else None,
    )


def _judge_nothing(measures: Mapping[str, Quantity]) -> Verdict:
    overreach = measures["overreach"]
    reason = "no overreach was measured" if isinstance(overreach, Measured) else overreach.reason
    return Verdict(
        stride_class="undecided",
        probability={},
        sides={},
        reasons=(f"Nothing could be judged: {reason}.",),
        cautions=find_cautions(measures, one_sided=False),
        linked_build=None,
        other_causes=OTHER_CAUSES,
        to_settle="Film a longer stretch, so that on at least three strides a front foot is seen to leave and the hind "
        "foot of that side to land.",
    )


def _find_short_side(sides: Mapping[Side, SideVerdict]) -> Side | None:
    """The side that alone falls short, where the other more likely than not does not."""
    for side, judged in sides.items():
        others = [one for other, one in sides.items() if other != side]
        if judged.stride_class == "short_strided" and any(
            one.probability["short_strided"] < 0.5 for one in others
        ):
            return side
    return None


def _give_reasons(
    measures: Mapping[str, Quantity],
    whole: Measured,
    *,
    band: float,
    belief: Belief,
    short_side: Side | None,
    stride_class: StrideClass,
) -> tuple[str, ...]:
    low, high = belief.interval()
    reasons = [f"On average the hind foot lands {say_overreach(whole)} ({_count(whole.n)})."]
    for side in SIDES:
        measured = measures[f"overreach_{side}"]
        if isinstance(measured, Measured):
            reasons.append(f"The {side} hind alone lands {say_overreach(measured)} ({_count(measured.n)}).")
    ends = [
        say(Measured(value=end, unit=whole.unit, random=0, common=0), "overreach", doubt=False)
        for end in (low, high)
    ]
    reasons.append(
        f"Strides of one animal differ, so its usual overreach lies between {ends[0]} and {ends[1]} (95 in 100); "
        f"within {say_amount(band, whole.unit)} of the front print counts as filling it."
    )
    if short_side is not None:
        foot = limb_name(limb_at(short_side, "hind"))
        hidden = "; the mean of both sides hides it" if stride_class == "fills_the_print" else ""
        reasons.append(f"One-sided: the {foot} foot falls short, the other more likely does not{hidden}.")
    return tuple(reasons)


def _count(n: int) -> str:
    return "one stride" if n == 1 else f"{n} strides"


def _link_build(stride_class: StrideClass, measures: Mapping[str, Quantity]) -> str | None:
    if stride_class not in _LINKED_BUILD:
        return None
    sentences = [_LINKED_BUILD[stride_class]]
    for side in SIDES:
        angle = measures.get(f"hock_angle_{side}_hind")
        if isinstance(angle, Measured):
            sentences.append(_compare_hock(angle, side, stride_class))
    return " ".join(sentences)


def _compare_hock(angle: Measured, side: Side, stride_class: StrideClass) -> str:
    """The measured angle, and whether it speaks against the link whichever way the hock was pointed at."""
    measured = f"The {side} hock measured in this clip is {say(angle, 'hock_angle')}"
    low, high = (math.degrees(end) for end in angle.interval())
    if stride_class == "short_strided" and high < _MIDDLE_HOCK:
        return f"{measured}, more bent than the middle of scoring scales ({_MIDDLE_HOCK:.0f}°): that speaks against it."
    if stride_class == "overstepping" and low > _STRAIGHT_HOCK:
        return (
            f"{measured}, straighter than the straight end of scoring scales ({_STRAIGHT_HOCK:.0f}°): that speaks "
            "against it."
        )
    return (
        f"{measured} (scoring scales call {_STRAIGHT_HOCK:.0f}° straight and {_MIDDLE_HOCK:.0f}° the middle)."
    )


def _say_what_settles(belief: Belief, band: float, unit: str, settings: Settings) -> str:
    more = strides_to_settle(belief, band, settings)
    if more is not None:
        return f"About {_count(more).replace('stride', 'more stride')} like these would settle it, if the mean stays."
    needed = common_error_to_settle(belief, band, settings)
    if needed < _LEAST_COMMON * band:
        return (
            "The mean sits on the edge of the band: no number of strides and no better scale would settle it."
        )
    if belief.common > needed:
        better = "Measure what gives the scale better," if unit == "m" else "Give the clip a scale,"
        return (
            f"More strides alone would not settle it: the error they all share, from the scale and from where the toe "
            f"tips were marked, is {say_amount(belief.common, unit)} and would have to fall below "
            f"{say_amount(needed, unit)}. {better} or mark the toe tips in more stances."
        )
    return f"The mean sits near the edge of the band: it would take more than {MOST_STRIDES} more strides to settle it."
