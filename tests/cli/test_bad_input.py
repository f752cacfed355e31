"""What a person sees for each thing that cannot be measured: a sentence, an exit code, and nothing left behind."""

from __future__ import annotations

import copy
import errno
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from stride.media.encoder import encode_clip
from tests.cli.runs import Outcome, Run
from tests.conftest import FRAME_RATE, FilmedWalk

Document = dict[str, Any]


class Place:
    """A fresh folder with a clip and its marks, in which the command is run."""

    def __init__(self, folder: Path, walk: FilmedWalk, run: Run) -> None:
        self.folder = folder
        self.walk = walk
        self.clip = folder / "aisle.mp4"
        self.clip.write_bytes(walk.clip.read_bytes())
        self.marks: Document = copy.deepcopy(walk.marks)
        self._run = run

    def measure(self, *words: object) -> Outcome:
        """Run ``stride measure`` on the clip with the marks as they are now."""
        if not (self.folder / "aisle.marks.json").exists():
            (self.folder / "aisle.marks.json").write_text(json.dumps(self.marks), encoding="utf-8")
        return self._run("measure", self.clip, *words)

    def refused(self, *words: object) -> Outcome:
        """The same, which must fail with two lines on stderr and leave everything as it was."""
        before = self.list_files()
        told = self.measure(*words)
        assert told.code != 0
        assert told.out == ""
        assert len(told.err.splitlines()) == 2, told.err
        assert all(line.endswith(".") for line in told.err.splitlines()), told.err
        assert "Traceback" not in told.err
        assert self.list_files() - before <= {"aisle.marks.json"}
        return told

    def list_files(self) -> set[str]:
        return {path.relative_to(self.folder).as_posix() for path in self.folder.rglob("*")}

    def film(self, frames) -> None:
        encode_clip(self.clip, frames, frame_rate=FRAME_RATE)


@pytest.fixture
def place(tmp_path: Path, filmed_walk: FilmedWalk, run: Run) -> Place:
    return Place(tmp_path, filmed_walk, run)


# The clip


def write_nothing(place: Place) -> None:
    place.clip.write_bytes(b"")


def write_text(place: Place) -> None:
    place.clip.write_text("This is a letter to the vet.\n" * 40, encoding="utf-8")


def write_still(place: Place) -> None:
    place.clip.write_bytes(cv2.imencode(".jpg", place.walk.frames[0][1])[1].tobytes())


def write_one_frame(place: Place) -> None:
    place.film(place.walk.frames[:1])


def write_head_only(place: Place) -> None:
    place.clip.write_bytes(place.clip.read_bytes()[:600])


def remove(place: Place) -> None:
    place.clip.unlink()


def make_folder(place: Place) -> None:
    place.clip.unlink()
    place.clip.mkdir()


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (remove, "no file"),
        (make_folder, "folder"),
        (write_nothing, "is empty"),
        (write_text, "not a video"),
        (write_still, "still picture"),
        (write_one_frame, "Only one picture"),
        (write_head_only, "aisle.mp4"),
    ],
)
def test_what_is_no_clip_ends_with_3(place, spoil, says):
    spoil(place)
    told = place.refused()
    assert told.code == 3
    assert says in told.err


