"""Pictures written to a video file with exact presentation times."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from fractions import Fraction
from pathlib import Path
from typing import Any, Final, Literal

import av
import cv2
import numpy as np

from ..errors import OutputError
from ..walk.clip import Image

Codec = Literal["h264", "hevc", "vp9", "av1"]

#: Divides 24, 25, 30, 50, 60, 120, 240 and 30000/1001 frames a second without remainder.
TICKS_PER_SECOND: Final = 90_000

ENCODER_NAMES: Final[Mapping[Codec, str]] = {
    "h264": "libx264",
    "hevc": "libx265",
    "vp9": "libvpx-vp9",
    "av1": "libsvtav1",
}
_CONTAINERS: Final = {".mp4": "mp4", ".m4v": "mp4", ".mov": "mov", ".mkv": "matroska", ".webm": "webm"}
#: Code points of ITU-T H.273 for the colours OpenCV makes: BT.709 primaries, the BT.601 matrix, limited range.
_BT709: Final = 1
_BT601_MATRIX: Final = 6
_LIMITED_RANGE: Final = 1


class Encoder:
    """Takes pictures one at a time; made by :func:`open_encoder`."""

    def __init__(self, target: Path, container: Any, stream: Any, size_px: tuple[int, int]) -> None:
        self._target = target
        self._container = container
        self._stream = stream
        self._size_px = size_px
        self._last: int | None = None
        self.frames = 0

    def write(self, image: Image, t: float) -> None:
        """Append one picture.

        Parameters
        ----------
        image : (H, W, 3) uint8 array
            Blue-green-red, of the size the encoder was opened with.
        t : float
            Presentation time (s), from 0 on; later than the one before.

        Raises
        ------
        ValueError
            If the picture has another size or type, or its time is negative or does not follow the last one.
        OutputError
            If the file cannot be written.
        """
        width, height = self._size_px
        if image.shape != (height, width, 3) or image.dtype != np.uint8:
            raise ValueError(
                f"a picture of {width} × {height} px in uint8 blue-green-red was needed, got {image.shape} "
                f"of {image.dtype}; scale it before writing"
            )
        ticks = round(t * TICKS_PER_SECOND)
        if ticks < 0:
            raise ValueError(
                f"time {t} s lies before 0, where no player shows a picture; count from the first"
            )
        if self._last is not None and ticks <= self._last:
            raise ValueError(
                f"time {t} s does not follow {self._last / TICKS_PER_SECOND} s; write pictures in rising time"
            )
        if height % 2 or width % 2:
            image = np.pad(image, ((0, height % 2), (0, width % 2), (0, 0)), mode="edge")
        planes: Any = cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_BGR2YUV_I420)
        picture = av.VideoFrame.from_ndarray(planes, format="yuv420p").reformat(format=self._stream.pix_fmt)
        picture.pts = ticks
        picture.time_base = Fraction(1, TICKS_PER_SECOND)
        if self._last is not None:
            # Only the last picture's own duration reaches the file: it stays as long as the step before it.
            picture.duration = ticks - self._last
        self._mux(picture)
        self._last = ticks
        self.frames += 1

    def finish(self) -> None:
        """Write what the codec still holds and the end of the file."""
        self._mux(None)
        with _output_errors(self._target):
            self._container.close()

    def _mux(self, picture: av.VideoFrame | None) -> None:
        with _output_errors(self._target):
            for packet in self._stream.encode(picture):
                self._container.mux(packet)


@contextmanager
def open_encoder(
    path: str | os.PathLike[str],
    *,
    size_px: tuple[int, int],
    frame_rate: float = 30.0,
    codec: Codec = "h264",
    crf: int = 23,
    preset: str | None = None,
    b_frames: int = 0,
    pixel_format: str = "yuv420p",
    metadata: Mapping[str, str] | None = None,
) -> Iterator[Encoder]:
    """Open a video file for writing; it appears under its name only when the block ends well.

    Parameters
    ----------
    path : path
        The container follows from the ending: ``.mp4``, ``.m4v``, ``.mov``, ``.mkv`` or ``.webm``.
    size_px : (int, int)
        Width and height of the pictures. An odd one is filled up to even by repeating the last row or column.
    frame_rate : float
        Nominal frames per second: a hint for the codec's rate control. Times are those given to ``write``.
    codec : {"h264", "hevc", "vp9", "av1"}
    crf : int
        Constant quality: smaller is finer and larger.
    preset : str, optional
        Speed of the codec where it has such a setting; ``"veryfast"`` by default for H.264 and HEVC.
    b_frames : int
        Pictures in a row that may be predicted from later ones. With none, every player sees the exact length
        of a clip with irregular steps.
    pixel_format : str
        As the codec names it: ``"yuv420p"`` plays everywhere.
    metadata : mapping, optional
        Tags of the container, any key.

    Yields
    ------
    Encoder

    Raises
    ------
    OutputError
        If the file cannot be written.
    ValueError
        If the ending is unknown, or no picture was written.
    """
    target = Path(path)
    if target.suffix.lower() not in _CONTAINERS:
        raise ValueError(
            f"no video container for the ending {target.suffix!r}; use one of {', '.join(_CONTAINERS)}"
        )
    part = target.with_name(f".{target.stem}-{uuid.uuid4().hex[:8]}.part")
    container = None
    try:
        with _output_errors(target):
            container = _open_container(part, _CONTAINERS[target.suffix.lower()], metadata or {})
            stream = _add_stream(
                container,
                size_px=size_px,
                frame_rate=frame_rate,
                codec=codec,
                pixel_format=pixel_format,
                options=_codec_options(codec, crf=crf, preset=preset, b_frames=b_frames),
            )
        encoder = Encoder(target, container, stream, size_px)
        yield encoder
        if encoder.frames == 0:
            raise ValueError(f"no picture was written to {target.name}; write at least one")
        encoder.finish()
        with _output_errors(target):
            part.replace(target)
    finally:
        # A container left by an error cannot be ended properly, and need not be.
        if container is not None:
            with suppress(av.FFmpegError):
                container.close()
        with _output_errors(target):
            part.unlink(missing_ok=True)


def encode_clip(path: str | os.PathLike[str], frames: Iterable[tuple[float, Image]], **options: Any) -> int:
    """Write pictures with their times as one video file; the first picture sets the size.

    Parameters
    ----------
    path : path
    frames : iterable of (float, (H, W, 3) uint8 array)
        Presentation time (s, rising) and picture, blue-green-red.
    **options
        As for :func:`open_encoder`, without ``size_px``.

    Returns
    -------
    int
        How many pictures were written.

    Raises
    ------
    OutputError
        If the file cannot be written.
    ValueError
        If there is no picture, or they differ in size.
    """
    source = iter(frames)
    first = next(source, None)
    if first is None:
        raise ValueError("no picture was given; a video needs at least one")
    height, width = first[1].shape[:2]
    with open_encoder(path, size_px=(width, height), **options) as encoder:
        encoder.write(first[1], first[0])
        for t, image in source:
            encoder.write(image, t)
        return encoder.frames


def _open_container(part: Path, container_format: str, metadata: Mapping[str, str]) -> Any:
    options = {}
    if container_format in ("mp4", "mov"):
        options["movflags"] = "+faststart+use_metadata_tags" if metadata else "+faststart"
    container = av.open(str(part), "w", format=container_format, options=options)
    container.metadata.update(metadata)
    return container


def _codec_options(codec: Codec, *, crf: int, preset: str | None, b_frames: int) -> dict[str, str]:
    options = {"crf": str(crf)}
    match codec:
        case "h264":
            options |= {"preset": preset or "veryfast", "bf": str(b_frames)}
        case "hevc":
            # Prints a report to the terminal unless told otherwise.
            x265 = f"log-level=none:bframes={b_frames}"
            options |= {"preset": preset or "veryfast", "x265-params": x265}
        case "vp9":
            options |= {"b:v": "0", "deadline": "realtime", "cpu-used": "6"}
        case "av1":
            options |= {"preset": preset or "10"}
    return options


def _add_stream(
    container: Any,
    *,
    size_px: tuple[int, int],
    frame_rate: float,
    codec: Codec,
    pixel_format: str,
    options: dict[str, str],
) -> Any:
    rate = Fraction(frame_rate).limit_denominator(1001)
    stream = container.add_stream(ENCODER_NAMES[codec], rate=rate, options=options)
    stream.width, stream.height = (side + side % 2 for side in size_px)
    stream.pix_fmt = pixel_format
    stream.time_base = Fraction(1, TICKS_PER_SECOND)
    context = stream.codec_context
    context.time_base = Fraction(1, TICKS_PER_SECOND)
    context.color_primaries = context.color_trc = _BT709
    context.colorspace = _BT601_MATRIX
    context.color_range = _LIMITED_RANGE
    if codec == "hevc" and container.format.name in ("mp4", "mov"):
        context.codec_tag = "hvc1"
    return stream


@contextmanager
def _output_errors(target: Path) -> Iterator[None]:
    try:
        yield
    except (av.FFmpegError, OSError) as error:
        text = getattr(error, "strerror", None) or str(error)
        raise OutputError(
            f"The video {target.name} could not be written: {text[:1].lower() + text[1:].rstrip('.')}.",
            f"Check that the folder {target.parent} exists, may be written to and has room left.",
        ) from error
