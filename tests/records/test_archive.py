from __future__ import annotations

import copy
import json
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stride.errors import RecordsError
from stride.records.archive import read_analysis, write_analysis
from stride.walk.analysis import Analysis
from tests.builders import make_analysis
from tests.charts.cases import CASES
from tests.records.test_marks_document import VALUES, find_places
from tests.same import find_difference


def shorten_tag(analysis: Analysis) -> Analysis:
    """A tag longer than 80 characters never gets into an analysis: the session refuses it."""
    animal = analysis.marks.animal
    short = replace(animal, tag=animal.tag[:80] if animal.tag else None)
    return replace(analysis, marks=replace(analysis.marks, animal=short))


@pytest.mark.parametrize("make", CASES.values(), ids=CASES)
def test_what_is_written_reads_back_equal(make):
    analysis = shorten_tag(make())
    text = json.dumps(write_analysis(analysis), ensure_ascii=False, allow_nan=False)
    assert find_difference(read_analysis(text), analysis) is None
    assert json.dumps(write_analysis(read_analysis(text)), ensure_ascii=False) == text


def test_a_measured_clip_reads_back_equal(measured_walk):
    text = (measured_walk.folder / "analysis.json").read_text(encoding="utf-8")
    assert find_difference(read_analysis(text), measured_walk.analysis) is None


def test_the_document_holds_what_is_promised(measured_walk):
    document = write_analysis(measured_walk.analysis)
    assert (document["format"], document["version"]) == ("stride-analysis", 1)
    assert {"clip", "camera", "ground", "direction", "near_side", "tracks", "prints"} <= set(document)
    assert {"strides", "overreaches", "measures", "verdict", "settings", "made_by"} <= set(document)
    one = document["prints"][0]
    assert {"limb", "xy_m", "cov_m2", "touch_down_s", "touch_down_error_s", "lift_off_s", "source"} <= set(
        one
    )
    assert {"side", "fore_print", "hind_print", "value", "random", "common"} <= set(
        document["overreaches"][0]
    )
    track = document["tracks"][0]
    assert len(track["t_s"]) == len(track["xy_px"]) == len(track["state"])


def test_without_scale_no_metres_are_claimed():
    text = json.dumps(write_analysis(make_analysis(unit="stride")))
    document = json.loads(text)
    assert "xy_m" not in document["prints"][0]
    units = {one["unit"] for one in document["measures"].values() if "unit" in one}
    assert not units & {"m", "m/s"}


def read_or_refuse(text: str) -> None:
    try:
        analysis = read_analysis(text)
    except RecordsError as error:
        assert error.problem.endswith(".")
        assert error.remedy.endswith(".")
    else:
        assert isinstance(analysis, Analysis)


DOCUMENT = json.loads(json.dumps(write_analysis(make_analysis(prints_per_limb=2))))
for _track in DOCUMENT["tracks"]:  # short tracks, so that other places are tried as often
    for _name in ("t_s", "xy_px", "state", "cov_px2", "offset_px2"):
        del _track[_name][5:]
PLACES = len(list(find_places(DOCUMENT)))


@given(st.integers(0, PLACES - 1), VALUES)
@settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow])
def test_a_document_with_one_value_exchanged_is_read_or_refused(number, value):
    document = copy.deepcopy(DOCUMENT)
    parent, key = list(find_places(document))[number]
    parent[key] = value
    read_or_refuse(json.dumps(document))


@given(st.integers(0, PLACES - 1))
@settings(max_examples=100, suppress_health_check=[HealthCheck.too_slow])
def test_a_document_with_one_value_missing_is_read_or_refused(number):
    document = copy.deepcopy(DOCUMENT)
    parent, key = list(find_places(document))[number]
    del parent[key]
    read_or_refuse(json.dumps(document))


def test_a_print_that_does_not_exist_is_named():
    document = copy.deepcopy(DOCUMENT)
    document["overreaches"][0]["fore_print"] = 99
    with pytest.raises(RecordsError, match=r"overreaches\[0\]\.fore_print"):
        read_analysis(json.dumps(document))
