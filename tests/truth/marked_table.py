"""How far marked clips are from their truth: ``python -m tests.truth.marked_table FOLDER``.

Renders a dozen clips nobody looked at while the method was made (kept in FOLDER, so a second run is quick), marks
them as users do, measures them, and prints the errors and the share of 95 % intervals that hold the truth.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from stride.errors import StrideError
from stride.media.reader import open_clip
from stride.walk.analysis import analyse
from stride.walk.settings import Settings

from .rendered import Errors, mark_clip, read_truth, render_clip

# Seeds kept for the report.
_CLIPS: list[tuple[int, dict[str, Any]]] = [
    *((seed, {}) for seed in range(1001, 1006)),
    *((seed, {"size_px": (1920, 1080)}) for seed in range(1006, 1009)),
    *((seed, {"frame_rate": 30.0}) for seed in range(1009, 1011)),
    *((seed, {"light": "bright"}) for seed in range(1011, 1013)),
]
_MARKS: Mapping[str, dict[str, Any]] = {
    "floor points, clicks 1 px": {"noise_px": 1.0, "floor_noise_px": 1.0},
    "floor points, clicks 3 px": {"noise_px": 3.0, "floor_noise_px": 3.0},
    "one length, clicks 1 px": {"noise_px": 1.0, "floor_noise_px": 1.0, "ground": "length"},
    "no scale, clicks 1 px": {"noise_px": 1.0, "ground": "none"},
    "two stances in three, clicks 1 px": {"noise_px": 1.0, "floor_noise_px": 1.0, "skip": 0.33},
}


def main(folder: Path, camera: str = "tripod", clips: int | None = None) -> None:
    """Render, measure, print."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [render_clip(folder, seed, camera=camera, longest=4.0, **how) for seed, how in _CLIPS[:clips]]
    for title, options in _MARKS.items():
        errors, spent = Errors(), 0.0
        print(f"\n{title}")
        for number, path in enumerate(paths):
            truth = read_truth(path)
            marks = mark_clip(truth, 7000 + number, **options)
            before = time.process_time()
            try:
                analysis = analyse(open_clip(path), marks, Settings(), made_by="table")
            except StrideError as error:
                print(f"  {path.name}: {error}")
                continue
            spent += time.process_time() - before
            errors.take(analysis, truth)
        for name, figures in errors.table():
            print(f"  {name:<52} {figures}")
        print(f"  {'processor time for each clip (s)':<52} {spent / len(paths):.2f}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:3])
