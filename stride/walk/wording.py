"""Plain words for measured numbers: names, one-sentence explanations, and values as a person says them.

Everything a person reads (charts, report, command line) takes its words from here, so that one number has one name.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from ..quantity import Measured, Quantity
from .limbs import LIMBS, PAIRS, SIDES, Limb, Pair, Side
from .terms import TERMS
from .verdict import NamedClass, SideVerdict, StrideClass, Verdict

MINUS: Final = "\N{MINUS SIGN}"
COVERAGE_FACTOR: Final = (
    1.9600  # half-width of the 95 % interval in standard uncertainties, as Measured.interval
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonalUnit:
    """How a number of one unit is shown to a person.

    Parameters
    ----------
    factor : float
        Multiply the stored value by this.
    label : str
        The unit in words or its symbol, as it stands behind the number; empty where there is none.
    decimals : int
        Most digits after the point that are ever shown.
    """

    factor: float
    label: str
    decimals: int


_UNITS: Final[dict[str, PersonalUnit]] = {
    "m": PersonalUnit(factor=100, label="cm", decimals=1),
    "s": PersonalUnit(factor=1, label="s", decimals=3),
    "m/s": PersonalUnit(factor=1, label="m/s", decimals=2),
    "1/min": PersonalUnit(factor=1, label="per minute", decimals=1),
    "rad": PersonalUnit(factor=math.degrees(1), label="°", decimals=1),
    "stride": PersonalUnit(factor=100, label="% of a stride", decimals=1),
    "stride/s": PersonalUnit(factor=1, label="strides per second", decimals=2),
}

_CLASS_NAMES: Final[dict[StrideClass, str]] = {
    "short_strided": "Short-strided",
    "fills_the_print": "Fills the print",
    "overstepping": "Overstepping",
    "undecided": "Undecided",
}

_CLASS_MEANINGS: Final[dict[StrideClass, str]] = {
    "short_strided": "The hind foot comes down short of the print the front foot on the same side has just left.",
    "fills_the_print": "The hind foot comes down in the print the front foot on the same side has just left.",
    "overstepping": "The hind foot comes down past the print the front foot on the same side has just left.",
    "undecided": "What was measured in this walk does not settle where the hind foot lands against the front print.",
}


def limb_name(limb: Limb) -> str:
    """The limb as a stockman says it.

    >>> limb_name("left_fore")
    'left front'
    """
    return limb.replace("_", " ").replace("fore", "front")


def pair_name(pair: Pair) -> str:
    """``front`` or ``hind``."""
    return "front" if pair == "fore" else "hind"


def _family_of(measure: str) -> tuple[str, str]:
    """Split a measure's name into its family and the words for the part of the animal it belongs to."""
    whole = measure in TERMS
    for limb in LIMBS:
        if measure.endswith(f"_{limb}"):
            return measure.removesuffix(f"_{limb}"), f"{limb_name(limb)} foot"
    for side in SIDES:
        if not whole and measure.endswith(f"_{side}"):
            return measure.removesuffix(f"_{side}"), f"{side} side"
    for pair in PAIRS:
        if not whole and measure.endswith(f"_{pair}"):
            return measure.removesuffix(f"_{pair}"), f"{pair_name(pair)} feet"
    return measure, ""


def family_of(measure: str) -> str:
    """A measure's name without the limb, side or pair it belongs to.

    >>> family_of("stance_time_left_fore"), family_of("overreach")
    ('stance_time', 'overreach')
    """
    return _family_of(measure)[0]


def name_of(measure: str) -> str:
    """The plain name of a measure; an unknown one is made readable.

    >>> name_of("overreach_left"), name_of("stance_time_right_fore"), name_of("topline_dip")
    ('Overreach, left side', 'Time on the ground, right front foot', 'Topline dip')
    """
    family, where = _family_of(measure)
    if measure == "overreach":
        return "Overreach, mean of the walk"
    term = TERMS.get(family)
    name = term.name if term else family.replace("_", " ").strip().capitalize()
    return f"{name}, {where}" if where else name


