"""Printed step length, cadence and speed of walking people: two feet, the same definitions."""

from __future__ import annotations

from dataclasses import dataclass

from .source import Source

STRIDE_ANALYSIS = Source(
    citation="Thompson D, Stride analysis: step 79 cm, stride 158 cm, 117 steps/min, 1.54 m/s (men); "
    "66 cm, 132 cm, 117 steps/min, 1.31 m/s (women)",
    where="moon.ouhsc.edu/dthompso/gait/knmatics/stride.htm",
    reading="read",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """Step and stride length (m), steps a minute and speed (m/s) as printed; ``rounding`` is relative."""

    who: str
    step_length: float
    stride_length: float
    steps_per_minute: float
    speed: float
    rounding: float
    source: Source = STRIDE_ANALYSIS


STEP_TABLE = (
    StepRow(
        who="men", step_length=0.79, stride_length=1.58, steps_per_minute=117, speed=1.54, rounding=0.004
    ),
    StepRow(
        who="women", step_length=0.66, stride_length=1.32, steps_per_minute=117, speed=1.31, rounding=0.02
    ),
)
