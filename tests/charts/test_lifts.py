import numpy as np
import pytest
from matplotlib.figure import Figure

from stride.charts.lifts import draw_lifts, make_lift_handles

from ..builders import make_analysis

T = np.linspace(0.0, 1.0, 50)
HEIGHTS = {"left_fore": (T, 0.1 * np.sin(np.pi * T)), "right_hind": (T, np.where(T < 0.5, np.nan, 0.04))}


def test_heights_are_drawn_in_centimetres_and_gaps_stay_gaps():
    ax = draw_lifts(Figure().subplots(), make_analysis(), HEIGHTS)
    lines = {line.get_gid(): line for line in ax.lines if line.get_gid()}
    assert set(lines) == {"lift-left_fore", "lift-right_hind"}
    assert lines["lift-left_fore"].get_ydata().max() == pytest.approx(10.0, abs=0.02)
    assert np.isnan(lines["lift-right_hind"].get_ydata()[:20]).all()
    assert "(cm)" in ax.get_ylabel()
    assert [handle.get_label() for handle in make_lift_handles(HEIGHTS)] == ["left front", "right hind"]


def test_heights_without_scale_are_shares_of_a_stride():
    ax = draw_lifts(Figure().subplots(), make_analysis(unit="stride"), HEIGHTS)
    assert "(% of a stride)" in ax.get_ylabel()


@pytest.mark.parametrize("heights", [{}, {"left_fore": (np.empty(0), np.empty(0))}])
def test_no_heights_are_said_in_words(heights):
    ax = draw_lifts(Figure().subplots(), make_analysis(), heights)
    assert "no lift can be drawn" in ax.texts[0].get_text()