def explain(measure: str) -> str:
    """One sentence that says what a measure is; empty for a measure that is not known here.

    >>> explain("cadence")
    'Footfalls in a minute, all four feet counted.'
    """
    term = TERMS.get(_family_of(measure)[0])
    return term.explanation if term else ""


def unit_for(unit: str, measure: str | None = None) -> PersonalUnit:
    """The unit a person sees for a stored unit.

    Parameters
    ----------
    unit : str
        As in :class:`~stride.quantity.Measured`; one that is not known is shown as it stands.
    measure : str, optional
        Name of the measure; tells the shares from the bare ratios among the numbers of unit ``"1"``.

    Examples
    --------
    >>> unit_for("m").label, unit_for("1", "duty_factor_left_hind").label
    ('cm', '% of the stride')
    """
    if unit in _UNITS:
        return _UNITS[unit]
    if unit != "1":
        return PersonalUnit(factor=1, label=unit, decimals=3)
    term = TERMS.get(_family_of(measure)[0]) if measure else None
    label = term.unit if term and term.unit else "(no unit)"
    if label.startswith("%"):
        return PersonalUnit(factor=100, label=label, decimals=1)
    return PersonalUnit(factor=1, label=label, decimals=3)


def _decimals_for(half_width: float, most: int) -> int:
    """Digits after the point that the doubt supports: its first digit, or its first two when they are below 30."""
    if half_width <= 0:
        return most
    first = math.floor(math.log10(half_width))
    digits = 1 if half_width / 10**first < 3 else 0
    return min(max(digits - first, 0), most)


def say_number(value: float, decimals: int, *, signed: bool = False) -> str:
    """A number with a true minus sign, never "−0".

    >>> say_number(-8.06, 1), say_number(-0.01, 1), say_number(3.0, 1, signed=True)
    ('−8.1', '0.0', '+3.0')
    """
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0:
        return text
    return f"{MINUS if value < 0 else '+' if signed else ''}{text}"


def _with_unit(text: str, label: str) -> str:
    return f"{text}{label}" if label in {"", "°"} else f"{text} {label}"


def _half_width(half: float, decimals: int) -> str:
    """The doubt at the digits shown; a doubt that is there is never rounded away."""
    smallest = 10.0**-decimals
    return f"{max(half, smallest) if half > 1e-6 * smallest else 0.0:.{decimals}f}"


def say(quantity: Quantity, measure: str | None = None, *, doubt: bool = True, unit: bool = True) -> str:
    """A measured number in a person's unit, with the half-width of its 95 % interval.

    Parameters
    ----------
    quantity : Measured or Unmeasured
    measure : str, optional
        Its name, which settles the sign shown and the unit of a bare ratio.
    doubt, unit : bool
        False leaves the ± or the unit out, for a table whose heading carries it.

    Examples
    --------
    >>> say(Measured(value=-0.081, unit="m", random=0.003, common=0.002))
    '−8.1 ± 0.7 cm'
    >>> say(Measured(value=-0.059, unit="stride", random=0.004, common=0.0))
    '−5.9 ± 0.8 % of a stride'
    """
    if not isinstance(quantity, Measured):
        return f"not measured: {quantity.reason}"
    shown = unit_for(quantity.unit, measure)
    half = COVERAGE_FACTOR * quantity.total * shown.factor
    decimals = _decimals_for(half, shown.decimals)
    term = TERMS.get(_family_of(measure)[0]) if measure else None
    text = say_number(quantity.value * shown.factor, decimals, signed=bool(term and term.signed))
    if doubt:
        text += f" ± {_half_width(half, decimals)}"
    return _with_unit(text, shown.label if unit else "")


def say_amount(value: float, unit: str, measure: str | None = None, *, brief: bool = False) -> str:
    """A bare amount, such as an uncertainty or a spread, in a person's unit.

    ``brief`` leaves out what the value beside it says already: of what a share is, and units of several words.

    >>> say_amount(0.0031, "m"), say_amount(0.012, "1", "support_two", brief=True)
    ('0.3 cm', '1.2 %')
    """
    shown = unit_for(unit, measure)
    amount = value * shown.factor
    decimals = max(_decimals_for(amount, shown.decimals), min(1, shown.decimals))
    label = shown.label
    if brief:
        label = "%" if label.startswith("%") else label if len(label) <= 3 else ""
    return _with_unit(_half_width(amount, decimals), label)


