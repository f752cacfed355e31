"""Whether two values are the same to the last bit, arrays and all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np


def find_difference(one: Any, other: Any, place: str = "") -> str | None:
    """The first place where two values differ, or None."""
    numbers = isinstance(one, float) and isinstance(other, float)  # numpy's own float is one too
    if type(one) is not type(other) and not numbers:
        return f"{place}: {type(one).__name__} is not {type(other).__name__}"
    if is_dataclass(one):
        names = [field.name for field in fields(one)]
        parts = [(f"{place}.{name}", getattr(one, name), getattr(other, name)) for name in names]
    elif isinstance(one, Mapping):
        if list(one) != list(other):
            return f"{place}: {list(one)} is not {list(other)}"
        parts = [(f"{place}[{key}]", one[key], other[key]) for key in one]
    elif isinstance(one, (list, tuple)):
        if len(one) != len(other):
            return f"{place}: {len(one)} entries, not {len(other)}"
        parts = [(f"{place}[{k}]", *pair) for k, pair in enumerate(zip(one, other, strict=True))]
    elif isinstance(one, np.ndarray):
        same = one.dtype == other.dtype and one.shape == other.shape and np.array_equal(one, other)
        return None if same else f"{place}: {one!r} is not {other!r}"
    else:
        return None if one == other else f"{place}: {one!r} is not {other!r}"
    return next((found for part in parts if (found := find_difference(*part[1:], part[0]))), None)