def test_a_clip_cut_short_says_how_far_it_can_be_read(place):
    data = place.clip.read_bytes()
    place.clip.write_bytes(data[: len(data) // 2])
    told = place.refused()
    assert told.code == 4
    assert "can be read up to frame" in told.err
    assert "copied whole" in told.err


# The marks


def of_another_content(marks: Document) -> None:
    marks["clip"] = {"name": "aisle.mp4", "sha256": "0" * 64}


def of_another_name(marks: Document) -> None:
    marks["clip"] = {"name": "yard.mp4"}


def hoof_off_the_picture(marks: Document) -> None:
    marks["hooves"][2]["xy_px"] = [900.0, 200.0]


def floor_off_the_picture(marks: Document) -> None:
    marks["ground"][2]["xy_px"] = [100.0, -40.0]


def hoof_after_the_end(marks: Document) -> None:
    marks["hooves"][-1]["frame"] = 500


def floor_after_the_end(marks: Document) -> None:
    marks["ground"][0]["frame"] = 500


def length_after_the_end(marks: Document) -> None:
    del marks["ground"]
    marks["lengths"] = [{"frame": 500, "from_px": [100, 300], "to_px": [300, 300], "length_m": 2.0}]


def three_floor_points(marks: Document) -> None:
    marks["ground"] = marks["ground"][:3]


def collinear_floor_points(marks: Document) -> None:
    marks["ground"] = [{"frame": 0, "xy_px": [100 + 80 * i, 310], "xy_m": [i - 2, 0]} for i in range(5)]


def contradicting_floor_points(marks: Document) -> None:
    marks["ground"][1]["xy_m"][0] += 1.0


def short_length(marks: Document) -> None:
    del marks["ground"]
    marks["lengths"] = [{"frame": 0, "from_px": [100, 300], "to_px": [104, 300], "length_m": 2.0}]


def the_wrong_way(marks: Document) -> None:
    marks["direction"] = "right_to_left"


def fore_named_hind(marks: Document) -> None:
    other = {"fore": "hind", "hind": "fore"}
    for mark in marks["hooves"]:
        side, pair = mark["limb"].split("_")
        mark["limb"] = f"{side}_{other[pair]}"


def misspelt_key(marks: Document) -> None:
    marks["hoofs"] = marks.pop("hooves")


def newer_version(marks: Document) -> None:
    marks["version"] = 2


def another_format(marks: Document) -> None:
    marks["format"] = "stride-analysis"


def limb_that_is_none(marks: Document) -> None:
    marks["hooves"][0]["limb"] = "front_left"


def frame_before_the_first(marks: Document) -> None:
    marks["hooves"][0]["frame"] = -1


def point_of_three(marks: Document) -> None:
    marks["hooves"][0]["xy_px"] = [1.0, 2.0, 3.0]


def same_hoof_twice(marks: Document) -> None:
    marks["hooves"].append(dict(marks["hooves"][0]))


def tall_hip(marks: Document) -> None:
    marks["animal"] = {"hip_height_m": 132}


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (of_another_content, "another clip"),
        (of_another_name, "yard.mp4"),
        (hoof_off_the_picture, "off the picture of 640 × 360 px"),
        (floor_off_the_picture, "Floor point 3 in frame"),
        (hoof_after_the_end, "frame 500"),
        (floor_after_the_end, "frame 500"),
        (length_after_the_end, "frame 500"),
        (three_floor_points, "needs at least 4"),
        (collinear_floor_points, "on one line"),
        (contradicting_floor_points, "contradict one another"),
        (short_length, "only 4 px long"),
        (the_wrong_way, "its hooves go the other way"),
        (fore_named_hind, "its hooves go the other way"),
        (misspelt_key, "“hoofs” is not known here"),
        (newer_version, "version 2"),
        (another_format, '"stride-marks"'),
        (limb_that_is_none, "hooves[0].limb"),
        (frame_before_the_first, "hooves[0].frame"),
        (point_of_three, "two numbers"),
        (same_hoof_twice, "one mark for each hoof and frame"),
        (tall_hip, "hip_height_m"),
    ],
)
def test_marks_that_cannot_be_used_end_with_4(place, spoil, says):
    spoil(place.marks)
    told = place.refused("--no-overlay")
    assert told.code == 4
    assert says in told.err


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe\x00abc", "not JSON"),
        (b'{"format": "stride-marks", "version": 1, "hooves": [', "not JSON"),
        (b'{"format": "stride-marks", "version": 1, "lengths": [{"length_m": NaN}]}', "NaN"),
        (b'{"format": "stride-marks", "version": 1, "lengths": [{"length_m": 1e999}]}', "length"),
        (b'{"format": "stride-marks", "version": ' + b"1" * 5000 + b"}", "aisle.marks.json"),
        (
            b'{"format": "stride-marks", "version": 1, "hooves": ' + b"[" * 10**5 + b"]" * 10**5 + b"}",
            "too deeply",
        ),
        (b"[" * 10**5 + b"]" * 10**5, "too deeply"),
    ],
    ids=["empty", "no text", "cut off", "NaN", "infinite", "5000 digits", "deep inside", "deep"],
)
def test_marks_files_that_are_no_document_end_with_4(place, text, says):
    (place.folder / "aisle.marks.json").write_bytes(text)
    told = place.refused()
    assert told.code == 4
    assert says in told.err


def test_a_marks_file_that_is_not_there_ends_with_4(place):
    told = place.refused("--marks", place.folder / "yard.marks.json")
    assert told.code == 4
    assert "yard.marks.json cannot be read" in told.err


# The walk


def keep_only(*limbs: str) -> Callable[[Place], None]:
    def spoil(place: Place) -> None:
        place.marks["hooves"] = [mark for mark in place.marks["hooves"] if mark["limb"] in limbs]

    return spoil