def say_time(t: float, error: float | None) -> str:
    """A moment of the clip with the half-width of its 95 % interval (both given in s).

    >>> say_time(1.204, 0.006)
    '1.204 ± 0.012 s'
    """
    if error is None:
        return f"{say_number(t, 3)} s, doubt not known"
    return say(Measured(value=t, unit="s", random=error, common=0.0))


def say_overreach(overreach: Measured, *, doubt: bool = True, short: bool = False) -> str:
    """An overreach in words: which way the hind foot missed the print, and by how much.

    ``short`` leaves "the front print" out, for labels beside a drawing.

    >>> say_overreach(Measured(value=-0.081, unit="m", random=0.003, common=0.002))
    '8.1 ± 0.7 cm short of the front print'
    >>> say_overreach(Measured(value=0.03, unit="m", random=0.003, common=0.002), doubt=False, short=True)
    '3.0 cm past'
    """
    shown = unit_for(overreach.unit, "overreach_share")
    half = COVERAGE_FACTOR * overreach.total * shown.factor
    decimals = _decimals_for(half, shown.decimals)
    size = say_number(abs(overreach.value) * shown.factor, decimals)
    plus_minus = f" ± {_half_width(half, decimals)}" if doubt else ""
    if float(size) == 0:
        about = f", {_with_unit(plus_minus.strip(), shown.label)}" if doubt else ""
        return f"level{about}" if short else f"level with the front print{about}"
    way = "short" if overreach.value < 0 else "past"
    tail = "" if short else " of the front print" if way == "short" else " the front print"
    return f"{_with_unit(size + plus_minus, shown.label)} {way}{tail}"


def say_probability(probability: float) -> str:
    """A probability in whole per cent, never rounded to certainty.

    >>> say_probability(0.972), say_probability(0.9991), say_probability(0.0)
    ('97 %', 'over 99 %', 'under 1 %')
    """
    if probability > 0.995:
        return "over 99 %"
    if probability < 0.005:
        return "under 1 %"
    return f"{100 * probability:.0f} %"


def class_name(stride_class: StrideClass) -> str:
    """The class as a heading."""
    return _CLASS_NAMES[stride_class]


def class_meaning(stride_class: StrideClass) -> str:
    """One sentence that says what the class means."""
    return _CLASS_MEANINGS[stride_class]


def _likeliest(judged: Verdict | SideVerdict) -> tuple[NamedClass, float] | None:
    if not judged.probability:
        return None
    name = max(judged.probability, key=lambda one: judged.probability[one])
    return name, judged.probability[name]


def say_judgement(judged: Verdict | SideVerdict) -> str:
    """The class and its probability in one sentence, for the whole walk or one side.

    An undecided walk names the likeliest class and how likely it is.
    """
    likeliest = _likeliest(judged)
    if likeliest is None:
        return "Nothing could be judged."
    if judged.stride_class == "undecided":
        name, probability = likeliest
        return f"Undecided: likeliest is “{class_name(name).lower()}”, probability {say_probability(probability)}."
    return (
        f"{class_name(judged.stride_class)}, probability "
        f"{say_probability(judged.probability[judged.stride_class])}."
    )


def say_verdict(verdict: Verdict) -> tuple[str, ...]:
    """The verdict in plain sentences: the walk, each side alone, and what would settle it."""
    sides: tuple[Side, ...] = tuple(side for side in SIDES if side in verdict.sides)
    sentences = [say_judgement(verdict), class_meaning(verdict.stride_class)]
    sentences += [
        f"{side.capitalize()} side alone: {say_judgement(verdict.sides[side]).lower()}" for side in sides
    ]
    if verdict.to_settle:
        sentences.append(verdict.to_settle)
    return tuple(sentences)
