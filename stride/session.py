"""The only place where files meet the measurement: a clip and its marks in, a result folder out."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path

from .errors import MarksError, OutputError
from .imaging.strip import GroundStrip
from .progress import Progress, silent
from .records.archive import write_analysis
from .records.marks_document import LONGEST_TAG, read_marks
from .walk.analysis import Analysis, FoundHooves, analyse
from .walk.clip import FrameSource
from .walk.holding import CameraFollower
from .walk.marks import Marks
from .walk.settings import Settings

RESULT_SUFFIX = ".stride"
MARKS_SUFFIX = ".marks.json"
# Standard error first assumed for a found toe tip, per axis (px); how the finds agree corrects it.
_FOUND_ERROR_PX = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """A measured clip and the folder its results were written to."""

    analysis: Analysis
    folder: Path


def measure_clip(
    path: Path,
    *,
    marks_path: Path | None = None,
    filmed_at: float | None = None,
    tag: str | None = None,
    out: Path | None = None,
    settings: Settings | None = None,
    overlay: bool = True,
    progress: Progress = silent,
) -> Result:
    """The whole job on one clip.

    Parameters
    ----------
    path : Path
        The video file.
    marks_path : Path or None
        Its marks; by default the file beside the clip named like it with ``.marks.json`` added or in place of its
        ending, if there is one.
    filmed_at : float or None
        Frames per second of life, for slow motion that the file does not tell.
    tag : str or None
        The animal's tag, in place of the one in the marks.
    out : Path or None
        The result folder; by default beside the clip, its name with ``.stride`` added.
    settings : Settings or None
    overlay : bool
        Whether to write the clip again with what was measured drawn on it.
    progress : Progress

    Raises
    ------
    StrideError
        Of the kind that fits; nothing is left half-written.
    """
    from .media.reader import open_clip

    if tag is not None and not 1 <= len(tag) <= LONGEST_TAG:
        raise MarksError(
            f"The animal's tag has {len(tag)} characters; from 1 to {LONGEST_TAG} can be kept.",
            "Give a shorter tag, or leave it out.",
        )
    folder = out if out is not None else path.with_name(path.name + RESULT_SUFFIX)
    check_result_folder(folder)
    clip = open_clip(path, filmed_at=filmed_at)
    marks = load_marks(path, marks_path)
    _check_marks_are_of(marks, clip.name, clip.sha256)
    if tag is not None:
        marks = replace(marks, animal=replace(marks.animal, tag=tag))
    made_by = f"stride {version('stride')}"
    chosen = settings or Settings()
    strip = None
    if marks.hooves:
        analysis = analyse(clip, marks, chosen, made_by=made_by, progress=progress)
    else:
        analysis, strip = _find_and_analyse(clip, marks, chosen, made_by=made_by, progress=progress)
    with writing_folder(folder) as fresh:
        _write_results(fresh, path, filmed_at, analysis, strip, overlay, progress)
    return Result(analysis=analysis, folder=folder)


def _find_and_analyse(
    clip: FrameSource, marks: Marks, settings: Settings, *, made_by: str, progress: Progress
) -> tuple[Analysis, GroundStrip]:
    """Measure a clip in which no hoof is marked: find the hooves first, then follow them as if marked.

    Given back with the ground strip in which they were found, to be shown.
    """
    from .detect.strip_finder import StripFinder

    finder, camera = StripFinder(clip.size_px), CameraFollower(clip.size_px)
    for frame in clip:
        camera.add(frame)
        finder.add(frame)
        progress("looking for hooves", frame.index + 1, None)
    motion = camera.finish()
    finding = finder.finish(motion, marks)
    found = FoundHooves(
        marks=tuple((stance.mark, stance.confidence) for stance in finding.stances),
        walk=finding.confidence,
        notes=finding.notes,
    )
    analysis = analyse(
        clip,
        replace(marks, hooves=finding.hooves, direction=finding.direction),
        replace(settings, mark_error_px=max(settings.mark_error_px, _FOUND_ERROR_PX)),
        made_by=made_by,
        camera=motion,
        found=found,
        progress=progress,
    )
    return analysis, finding.strip


def load_marks(clip: Path, marks_path: Path | None) -> Marks:
    """Marks from the given file, or from the one beside the clip, or none."""
    beside = (clip.with_name(clip.name + MARKS_SUFFIX), clip.with_name(clip.stem + MARKS_SUFFIX))
    chosen = marks_path or next((one for one in beside if one.is_file()), None)
    if chosen is None:
        return Marks()
    try:
        return read_marks(chosen.read_bytes())
    except OSError as error:
        raise MarksError(
            f"The marks file {chosen.name} cannot be read ({error.strerror}).",
            "Check its name and that it may be read.",
        ) from None
    except MarksError as error:
        raise MarksError(f"In {chosen.name}: {error.problem}", error.remedy) from None


def _check_marks_are_of(marks: Marks, name: str, sha256: str) -> None:
    if marks.clip_sha256 is not None:
        if marks.clip_sha256 != sha256:
            raise MarksError(
                f"The marks were made in another clip ({marks.clip_name or 'unnamed'}): its contents are not those "
                f"of {name}.",
                "Give the clip they were made in, or mark this one.",
            )
    elif marks.clip_name is not None and marks.clip_name != name:
        raise MarksError(
            f"The marks were made in {marks.clip_name}, but the clip is {name}.",
            "Give the clip they were made in; if it was only renamed, change the name in the marks file.",
        )


def check_result_folder(folder: Path) -> None:
    """Refuse, before any work, a place where results cannot go or where something else would be lost."""
    if folder.exists() and not folder.is_dir():
        raise OutputError(
            f"{folder} is a file, but a folder for the results was needed.", "Choose another --out."
        )
    if folder.is_dir() and any(folder.iterdir()) and not (folder / "analysis.json").is_file():
        raise OutputError(
            f"The folder {folder} holds other things than a stride result, and would be replaced.",
            "Choose another --out, or an empty folder.",
        )
    parent = folder.absolute().parent
    while not parent.exists():
        parent = parent.parent
    if not parent.is_dir():
        raise OutputError(
            f"{parent} is a file, but a folder for the results was needed there.",
            "Choose another --out.",
        )
    if not os.access(parent, os.W_OK):
        raise OutputError(f"Nothing may be written in {parent}.", "Choose a folder of your own with --out.")


@contextmanager
def writing_folder(folder: Path) -> Iterator[Path]:
    """A fresh folder that takes the place of ``folder`` only once it is complete."""
    try:
        folder.absolute().parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=".stride-", dir=folder.absolute().parent))
    except OSError as error:
        raise OutputError(
            f"The folder {folder} cannot be made ({error.strerror}).", "Choose another place with --out."
        ) from None
    try:
        yield fresh
        fresh.chmod(0o755)
        _replace_folder(folder, fresh)
    except OSError as error:
        raise OutputError(
            f"The results could not be written ({error.strerror}).",
            "Make room on the disk or choose another place with --out; nothing was left half-written.",
        ) from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _replace_folder(folder: Path, fresh: Path) -> None:
    """Put ``fresh`` in the place of ``folder``; where that fails, what was there stays."""
    old = fresh.with_name(fresh.name + "-old")
    if not folder.exists():
        fresh.rename(folder)
        return
    folder.rename(old)
    try:
        fresh.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _write_results(
    folder: Path,
    path: Path,
    filmed_at: float | None,
    analysis: Analysis,
    strip: GroundStrip | None,
    overlay: bool,
    progress: Progress,
) -> None:
    from .charts.gallery import save_charts
    from .media.overlay import write_overlay
    from .media.reader import open_clip
    from .records.tables import write_prints_table, write_strides_table
    from .report.page import write_report

    document = json.dumps(write_analysis(analysis), ensure_ascii=False, allow_nan=False)
    (folder / "analysis.json").write_text(document, encoding="utf-8")
    (folder / "prints.csv").write_text(write_prints_table(analysis), encoding="utf-8")
    (folder / "strides.csv").write_text(write_strides_table(analysis), encoding="utf-8")
    progress("drawing charts", 0, None)
    film = folder / "overlay.mp4" if overlay else None
    # The film is decoded, drawn and encoded outside the interpreter for the most part, so the charts can be drawn
    # meanwhile.
    with ThreadPoolExecutor(max_workers=1) as beside:
        filming = (
            beside.submit(
                write_overlay, open_clip(path, filmed_at=filmed_at), analysis, film, progress=progress
            )
            if film is not None
            else None
        )
        charts = {name: files.svg for name, files in save_charts(analysis, folder / "charts", strip).items()}
        if filming is not None:
            filming.result()
    write_report(analysis, charts, folder / "report.html", overlay=film)
