from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from stride.charts.footfalls import ROWS, count_feet_down, draw_footfalls, draw_support, find_stance_bounds

from ..builders import make_analysis
from .cases import make_empty, make_eventless, make_one_sided


def bars_of(ax):
    return {one.get_gid(): one for one in ax.findobj(Rectangle) if str(one.get_gid()).startswith("stance-")}


def test_one_bar_a_print_from_touch_down_to_lift_off_in_its_foots_row():
    analysis = make_analysis()
    bars = bars_of(draw_footfalls(Figure().subplots(), analysis))
    assert len(bars) == len(analysis.prints)
    for i, one in enumerate(analysis.prints):
        bar = bars[f"stance-{i}"]
        assert bar.get_x() == pytest.approx(one.touch_down)
        assert bar.get_y() + bar.get_height() / 2 == pytest.approx(ROWS.index(one.limb))
        if one.lift_off is not None:
            assert bar.get_x() + bar.get_width() == pytest.approx(one.lift_off)


def test_whiskers_span_the_95_percent_interval_of_each_event():
    analysis = make_analysis()
    ax = draw_footfalls(Figure().subplots(), analysis)
    spans = [np.ptp(segment[:, 0]) for one in ax.collections for segment in one.get_segments()]
    events = sum(t is not None for one in analysis.prints for t in (one.touch_down, one.lift_off))
    assert len(spans) == events
    assert spans == pytest.approx([2 * 1.96 * 0.008] * events)


def test_an_event_outside_the_clip_leaves_the_bar_open_at_the_last_frame_seen():
    analysis = make_analysis()
    i = next(i for i, one in enumerate(analysis.prints) if one.lift_off is None)
    one = analysis.prints[i]
    ax = draw_footfalls(Figure().subplots(), analysis)
    bar = bars_of(ax)[f"stance-{i}"]
    last = float(analysis.tracks[0].t[one.frames[1]])
    assert bar.get_x() + bar.get_width() == pytest.approx(last)
    heads = [line for line in ax.lines if line.get_marker() == ">"]
    assert [line.get_xdata()[0] for line in heads] == pytest.approx([last])


def test_the_bounds_come_from_the_clip_where_the_foot_has_no_track():
    analysis = replace(make_eventless(), tracks=())
    one = analysis.prints[3]
    step = analysis.clip.duration / (analysis.clip.frames - 1)
    assert find_stance_bounds(analysis, one) == pytest.approx((one.frames[0] * step, one.frames[1] * step))


def test_feet_down_agree_with_a_count_at_every_moment():
    analysis = make_analysis(prints_per_limb=5)
    edges, feet = count_feet_down(analysis.prints, analysis.strides)
    stance = analysis.measures["support_three"].value
    known = np.isfinite(feet)
    width = np.diff(edges)
    assert set(feet[known]) == {2, 3}
    share = width[known & (feet == 3)].sum() / width[known].sum()
    assert share == pytest.approx(stance, abs=0.03)


def test_feet_down_are_unknown_while_a_stride_between_two_prints_is_missing():
    analysis = make_analysis(prints_per_limb=5)
    gap = next(
        one
        for one in analysis.strides
        if one.limb == "left_hind" and analysis.prints[one.start].touch_down > 2
    )
    edges, feet = count_feet_down(analysis.prints, [one for one in analysis.strides if one is not gap])
    middle = (edges[:-1] + edges[1:]) / 2
    swing = (middle > analysis.prints[gap.start].lift_off) & (middle < analysis.prints[gap.end].touch_down)
    assert swing.any() and np.isnan(feet[swing]).all()


def test_feet_down_are_not_drawn_without_all_four_feet():
    for analysis in (make_one_sided(), make_eventless()):
        ax = draw_support(Figure().subplots(), analysis)
        assert "all four feet" in ax.texts[0].get_text()


def test_a_foot_without_prints_is_named():
    ax = draw_footfalls(Figure().subplots(), make_one_sided())
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert labels == [
        "left hind\n(none measured)",
        "left front\n(none measured)",
        "right front",
        "right hind",
    ]


def test_no_prints_are_said_in_words():
    ax = draw_footfalls(Figure().subplots(), make_empty())
    assert "No print was measured" in ax.texts[0].get_text()
