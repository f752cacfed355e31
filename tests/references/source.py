"""Where a published value comes from and how it was read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Reading = Literal["read", "read abstract", "read in a secondary text", "derived"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A citation.

    ``reading`` says how the value came here: from the text itself, from its abstract only, from another text that
    quotes it, or by arithmetic from values that were read. ``where`` is the table, page or address.
    """

    citation: str
    where: str
    reading: Reading
    doi: str | None = None
