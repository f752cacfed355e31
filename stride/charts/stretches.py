"""The stretches of the walkway that are drawn under one another, and where everything stands on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..walk.analysis import Analysis
from ..walk.limbs import side_of
from ..walk.positions import project_across, project_along
from ..walk.strides import Overreach
from ..walk.wording import say_overreach
from .style import SMALL_PT, name_distance

Array = NDArray[np.float64]

ELLIPSE_FACTOR: Final = 2.4477  # square root of the 95 % point of chi square with two degrees of freedom
_HOOF_LENGTH: Final = 0.12  # m, drawn size only
_HOOF_OF_STRIDE: Final = 0.085  # the same where there is no scale
_USUAL_STRIDE: Final = 1.4  # m, sets the size of the picture while no stride is known
LANE_OF_STRIDE: Final = 0.13
_STRIDES_PER_ROW: Final = 1.9
_MOST_STRIDES_PER_ROW: Final = 4.0
_FEW_ROWS: Final = 6
ROW_IN: Final = 6.4  # width of the drawing of one stretch
BAR_OF_STRIDE: Final = 0.03
_LETTER_IN: Final = 0.065  # a letter of the labels, on average


@dataclass(frozen=True, slots=True, kw_only=True)
class Walkway:
    """Where everything stands on the drawing.

    ``along`` and ``across`` are (N,) arrays in the drawing's unit, ``along`` from the first print and ``across`` to
    the animal's left; ``covs`` (N, 2, 2) are turned likewise. ``across_known`` is False where across is a lane, not
    a measure.
    """

    along: Array
    across: Array
    covs: Array
    across_known: bool
    stride: float
    hoof: float
    unit: str

    @property
    def half_heights(self) -> Array:
        """(N,) how far each drawn print reaches across the walk from its middle: outline or ellipse."""
        ellipse = ELLIPSE_FACTOR * np.sqrt(self.covs[:, 1, 1]) * self.across_known
        return np.maximum(0.5 * self.hoof, ellipse)


def lay_out_walkway(analysis: Analysis) -> Walkway:
    """Turn the prints so that the animal walks to the right and its left is up."""
    length, unit = name_distance(analysis)
    xy = np.array([one.xy for one in analysis.prints]).reshape(-1, 2) / length
    covs = np.array([one.cov + one.limb_cov for one in analysis.prints]).reshape(-1, 2, 2) / length**2
    turn = np.array([analysis.heading, (-analysis.heading[1], analysis.heading[0])])
    along, across = project_along(xy, analysis.heading), project_across(xy, analysis.heading)
    stride = _typical_stride(analysis, length)
    known = analysis.ground.kind == "plane"
    lanes = np.array([1.0 if side_of(one.limb) == "left" else -1.0 for one in analysis.prints])
    lanes *= LANE_OF_STRIDE * stride
    if not known:
        across = lanes
    elif len(set(lanes)) > 1:
        across = across - (across.max() + across.min()) / 2
    elif len(across):
        across = across - across.mean() + lanes
    return Walkway(
        along=along - along.min() if len(along) else along,
        across=across,
        covs=turn @ covs @ turn.T,
        across_known=known,
        stride=stride,
        hoof=_HOOF_LENGTH if unit == "m" else _HOOF_OF_STRIDE * stride,
        unit=unit,
    )


def _typical_stride(analysis: Analysis, length: float) -> float:
    spans = [
        float(project_along(analysis.prints[one.end].xy - analysis.prints[one.start].xy, analysis.heading))
        for one in analysis.strides
    ]
    usable = [span / length for span in spans if span > 0]
    if usable:
        return float(np.median(usable))
    if analysis.ground.unit == "m" or len(analysis.prints) < 2:
        return _USUAL_STRIDE
    return float(np.ptp([project_along(one.xy, analysis.heading) for one in analysis.prints])) or 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One stretch of the walk as it is drawn.

    Parameters
    ----------
    start, end : float
        Where the stretch's own prints begin and end; what stands outside belongs to another.
    left, right : float
        The view along the walk: the stretch with room for its labels.
    low, high : float
        The view across the walk, to the animal's right (negative) and left.
    line : float
        Height of a line of small type.
    key : bool
        Whether it carries the scale bar and the arrow of the way the animal walks, above everything else.
    """

    start: float
    end: float
    left: float
    right: float
    low: float
    high: float
    line: float
    key: bool

    def holds(self, place: Walkway, i: int) -> bool:
        """Whether a print is one of this stretch's own."""
        return self.start <= place.along[i] - place.hoof and float(place.along[i]) <= self.end


