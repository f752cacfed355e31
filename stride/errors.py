"""Errors a person can act on: what was found and needed, and what to do."""

from __future__ import annotations


class StrideError(Exception):
    """Something the caller gave cannot be used.

    Parameters
    ----------
    problem : str
        One sentence: what was found and what was needed.
    remedy : str
        One sentence: what to do about it.
    """

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(f"{problem} {remedy}")
        self.problem = problem
        self.remedy = remedy

    def __reduce__(self) -> tuple[type[StrideError], tuple[str, str]]:
        return type(self), (self.problem, self.remedy)


class ClipError(StrideError):
    """The video file cannot be read as a clip."""


class MarksError(StrideError):
    """The marks cannot be used: malformed, of another clip, or contradicting it."""


class RefusedError(StrideError):
    """The clip was read, but no walk can be measured in it."""


class OutputError(StrideError):
    """A result cannot be written where it was asked for."""


class RecordsError(StrideError):
    """A saved document or the records file cannot be used."""
