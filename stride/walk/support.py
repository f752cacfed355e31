"""How many feet are down: shares of the stride with exactly two, three and four."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from ..numeric.propagation import Linear, mean_of, sum_of
from ..quantity import Quantity, Unmeasured
from .limbs import LIMBS
from .trackway import Trackway

SUPPORTS: Final[tuple[str, ...]] = ("support_under_two", "support_two", "support_three", "support_four")

Event = tuple[Linear, int]


def measure_support(trackway: Trackway) -> Mapping[str, Quantity]:
    """Shares of the stride with fewer than two, exactly two, exactly three and four feet down.

    Exact arithmetic on the seen touch-downs and lift-offs, over the time in which the state of all four limbs
    is known, cut to a whole number of mean strides so that no part of the stride counts more often than
    another. Over whole strides the mean number of feet down is the sum of the four duty factors.

    Parameters
    ----------
    trackway : Trackway

    Returns
    -------
    mapping
        ``support_under_two``, ``support_two``, ``support_three``, ``support_four``: shares, or the reason for
        none. ``n`` is the number of strides in the window.
    """
    histories = [_history_of(trackway, limb_prints) for limb_prints in trackway.of_limb.values()]
    times = [time for start, end in trackway.pairs if (time := trackway.time(start, end)) is not None]
    if not all(histories) or not times:
        return _unmeasured("not every foot was seen to land and leave the floor")
    begin = max((history[0][0] for history in histories), key=lambda t: t.value)
    end = min((history[-1][0] for history in histories), key=lambda t: t.value)
    stride_time = mean_of(times)
    strides = math.floor((end.value - begin.value) / stride_time.value + 1e-9)
    if strides < 1:
        return _unmeasured("all four feet were never followed together through one whole stride")
    window = stride_time * strides
    shares = _time_by_feet(histories, begin, begin + window)
    parts = (shares[:2], shares[2:3], shares[3:4], shares[4:])
    return {
        name: trackway.measured(sum_of(part) / window, "1", n=strides)
        for name, part in zip(SUPPORTS, parts, strict=True)
    }


def _unmeasured(reason: str) -> Mapping[str, Quantity]:
    return dict.fromkeys(SUPPORTS, Unmeasured(reason=reason))


def _history_of(trackway: Trackway, own: tuple[int, ...]) -> list[Event]:
    """Landings (+1) and leavings (-1) of the longest unbroken run of one limb's prints.

    The state of the limb is known from the first event of the run to the last.
    """
    strides = set(trackway.pairs)
    runs: list[list[Event]] = [[]]
    previous: int | None = None
    for index in own:
        landing, leaving = trackway.touch_down[index], trackway.lift_off[index]
        if landing is None or (previous is not None and (previous, index) not in strides):
            runs.append([])
        if landing is not None:
            runs[-1].append((landing, 1))
        if leaving is not None:
            runs[-1].append((leaving, -1))
        else:
            runs.append([])
        previous = index
    return max(runs, key=lambda run: run[-1][0].value - run[0][0].value if run else -1.0)


def _time_by_feet(histories: list[list[Event]], begin: Linear, end: Linear) -> list[Linear]:
    """Time (s) with 0, 1, … 4 feet down between two moments in which every limb's state is known."""
    down = 0
    changes: list[Event] = []
    for history in histories:
        last_change = [change for t, change in history if t.value <= begin.value][-1]
        down += int(last_change == 1)
        changes += [(t, change) for t, change in history if begin.value < t.value < end.value]
    spans = [begin * 0.0 for _ in range(len(LIMBS) + 1)]
    last = begin
    for t, change in sorted(changes, key=lambda event: event[0].value):
        spans[down] = spans[down] + (t - last)
        last, down = t, down + change
    spans[down] = spans[down] + (end - last)
    return spans
