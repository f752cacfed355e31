from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure

from stride.charts.strip import draw_strip, explain_strip, make_strip_handles
from stride.imaging.strip import GroundStrip

from ..builders import make_analysis
from .cases import make_empty


def make_strip(analysis, count=60, width=200):
    """A strip in which the prints of an analysis stand as bars."""
    t = np.linspace(0.0, analysis.clip.duration, count)
    spots = (
        np.array([one.xy_px for one in analysis.prints])
        if analysis.prints
        else np.array([[0.0, 0.0], [99.0, 0.0]])
    )
    x = np.linspace(spots[:, 0].min() - 50, spots[:, 0].max() + 50, width)
    nearness = np.full((count, width), np.nan)
    for one in analysis.prints:
        standing = (t >= (one.touch_down or 0.0)) & (t <= (one.lift_off or t[-1]))
        near = np.abs(x - one.xy_px[0]) < 12
        nearness[np.ix_(standing, near)] = one.xy_px[1] - spots[:, 1].mean()
    return GroundStrip(
        t=t, line_px=np.column_stack([x, np.full(width, spots[:, 1].mean())]), nearness=nearness
    )


@pytest.mark.parametrize("options", [{}, {"direction": "right_to_left"}, {"unit": "stride"}])
def test_prints_are_drawn_where_and_while_they_stood(options):
    analysis = make_analysis(**options)
    ax = draw_strip(Figure().subplots(), analysis, make_strip(analysis))
    lines = {line.get_gid(): line for line in ax.lines}
    along = np.array([one.xy @ np.array(analysis.heading) for one in analysis.prints])
    for i, one in enumerate(analysis.prints):
        line = lines[f"print-{i}"]
        assert len(set(line.get_xdata())) == 1
        assert line.get_ydata()[0] == pytest.approx(one.touch_down)
        if not options.get("unit"):
            assert line.get_xdata()[0] == pytest.approx(along[i] - along.min())


def test_overreaches_join_the_hind_toe_to_the_fore_toe():
    analysis = make_analysis()
    ax = draw_strip(Figure().subplots(), analysis, make_strip(analysis))
    lines = {line.get_gid(): line for line in ax.lines}
    for number, one in enumerate(analysis.overreaches):
        fore, hind = lines[f"overreach-{number}"].get_xdata()
        assert hind - fore == pytest.approx(one.value.value, abs=1e-6)
    words = {text.get_text() for text in ax.texts}
    assert any(word.endswith("cm") for word in words)


def test_the_strip_lies_under_them_and_time_runs_down():
    analysis = make_analysis()
    strip = make_strip(analysis)
    ax = draw_strip(Figure().subplots(), analysis, strip)
    (mesh,) = ax.collections
    assert mesh.get_gid() == "strip"
    assert np.ma.count(mesh.get_array()) == np.isfinite(strip.nearness).sum()
    assert ax.get_ylim() == pytest.approx((strip.t[-1], 0.0))


def test_an_empty_strip_says_so():
    analysis = make_empty()
    ax = draw_strip(Figure().subplots(), analysis, make_strip(analysis))
    assert "stand on the floor" in ax.texts[0].get_text().replace("\n", " ")
    assert not ax.axison


def test_words_and_handles():
    assert "overreach" in explain_strip()
    assert len({handle.get_label() for handle in make_strip_handles()}) == 7
