from __future__ import annotations

from tests.cli.runs import run

__all__ = ["run"]
