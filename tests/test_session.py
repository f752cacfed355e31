from __future__ import annotations

import json
import math
import os
import sys

import pytest

import stride.session
from stride.errors import MarksError, OutputError, RefusedError
from stride.records.archive import write_analysis
from stride.records.marks_document import write_marks
from stride.session import load_marks, measure_clip, writing_folder
from stride.walk.marks import HoofMark, Marks

CHARTS = ("walkway", "overreaches", "footfalls", "positions", "lifts")
WRITTEN = {
    "analysis.json",
    "prints.csv",
    "strides.csv",
    "overlay.mp4",
    "report.html",
    *(f"charts/{name}.png" for name in CHARTS),
    *(f"charts/{name}.svg" for name in CHARTS),
}


def names_in(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def copied(tmp_path, filmed_walk):
    """The clip and its marks in a folder of their own."""
    clip = tmp_path / "aisle.mp4"
    clip.write_bytes(filmed_walk.clip.read_bytes())
    (tmp_path / "aisle.marks.json").write_text(json.dumps(filmed_walk.marks), encoding="utf-8")
    return clip


@pytest.fixture
def quick_writing(monkeypatch):
    """Write the document alone: charts and page take longer than the measurement of so short a clip."""

    def write(folder, _path, _filmed_at, analysis, *_more):
        document = json.dumps(write_analysis(analysis))
        (folder / "analysis.json").write_text(document, encoding="utf-8")

    monkeypatch.setattr("stride.session._write_results", write)


def test_the_result_folder_holds_everything_promised(measured_walk):
    assert names_in(measured_walk.folder) == WRITTEN
    assert not [path for path in measured_walk.folder.parent.iterdir() if path != measured_walk.folder]


def test_the_clip_and_its_marks_are_left_alone(filmed_walk, measured_walk):
    assert names_in(filmed_walk.clip.parent) == {"aisle.mp4", "aisle.marks.json"}


def test_results_go_beside_the_clip_with_the_tag_that_was_given(copied):
    result = measure_clip(copied, tag="307", overlay=False)
    assert result.folder == copied.with_name("aisle.mp4.stride")
    assert names_in(result.folder) == WRITTEN - {"overlay.mp4"}
    assert result.analysis.marks.animal.tag == "307"


@pytest.mark.parametrize("tag", ["", "7" * 81])
def test_a_tag_that_cannot_be_kept_is_refused_before_any_work(copied, tag):
    with pytest.raises(MarksError, match=f"{len(tag)} characters"):
        measure_clip(copied, tag=tag)


@pytest.mark.usefixtures("quick_writing")
def test_an_earlier_result_is_replaced_whole(copied):
    folder = copied.with_name("aisle.mp4.stride")
    (folder / "charts").mkdir(parents=True)
    (folder / "analysis.json").write_text("{}", encoding="utf-8")
    (folder / "charts" / "old.png").write_text("", encoding="utf-8")
    measure_clip(copied)
    assert names_in(folder) == {"analysis.json"}
    assert names_in(copied.parent) == {"aisle.mp4", "aisle.marks.json", "aisle.mp4.stride/analysis.json"}


@pytest.mark.usefixtures("quick_writing")
def test_slow_motion_that_was_told_changes_times_and_nothing_else(filmed_walk, measured_walk, tmp_path):
    # 36 frames of life for each 30 stored: still a walk that cattle can walk.
    slowed = measure_clip(filmed_walk.clip, filmed_at=36, out=tmp_path / "result").analysis
    usual = measured_walk.analysis
    assert slowed.clip.duration == pytest.approx(usual.clip.duration / 1.2)
    assert slowed.clip.timing.source == "told"
    for name, factor in (("stride_length", 1.0), ("speed", 1.2)):
        before, after = usual.measures[name], slowed.measures[name]
        doubt = math.hypot(factor * before.total, after.total)
        assert after.value == pytest.approx(factor * before.value, abs=2 * doubt), name


@pytest.mark.skipif(sys.platform != "linux", reason="names that are no text exist on Linux only")
@pytest.mark.usefixtures("quick_writing")
def test_a_file_whose_name_is_no_text_is_measured(filmed_walk, tmp_path):
    clip = tmp_path / os.fsdecode(b"K\xfch.mp4")
    clip.write_bytes(filmed_walk.clip.read_bytes())
    marks = tmp_path / "marks.json"
    marks.write_text(json.dumps({**filmed_walk.marks, "clip": {}}), encoding="utf-8")
    result = measure_clip(clip, marks_path=marks)
    assert result.analysis.clip.name == "K\N{REPLACEMENT CHARACTER}h.mp4"
    assert result.folder.name.endswith("h.mp4.stride")


class TestMarksFile:
    marks = Marks(hooves=(HoofMark(limb="left_fore", frame=3, xy_px=(1.0, 2.0)),))

    def write(self, path, marks):
        path.write_text(json.dumps(write_marks(marks)), encoding="utf-8")

    @pytest.mark.parametrize("name", ["aisle.mp4.marks.json", "aisle.marks.json"])
    def test_is_found_beside_the_clip(self, tmp_path, name):
        self.write(tmp_path / name, self.marks)
        assert load_marks(tmp_path / "aisle.mp4", None) == self.marks

    def test_that_is_given_comes_first(self, tmp_path):
        self.write(tmp_path / "aisle.marks.json", Marks())
        self.write(tmp_path / "second.json", self.marks)
        assert load_marks(tmp_path / "aisle.mp4", tmp_path / "second.json") == self.marks

    def test_may_be_absent(self, tmp_path):
        assert load_marks(tmp_path / "aisle.mp4", None) == Marks()


class TestWritingFolder:
    def test_nothing_is_left_where_writing_fails(self, tmp_path):
        with pytest.raises(OutputError, match="No space left"), writing_folder(tmp_path / "result") as fresh:
            (fresh / "half").write_text("half", encoding="utf-8")
            raise OSError(28, "No space left on device")
        assert not list(tmp_path.iterdir())

    @pytest.mark.parametrize("error", [RefusedError("Found this.", "Do that."), KeyboardInterrupt()])
    def test_nothing_is_left_where_the_work_is_broken_off(self, tmp_path, error):
        with pytest.raises(type(error)), writing_folder(tmp_path / "result") as fresh:
            (fresh / "half").write_text("half", encoding="utf-8")
            raise error
        assert not list(tmp_path.iterdir())

    def test_an_earlier_result_outlives_a_failure(self, tmp_path):
        (tmp_path / "result").mkdir()
        (tmp_path / "result" / "analysis.json").write_text("{}", encoding="utf-8")
        with pytest.raises(OutputError), writing_folder(tmp_path / "result"):
            raise OSError(28, "No space left on device")
        assert names_in(tmp_path) == {"result/analysis.json"}

    def test_an_earlier_result_outlives_a_failure_at_the_last_step(self, tmp_path, monkeypatch):
        (tmp_path / "result").mkdir()
        (tmp_path / "result" / "analysis.json").write_text("{}", encoding="utf-8")
        rename = stride.session.Path.rename

        def refuse_fresh(path, target):
            if path.name.startswith(".stride-") and not path.name.endswith("-old"):
                raise OSError(16, "Device or resource busy")
            return rename(path, target)

        monkeypatch.setattr(stride.session.Path, "rename", refuse_fresh)
        with pytest.raises(OutputError, match="busy"), writing_folder(tmp_path / "result"):
            pass
        assert names_in(tmp_path) == {"result/analysis.json"}

    def test_folders_above_it_are_made(self, tmp_path):
        with writing_folder(tmp_path / "spring" / "sale" / "result") as fresh:
            (fresh / "analysis.json").write_text("{}", encoding="utf-8")
        assert names_in(tmp_path) == {"spring/sale/result/analysis.json"}
