from __future__ import annotations

import json
import os
import signal
import subprocess
import sys

import pytest

from stride.records.archive import read_analysis, write_analysis
from stride.walk.wording import name_of, say
from tests.same import find_difference


@pytest.fixture
def copied(tmp_path, filmed_walk):
    clip = tmp_path / "aisle.mp4"
    clip.write_bytes(filmed_walk.clip.read_bytes())
    (tmp_path / "aisle.marks.json").write_text(json.dumps(filmed_walk.marks), encoding="utf-8")
    return clip


@pytest.fixture
def quick_writing(monkeypatch):
    monkeypatch.setattr("stride.session._write_results", lambda *_args: None)


def test_json_prints_the_document_and_nothing_else(run, copied, measured_walk):
    told = run("measure", copied, "--json", "--no-overlay")
    assert (told.code, told.err) == (0, "")
    analysis = read_analysis(told.out)
    assert write_analysis(analysis) == json.loads(told.out)
    saved = (copied.with_name("aisle.mp4.stride") / "analysis.json").read_text(encoding="utf-8")
    assert saved == told.out.rstrip("\n")
    assert find_difference(analysis, measured_walk.analysis) is None


@pytest.mark.usefixtures("quick_writing")
def test_a_person_reads_verdict_numbers_and_where_the_page_is(run, copied, measured_walk):
    told = run("measure", copied, "--animal", "307")
    assert (told.code, told.err) == (0, "")
    lines = told.out.splitlines()
    assert lines[0] == "aisle.mp4, animal 307"
    assert lines[1] == "Times are those stored in the file, usually 30 frames a second."
    assert lines[-1] == f"Page: {copied.with_name('aisle.mp4.stride') / 'report.html'}"
    for name in ("overreach_left", "overreach_right", "stride_length", "cadence"):
        quantity = measured_walk.analysis.measures[name]
        assert any(name_of(name) in line and say(quantity, name) in line for line in lines), name


@pytest.mark.skipif(
    sys.platform == "win32", reason="there are no such signals on Windows; run on another system"
)
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_run_that_is_stopped_leaves_nothing(copied, number):
    script = (
        "import signal, sys, stride.session as session\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may start us deaf to it\n"
        "from stride.cli import main\n"
        "def wait(*_args, **_kwargs):\n"
        "    print('writing', flush=True)\n"
        "    sys.stdin.read()\n"
        "session._write_results = wait\n"
        f"sys.argv = ['stride', 'measure', {os.fspath(copied)!r}, '--no-overlay']\n"
        "main()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "writing\n"
        assert [path for path in copied.parent.iterdir() if path.name.startswith(".stride-")]
        process.send_signal(number)
        assert process.wait(timeout=30) == 128 + number
    assert {path.name for path in copied.parent.iterdir()} == {"aisle.mp4", "aisle.marks.json"}
