"""Plain sentences about where and why the camera could not be followed."""

from __future__ import annotations

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
    """One sentence for each run of frames that could not be held, in order of time.

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
    for loss, run in groupby(range(len(losses)), key=lambda i: losses[i]):
        if loss is None:
            continue
        frames = list(run)
        first, last = times[frames[0]], times[frames[-1]]
        when = f"At {first:.2f} s" if first == last else f"From {first:.2f} s to {last:.2f} s"
        sentences.append(f"{when} the camera could not be followed: {_WHY[loss]}.")
    return tuple(sentences)
