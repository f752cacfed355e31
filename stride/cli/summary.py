"""The result in a few lines for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from ..walk.analysis import Analysis
from ..walk.wording import name_of, say, say_verdict

_FIRST = ("overreach_left", "overreach_right", "overreach", "stride_length", "cadence", "speed")


def summarise(analysis: Analysis) -> Iterator[str]:
    """Verdict, the key numbers with their 95 % doubt, and the cautions."""
    tag = analysis.marks.animal.tag
    yield f"{analysis.clip.name}" + (f", animal {tag}" if tag else "")
    yield analysis.clip.timing.note
    yield ""
    yield from say_verdict(analysis.verdict)
    yield ""
    width = max(len(name_of(name)) for name in _FIRST)
    for name in _FIRST:
        yield f"  {name_of(name):<{width}}  {say(analysis.measures[name], name)}"
    if analysis.verdict.cautions:
        yield ""
        yield from (f"  Mind: {caution}" for caution in analysis.verdict.cautions)
    yield ""
