from __future__ import annotations

import subprocess
import sys

import pytest

from stride.cli import EXIT_CODES
from stride.errors import StrideError

HEAVY = ("av", "cv2", "jinja2", "matplotlib", "mediapipe", "scipy")


def loaded_by(*words: str) -> set[str]:
    """Names of the libraries that a run of ``stride WORDS`` loads."""
    script = (
        "import sys\n"
        f"sys.argv = ['stride', *{list(words)!r}]\n"
        "from stride.cli import main\n"
        "try:\n    main()\n"
        "except SystemExit:\n    pass\n"
        "print('\\n'.join(sorted({name.split('.')[0] for name in sys.modules})), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(done.stderr.split())


@pytest.mark.parametrize("words", [("--help",), ("--version",), ("measure", "--help")], ids=" ".join)
def test_help_loads_nothing_heavy(words):
    loaded = loaded_by(*words)
    assert "click" in loaded
    assert not loaded & {*HEAVY, "numpy"}


def test_the_package_itself_loads_nothing_heavy():
    script = "import sys, stride; print(*{name.split('.')[0] for name in sys.modules})"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert not set(done.stdout.split()) & {*HEAVY, "numpy", "click"}


def test_it_runs_as_a_module_too():
    done = subprocess.run(
        [sys.executable, "-m", "stride", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("stride ")


def test_help_names_every_command_and_exit_code(run):
    told = run("--help")
    assert told.code == 0
    assert {"measure", "selfcheck"} <= set(told.out.split())
    for code in EXIT_CODES.values():
        assert f"{code} " in told.out


def test_every_kind_of_error_has_its_own_exit_code():
    assert set(EXIT_CODES) == set(StrideError.__subclasses__())
    assert len(set(EXIT_CODES.values())) == len(EXIT_CODES)
    assert not set(EXIT_CODES.values()) & {0, 1, 2}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("meassure", "clip.mp4"), "No such command"),
        (("measure",), "Missing argument"),
        (("measure", "clip.mp4", "--fast"), "No such option"),
        (("measure", "clip.mp4", "--filmed-at", "0"), "between 1 and 2000"),
        (("measure", "clip.mp4", "--filmed-at", "nan"), "between 1 and 2000"),
        (("measure", "clip.mp4", "--filmed-at", "many"), "not a valid float"),
    ],
)
def test_a_command_that_is_not_understood_ends_with_2(run, words, says):
    told = run(*words)
    assert told.code == 2
    assert told.out == ""
    assert says in told.err
    assert "--help" in told.err


def test_stopping_by_hand_ends_quietly(run, monkeypatch):
    def stop(*_args, **_kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr("stride.session.measure_clip", stop)
    told = run("measure", "clip.mp4")
    assert told.code == 130
    assert "Stopped" in told.err
