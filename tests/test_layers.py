"""Holds the layers: who may import whom, which library lives where, and that every file has a place.

A new module is a decision: put it into its package's row below, after everything it imports.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "stride"

#: From the inside out. What shares a row never imports one another.
LAYERS = (
    ("errors",),
    ("quantity",),
    ("progress",),
    ("numeric",),
    ("imaging",),
    ("walk",),
    ("detect", "media", "records", "charts", "simulate"),
    ("report",),
    ("session",),
    ("web",),
    ("cli",),
    ("__init__", "__main__"),
)

#: The modules of each package in order; each imports only those before it.
_ORDER = {
    "numeric": """
        agreement homography turns views poses groups bundle resection propagation corners robust runs smoothing
    """,
    "imaging": "locate flow overlap strip standing",
    "walk": """
        limbs settings clip camera keys followed losses settling tracing holding marks ground
        following anchors direction tracks prints levelling lifts
        trackway strides positions timing steps support measures
        verdict terms wording odds cautions judgement
        analysis
    """,
    "detect": "gait finder bars occupancy search refine toes landings refusals belief strip_finder",
    "media": "pictures streams pace repeats reader encoder lettering overlay codecs",
    "records": "document marks_document archive tables",
    "charts": "style stretches footfalls lifts overreaches positions strip walkway gallery",
    "simulate": """
        plan gait camera light canvas coat skeleton shapes barn hoof bystanders shadow animal
        scene truth marks
    """,
    "report": "tables page",
    "web": "",
    "cli": "progress_bar summary measure selfcheck",
}
MODULES = {package: modules.split() for package, modules in _ORDER.items()}

#: Libraries from outside, by the package (or module at the top) that may import them.
LIBRARIES = {
    "numeric": {"numpy", "scipy"},
    "imaging": {"numpy", "cv2"},
    "walk": {"numpy", "scipy"},
    "detect": {"numpy", "cv2", "mediapipe"},
    "media": {"numpy", "cv2", "av"},
    "records": {"numpy"},
    "charts": {"numpy", "matplotlib"},
    "simulate": {"numpy", "scipy", "cv2"},
    "report": {"numpy", "matplotlib", "jinja2"},
    "cli": {"numpy", "click"},
}

#: The middle reads no clock, opens no file and holds no state, so it has no use for these.
OUTSIDE_WORLD = {
    "asyncio", "datetime", "glob", "io", "logging", "multiprocessing", "os", "pathlib", "pickle", "random",
    "shutil", "socket", "sqlite3", "subprocess", "sys", "tempfile", "threading", "time", "urllib", "warnings",
}  # fmt: skip
MIDDLE = ("errors", "quantity", "progress", "numeric", "imaging", "walk")

#: Modules that load others by name; nobody else may, since it would hide an import from this test.
LOADERS = {"stride/__init__.py", "stride/cli/__init__.py", "stride/cli/selfcheck.py"}

DISTRIBUTIONS = {"cv2": "opencv-python"}
BAD_NAMES = {"utils", "util", "helpers", "core", "common", "misc", "base", "manager"}

FILES = sorted(PACKAGE.rglob("*.py"))


def name_of(file: Path) -> str:
    return file.relative_to(ROOT).as_posix()


def parts_of(file: Path) -> tuple[str, ...]:
    """Place inside the package: ``("walk", "prints")``, ``("walk", "__init__")`` or ``("errors",)``."""
    return file.relative_to(PACKAGE).with_suffix("").parts


@cache
def nodes_of(file: Path) -> list[ast.AST]:
    return list(ast.walk(ast.parse(file.read_text(encoding="utf-8"))))


def find_imports(file: Path) -> Iterator[tuple[str, ...]]:
    """What a file imports anywhere: parts below ``stride``, or ``("", library, …)`` for anything else."""
    here = file.relative_to(PACKAGE).parts[:-1]
    for node in nodes_of(file):
        if isinstance(node, ast.Import):
            yield from (("", *alias.name.split(".")) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            yield ("", *(node.module or "").split("."))
        elif isinstance(node, ast.ImportFrom):
            base = here[: len(here) - node.level + 1]
            if node.module:
                yield (*base, *node.module.split("."))
            else:
                yield from ((*base, alias.name) for alias in node.names)


def layer_of(top: str) -> int:
    return next(number for number, row in enumerate(LAYERS) if top in row)


def libraries_of(file: Path) -> set[str]:
    found = {parts[1] for parts in find_imports(file) if parts[0] == ""}
    return found - set(sys.stdlib_module_names)


def test_every_file_has_a_place():
    known = {(top,) for row in LAYERS for top in row if top not in MODULES}
    known |= {(package, module) for package, modules in MODULES.items() for module in (*modules, "__init__")}
    assert not {parts_of(file) for file in FILES} - known, "a new file needs a place in tests/test_layers.py"


def test_no_file_is_named_for_nothing():
    assert not [name_of(file) for file in FILES if file.stem in BAD_NAMES]


@pytest.mark.parametrize("file", FILES, ids=name_of)
def test_imports_only_what_stands_before_it(file):
    own = parts_of(file)
    for target in find_imports(file):
        if target[0] == "":
            assert target[1] != "stride", f"{name_of(file)}: import inside the package is relative"
            continue
        said = f"{name_of(file)} imports {'.'.join(target)}"
        if target[0] != own[0]:
            assert layer_of(target[0]) < layer_of(own[0]), said
            continue
        order = MODULES[own[0]]
        if own[1] == "__init__":
            pytest.fail(f"{said}: a package's own file stays empty")
        assert len(target) > 1 and order.index(target[1]) < order.index(own[1]), said


@pytest.mark.parametrize("file", FILES, ids=name_of)
def test_libraries_stay_in_their_packages(file):
    assert libraries_of(file) <= LIBRARIES.get(parts_of(file)[0], set())


def test_every_library_is_a_declared_dependency():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[^A-Za-z0-9_-]", one)[0].lower() for one in project["dependencies"]}
    used = {library for file in FILES for library in libraries_of(file)}
    assert {DISTRIBUTIONS.get(one, one) for one in used} <= declared


@pytest.mark.parametrize("file", [f for f in FILES if parts_of(f)[0] in MIDDLE], ids=name_of)
def test_the_middle_touches_nothing_outside(file):
    assert not {parts[1] for parts in find_imports(file) if parts[0] == ""} & OUTSIDE_WORLD
    calls = {
        node.func.id
        for node in nodes_of(file)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not calls & {"print", "open", "input", "exec", "eval"}


def test_only_the_loaders_import_by_name():
    found = {
        name_of(file) for file in FILES if any(parts[:2] == ("", "importlib") for parts in find_imports(file))
    }
    metadata_only = {"stride/session.py"}
    assert found - metadata_only <= LOADERS


class TestTheHolder:
    """The functions above see every way of writing an import."""

    def imports_of(self, tmp_path, monkeypatch, text):
        monkeypatch.setattr(sys.modules[__name__], "PACKAGE", tmp_path)
        file = tmp_path / "walk" / "prints.py"
        file.parent.mkdir(exist_ok=True)
        file.write_text(text, encoding="utf-8")
        return list(find_imports(file))

    @pytest.mark.parametrize(
        ("text", "found"),
        [
            ("import numpy as np", ("", "numpy")),
            ("from scipy.special import ndtri", ("", "scipy", "special")),
            ("from .tracks import HoofTrack", ("walk", "tracks")),
            ("from . import tracks", ("walk", "tracks")),
            ("from ..media.reader import open_clip", ("media", "reader")),
            ("from .. import media", ("media",)),
            ("def f():\n    from ..cli import main", ("cli",)),
            ("if True:\n    import cv2", ("", "cv2")),
        ],
    )
    def test_sees(self, tmp_path, monkeypatch, text, found):
        assert self.imports_of(tmp_path, monkeypatch, text) == [found]
