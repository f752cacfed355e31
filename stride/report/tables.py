"""The rows of the page's tables, in a person's words and units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np

from ..quantity import Measured, Quantity, Unmeasured
from ..walk.analysis import Analysis
from ..walk.positions import find_display_length, project_across, project_along
from ..walk.settings import Settings
from ..walk.wording import (
    explain,
    family_of,
    limb_name,
    name_of,
    say,
    say_amount,
    say_overreach,
    say_time,
    unit_for,
)

NOT_SEEN: Final = "not seen"

KEY_MEASURES: Final = ("overreach_left", "overreach_right", "overreach", "stride_length", "cadence", "speed")

_SECTIONS: Final[Mapping[str, tuple[str, ...]]] = {
    "Hind foot against the front print": ("overreach",),
    "Length, speed and width": ("stride_length", "step_length", "speed", "track_width", "froude"),
    "Timing": ("cadence", "stride_time", "stance_time", "swing_time", "duty_factor", "limb_phase"),
    "How many feet are down": ("support",),
    "Left against right": ("evenness",),
    "Hoof and joint": ("hoof_lift", "hock"),
}
_OTHER: Final = "Other numbers"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureRow:
    """One measure: its value and doubts in words, or the reason it is absent."""

    name: str
    explanation: str
    value: str
    random: str = ""
    common: str = ""
    spread: str = ""
    n: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Headings and rows of plain text."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def list_measure(name: str, quantity: Quantity) -> MeasureRow:
    """The row of one measure."""
    if isinstance(quantity, Unmeasured):
        return MeasureRow(name=name_of(name), explanation=explain(name), value="", reason=quantity.reason)
    spread = "not known" if quantity.spread is None else _amount(quantity.spread, quantity.unit, name)
    return MeasureRow(
        name=name_of(name),
        explanation=explain(name),
        value=say(quantity, name),
        random=_amount(quantity.random, quantity.unit, name),
        common=_amount(quantity.common, quantity.unit, name),
        spread=spread,
        n=str(quantity.n),
    )


def _amount(value: float, unit: str, measure: str) -> str:
    return say_amount(value, unit, measure, brief=True)


def list_key_measures(measures: Mapping[str, Quantity]) -> tuple[MeasureRow, ...]:
    """The numbers that stand first on the page; overreach in words."""
    absent = Unmeasured(reason="it is not among the numbers of this walk")
    rows = []
    for name in KEY_MEASURES:
        quantity = measures.get(name, absent)
        row = list_measure(name, quantity)
        if name.startswith("overreach"):
            value = say_overreach(quantity) if isinstance(quantity, Measured) else ""
            row = replace(row, value=value, explanation="")
        rows.append(row)
    return tuple(rows)


def list_measures(measures: Mapping[str, Quantity]) -> tuple[tuple[str, tuple[MeasureRow, ...]], ...]:
    """Every measure, in sections; one of no known family comes under "Other numbers".

    Measures of one family stand together, in the order in which the families first appear; an explanation that several
    rows share stands with the first of them only.
    """
    sections: dict[str, list[MeasureRow]] = {title: [] for title in (*_SECTIONS, _OTHER)}
    families = list(dict.fromkeys(family_of(name) for name in measures))
    for name, quantity in sorted(measures.items(), key=lambda item: families.index(family_of(item[0]))):
        title = next((one for one, starts in _SECTIONS.items() if name.startswith(starts)), _OTHER)
        row = list_measure(name, quantity)
        said = any(other.explanation == row.explanation for other in sections[title])
        sections[title].append(replace(row, explanation="") if said else row)
    return tuple((title, tuple(rows)) for title, rows in sections.items() if rows)


def list_prints(analysis: Analysis) -> Table:
    """Every print: where and when it stood."""
    length = find_display_length(analysis.prints, analysis.strides, analysis.ground, analysis.heading)
    unit = analysis.ground.unit
    label = unit_for(unit).label if length is not None else "no scale"
    across = analysis.ground.kind == "plane"
    length = length or 1.0
    zero = min((float(project_along(one.xy, analysis.heading)) for one in analysis.prints), default=0.0)
    turn = np.array([analysis.heading, (-analysis.heading[1], analysis.heading[0])])
    rows = []
    for i, one in enumerate(analysis.prints):
        cov = turn @ (one.cov + one.limb_cov) @ turn.T / length**2
        places = [((float(project_along(one.xy, analysis.heading)) - zero) / length, cov[0, 0])]
        if across:
            places.append((float(project_across(one.xy, analysis.heading)) / length, cov[1, 1]))
        rows.append(
            (
                str(i + 1),
                limb_name(one.limb),
                *(
                    say(Measured(value=value, unit=unit, random=math.sqrt(max(var, 0)), common=0), unit=False)
                    for value, var in places
                ),
                _moment(one.touch_down, one.touch_down_error),
                _moment(one.lift_off, one.lift_off_error),
                "marked" if one.source == "marked" else f"found, {100 * one.confidence:.0f} % sure",
            )
        )
    places_at = (f"along the walk ({label})", *([f"to the left ({label})"] if across else []))
    headings = ("no.", "foot", *places_at, "touch-down", "lift-off", "source")
    return Table(headings=headings, rows=tuple(rows))


def _moment(t: float | None, error: float | None) -> str:
    return NOT_SEEN if t is None else say_time(t, error)


def list_strides(analysis: Analysis) -> Table:
    """Every stride: length, times and speed."""
    rows = tuple(
        (
            limb_name(one.limb),
            f"{one.start + 1} to {one.end + 1}",
            say(one.length, "stride_length"),
            *(
                NOT_SEEN if quantity is None else say(quantity, name)
                for name, quantity in (
                    ("stride_time", one.time),
                    ("speed", one.speed),
                    ("stance_time", one.stance_time),
                    ("swing_time", one.swing_time),
                    ("duty_factor", one.duty_factor),
                )
            ),
        )
        for one in analysis.strides
    )
    headings = ("foot", "prints", "length", "time", "speed", "on the ground", "in the air", "duty factor")
    return Table(headings=headings, rows=rows)


def list_overreaches(analysis: Analysis) -> Table:
    """Every overreach: which hind print answers which front print, and how far it missed it."""
    rows = tuple(
        (one.side, str(one.fore_print + 1), str(one.hind_print + 1), say_overreach(one.value))
        for one in analysis.overreaches
    )
    return Table(headings=("side", "front print", "hind print", "the hind foot landed"), rows=rows)


_SETTING_WORDS: Final[Mapping[str, tuple[str, str]]] = {
    "band": ("Counts as filling the print: within", "m"),
    "band_share": ("The same, where the clip has no scale: within", "stride"),
    "min_probability": ("A class is named from a probability of", "%"),
    "mark_error_px": ("Error first assumed for a hoof marked by hand", "px"),
    "floor_point_error_px": ("Error of a floor point marked by hand", "px"),
    "floor_point_error": ("Error of a floor point's tape measure", "m"),
    "assumed_spread": ("Spread of overreach from stride to stride, assumed before any is seen", "m"),
    "assumed_spread_share": ("The same, where the clip has no scale", "stride"),
    "assumed_spread_weight": ("That assumption counts as much as", "strides"),
}


def list_settings(settings: Settings) -> Table:
    """Every setting of the measurement."""
    rows = []
    for field in fields(settings):
        value = getattr(settings, field.name)
        words, unit = _SETTING_WORDS.get(field.name, (name_of(field.name), ""))
        if unit == "%":
            text = f"{100 * value:g} %"
        elif unit in {"m", "stride"}:
            shown = unit_for(unit)
            text = f"{value * shown.factor:g} {shown.label}"
        else:
            text = f"{value:g} {unit}".rstrip() if isinstance(value, int | float) else str(value)
        rows.append((words, text))
    return Table(headings=("setting", "value"), rows=tuple(rows))
