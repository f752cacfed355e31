import os
import xml.etree.ElementTree as ET

import matplotlib
import pytest

from stride.charts.gallery import TITLES, explain_chart, make_figures, render_figure, save_charts
from stride.errors import OutputError

from ..builders import make_analysis
from .cases import CASES
from .text import find_cut_off, find_overlaps, place_words

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def figures():
    return make_figures(make_analysis(tag="214", clip_name="aisle.mp4"))


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    return save_charts(make_analysis(), tmp_path_factory.mktemp("walk") / "charts")


@pytest.mark.parametrize("case", CASES)
def test_no_words_overlap_or_are_cut_off(case):
    for name, figure in make_figures(CASES[case]()).items():
        placed = place_words(figure)
        assert placed, name
        assert find_overlaps(placed) == [], name
        assert find_cut_off(figure, placed) == [], name


def test_every_chart_names_the_animal_the_clip_and_how_it_is_read(figures):
    for name, figure in figures.items():
        words = " ".join(text for text, _ in place_words(figure))
        assert "animal 214 · aisle.mp4" in words
        assert TITLES[name] in words
        first = explain_chart(name, make_analysis()).split(". ")[0]
        assert " ".join(first.split()[:6]) in words.replace("\n", " ")


def test_axes_carry_their_units(figures):
    for name, figure in figures.items():
        labels = " ".join(label for ax in figure.axes for label in (ax.get_xlabel(), ax.get_ylabel()))
        unit = {
            "walkway": "(m)",
            "overreaches": "(cm)",
            "footfalls": "(s)",
            "positions": "(m)",
            "lifts": "(cm)",
        }[name]
        assert unit in labels


def test_an_empty_walk_says_why_in_every_chart():
    for name, figure in make_figures(CASES["empty"]()).items():
        words = " ".join(text for text, _ in place_words(figure))
        assert "No " in words, name
        assert not any(ax.axison for ax in figure.axes)


def test_charts_are_saved_as_png_and_svg_that_can_be_read_and_searched(saved):
    assert list(saved) == [name for name in TITLES if name != "strip"]
    for name, files in saved.items():
        assert files.png.read_bytes().startswith(b"\x89PNG")
        tree = ET.parse(files.svg)
        words = " ".join("".join(one.itertext()) for one in tree.iter(f"{SVG}text"))
        assert TITLES[name] in words
    names = os.listdir(saved["walkway"].png.parent)
    assert sorted(names) == sorted(
        f"{name}.{form}" for name in TITLES if name != "strip" for form in ("png", "svg")
    )


def test_the_same_analysis_gives_the_same_bytes(figures, saved):
    for name, figure in figures.items():
        assert render_figure(figure, "png") == saved[name].png.read_bytes()
        svg = render_figure(figure, "svg")
        assert svg == saved[name].svg.read_bytes()
        assert b"dc:date" not in svg
        assert b"matplotlib.org" not in svg


def test_a_users_settings_of_matplotlib_neither_change_the_charts_nor_are_changed(saved):
    plain = saved["overreaches"].svg.read_bytes()
    with matplotlib.rc_context({"font.size": 30, "axes.facecolor": "black", "svg.fonttype": "path"}):
        assert render_figure(make_figures(make_analysis())["overreaches"], "svg") == plain
        assert matplotlib.rcParams["font.size"] == 30


def test_a_tag_with_markup_is_drawn_as_it_stands():
    figures = make_figures(make_analysis(tag="<script>$x^2$</script>", clip_name="a & b.mp4"))
    svg = render_figure(figures["walkway"], "svg").decode()
    assert "<script" not in svg
    assert "animal &lt;script&gt;$x^2$&lt;/script&gt; · a &amp; b.mp4" in svg


def test_a_folder_that_cannot_be_written_is_an_output_error(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError, match="could not be written"):
        save_charts(make_analysis(), tmp_path / "file")
    assert os.listdir(tmp_path) == ["file"]


def test_a_name_that_is_no_chart_has_no_explanation():
    assert explain_chart("weather", make_analysis()) == ""
