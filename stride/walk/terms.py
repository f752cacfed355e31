"""What every measure is called and is, in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """What a family of measures is called.

    Parameters
    ----------
    name : str
    explanation : str
        One sentence.
    unit : str
        Shown where the value is a bare ratio; a share begins with "%".
    signed : bool
        Whether a plus sign is shown, because the sign says which way.
    """

    name: str
    explanation: str
    unit: str = ""
    signed: bool = False


_SHARE_OF_STRIDE: Final = "% of the stride"

TERMS: Final[Mapping[str, Term]] = {
    "overreach": Term(
        name="Overreach",
        explanation="How far the hind foot lands past (+) or short (−) of the print the front foot on the same "
        "side has just left, along the line of walk.",
        signed=True,
    ),
    "overreach_share": Term(
        name="Overreach as a share of stride length",
        explanation="The same overreach divided by the stride length, so that big and small animals compare.",
        unit="% of a stride",
        signed=True,
    ),
    "stride_length": Term(
        name="Stride length",
        explanation="From one print of a foot to the next print of the same foot, along the line of walk.",
    ),
    "step_length": Term(
        name="Step length",
        explanation="From a print to the next print of the opposite foot of the same pair, along the line of walk.",
    ),
    "stride_time": Term(
        name="Stride time",
        explanation="From one touch-down of a foot to the next touch-down of the same foot.",
    ),
    "cadence": Term(name="Cadence", explanation="Footfalls in a minute, all four feet counted."),
    "speed": Term(name="Walking speed", explanation="Stride length over stride time."),
    "speed_change": Term(
        name="Change of speed",
        explanation="How much faster (+) or slower (−) the animal went at the end of the walk than at its start.",
        unit="%",
        signed=True,
    ),
    "stance_time": Term(name="Time on the ground", explanation="From a foot's touch-down to its lift-off."),
    "swing_time": Term(name="Time in the air", explanation="From a foot's lift-off to its next touch-down."),
    "duty_factor": Term(
        name="Duty factor",
        explanation="The share of a stride for which the foot is on the ground.",
        unit=_SHARE_OF_STRIDE,
    ),
    "limb_phase": Term(
        name="Limb phase",
        explanation="How far into the left hind's stride this foot touches down; 0 is with the left hind.",
        unit=_SHARE_OF_STRIDE,
    ),
    "support_under_two": Term(
        name="Fewer than two feet down",
        explanation="The share of the stride with one foot or none on the ground; near nothing in a walk.",
        unit=_SHARE_OF_STRIDE,
    ),
    "support_two": Term(
        name="Two feet down",
        explanation="The share of the stride with exactly two feet on the ground.",
        unit=_SHARE_OF_STRIDE,
    ),
    "support_three": Term(
        name="Three feet down",
        explanation="The share of the stride with exactly three feet on the ground; long three-foot support can mean "
        "a sore animal.",
        unit=_SHARE_OF_STRIDE,
    ),
    "support_four": Term(
        name="Four feet down",
        explanation="The share of the stride with all four feet on the ground.",
        unit=_SHARE_OF_STRIDE,
    ),
    "hoof_lift": Term(
        name="Hoof lift",
        explanation="The greatest height of the toe above the floor while the foot swings, as the picture shows it.",
    ),
    "track_width": Term(
        name="Track width",
        explanation="From the line of the left prints to the line of the right ones, across the walk.",
    ),
    "evenness_overreach": Term(
        name="Evenness of overreach",
        explanation="Left side less right side; 0 is even.",
        unit="%",
        signed=True,
    ),
    "evenness_step_length": Term(
        name="Evenness of step length",
        explanation="Left against right, difference over mean; 0 is even, + means the left is longer.",
        unit="%",
        signed=True,
    ),
    "evenness_step_time": Term(
        name="Evenness of step time",
        explanation="Left against right, difference over mean; 0 is even, + means the left takes longer.",
        unit="%",
        signed=True,
    ),
    "evenness_stance": Term(
        name="Evenness of time on the ground",
        explanation="Left against right, difference over mean; 0 is even, + means the left stands longer.",
        unit="%",
        signed=True,
    ),
    "evenness": Term(
        name="Evenness",
        explanation="Left against right, difference over mean; 0 is even.",
        unit="%",
        signed=True,
    ),
    "stride_length_per_hip_height": Term(
        name="Stride length against hip height",
        explanation="Stride length divided by the animal's hip height, so that big and small animals compare.",
        unit="times hip height",
    ),
    "froude": Term(
        name="Froude number",
        explanation="Speed squared over gravity times hip height: the same number means the same way of going in big "
        "and small animals.",
        unit="(no unit)",
    ),
    "hock_angle": Term(
        name="Hock angle",
        explanation="The angle at the hock as the side view shows it; a straighter leg has the larger angle.",
    ),
}
