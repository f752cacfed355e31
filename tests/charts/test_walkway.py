from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse, FancyArrowPatch, PathPatch

from stride.charts.stretches import ELLIPSE_FACTOR, lay_out_walkway
from stride.charts.walkway import draw_walkway, explain_walkway, outline_hoof

from ..builders import make_analysis
from .cases import make_empty, make_length_only, make_one_sided, make_unscaled_single


def draw(analysis):
    return draw_walkway(Figure().subplots(), analysis)


def by_gid(ax, start, kind):
    return {one.get_gid(): one for one in ax.findobj(kind) if str(one.get_gid()).startswith(start)}


def test_one_outline_a_print_with_its_toe_tip_at_the_measured_place():
    analysis = make_analysis()
    outlines = by_gid(draw(analysis), "print-", PathPatch)
    assert len(outlines) == len(analysis.prints)
    first = min(one.xy[0] for one in analysis.prints)
    for i, one in enumerate(analysis.prints):
        tip = outlines[f"print-{i}"].get_path().vertices[:, 0].max()
        assert tip == pytest.approx(one.xy[0] - first, abs=1e-9)


def test_front_and_hind_prints_differ_in_shape_and_fill_as_well_as_colour():
    ax, analysis = draw(make_analysis()), make_analysis()
    outlines = by_gid(ax, "print-", PathPatch)
    hollow = {
        one.limb.split("_")[1]: outlines[f"print-{i}"].get_fill() for i, one in enumerate(analysis.prints)
    }
    faces = {
        one.limb.split("_")[1]: outlines[f"print-{i}"].get_facecolor()[3]
        for i, one in enumerate(analysis.prints)
    }
    assert set(hollow) == {"fore", "hind"}
    assert faces["fore"] == 0 and faces["hind"] > 0.5
    fore, hind = outline_hoof("fore").vertices, outline_hoof("hind").vertices
    assert np.ptp(fore[:, 1]) > 1.15 * np.ptp(hind[:, 1])


@pytest.mark.parametrize("direction", ["left_to_right", "right_to_left"])
def test_the_animal_walks_to_the_right_with_its_left_side_up(direction):
    analysis = make_analysis(direction=direction)
    place = lay_out_walkway(analysis)
    for i, one in enumerate(analysis.prints):
        assert (place.across[i] > 0) == one.limb.startswith("left")
    later = [place.along[i] for i, one in enumerate(analysis.prints) if one.limb == "left_fore"]
    assert later == sorted(later)


def test_an_error_ellipse_holds_a_print_95_times_in_100():
    analysis = make_analysis()
    ellipse = by_gid(draw(analysis), "error-", Ellipse)["error-0"]
    cov = analysis.prints[0].cov + analysis.prints[0].limb_cov
    drawn = np.random.default_rng(3).multivariate_normal([0, 0], cov, size=20_000)
    angle = np.radians(ellipse.angle)
    turned = drawn @ np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    inside = (2 * turned[:, 0] / ellipse.width) ** 2 + (2 * turned[:, 1] / ellipse.height) ** 2 <= 1
    assert inside.mean() == pytest.approx(0.95, abs=0.006)
    assert pytest.approx(np.sqrt(5.9915), abs=1e-4) == ELLIPSE_FACTOR


def test_a_walk_askew_to_the_picture_turns_its_ellipses_with_it():
    angle = 0.3
    analysis = make_analysis()
    place = lay_out_walkway(replace(analysis, heading=(np.cos(angle), np.sin(angle))))
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    cov = analysis.prints[4].cov + analysis.prints[4].limb_cov
    assert place.covs[4] == pytest.approx(turn @ cov @ turn.T)


def test_an_arrow_runs_from_the_front_print_to_the_hind_print_that_answers_it():
    analysis = make_analysis(overreach_left=0.03, overreach_right=-0.08)
    ax = draw(analysis)
    arrows = by_gid(ax, "overreach-", FancyArrowPatch)
    assert len(arrows) == len(analysis.overreaches)
    place = lay_out_walkway(analysis)
    for one in analysis.overreaches:
        (start, _), (end, _) = arrows[f"overreach-{one.fore_print}-{one.hind_print}"]._posA_posB
        assert start == pytest.approx(place.along[one.fore_print])
        assert end - start == pytest.approx(one.value.value)
    words = [text.get_text() for text in ax.texts]
    assert "4.1 cm past" in words and "6.9 cm short" in words


def test_without_floor_points_the_sides_are_lanes_and_only_the_doubt_along_is_drawn():
    analysis = make_length_only()
    place, ax = lay_out_walkway(analysis), draw(analysis)
    assert len(set(np.round(np.abs(place.across), 9))) == 1
    assert not by_gid(ax, "error-", Ellipse)
    assert "lanes" in explain_walkway(analysis)


def test_a_clip_without_scale_draws_strides_and_claims_no_centimetres():
    analysis = make_analysis(unit="stride")
    ax = draw(analysis)
    assert "(strides)" in ax.get_xlabel()
    words = " ".join(text.get_text() for text in ax.texts)
    assert "cm" not in words and "% of a stride short" in words
    assert "no centimetres" in explain_walkway(analysis)


def test_an_arbitrary_floor_length_is_brought_to_strides():
    analysis = make_analysis(unit="stride")
    stretched = replace(
        analysis,
        prints=tuple(
            replace(one, xy=one.xy * 37, cov=one.cov * 37**2, limb_cov=one.limb_cov * 37**2)
            for one in analysis.prints
        ),
    )
    plain, other = lay_out_walkway(analysis), lay_out_walkway(stretched)
    assert other.along == pytest.approx(plain.along)
    assert other.covs == pytest.approx(plain.covs)


def test_neither_scale_nor_stride_is_said():
    analysis = make_unscaled_single()
    assert "no scale" in draw(analysis).get_xlabel()
    assert "no whole stride" in explain_walkway(analysis)


def test_a_missing_side_is_named():
    labels = [label.get_text() for label in draw(make_one_sided()).get_yticklabels()]
    assert labels == ["left:\nnone\nmeasured", "right\nside"]


def test_no_prints_are_said_in_words():
    ax = draw(make_empty())
    assert not ax.axison
    assert "No print was measured" in ax.texts[0].get_text()
