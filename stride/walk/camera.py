"""How the camera moved: every frame's map into the held picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraMotion:
    """The motion of the camera against the floor.

    The *held picture* is the pixel frame of one frame, the first unless the camera turned far or the first could not
    be held; a point of the floor keeps its place there.

    Parameters
    ----------
    to_first : (N, 3, 3) float array
        For each frame, the homography from its pixels to the held picture.
    residual_px : (N,) float array
        Standard error of that map for a floor point in the band of the feet, per axis (px of the held picture).
    held : (N,) bool array
        False where the motion could not be followed; nothing may be measured from those frames.
    moving : bool
        False for a camera that stood still throughout.
    held_frame : int
        The frame whose pixels are the held picture.
    notes : tuple of str
        Plain sentences about what could not be held and why, and about what was noticed of the camera.
    """

    to_first: Array
    residual_px: Array
    held: NDArray[np.bool_]
    moving: bool
    held_frame: int = 0
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.to_first)
        if self.to_first.shape != (n, 3, 3) or self.residual_px.shape != (n,) or self.held.shape != (n,):
            raise ValueError(
                f"camera motion needs shapes (N, 3, 3), (N,) and (N,), got {self.to_first.shape}, "
                f"{self.residual_px.shape} and {self.held.shape}; pass one entry for every frame"
            )
        for array in (self.to_first, self.residual_px, self.held):
            array.setflags(write=False)

    def hold(self, frames: NDArray[np.intp], xy_px: Array) -> Array:
        """Map points of given frames into the held picture.

        Parameters
        ----------
        frames : (K,) int array
        xy_px : (K, 2) float array
            In the pixels of those frames.

        Returns
        -------
        (K, 2) float array
            In the held picture (px).
        """
        ones = np.ones((len(xy_px), 1))
        mapped = np.einsum("kij,kj->ki", self.to_first[frames], np.hstack([xy_px, ones]))
        return mapped[:, :2] / mapped[:, 2:]


def still_camera(frames: int, residual_px: float = 0.0) -> CameraMotion:
    """The motion of a camera that stood still for ``frames`` frames."""
    return CameraMotion(
        to_first=np.tile(np.eye(3), (frames, 1, 1)),
        residual_px=np.full(frames, residual_px),
        held=np.ones(frames, dtype=bool),
        moving=False,
    )
