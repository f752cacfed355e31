"""How fast a file plays against life: stored times, the phone's capture-rate tag, or what the user says."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

#: Keys under which phones write the rate of the sensor, whatever stands before them.
_CAPTURE_RATE_KEY: Final = re.compile(
    r"(?:capture|recording|record|sensor)[ ._-]?(?:fps|frame[ ._-]?rate)$", re.IGNORECASE
)
_LEADING_NUMBER: Final = re.compile(r"\s*(\d+(?:\.\d+)?(?:/\d+)?)")
#: A tag nearer to the stored rate than this says nothing: cameras drift in dim light.
_SAME_RATE: Final = 1.5
#: Phones slow by a whole factor; a ratio this near to one is taken as whole.
_NEAR_WHOLE: Final = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How many times slower than life the stored times run, where that is known from, and a plain sentence."""

    source: Literal["container", "capture_tag", "told"]
    slowed: float
    note: str


def find_capture_rate(tags: Mapping[str, str]) -> float | None:
    """Frames per second of the sensor, as a phone wrote them among the file's tags.

    Parameters
    ----------
    tags : mapping of str to str
        Tags of the container and of its video stream.

    Returns
    -------
    float or None
        None where no tag holds a rate.

    Examples
    --------
    >>> find_capture_rate({"com.android.capture.fps": "240.000000"})
    240.0
    >>> find_capture_rate({"title": "heifer 214"}) is None
    True
    """
    for key, value in tags.items():
        number = _LEADING_NUMBER.match(value)
        if _CAPTURE_RATE_KEY.search(key.strip()) and number:
            rate = _rate(number[1])
            if rate > 0:
                return rate
    return None


def choose_pace(*, stored_rate: float, capture_rate: float | None, filmed_at: float | None) -> Pace:
    """Decide by how much the stored times are to be divided.

    Parameters
    ----------
    stored_rate : float
        Median frames per second by the stored times.
    capture_rate : float or None
        What a tag of the file says the sensor ran at.
    filmed_at : float or None
        What the user says; it outranks the tag.

    Returns
    -------
    Pace

    Examples
    --------
    >>> choose_pace(stored_rate=29.97, capture_rate=240.0, filmed_at=None).slowed
    8.0
    >>> choose_pace(stored_rate=28.4, capture_rate=30.0, filmed_at=None).source
    'container'
    """
    if filmed_at is not None:
        slowed = _whole(filmed_at / stored_rate)
        note = f"The user gave {_number(filmed_at)} frames a second: {_played(stored_rate, slowed)}"
        if capture_rate is not None and not math.isclose(capture_rate, filmed_at, rel_tol=0.05):
            note += f" A tag in the file says {_number(capture_rate)} instead; it was not used."
        return Pace(source="told", slowed=slowed, note=note)
    if capture_rate is not None and not 1 / _SAME_RATE < capture_rate / stored_rate < _SAME_RATE:
        slowed = _whole(capture_rate / stored_rate)
        note = f"A tag in the file says it was filmed at {_number(capture_rate)} frames a second: "
        return Pace(source="capture_tag", slowed=slowed, note=note + _played(stored_rate, slowed))
    return Pace(
        source="container",
        slowed=1.0,
        note=f"Times are those stored in the file, usually {_number(stored_rate)} frames a second.",
    )


def _rate(text: str) -> float:
    try:
        return float(Fraction(text))
    except ZeroDivisionError:
        return 0.0


def _whole(ratio: float) -> float:
    """The ratio, or the whole factor (or its inverse) it is meant to be."""
    if ratio < 1:
        return 1 / _whole(1 / ratio)
    return float(round(ratio)) if abs(ratio / round(ratio) - 1) < _NEAR_WHOLE else ratio


def _played(stored_rate: float, slowed: float) -> str:
    plays = f"it plays at {_number(stored_rate)}, "
    if slowed == 1:
        return f"{plays}which is the speed of life, so times are as stored."
    if slowed > 1:
        return f"{plays}{_number(slowed)} times slower than life, so times were divided by that."
    return f"{plays}{_number(1 / slowed)} times faster than life, so times were multiplied by that."


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
