"""Plain sentences about where and why the camera could not be followed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from .followed import Loss

Array = NDArray[np.float64]

_WHY: dict[Loss, str] = {
    "bare": "the floor shows too little to hold on to",
    "blurred": "the picture is blurred or covered",
    "cut": "the picture jumps to another view",
    "zoomed": "the picture was zoomed, or the camera came nearer",
    "unsure": "too little of the floor was seen again to be sure of it",
}


def describe_losses(times: Array, losses: Sequence[Loss | None]) -> tuple[str, ...]:
    """One sentence for each run of frames that could not be held, in order of time, with the commonest reason in it.

    Parameters
    ----------
    times : (N,) float array
        (s)
    losses : sequence of N
        None where a frame was held.

    Examples
    --------
    >>> describe_losses(np.array([0.0, 0.5, 1.0]), [None, "blurred", None])
    ('At 0.50 s the camera could not be followed: the picture is blurred or covered.',)
    """
    sentences = []
    for lost, run in groupby(range(len(losses)), key=lambda i: losses[i] is not None):
        if not lost:
            continue
        frames = list(run)
        why = Counter(loss for i in frames if (loss := losses[i]) is not None).most_common(1)[0][0]
        first, last = times[frames[0]], times[frames[-1]]
        when = f"At {first:.2f} s" if first == last else f"From {first:.2f} s to {last:.2f} s"
        sentences.append(f"{when} the camera could not be followed: {_WHY[why]}.")
    return tuple(sentences)


def drop_scraps(times: Array, losses: Sequence[Loss | None], shortest: float) -> list[Loss | None]:
    """The same with held runs shorter than ``shortest`` (s) given up where they lie between lost ones.

    Examples
    --------
    >>> drop_scraps(np.arange(4) / 10, ["cut", None, "bare", None], 0.3)
    ['cut', 'bare', 'bare', None]
    """
    kept = list(losses)
    for held, run in groupby(range(len(losses)), key=lambda i: losses[i] is None):
        frames = list(run)
        first, last = frames[0], frames[-1]
        after = losses[last + 1] if last + 1 < len(losses) else None
        if held and first > 0 and after is not None and times[last] - times[first] < shortest:
            kept[first : last + 1] = [after] * len(frames)
    return kept
