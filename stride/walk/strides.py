"""Strides from print to print, and overreach from print to answered print."""

from __future__ import annotations

from dataclasses import dataclass

from ..quantity import Measured
from .limbs import Limb, Side


@dataclass(frozen=True, slots=True, kw_only=True)
class Stride:
    """From one print of a limb to its next.

    ``start`` and ``end`` are indices into the analysis's prints. ``length`` and ``time`` are along the line of
    walk; ``time`` (touch-down to touch-down), ``speed``, ``stance_time``, ``swing_time`` and ``duty_factor``
    are None where an event they need is outside the clip.
    """

    limb: Limb
    start: int
    end: int
    length: Measured
    time: Measured | None
    speed: Measured | None
    stance_time: Measured | None
    swing_time: Measured | None
    duty_factor: Measured | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Overreach:
    """Hind print minus the front print it answers, same side, along the line of walk; negative is shortfall.

    ``fore_print`` and ``hind_print`` are indices into the analysis's prints.
    """

    side: Side
    fore_print: int
    hind_print: int
    value: Measured
