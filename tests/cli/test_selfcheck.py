from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from stride.cli import selfcheck
from stride.cli.selfcheck import APT_LINE, OVERREACH_LIMIT, Check, compare_walk, explain_load_error
from stride.errors import ClipError


def test_everything_works_here(run):
    told = run("selfcheck", "--json")
    document = json.loads(told.out)
    assert [check for check in document["checks"] if not check["works"]] == []
    assert (told.code, told.err, document["works"]) == (0, "", True)
    assert {check["group"] for check in document["checks"]} >= {"Packages", "Video"}
    assert any(check["what"].startswith("overreach ") for check in document["checks"])
    assert any(check["what"].startswith("opencv-python ") for check in document["checks"])


def test_a_person_reads_a_line_for_each_check(run, monkeypatch):
    monkeypatch.setattr(selfcheck, "check_walk", lambda *_args: [Check(what="prints 0.2 px off", works=True)])
    told = run("selfcheck")
    assert told.code == 0
    assert "  ok    prints 0.2 px off\n" in told.out
    assert "Everything works" in told.out.splitlines()[-1]


def fail_to_measure(*_args):
    raise ClipError("Found this.", "Do that.")


@pytest.mark.parametrize(
    ("stand_in", "says"),
    [
        (lambda *_args: [Check(what="prints 9.0 px off", works=False)], "FAIL  prints 9.0 px off"),
        (fail_to_measure, "FAIL  the walk is measured: Found this. Do that."),
    ],
)
def test_a_walk_that_is_measured_wrongly_ends_with_1(run, monkeypatch, stand_in, says):
    monkeypatch.setattr(selfcheck, "check_walk", stand_in)
    told = run("selfcheck")
    assert told.code == 1
    assert says in told.out
    assert told.out.splitlines()[-1].startswith("Does not work: 1")


def test_a_package_that_does_not_load_is_named_and_the_rest_not_tried(run, monkeypatch):
    load = selfcheck.importlib.import_module

    def load_all_but_opencv(name):
        if name == "cv2":
            raise ImportError("libGL.so.1: cannot open shared object file: No such file or directory")
        return load(name)

    monkeypatch.setattr(selfcheck.importlib, "import_module", load_all_but_opencv)
    packages = list(selfcheck.check_packages())
    failed = [check for check in packages if not check.works]
    assert [check.what.split()[0] for check in failed] == ["opencv-python", "opencv-contrib-python"]
    assert all("libGL.so.1" in check.note and APT_LINE in check.note for check in failed)
    monkeypatch.undo()
    monkeypatch.setattr(selfcheck, "check_packages", lambda: packages)
    told = run("selfcheck", "--json")
    assert told.code == 1
    document = json.loads(told.out)
    assert document["checks"][-1]["note"] == "the packages come first"


def test_a_broken_package_is_to_be_installed_again():
    assert explain_load_error("av", "undefined symbol: avcodec").endswith("pip install --force-reinstall av")


def test_two_releases_of_opencv_are_refused(monkeypatch):
    find = selfcheck.version
    monkeypatch.setattr(selfcheck, "version", lambda name: "5.1.0" if "contrib" in name else find(name))
    failed = [check for check in selfcheck.check_packages() if not check.works]
    assert [check.what for check in failed] == ["both OpenCV wheels of one release"]


class TestComparison:
    def test_a_measured_walk_lies_near_its_truth(self, measured_walk, filmed_walk):
        errors = compare_walk(measured_walk.analysis, filmed_walk.truth)
        assert errors.found == errors.expected >= 6
        assert errors.print_px < 2

    def test_a_moved_print_is_invented_and_its_overreach_infinitely_wrong(self, measured_walk, filmed_walk):
        analysis = measured_walk.analysis
        number = analysis.overreaches[0].hind_print
        moved = replace(analysis.prints[number], xy_px=analysis.prints[number].xy_px + np.array([40.0, 0.0]))
        prints = tuple(moved if k == number else one for k, one in enumerate(analysis.prints))
        before = compare_walk(analysis, filmed_walk.truth)
        errors = compare_walk(replace(analysis, prints=prints), filmed_walk.truth)
        assert errors.invented == before.invented + 1
        assert errors.found == before.found - 1
        assert errors.overreach == np.inf

    def test_a_wrong_overreach_is_seen(self, measured_walk, filmed_walk):
        analysis = measured_walk.analysis
        longer = tuple(
            replace(one, value=replace(one.value, value=one.value.value + 2 * OVERREACH_LIMIT))
            for one in analysis.overreaches
        )
        errors = compare_walk(replace(analysis, overreaches=longer), filmed_walk.truth)
        assert errors.overreach > OVERREACH_LIMIT
