"""How long one measurement takes, and how exact it is beside general-purpose trackers; run by hand.

    python tests/bench/bench_measure.py [CLIP]

Every figure is a ratio within one run or an error against the truth beside the clip (``….truth.json``, as
``sample_clips/make.py`` writes it).
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from stride.media.reader import open_clip
from stride.session import load_marks, measure_clip
from stride.simulate.truth import Truth, load_truth
from stride.walk.analysis import Analysis
from stride.walk.limbs import LIMBS, Limb
from stride.walk.marks import HoofMark

Place = tuple[float, float]
Step = Callable[[np.ndarray], Place | None]
Maker = Callable[[np.ndarray, Place], Step]

DEFAULT = Path(__file__).parents[2] / "sample_clips" / "alder-brook-214.mp4"
#: Half a side of the box that a box tracker is given about a mark: a hoof in a clip of 1280 × 720 px.
BOX_HALF_PX = 16


def time_decoding(clip: Path, repeats: int = 2) -> float:
    """Seconds to decode the clip once and do nothing with it; the best of a few."""
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        for _frame in open_clip(clip):
            pass
        best = min(best, time.perf_counter() - start)
    return float(best)


def time_stages(clip: Path) -> tuple[Analysis, dict[str, float]]:
    """Measure a clip as the command does and say where the time went.

    Stages are told apart by what the session reports; what lies before the first report is reading the marks.
    """
    watch: dict[str, float] = {}
    current, since = "start", time.perf_counter()

    def progress(stage: str, done: int, total: int | None) -> None:
        del done, total
        nonlocal current, since
        now = time.perf_counter()
        watch[current] = watch.get(current, 0.0) + now - since
        current, since = stage, now

    with tempfile.TemporaryDirectory() as folder:
        result = measure_clip(clip, out=Path(folder) / "result", progress=progress)
        progress("end", 0, None)
    return result.analysis, watch


def time_help() -> float:
    """Seconds from calling ``stride --help`` to its end; the best of five."""
    best = np.inf
    for _ in range(5):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "stride", "--help"], check=True, stdout=subprocess.DEVNULL)
        best = min(best, time.perf_counter() - start)
    return float(best)


# The same four hooves followed by what OpenCV has for anything. Each starts at every mark of a limb and runs forward
# until the next mark of that limb, backward before the first, so that all see the same marks.


def follow_by(
    make: Maker,
    pictures: list[np.ndarray],
    marks: list[HoofMark],
) -> dict[int, Place]:
    """Place of one hoof in every frame its tracker gives one (px)."""
    found: dict[int, Place] = {}
    marks = sorted(marks, key=lambda mark: mark.frame)
    for number, mark in enumerate(marks):
        end = marks[number + 1].frame if number + 1 < len(marks) else len(pictures)
        runs = [range(mark.frame + 1, end)]
        if number == 0:
            runs.append(range(mark.frame - 1, -1, -1))
        found[mark.frame] = mark.xy_px
        for run in runs:
            step = make(pictures[mark.frame], mark.xy_px)
            for frame in run:
                place = step(pictures[frame])
                if place is None:
                    break
                found[frame] = place
    return found


def make_flow(first: np.ndarray, start: Place) -> Step:
    """Pyramidal Lucas–Kanade flow of one point."""
    last, point = cv2.cvtColor(first, cv2.COLOR_BGR2GRAY), np.array([[start]], np.float32)

    def step(picture: np.ndarray) -> Place | None:
        nonlocal last, point
        grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
        point, good, _ = cv2.calcOpticalFlowPyrLK(last, grey, point, None, winSize=(31, 31), maxLevel=4)
        last = grey
        return (float(point[0, 0, 0]), float(point[0, 0, 1])) if good[0, 0] else None

    return step


def make_box_tracker(create: Callable[[], cv2.Tracker]) -> Maker:
    """A tracker of boxes, given a box about the mark; the mark's place in the box is kept."""

    def make(first: np.ndarray, start: Place) -> Step:
        x, y = round(start[0]) - BOX_HALF_PX, round(start[1]) - BOX_HALF_PX
        offset = start[0] - x, start[1] - y
        tracker = create()
        tracker.init(first, (x, y, 2 * BOX_HALF_PX, 2 * BOX_HALF_PX))

        def step(picture: np.ndarray) -> Place | None:
            good, box = tracker.update(picture)
            return (box[0] + offset[0], box[1] + offset[1]) if good else None

        return step

    return make


