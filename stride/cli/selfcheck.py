"""``stride selfcheck``."""

from __future__ import annotations

import importlib
import json
import platform
import re
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click
import numpy as np

from ..errors import StrideError
from ..progress import Progress
from .progress_bar import shown_progress

if TYPE_CHECKING:
    from ..simulate.truth import Truth
    from ..walk.analysis import Analysis

APT_LINE: Final = "apt-get install -y libgl1 libglib2.0-0 libxcb1 libegl1 libgles2"
_MODULES: Final = {"opencv-python": "cv2", "opencv-contrib-python": "cv2"}
_OPENCV: Final = ("opencv-python", "opencv-contrib-python")

# The walk: a clip small enough to draw in seconds, with two answered prints on each side.
_SEED: Final = 24
_SIZE_PX: Final = (640, 360)
_FRAME_RATE: Final = 30.0
_DURATION: Final = 2.2
#: A found print farther than this from every print of its limb was invented (px).
_SAME_PRINT_PX: Final = 12.0
#: A print is expected where its hoof was seen standing for this share of the walk's usual stance.
_LONG_ENOUGH: Final = 0.5
PRINT_LIMIT_PX: Final = 1.5
OVERREACH_LIMIT: Final = 0.02
_FILES: Final = (
    "analysis.json",
    "prints.csv",
    "strides.csv",
    "overlay.mp4",
    "report.html",
    "charts/walkway.png",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing that was tried, whether it works, and what was seen or is to be done."""

    what: str
    works: bool
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """How far a measured walk lies from its truth.

    Parameters
    ----------
    expected, found, invented : int
        Prints that stood long enough in view; those of them that were found; found ones that are none.
    print_px : float
        Median distance of the found prints (px).
    overreach : float or None
        Largest error of one overreach (m); None where none was measured.
    overreaches : int
        How many were measured.
    """

    expected: int
    found: int
    invented: int
    print_px: float
    overreach: float | None
    overreaches: int


@click.command("selfcheck", short_help="Check this installation.")
@click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON document, and nothing else, on standard output."
)
def command(as_json: bool) -> None:
    """Check the packages and codecs, and measure a drawn walk of two seconds against its truth.

    Exit code 0 when everything works, 1 when something does not.
    """
    start = time.monotonic()
    with shown_progress() as progress:
        groups = dict(_run_checks(progress))
    checks = [check for group in groups.values() for check in group]
    works = all(check.works for check in checks)
    if as_json:
        document = {
            "format": "stride-selfcheck",
            "version": 1,
            "made_by": f"stride {version('stride')}",
            "works": works,
            "checks": [{"group": name, **asdict(check)} for name, group in groups.items() for check in group],
        }
        click.echo(json.dumps(document, ensure_ascii=False))
    else:
        for line in _describe(groups, works, time.monotonic() - start):
            click.echo(line)
    if not works:
        sys.exit(1)


def _run_checks(progress: Progress) -> Iterator[tuple[str, list[Check]]]:
    packages = list(check_packages())
    yield "Packages", packages
    if not all(check.works for check in packages):
        yield "Video and walk", [Check(what="not tried", works=False, note="the packages come first")]
        return
    from ..media.codecs import check_codecs

    yield "Video", [Check(what=one.what, works=one.works, note=one.note) for one in check_codecs()]
    with tempfile.TemporaryDirectory(prefix="stride-") as folder:
        try:
            walk = list(check_walk(Path(folder), progress))
        except StrideError as error:
            walk = [Check(what="the walk is measured", works=False, note=str(error))]
    yield "A walk of two seconds, drawn, filmed and measured", walk


def check_packages() -> Iterator[Check]:
    """Python, and every package the installation asks for: whether it is there and loads."""
    yield Check(what=f"Python {platform.python_version()}", works=sys.version_info >= (3, 11))
    for requirement in requires("stride") or []:
        if "extra ==" in requirement:
            continue
        name = re.split(r"[^A-Za-z0-9_.-]", requirement)[0]
        yield _check_package(name)
    yield from _check_opencv()


def _check_package(name: str) -> Check:
    try:
        what = f"{name} {version(name)}"
    except PackageNotFoundError:
        return Check(what=name, works=False, note=f"not installed: pip install {name}")
    try:
        importlib.import_module(_MODULES.get(name, name))
    except (ImportError, OSError) as error:
        return Check(what=what, works=False, note=explain_load_error(name, str(error)))
    return Check(what=what, works=True)


def explain_load_error(name: str, text: str) -> str:
    """What to do where a package is installed and does not load."""
    library = re.search(r"lib[\w.+-]+\.so[\w.]*", text)
    if library and "cannot open shared object" in text:
        return f"the system library {library[0]} is missing. On Debian or Ubuntu: {APT_LINE}"
    return f"does not load ({text}). Install it again: pip install --force-reinstall {name}"


def _check_opencv() -> Iterator[Check]:
    """Both wheels write the same folder, so they must hold the same release."""
    try:
        releases = [version(name) for name in _OPENCV]
    except PackageNotFoundError:
        return
    if len(set(releases)) > 1:
        wanted = " ".join(f"{name}=={min(releases)}" for name in _OPENCV)
        yield Check(
            what="both OpenCV wheels of one release",
            works=False,
            note=f"they are {' and '.join(releases)}: pip install --force-reinstall {wanted}",
        )


def check_walk(folder: Path, progress: Progress) -> Iterator[Check]:
    """Draw a walk, write it as a video file, measure that as a user would, and compare with the truth."""
    from ..session import measure_clip

    clip, truth = film_walk(folder, progress)
    result = measure_clip(clip, progress=progress)
    errors = compare_walk(result.analysis, truth)
    yield Check(
        what=f"{errors.found} of {errors.expected} prints found, {errors.invented} invented",
        works=errors.found == errors.expected and not errors.invented,
    )
    yield Check(
        what=f"prints {errors.print_px:.1f} px from the truth (median; limit {PRINT_LIMIT_PX:.1f} px)",
        works=errors.print_px <= PRINT_LIMIT_PX,
    )
    if errors.overreach is None:
        yield Check(what="no overreach was measured", works=False)
    else:
        yield Check(
            what=f"overreach {errors.overreach * 100:.1f} cm from the truth (worst of {errors.overreaches}; "
            f"limit {OVERREACH_LIMIT * 100:.1f} cm)",
            works=errors.overreach <= OVERREACH_LIMIT,
        )
    missing = [name for name in _FILES if not (result.folder / name).is_file()]
    yield Check(what="page, charts, tables and film written", works=not missing, note=", ".join(missing))


def film_walk(folder: Path, progress: Progress) -> tuple[Path, Truth]:
    """Write the drawn clip and its marks into a folder.

    Returns
    -------
    clip : Path
    truth : Truth
    """
    from ..media.encoder import encode_clip
    from ..simulate.marks import marks_from_truth
    from ..simulate.scene import draw_scene, render
    from ..simulate.truth import truth_of

    scene = draw_scene(
        np.random.default_rng(_SEED),
        handler="none",
        post="none",
        size_px=_SIZE_PX,
        frame_rate=_FRAME_RATE,
        longest=_DURATION,
    )
    truth = truth_of(scene)
    clip = folder / "selfcheck.mp4"

    def pictures() -> Iterator[tuple[float, np.ndarray]]:
        for frame in render(scene):
            progress("drawing a walk", frame.index + 1, len(truth.times))
            yield frame.t, frame.image

    encode_clip(clip, pictures(), frame_rate=_FRAME_RATE)
    marks = marks_from_truth(truth, np.random.default_rng(_SEED), clip_name=clip.name)
    (folder / "selfcheck.marks.json").write_text(json.dumps(marks), encoding="utf-8")
    return clip, truth


def compare_walk(analysis: Analysis, truth: Truth) -> Errors:
    """Hold the prints and overreaches of a measured walk against its truth."""
    stance = max(one.visible_frames for one in truth.prints)
    expected = {k for k, one in enumerate(truth.prints) if one.visible_frames >= _LONG_ENOUGH * stance}
    matched: dict[int, int] = {}
    distances = []
    for number, one in enumerate(analysis.prints):
        apart = {
            k: float(np.hypot(*np.subtract(one.xy_px, other.xy_px)))
            for k, other in enumerate(truth.prints)
            if other.limb == one.limb and k not in matched.values()
        }
        nearest = min(apart, key=lambda k: apart[k], default=None)
        if nearest is not None and apart[nearest] <= _SAME_PRINT_PX:
            matched[number] = nearest
            distances.append(apart[nearest])
    true_overreach = {(one.fore_print, one.hind_print): one.value for one in truth.overreaches}
    off = [
        abs(
            one.value.value
            - true_overreach.get((matched.get(one.fore_print, -1), matched.get(one.hind_print, -1)), np.inf)
        )
        for one in analysis.overreaches
    ]
    return Errors(
        expected=len(expected),
        found=len(expected & set(matched.values())),
        invented=len(analysis.prints) - len(matched),
        print_px=float(np.median(distances)) if distances else np.inf,
        overreach=max(off, default=None),
        overreaches=len(off),
    )


def _describe(groups: dict[str, list[Check]], works: bool, took: float) -> Iterator[str]:
    for name, checks in groups.items():
        yield name
        for check in checks:
            yield f"  {'ok  ' if check.works else 'FAIL'}  {check.what}" + (
                f": {check.note}" if check.note else ""
            )
    failed = sum(not check.works for checks in groups.values() for check in checks)
    yield f"Everything works ({took:.0f} s)." if works else f"Does not work: {failed} (marked FAIL above)."
