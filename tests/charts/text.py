"""Where the words of a figure stand once it is drawn."""

from __future__ import annotations

from itertools import combinations

from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

Placed = tuple[str, Bbox]


def place_words(figure: Figure) -> list[Placed]:
    """Every piece of text that is seen, with its box in pixels."""
    canvas = FigureCanvasAgg(figure)
    figure.draw_without_rendering()
    renderer = canvas.get_renderer()
    unseen = {id(tick) for ax in figure.axes for tick in _find_unseen_ticks(ax.xaxis)}
    unseen |= {id(tick) for ax in figure.axes for tick in _find_unseen_ticks(ax.yaxis)}
    placed = []
    for text in figure.findobj(Text):
        shown = text.get_visible() and text.get_text().strip() and id(text) not in unseen
        if shown and (text.axes is None or text.axes.axison or text in text.axes.texts):
            placed.append((text.get_text(), text.get_window_extent(renderer)))
    return placed


def _find_unseen_ticks(axis: Axis) -> list[Text]:
    """Labels of ticks outside the view, and those no tick uses any more."""
    low, high = sorted(axis.get_view_interval())
    room = 1e-9 * (high - low)
    used = axis.get_major_ticks(len(axis.get_majorticklocs()))
    inside = {
        id(label)
        for tick, at in zip(used, axis.get_majorticklocs(), strict=False)
        if low - room <= at <= high + room
        for label in (tick.label1, tick.label2)
    }
    every = [label for tick in (*axis.majorTicks, *axis.minorTicks) for label in (tick.label1, tick.label2)]
    return [label for label in every if id(label) not in inside]


def find_overlaps(placed: list[Placed]) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes cover one another by more than a pixel."""
    found = []
    for (words, box), (other_words, other) in combinations(placed, 2):
        wide = min(box.x1, other.x1) - max(box.x0, other.x0)
        high = min(box.y1, other.y1) - max(box.y0, other.y0)
        if wide > 1 and high > 1:
            found.append((words, other_words))
    return found


def find_cut_off(figure: Figure, placed: list[Placed]) -> list[str]:
    """Texts that reach beyond the edge of the figure."""
    edge = figure.bbox
    return [
        words
        for words, box in placed
        if box.x0 < edge.x0 or box.y0 < edge.y0 or box.x1 > edge.x1 or box.y1 > edge.y1
    ]
