import base64
import datetime as dt
import os
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from stride.errors import OutputError
from stride.quantity import Measured, Unmeasured
from stride.report.page import (
    FILMING_CAUTIONS,
    Picture,
    explain_ground,
    load_picture,
    render_page,
    write_report,
)
from stride.walk.wording import name_of, say

from ..builders import make_analysis
from ..charts.cases import CASES, make_empty, make_length_only, make_one_sided

SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><text>drawn</text></svg>'
PNG = b"\x89PNG\r\n\x1a\n"
LOADING = {"src", "href", "srcset", "poster", "data", "action", "xlink:href", "background"}
VOID = {"meta", "img", "br", "link", "input"}


class Page(HTMLParser):
    """Text, tags and attributes of a page, and whether every tag is closed."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.attributes, self.words, self.open = [], [], [], []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *pair) for pair in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if not self.open or self.open[-1] != "style":
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).replace("\N{NO-BREAK SPACE}", " ").split())


def read(analysis, **options):
    return Page(render_page(analysis, [], **options))


@pytest.fixture
def charts(tmp_path):
    (tmp_path / "charts").mkdir()
    (tmp_path / "charts" / "walkway.svg").write_bytes(SVG)
    (tmp_path / "charts" / "overreaches.png").write_bytes(PNG)
    return {name.stem: name for name in sorted((tmp_path / "charts").iterdir(), reverse=True)}


@pytest.mark.parametrize("case", CASES)
def test_every_kind_of_walk_makes_a_whole_page(case):
    page = read(CASES[case]())
    assert page.open == []
    for heading in (
        "Verdict",
        "The numbers that matter most",
        "Before you act on it",
        "All numbers",
        "How it was measured",
    ):
        assert heading in page.text
    assert "None" not in page.text and "nan" not in page.text.lower().split()


def test_what_was_filmed_stands_first_and_the_verdict_before_the_numbers():
    text = read(make_analysis(tag="214", clip_name="aisle.mp4")).text
    order = ["214", "aisle.mp4", "Short-strided", "Each side alone", "What it rests on", "Stride length"]
    assert [text.index(words) for words in order] == sorted(text.index(words) for words in order)
    assert "Filmed on not given" in text
    assert "left to right through the picture, its right side to the camera" in text


def test_a_date_is_shown_where_it_was_given():
    assert "Filmed on 7 May 2031" in read(make_analysis(), filmed_on=dt.date(2031, 5, 7)).text


def test_every_measure_is_shown_with_its_value_doubt_and_unit_or_its_reason():
    analysis = make_analysis(missing={"track_width_fore": "the far feet were hidden"})
    strange = {
        "topline_dip_left": Measured(value=3.0, unit="kg", random=0.1, common=0.0),
        "ear_flap": Unmeasured(reason="no ear was seen"),
    }
    text = read(replace(analysis, measures={**analysis.measures, **strange})).text
    for name, quantity in {**analysis.measures, **strange}.items():
        assert name_of(name) in text
        assert say(quantity, name) in text
    assert "not measured: the far feet were hidden" in text
    assert "Other numbers" in text and "3.00 ± 0.20 kg" in text


def test_the_verdict_comes_with_its_odds_sides_and_what_would_settle_it():
    analysis = make_analysis(overreach_left=0.01, overreach_right=-0.11, random_factor=5)
    text = read(analysis).text
    assert "Undecided: likeliest is" in text
    assert "left side Fills the print, probability" in text
    assert "right side Short-strided, probability" in text
    assert f"What would settle it {analysis.verdict.to_settle}" in text
    for sentence in (*analysis.verdict.reasons, *analysis.verdict.cautions, *analysis.verdict.other_causes):
        assert sentence in text


def test_the_linked_build_is_a_pointer_and_absent_where_there_is_none():
    analysis = make_analysis()
    assert f"a pointer, never a finding {analysis.verdict.linked_build}" in read(analysis).text
    fills = make_analysis(overreach_left=0.0, overreach_right=0.0)
    assert fills.verdict.linked_build is None
    assert "a pointer, never a finding" not in read(fills).text


def test_every_page_carries_the_cautions():
    for analysis in (make_analysis(), make_analysis(overreach_left=0.0, overreach_right=0.0), make_empty()):
        text = read(analysis).text
        assert "never replaces an examination" in text
        assert "have a vet look before you blame the build" in text
        for caution in FILMING_CAUTIONS:
            assert caution in text


def test_a_side_that_was_not_judged_is_named():
    analysis = make_one_sided()
    one_sided = replace(
        analysis, verdict=replace(analysis.verdict, sides={"right": analysis.verdict.sides["right"]})
    )
    assert "left side Not judged: no overreach was measured there." in read(one_sided).text


def test_a_clip_without_scale_claims_no_centimetres():
    analysis = make_analysis(unit="stride")
    text = read(analysis).text
    assert "no centimetres are claimed" in text
    numbers = text[: text.index("How it was measured")]
    assert not re.search(r"\d\s*cm\b", numbers)
    assert "% of a stride short of the front print" in numbers


def test_the_ground_says_what_it_allows():
    assert "along and across the walk are in centimetres" in explain_ground(make_analysis())
    assert "± 1.2 %" in explain_ground(make_analysis(scale_error=0.006))
    assert "Across the walk nothing was measured" in explain_ground(make_length_only())
    assert "to the left (" not in read(make_length_only()).text


def test_times_camera_settings_hash_and_maker_are_stated():
    analysis = make_analysis(pan_px=300.0)
    timing = replace(
        analysis.clip.timing, slowed=8.0, irregular=3, repeated=2, note="Corrected by the phone's tag."
    )
    analysis = replace(analysis, clip=replace(analysis.clip, timing=timing))
    text = read(analysis).text
    for words in (
        "Corrected by the phone's tag.",
        "8 times slower than life",
        "3 frames came at irregular times",
        "2 frames only repeat",
        "The camera moved",
        "Counts as filling the print: within 6 cm",
        "A class is named from a probability of 90 %",
        "0" * 64,
        analysis.made_by,
    ):
        assert words in text


def test_frames_whose_camera_was_lost_are_counted():
    analysis = make_analysis()
    held = analysis.camera.held.copy()
    held[5:9] = False
    assert (
        "In 4 frames it could not be followed"
        in read(replace(analysis, camera=replace(analysis.camera, held=held))).text
    )


def test_what_a_user_gave_is_escaped():
    evil = '"><script>alert(1)</script>{{ 7 * 7 }}'
    analysis = make_analysis(tag=evil, clip_name=f"{evil}.mp4", missing={evil: evil, "speed": evil})
    analysis = replace(
        analysis, made_by=evil, verdict=replace(analysis.verdict, reasons=(evil,), cautions=(evil,))
    )
    picture = Picture(title=evil, alt=evil, source="data:image/png;base64,")
    html = render_page(analysis, [picture], frames=[picture], overlay=f"{evil}.mp4")
    page = Page(html)
    assert "script" not in page.tags
    assert {name for _, name, _ in page.attributes if name.startswith("on")} == set()
    assert page.text.count(evil) >= 6
    assert "49" not in page.text.split()


def test_the_page_loads_nothing_from_a_network(charts, tmp_path):
    overlay = tmp_path / "over lay #1.mp4"
    overlay.write_bytes(b"video")
    write_report(make_analysis(), charts, tmp_path / "report.html", overlay=overlay)
    html = (tmp_path / "report.html").read_text(encoding="utf-8")
    page = Page(html)
    loads = [(tag, value) for tag, name, value in page.attributes if name in LOADING]
    assert [value for tag, value in loads if tag == "video"] == ["over%20lay%20%231.mp4"]
    assert all(value.startswith("data:image/") for tag, value in loads if tag != "video")
    assert not {"link", "script", "iframe", "object", "embed", "form"} & set(page.tags)
    assert "url(" not in html and "@import" not in html and "http:" not in html and "https:" not in html
    policy = next(value for _, name, value in page.attributes if name == "content" and "default-src" in value)
    assert policy.startswith("default-src 'none'")


def test_charts_are_carried_inside_the_page_with_words_for_who_cannot_see_them(charts, tmp_path):
    write_report(make_analysis(), charts, tmp_path / "report.html")
    page = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    sources = [value for tag, name, value in page.attributes if tag == "img" and name == "src"]
    assert [base64.b64decode(one.split(",")[1]) for one in sources] == [SVG, PNG]
    assert [one.split(";")[0] for one in sources] == ["data:image/svg+xml", "data:image/png"]
    alts = [value for tag, name, value in page.attributes if tag == "img" and name == "alt"]
    assert alts[0].startswith("The prints from above. Each outline is a nominal hoof")
    assert all(alts)
    assert "video" not in page.tags


def test_an_overlay_that_is_not_there_is_left_out(charts, tmp_path):
    write_report(make_analysis(), charts, tmp_path / "report.html", overlay=tmp_path / "overlay.mp4")
    assert "<video" not in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_an_overlay_in_another_folder_is_linked_from_the_page(tmp_path):
    (tmp_path / "videos").mkdir()
    (tmp_path / "videos" / "overlay.mp4").write_bytes(b"video")
    write_report(
        make_analysis(), {}, tmp_path / "pages" / "report.html", overlay=tmp_path / "videos" / "overlay.mp4"
    )
    assert 'src="../videos/overlay.mp4"' in (tmp_path / "pages" / "report.html").read_text(encoding="utf-8")


def test_frames_of_the_clip_are_shown_with_their_captions(tmp_path):
    (tmp_path / "frame.jpg").write_bytes(b"\xff\xd8")
    write_report(
        make_analysis(), {}, tmp_path / "report.html", frames=[("left hind at 1.2 s", tmp_path / "frame.jpg")]
    )
    html = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "data:image/jpeg;base64,/9g=" in html and "left hind at 1.2 s</figcaption>" in html


def test_the_same_walk_gives_the_same_page(charts, tmp_path):
    pages = []
    for name in ("one.html", "two.html"):
        write_report(make_analysis(), charts, tmp_path / name)
        pages.append((tmp_path / name).read_bytes())
    assert pages[0] == pages[1]
    assert not [name for name in os.listdir(tmp_path) if name.endswith(".part")]


def test_what_cannot_be_read_or_written_is_an_output_error(tmp_path):
    with pytest.raises(OutputError, match="could not be read"):
        write_report(make_analysis(), {"walkway": tmp_path / "gone.svg"}, tmp_path / "report.html")
    assert os.listdir(tmp_path) == []
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError, match="could not be written"):
        write_report(make_analysis(), {}, tmp_path / "file" / "report.html")


def test_a_picture_of_another_kind_is_refused():
    with pytest.raises(ValueError, match=r"got walkway\.pdf"):
        load_picture(Path("walkway.pdf"), "", "")
