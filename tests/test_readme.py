"""What the README promises is what there is."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from stride.cli.selfcheck import APT_LINE
from stride.records.marks_document import read_marks
from stride.walk.wording import name_of

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str = "") -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, flags=re.DOTALL | re.MULTILINE)


def test_the_marks_example_can_be_read():
    (text,) = blocks("json")
    assert len(read_marks(text).hooves) == 1
    json.loads(text)


def test_the_clip_of_the_first_command_is_there_with_its_marks():
    (name,) = re.findall(r"^stride measure (\S+\.mp4)$", README, flags=re.MULTILINE)
    assert (ROOT / name).is_file()
    assert (ROOT / name).with_suffix(".marks.json").is_file()


@pytest.mark.parametrize(
    "name", ["overreach_left", "overreach_right", "overreach", "stride_length", "cadence", "speed"]
)
def test_the_shown_result_uses_the_words_of_the_command(name):
    assert f"\n  {name_of(name)}  " in README


def test_the_system_packages_are_the_same_everywhere():
    assert f"\n{APT_LINE}\n" in README
    packages = set(APT_LINE.split()) - {"apt-get", "install", "-y"}
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert packages <= set(script.split())


@pytest.mark.parametrize("name", ["DEVELOPERS.md", "LICENSE", "notebooks", ".ci/run"])
def test_what_it_points_to_is_there(name):
    assert name in README
    assert (ROOT / name).exists()