def freeze(place: Place) -> None:
    still = place.walk.frames[20][1]
    place.film([(t, still) for t, _ in place.walk.frames])


def freeze_unmarked(place: Place) -> None:
    freeze(place)
    del place.marks["hooves"]


def keep_the_first_stances(place: Place) -> None:
    place.film(place.walk.frames[:25])
    place.marks["hooves"] = [mark for mark in place.marks["hooves"] if mark["frame"] < 25]


def mark_swings_only(place: Place) -> None:
    """One mark in the air for each limb, and nothing to stand on."""
    truth = place.walk.truth
    place.marks["hooves"] = []
    for k, limb in enumerate(("left_fore", "right_fore", "left_hind", "right_hind")):
        down = np.zeros(len(truth.times), dtype=bool)
        for one in truth.prints:
            if one.limb == limb:
                down |= (truth.times >= one.touch_down - 0.05) & (truth.times <= one.lift_off + 0.05)
        frames = np.flatnonzero(~down & truth.visible[:, k])
        frame = int(frames[len(frames) // 2])
        place.marks["hooves"].append(
            {"limb": limb, "frame": frame, "xy_px": truth.toes_px[frame, k].tolist()}
        )


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (freeze_unmarked, "Nothing moves in this clip"),
        (keep_only("left_hind"), "Only left hind is marked"),
        (keep_only("left_hind", "right_fore"), "Only left hind, right fore"),
        (freeze, "No stride was seen"),
        (keep_the_first_stances, "No stride was seen"),
        (mark_swings_only, "two stances of the same foot"),
    ],
    ids=[
        "frozen, no hoof marked",
        "one limb",
        "no pair of a side",
        "frozen picture",
        "too short",
        "no stance marked",
    ],
)
def test_clips_without_a_walk_end_with_5(place, spoil, says):
    spoil(place)
    told = place.refused("--no-overlay")
    assert told.code == 5
    assert says in told.err


def test_an_animal_that_leaves_the_picture_is_measured_as_far_as_it_was_seen(place):
    edge = 400
    place.film([(t, np.ascontiguousarray(image[:, :edge])) for t, image in place.walk.frames])
    del place.marks["ground"]
    place.marks["hooves"] = [mark for mark in place.marks["hooves"] if mark["xy_px"][0] < edge - 4]
    told = place.measure("--no-overlay", "--json")
    assert told.code == 0, told.err
    document = json.loads(told.out)
    assert document["ground"]["kind"] == "none"
    assert all(one["xy_px"][0] < edge for one in document["prints"])
    assert any("Few strides" in caution for caution in document["verdict"]["cautions"])


# The results


def test_a_folder_that_holds_other_things_is_not_replaced(place):
    diary = place.folder / "aisle.mp4.stride" / "diary.txt"
    diary.parent.mkdir()
    diary.write_text("ours", encoding="utf-8")
    told = place.refused()
    assert told.code == 6
    assert "other things" in told.err
    assert diary.read_text(encoding="utf-8") == "ours"


def test_the_folder_of_the_clip_itself_is_not_replaced(place, monkeypatch):
    monkeypatch.chdir(place.folder)
    told = place.refused("--out", ".")
    assert told.code == 6
    assert "The folder . holds other things" in told.err


def test_a_file_in_the_way_is_not_replaced(place):
    told = place.refused("--out", place.clip)
    assert told.code == 6
    assert place.clip.read_bytes() == place.walk.clip.read_bytes()


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0,
    reason="root may write anywhere; run as another user to check",
)
def test_a_folder_that_may_not_be_written_is_named(place):
    locked = place.folder / "locked"
    locked.mkdir(mode=0o500)
    told = place.refused("--out", locked / "result")
    assert told.code == 6
    assert "locked" in told.err


def test_a_place_that_may_not_be_written_is_refused_before_any_work(place, monkeypatch):
    monkeypatch.setattr("os.access", lambda _path, mode: mode != os.W_OK)
    monkeypatch.setattr("stride.media.reader.open_clip", None)
    told = place.refused()
    assert told.code == 6
    assert "Nothing may be written in" in told.err


def test_a_place_inside_a_file_is_refused_before_any_work(place, monkeypatch):
    monkeypatch.setattr("stride.media.reader.open_clip", None)
    told = place.refused("--out", place.clip / "result")
    assert told.code == 6
    assert "aisle.mp4 is a file" in told.err


def test_a_place_that_turns_out_to_be_read_only_is_named(place, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr("tempfile.mkdtemp", refuse)
    told = place.refused("--no-overlay")
    assert told.code == 6
    assert "Read-only file system" in told.err