def find_trackers() -> dict[str, Maker]:
    """The general-purpose trackers in the installed OpenCV that need no model file."""
    found: dict[str, Maker] = {"optical flow": make_flow}
    for name in ("TrackerMIL", "TrackerKCF", "TrackerCSRT"):
        kind = getattr(cv2, name, None)
        if kind is not None:
            found[name] = make_box_tracker(kind.create)
    return found


def distances(places: dict[Limb, dict[int, Place]], truth: Truth) -> np.ndarray:
    """Distance from the true toe tip in every frame that shows it (px); infinite where no place was given."""
    off = []
    for k, limb in enumerate(LIMBS):
        for frame in np.flatnonzero(truth.visible[:, k]):
            place = places.get(limb, {}).get(int(frame))
            off.append(np.inf if place is None else np.hypot(*(truth.toes_px[frame, k] - place)))
    return np.array(off)


def places_of(analysis: Analysis) -> dict[Limb, dict[int, Place]]:
    return {
        track.limb: {
            int(f): (float(x), float(y)) for f, (x, y) in zip(track.frames, track.xy_px, strict=True)
        }
        for track in analysis.tracks
    }


def show_errors(name: str, off: np.ndarray, seconds: float, decoding: float) -> None:
    median, most = (np.quantile(off, share, method="higher") for share in (0.5, 0.95))
    shown = [f"{one:7.2f} px" if np.isfinite(one) else "      lost" for one in (median, most)]
    print(
        f"  {name:<14} median {shown[0]}   95 % {shown[1]}   beyond 10 px {np.mean(off > 10):5.1%}   "
        f"{seconds / decoding:6.2f} × decoding"
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("clip", nargs="?", type=Path, default=DEFAULT)
    parser.add_argument("--no-trackers", action="store_true", help="leave the other trackers out; quicker")
    chosen = parser.parse_args()
    clip = chosen.clip

    analysis, stages = time_stages(clip)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    decoding, whole = time_decoding(clip), sum(stages.values())
    facts = analysis.clip
    print(f"{facts.name}: {facts.frames} frames of {facts.size_px[0]} × {facts.size_px[1]}")
    print(
        f"whole measurement   {whole / decoding:5.2f} × decoding alone ({whole:.1f} s over {decoding:.1f} s)"
    )
    for name, seconds in stages.items():
        print(f"  {name:<16} {seconds / whole:6.1%}   {seconds / decoding:5.2f} × decoding")
    print(f"peak memory         {peak:.0f} MiB")
    print(f"stride --help       {time_help():.2f} s")

    truth_file = clip.with_name(clip.stem + ".truth.json")
    if not truth_file.is_file():
        print(f"No truth beside {clip.name}: errors are left out.")
        return
    truth = load_truth(truth_file)
    print("toe tip against the truth, in every frame that shows it")
    show_errors("stride", distances(places_of(analysis), truth), stages.get("following", np.nan), decoding)
    if chosen.no_trackers:
        return
    hooves = load_marks(clip, None).hooves
    pictures = [frame.image for frame in open_clip(clip)]
    for name, make in find_trackers().items():
        start = time.perf_counter()
        places = {limb: follow_by(make, pictures, [m for m in hooves if m.limb == limb]) for limb in LIMBS}
        show_errors(name, distances(places, truth), time.perf_counter() - start, decoding)


if __name__ == "__main__":
    main()
