from dataclasses import replace

import numpy as np
import pytest
from matplotlib.container import ErrorbarContainer
from matplotlib.figure import Figure

from stride.charts.overreaches import draw_overreaches, explain_overreaches, find_band
from stride.walk.settings import Settings

from ..builders import make_analysis
from .cases import make_empty, make_one_sided


def draw(analysis):
    return draw_overreaches(Figure().subplots(), analysis)


def singles_of(ax):
    return {
        one.get_label().removeprefix("singles-"): one
        for one in ax.containers
        if isinstance(one, ErrorbarContainer) and one.get_label().startswith("singles-")
    }


def test_every_overreach_is_a_point_with_its_95_percent_bar():
    analysis = make_analysis()
    ax = draw(analysis)
    for side, container in ((name.split()[0], one) for name, one in singles_of(ax).items()):
        own = [one.value for one in analysis.overreaches if one.side == side]
        points, _, (bars,) = container
        assert points.get_ydata() == pytest.approx([100 * one.value for one in own])
        ends = [segment[:, 1] for segment in bars.get_segments()]
        assert np.array(ends) == pytest.approx(100 * np.array([one.interval() for one in own]))


def test_the_means_of_each_side_and_of_the_walk_stand_apart():
    analysis = make_analysis(overreach_left=0.01, overreach_right=-0.11)
    ax = draw(analysis)
    means = {line.get_gid(): line for line in ax.lines if str(line.get_gid()).startswith("mean-")}
    shown = {gid: float(line.get_ydata()[0]) for gid, line in means.items()}
    assert shown == pytest.approx({"mean-left side": 1.0, "mean-right side": -11.0, "mean-whole walk": -5.0})
    words = [text.get_text() for text in ax.texts]
    assert "left side\n1.0 ± 0.8 cm past" in words
    assert "right side\n11.0 ± 0.8 cm short" in words


@pytest.mark.parametrize(
    ("unit", "band", "words"), [("m", 4.0, "within 4 cm"), ("stride", 3.0, "within 3 %\nof a stride")]
)
def test_the_band_follows_the_settings_and_the_zones_are_named(unit, band, words):
    analysis = replace(make_analysis(unit=unit), settings=Settings(band=0.04, band_share=0.03))
    ax = draw(analysis)
    assert 100 * find_band(analysis) == pytest.approx(band)
    shaded = ax.patches[0].get_extents().transformed(ax.transData.inverted())
    assert (shaded.y0, shaded.y1) == pytest.approx((-band, band))
    zones = " | ".join(text.get_text() for text in ax.texts)
    assert "past\nthe print" in zones and "short of\nthe print" in zones and words in zones


def test_every_zone_and_every_bar_is_in_view():
    for left, right in ((-0.4, -0.3), (0.0, 0.0), (0.45, 0.5)):
        analysis = make_analysis(overreach_left=left, overreach_right=right)
        low, high = draw(analysis).get_ylim()
        assert low < -6 and high > 6
        for one in analysis.overreaches:
            assert low < 100 * one.value.interval()[0] and 100 * one.value.interval()[1] < high


def test_a_side_that_was_not_measured_gives_its_reason():
    words = " ".join(" ".join(text.get_text().split()) for text in draw(make_one_sided()).texts)
    assert "left side not measured: no left hind print could be paired" in words


def test_without_any_overreach_the_chart_says_why():
    ax = draw(make_empty())
    assert ax.texts[0].get_text() == "No overreach was measured: no print was found."


def test_many_strides_number_only_some():
    ticks = [label.get_text() for label in draw(make_analysis(prints_per_limb=17)).get_xticklabels()]
    assert ticks.count("mean") == 3
    assert "1" in ticks and "2" not in ticks and len(ticks) < 25


def test_what_the_bars_hold_is_said_and_the_missing_scale_too():
    assert "95 %" in explain_overreaches(make_analysis())
    assert "no scale" in explain_overreaches(make_analysis(unit="stride"))
