"""Prints and strides as plain tables, one row each; a cell is empty where there is no number."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

import numpy as np

from ..quantity import Measured
from ..walk.analysis import Analysis
from ..walk.positions import find_display_length


def write_prints_table(analysis: Analysis) -> str:
    """``prints.csv``: place and time of every print with standard errors.

    Places are metres (columns ``…_m``), or mean stride lengths where the clip has no scale (columns ``…_strides``).
    """
    unit = "m" if analysis.ground.unit == "m" else "strides"
    length = find_display_length(analysis.prints, analysis.strides, analysis.ground, analysis.heading)
    head = [
        "print",
        "limb",
        *(f"{name}_{unit}" for name in ("x", "y", "x_error", "y_error")),
        "touch_down_s",
        "touch_down_error_s",
        "lift_off_s",
        "lift_off_error_s",
        "source",
        "confidence",
    ]
    rows = []
    for number, one in enumerate(analysis.prints):
        common = one.ground_jacobian @ analysis.ground.covariance @ one.ground_jacobian.T
        error = np.sqrt(np.diag(one.cov + one.limb_cov + common))
        place = [None] * 4 if length is None else [float(v) / length for v in (*one.xy, *error)]
        times = [one.touch_down, one.touch_down_error, one.lift_off, one.lift_off_error]
        rows.append(
            [number, one.limb, *map(_cell, place), *map(_cell, times), one.source, f"{one.confidence:.2f}"]
        )
    return _table(head, rows)


def write_strides_table(analysis: Analysis) -> str:
    """``strides.csv``: every stride and every overreach, with random and common standard errors."""
    head = ["kind", "limb_or_side", "from_print", "to_print", "measure", "value", "unit", "random", "common"]
    rows: list[list[object]] = []
    for stride in analysis.strides:
        parts = {
            "length": stride.length,
            "time": stride.time,
            "speed": stride.speed,
            "stance_time": stride.stance_time,
            "swing_time": stride.swing_time,
            "duty_factor": stride.duty_factor,
        }
        for name, part in parts.items():
            if part is not None:
                rows.append(["stride", stride.limb, stride.start, stride.end, name, *_numbers(part)])
    for one in analysis.overreaches:
        rows.append(
            ["overreach", one.side, one.fore_print, one.hind_print, "overreach", *_numbers(one.value)]
        )
    return _table(head, rows)


def _numbers(part: Measured) -> list[str]:
    return [_cell(part.value), part.unit, _cell(part.random), _cell(part.common)]


def _cell(value: float | None) -> str:
    return "" if value is None else f"{value:.5f}"


def _table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return text.getvalue()
