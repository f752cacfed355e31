"""The callable a long stage reports to; silent by default."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Called as ``progress(stage, done, total)``; ``total`` is None while it is unknown."""

    def __call__(self, stage: str, done: int, total: int | None) -> None: ...


def silent(stage: str, done: int, total: int | None) -> None:
    """Report nothing."""
