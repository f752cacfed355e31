import numpy as np
import pytest
from matplotlib.figure import Figure

from stride.charts.positions import draw_positions
from stride.walk.positions import find_positions

from ..builders import make_analysis
from .cases import make_empty, make_one_sided


def draw(analysis, **options):
    positions = find_positions(analysis.tracks, analysis.camera, analysis.ground, analysis.heading)
    return draw_positions(Figure().subplots(), analysis, positions, **options), positions


@pytest.mark.parametrize("options", [{}, {"direction": "right_to_left", "pan_px": 700.0}, {"unit": "stride"}])
def test_prints_are_levels_at_their_distance_while_they_stood(options):
    analysis = make_analysis(**options)
    ax, _ = draw(analysis)
    levels = {line.get_gid(): line for line in ax.lines if line.get_gid()}
    along = np.array([one.xy @ np.array(analysis.heading) for one in analysis.prints])
    assert len(levels) == len(analysis.prints)
    for i, one in enumerate(analysis.prints):
        line = levels[f"level-{i}"]
        assert line.get_ydata() == pytest.approx(
            [along[i] - along.min()] * 2, abs=0.02 if options.get("unit") else 1e-9
        )
        assert line.get_xdata()[0] == pytest.approx(one.touch_down)


def test_the_staircase_lies_on_the_levels_and_is_dotted_where_the_hoof_was_hidden():
    analysis = make_analysis(pan_px=500.0)
    ax, positions = draw(analysis)
    solid, dotted = (
        [line for line in ax.lines if not line.get_gid() and (line.get_linestyle() == ":") is hidden]
        for hidden in (False, True)
    )
    assert len(solid) == len(dotted) == 4
    for line, other, track in zip(solid, dotted, positions, strict=True):
        assert (np.isfinite(line.get_ydata()) == track.seen).all()
        assert (np.isfinite(other.get_ydata()) == ~track.seen).all()
    for i, one in enumerate(analysis.prints):
        level = next(line for line in ax.lines if line.get_gid() == f"level-{i}").get_ydata()[0]
        stair = next(line for line, track in zip(solid, positions, strict=True) if track.limb == one.limb)
        inside = (stair.get_xdata() > one.touch_down + 0.05) & (stair.get_xdata() < one.touch_down + 0.6)
        stood = stair.get_ydata()[inside & np.isfinite(stair.get_ydata())]
        assert stood == pytest.approx(np.full(len(stood), level), abs=1e-6)


def test_one_side_alone_draws_its_two_feet():
    ax, _ = draw(make_analysis(), side="left")
    assert len([line for line in ax.lines if line.get_gid()]) == 6
    assert ax.get_title(loc="left") == "left side"


def test_a_side_without_feet_and_a_walk_without_any_are_said_in_words():
    ax, _ = draw(make_one_sided(), side="left")
    assert ax.texts[0].get_text() == "No left foot was followed in this clip."
    ax, _ = draw(make_empty())
    assert ax.texts[0].get_text() == "No foot was followed in this clip."