def split_walkway(analysis: Analysis) -> tuple[Stretch, ...]:
    """Cut a long walk into stretches that are drawn under one another at the same scale.

    A stretch is never cut through a print, nor between a hind print and the front print it answers.

    Returns
    -------
    tuple of Stretch
        All of the same length, the first with the key; empty without prints.
    """
    if not analysis.prints:
        return ()
    place = lay_out_walkway(analysis)
    blocks = _merge_blocks(place, analysis)
    total = blocks[-1][1] - blocks[0][0]
    span = min(max(_STRIDES_PER_ROW * place.stride, total / _FEW_ROWS), _MOST_STRIDES_PER_ROW * place.stride)
    rows = _fill_rows(blocks, span)
    widths = sorted({end - start for start, _ in blocks for _, end in blocks if end > start})
    rows = next(even for width in widths if len(even := _fill_rows(blocks, width)) <= len(rows))
    return _frame_rows(analysis, place, rows)


def span_walkway(analysis: Analysis) -> Stretch:
    """The whole walk as one stretch, whatever its length; the analysis must hold a print."""
    place = lay_out_walkway(analysis)
    row = (float(place.along.min() - place.hoof), float(place.along.max()))
    return _frame_rows(analysis, place, [row])[0]


def _frame_rows(
    analysis: Analysis, place: Walkway, rows: Sequence[tuple[float, float]]
) -> tuple[Stretch, ...]:
    """Give every row the same view: the longest of them with half a label's room at either end."""
    longest = max((len(label_overreach(one)) for one in analysis.overreaches), default=0)
    room = 0.5 * longest * _LETTER_IN / ROW_IN
    width = max(end - start for start, end in rows)
    pad = max(0.1 * place.stride, width * room / (1 - 2 * room))
    line = SMALL_PT * 1.35 / 72 * (width + 2 * pad) / ROW_IN
    reach = float(np.max(np.abs(place.across) + place.half_heights))
    reach += BAR_OF_STRIDE * place.stride + 1.5 * line
    return tuple(
        Stretch(
            start=start - 1e-9 * width,
            end=end + 1e-9 * width,
            left=start - pad,
            right=start + width + pad,
            low=-reach,
            high=reach + (0.0 if k else 1.7 * line),
            line=line,
            key=k == 0,
        )
        for k, (start, end) in enumerate(rows)
    )


def _fill_rows(blocks: Sequence[tuple[float, float]], span: float) -> list[tuple[float, float]]:
    """As few rows as hold the blocks in order, none longer than ``span`` unless one block alone is."""
    rows: list[tuple[float, float]] = []
    for start, end in blocks:
        if rows and end - rows[-1][0] <= span:
            rows[-1] = (rows[-1][0], end)
        else:
            rows.append((start, end))
    return rows


def _merge_blocks(place: Walkway, analysis: Analysis) -> list[tuple[float, float]]:
    """Pieces of the walk that must not be cut, in order and apart from one another."""
    spans = [(float(tip - place.hoof), float(tip)) for tip in place.along]
    for one in analysis.overreaches:
        fore, hind = spans[one.fore_print], spans[one.hind_print]
        spans.append((min(fore[0], hind[0]), max(fore[1], hind[1])))
    merged: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged


def label_overreach(overreach: Overreach) -> str:
    """What stands beside the arrow of an overreach."""
    return say_overreach(overreach.value, doubt=False, short=True)
