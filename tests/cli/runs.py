"""Runs the whole command in this process and keeps what a person would see."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from stride.cli import main


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Exit code and the two streams of one run."""

    code: int
    out: str
    err: str


Run = Callable[..., Outcome]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Run:
    """Call it with the words after ``stride``."""

    def call(*words: object) -> Outcome:
        capfd.readouterr()
        monkeypatch.setattr("sys.argv", ["stride", *map(str, words)])
        code: object = 0
        try:
            main()
        except SystemExit as end:
            code = end.code or 0
        assert isinstance(code, int), f"the command ended with {code!r}, which is no exit code"
        out, err = capfd.readouterr()
        return Outcome(code=code, out=out, err=err)

    return call
