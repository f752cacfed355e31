"""Reading a JSON document that a person may have written by hand: every complaint names the place."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn, TypeVar

from ..errors import StrideError

T = TypeVar("T")

LARGEST_BYTES = 64_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """One value of a document, with the place it stands at and the error its misuse raises.

    Parameters
    ----------
    value : object
        As ``json`` gave it.
    place : str
        Such as ``hooves[3].limb``; empty for the whole document.
    error : type
        A StrideError kind.
    """

    value: Any
    place: str
    error: type[StrideError]

    def refuse(self, needed: str) -> NoReturn:
        """Raise the document's error: what stands here and what was needed."""
        where = f"at {self.place}" if self.place else "as the whole document"
        raise self.error(
            f"Found {_show(self.value)} {where}; needed {needed}.", "Correct the file, or make it anew."
        )

    def fields(self, known: Sequence[str], required: Sequence[str] = ()) -> Mapping[str, Node]:
        """The fields of an object; unknown ones are refused, since a misspelt one would be lost without a word."""
        if not isinstance(self.value, dict):
            self.refuse("an object with " + ", ".join(known))
        for key in self.value:
            if key not in known:
                self._field(key).refuse(f"one of {', '.join(known)}; “{key}” is not known here")
        for key in required:
            if key not in self.value:
                self.refuse(f"“{key}” in it")
        return {key: self._field(key) for key in self.value}

    def _field(self, key: str) -> Node:
        place = f"{self.place}.{key}" if self.place else key
        return Node(value=self.value[key], place=place, error=self.error)

    def items(self) -> list[Node]:
        """The entries of a list."""
        if not isinstance(self.value, list):
            self.refuse("a list")
        return [Node(value=v, place=f"{self.place}[{k}]", error=self.error) for k, v in enumerate(self.value)]

    def each(self, read: Callable[[Node], T]) -> tuple[T, ...]:
        """Every entry of a list, read."""
        return tuple(read(item) for item in self.items())

    def number(self, *, above: float = -math.inf, below: float = math.inf) -> float:
        """A finite number within bounds (not including them)."""
        good = isinstance(self.value, (int, float)) and not isinstance(self.value, bool)
        if not good or not abs(self.value) < 1e12 or not above < self.value < below:
            bounds = " and ".join(
                text
                for text, bound in ((f"above {above:g}", above), (f"below {below:g}", below))
                if math.isfinite(bound)
            )
            self.refuse(f"a number {bounds}".strip())
        return float(self.value)

    def whole(self, *, least: int = 0) -> int:
        """A whole number, at least ``least``."""
        if isinstance(self.value, bool) or not isinstance(self.value, int) or not least <= self.value < 10**9:
            self.refuse(f"a whole number from {least} up")
        return self.value

    def text(self, *, most: int = 500) -> str:
        """A string of at most ``most`` characters."""
        if not isinstance(self.value, str) or len(self.value) > most:
            self.refuse(f"a text of at most {most} characters")
        return self.value

    def one_of(self, options: Sequence[T]) -> T:
        """One of the given texts."""
        for option in options:
            if self.value == option:
                return option
        self.refuse("one of " + ", ".join(str(option) for option in options))

    def point(self) -> tuple[float, float]:
        """A pair of numbers."""
        items = self.items()
        if len(items) != 2:
            self.refuse("two numbers")
        return items[0].number(), items[1].number()


def parse_document(text: str | bytes, *, format_name: str, version: int, error: type[StrideError]) -> Node:
    """Parse a versioned JSON document and check what it says it is.

    Raises
    ------
    StrideError
        Of the kind ``error``: not JSON, too large, too deep, with a number that is no number, of another format or
        of a newer version.
    """
    remedy = "Check that this is the right file, or make it anew."
    if len(text) > LARGEST_BYTES:
        raise error(
            f"The file holds {len(text) // 1_000_000} MB; at most 64 MB can be a {format_name} file.", remedy
        )

    def no_constant(name: str) -> NoReturn:
        raise error(f"The file holds {name}, which is no number.", remedy)

    try:
        value = json.loads(text, parse_constant=no_constant)
    except RecursionError:
        raise error(f"The file is nested too deeply to be a {format_name} file.", remedy) from None
    except ValueError as bad:  # also a number of thousands of digits
        raise error(f"The file is not JSON ({bad}); a {format_name} file was needed.", remedy) from None
    if not isinstance(value, dict) or value.get("format") != format_name:
        found = value.get("format") if isinstance(value, dict) else value
        raise error(f'Found the format {_show(found)}; needed "format": "{format_name}".', remedy)
    number = value.get("version")
    if isinstance(number, int) and not isinstance(number, bool) and number > version:
        raise error(
            f"The file is of version {number}; this stride reads up to version {version}.",
            "Bring stride up to date.",
        )
    if number != version or isinstance(number, bool):
        raise error(f'Found the version {_show(number)}; needed "version": {version}.', remedy)
    return Node(value=value, place="", error=error)


def _show(value: object) -> str:
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    text = (
        json.dumps(value, ensure_ascii=False)
        if isinstance(value, (str, int, float, bool, type(None)))
        else "?"
    )
    return text if len(text) <= 60 else text[:57] + "…"
