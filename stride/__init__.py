"""Measures how cattle walk, from one phone clip of one walk-by.

Every public name is resolved on first use, so that importing the package costs nothing:

>>> import stride
>>> stride.Settings().band
0.06
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from .errors import ClipError, MarksError, OutputError, RecordsError, RefusedError, StrideError
    from .media.reader import VideoClip, open_clip
    from .quantity import Measured, Quantity, Unmeasured
    from .records.archive import read_analysis, write_analysis
    from .records.marks_document import read_marks, write_marks
    from .session import Result, load_marks, measure_clip
    from .walk.analysis import Analysis, analyse
    from .walk.limbs import LIMBS, SIDES
    from .walk.marks import Animal, FloorPoint, HoofMark, KnownLength, Landmark, Marks
    from .walk.settings import Settings
    from .walk.verdict import Verdict

_HOMES: Final = {
    "errors": ("ClipError", "MarksError", "OutputError", "RecordsError", "RefusedError", "StrideError"),
    "quantity": ("Measured", "Quantity", "Unmeasured"),
    "walk.limbs": ("LIMBS", "SIDES"),
    "walk.settings": ("Settings",),
    "walk.marks": ("Animal", "FloorPoint", "HoofMark", "KnownLength", "Landmark", "Marks"),
    "walk.verdict": ("Verdict",),
    "walk.analysis": ("Analysis", "analyse"),
    "media.reader": ("VideoClip", "open_clip"),
    "records.archive": ("read_analysis", "write_analysis"),
    "records.marks_document": ("read_marks", "write_marks"),
    "session": ("Result", "load_marks", "measure_clip"),
}
_HOME_OF: Final = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "LIMBS",
    "SIDES",
    "Analysis",
    "Animal",
    "ClipError",
    "FloorPoint",
    "HoofMark",
    "KnownLength",
    "Landmark",
    "Marks",
    "MarksError",
    "Measured",
    "OutputError",
    "Quantity",
    "RecordsError",
    "RefusedError",
    "Result",
    "Settings",
    "StrideError",
    "Unmeasured",
    "Verdict",
    "VideoClip",
    "analyse",
    "load_marks",
    "measure_clip",
    "open_clip",
    "read_analysis",
    "read_marks",
    "write_analysis",
    "write_marks",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{_HOME_OF[name]}", __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
