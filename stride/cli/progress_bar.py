"""Progress on a terminal, and nowhere else."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from ..progress import Progress, silent


@contextmanager
def shown_progress() -> Iterator[Progress]:
    """A line that is written over itself on standard error while it is a terminal; silent otherwise."""
    if not sys.stderr.isatty():
        yield silent
        return
    last = 0.0

    def show(stage: str, done: int, total: int | None) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last < 0.1:
            return
        last = now
        count = "" if total is None and not done else f" {done}" if total is None else f" {done} of {total}"
        sys.stderr.write(f"\r\x1b[K{stage}{count}")
        sys.stderr.flush()

    try:
        yield show
    finally:
        sys.stderr.write("\r\x1b[K")
        sys.stderr.flush()
