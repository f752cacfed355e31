"""The camera held by key pictures beside a plain chain of frame-to-frame homographies; run by hand.

    python -m tests.bench.bench_camera FOLDER [CLIPS]

FOLDER holds the clips of ``tests.truth.camera_table``, which are rendered where they are missing. Every figure is an
error at the places where hooves stood against the clip's truth, or a ratio within one run.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from stride.media.reader import open_clip
from tests.truth.camera_table import CLIPS, CameraErrors, follow_camera, measure_errors
from tests.truth.rendered import read_truth, render_clip

Array = NDArray[np.float64]

#: Quality of the corners that are chained, as OpenCV counts it: all there are, or the strongest alone.
CHAINS = {"all features": 0.01, "strong features": 0.15}


def chain_homographies(path: Path, quality: float) -> Array:
    """Maps (N, 3, 3) of each frame into the first: corners, pyramidal flow and RANSAC from frame to frame."""
    to_first, before = [np.eye(3)], None
    for frame in open_clip(path):
        if before is not None:
            spots = cv2.goodFeaturesToTrack(before, 400, quality, 8)
            after, seen, _ = cv2.calcOpticalFlowPyrLK(
                before, frame.luma, spots, None, winSize=(21, 21), maxLevel=3
            )
            good = seen[:, 0] > 0
            step, _ = cv2.findHomography(after[good], spots[good], cv2.RANSAC, 2.0)
            to_first.append(to_first[-1] @ step if step is not None else to_first[-1])
        before = frame.luma
    return np.array(to_first)


def main(folder: Path, clips: int | None = None) -> None:
    """Follow, chain, print."""
    print("error of a print's place on the floor, mean over its stance: median and 95 % over the prints, cm")
    folder.mkdir(parents=True, exist_ok=True)
    gathered: dict[str, list[float]] = {}
    for seed, how in CLIPS[:clips]:
        path = render_clip(folder, seed, longest=4.0, **how)
        truth = read_truth(path)
        everywhere = np.ones(len(truth.times), dtype=bool)
        start = time.process_time()
        motion = follow_camera(path, truth)
        spent = time.process_time() - start
        own = measure_errors(motion.to_first, motion.held, motion.residual_px, motion.held_frame, truth)
        line = f"{path.stem:<15} key pictures {_spell(own)}"
        gathered.setdefault("key pictures", []).extend(_sizes(own))
        for name, quality in CHAINS.items():
            start = time.process_time()
            maps = chain_homographies(path, quality)
            ratio = (time.process_time() - start) / spent
            # In the same picture as ours, so that the same pixels mean the same floor.
            maps = np.linalg.inv(maps[motion.held_frame]) @ maps
            other = measure_errors(maps, everywhere, np.ones(len(maps)), motion.held_frame, truth)
            worse = np.median(_sizes(other)) / np.median(_sizes(own))
            line += f" | {name} {_spell(other)}, {worse:.0f} times ours, in {ratio:.1f} of our time"
            gathered.setdefault(name, []).extend(_sizes(other))
        print(line, flush=True)
    for name, sizes in gathered.items():
        ratio = np.median(sizes) / np.median(gathered["key pictures"])
        print(
            f"{name:<16} median {np.median(sizes):.2f} cm, 95 % {np.quantile(sizes, 0.95):.2f} cm, "
            f"{ratio:.0f} times ours (n = {len(sizes)})"
        )


def _sizes(errors: CameraErrors) -> Array:
    return 100 * np.linalg.norm(errors.print_m, axis=1)


def _spell(errors: CameraErrors) -> str:
    sizes = _sizes(errors)
    return f"{np.median(sizes):.2f} {np.quantile(sizes, 0.95):.2f}"


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else None)
