"""Marks as a careful or careless user would place them on a rendered clip."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from ..walk.limbs import LIMBS
from .truth import SeenPrint, Truth, floor_px

Array = NDArray[np.float64]
GroundMarks = Literal["plane", "length", "none"]

_FROM_EDGE_PX = 4.0


def marks_from_truth(
    truth: Truth,
    rng: np.random.Generator,
    *,
    per_stance: int = 1,
    noise_px: float = 0.0,
    ground: GroundMarks = "plane",
    floor_noise_px: float = 0.0,
    skip: float = 0.0,
    clip_name: str | None = None,
    direction: bool = False,
    tag: str | None = None,
) -> dict[str, Any]:
    """Mark a clip from its truth.

    Parameters
    ----------
    truth : Truth
    rng : numpy.random.Generator
    per_stance : int
        Marks on each stance whose toe tip is visible; the first near mid-stance, more at random frames.
    noise_px : float
        Standard deviation of a hoof mark per axis (px).
    ground : {"plane", "length", "none"}
        Mark the chalk crosses, the stick, or nothing on the floor.
    floor_noise_px : float
        Standard deviation of a floor mark per axis (px).
    skip : float
        Share of stances left unmarked.
    clip_name, tag : str, optional
    direction : bool
        Whether the walking direction is stated.

    Returns
    -------
    dict
        In the layout of a marks file, format "stride-marks" version 1.
    """
    hooves = []
    for one in truth.prints:
        if rng.random() < skip:
            continue
        for frame in _frames_to_mark(truth, one, per_stance, rng):
            spot = truth.toes_px[frame, LIMBS.index(one.limb)] + noise_px * rng.standard_normal(2)
            hooves.append({"limb": one.limb, "frame": frame, "xy_px": _rounded(spot)})
    document: dict[str, Any] = {"format": "stride-marks", "version": 1}
    if clip_name:
        document["clip"] = {"name": clip_name}
    if direction:
        document["direction"] = truth.direction
    if ground == "plane":
        document["ground"] = _mark_crosses(truth, rng, floor_noise_px)
    if ground == "length":
        document["lengths"] = _mark_stick(truth, rng, floor_noise_px)
    document["hooves"] = sorted(hooves, key=lambda mark: (mark["frame"], mark["limb"]))
    if tag:
        document["animal"] = {"tag": tag}
    return document


def _frames_to_mark(truth: Truth, one: SeenPrint, wanted: int, rng: np.random.Generator) -> list[int]:
    """Frames of a stance in which its toe tip can be marked: mid-stance first."""
    if one.frames is None:
        return []
    k = LIMBS.index(one.limb)
    every = np.arange(one.frames[0], one.frames[1] + 1)
    usable = every[truth.visible[every, k]]
    if not usable.size:
        return []
    middle = (one.touch_down + one.lift_off) / 2
    if not np.isfinite(middle):
        middle = float(truth.times[every].mean())
    first = int(usable[np.argmin(np.abs(truth.times[usable] - middle))])
    others = usable[usable != first]
    more = rng.choice(others, size=min(wanted - 1, len(others)), replace=False)
    return [first, *(int(frame) for frame in more)][:wanted]


def _mark_crosses(truth: Truth, rng: np.random.Generator, noise_px: float) -> list[dict[str, Any]]:
    """Each cross in the frame that shows it farthest from the picture's edge."""
    marks = []
    for cross in truth.crosses:
        found = _best_frame(truth, np.array([cross]))
        if found is not None:
            frame, spots = found
            spot = spots[0] + noise_px * rng.standard_normal(2)
            marks.append({"frame": frame, "xy_px": _rounded(spot), "xy_m": [float(c) for c in cross]})
    return marks


def _mark_stick(truth: Truth, rng: np.random.Generator, noise_px: float) -> list[dict[str, Any]]:
    found = None if truth.stick is None else _best_frame(truth, np.array(truth.stick))
    if found is None:
        return []
    frame, spots = found
    ends = spots + noise_px * rng.standard_normal((2, 2))
    length = float(np.hypot(*np.subtract(*truth.stick)))  # type: ignore[misc]
    return [
        {
            "frame": frame,
            "from_px": _rounded(ends[0]),
            "to_px": _rounded(ends[1]),
            "length_m": round(length, 4),
        }
    ]


def _best_frame(truth: Truth, xy: Array) -> tuple[int, Array] | None:
    """Frame in which all the floor points lie farthest inside the picture, and their pixels; the earliest of equals."""
    far = np.array(truth.size_px) - 1
    best: tuple[int, Array] | None = None
    most = _FROM_EDGE_PX
    for frame, matrix in enumerate(truth.floor_to_px):
        spots = floor_px(matrix, xy)
        room = float(np.minimum(spots, far - spots).min())
        if room > most + 1e-6:
            best, most = (frame, spots), room
    return best


def _rounded(spot: Array) -> list[float]:
    return [round(float(spot[0]), 2), round(float(spot[1]), 2)]
