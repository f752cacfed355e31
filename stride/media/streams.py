"""The video stream of a file: found, and looked at before it is read; or the reason there is none."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import av
import numpy as np

from ..errors import ClipError
from .pictures import Layout, find_layout

REENCODE: Final = "Export it again from the phone or an editor as an MP4 file with H.264 video."
_FILM_AGAIN: Final = "Copy the file from the phone again, or film the walk again."
_GIVE_A_CLIP: Final = "Give a video file as a phone or camera writes it, such as MP4 or MOV."

#: Packets looked at, without decoding them, to learn the usual step between pictures.
_PACKETS: Final = 1000
#: Ways of reading a file that give one still picture, or text drawn as pictures.
_STILL_PICTURES: Final = ("image2", "ico", "gif")
_TEXT: Final = ("tty",)
#: What stands near the start of an MP4 or MOV file, whatever is missing behind it.
_MP4_START: Final = b"ftyp"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """What is known of a video stream before it is read through.

    Parameters
    ----------
    index : int
        Its place in the container.
    time_base : Fraction
        Seconds a tick of the stored times.
    layout : Layout
        How its pictures become upright.
    stored_rate : float
        Median frames per second by the stored times.
    pictures : int
        How many pictures the file says it holds.
    tags : dict of str to str
        Of the container and the stream.
    """

    index: int
    time_base: Fraction
    layout: Layout
    stored_rate: float
    pictures: int
    tags: dict[str, str]


def find_stream(path: Path) -> Stream:
    """Find and try the video stream of a file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Stream

    Raises
    ------
    ClipError
        If there is no such file, or it is no video of at least two pictures.
    """
    with open_container(path) as container:
        stream = _video_stream(path, container)
        pictures, steps = _look_ahead(container, stream)
        if len(pictures) < 2:
            raise _too_few(path, container, len(pictures))
        rate = 1 / float(np.median(steps)) if len(steps) else float(stream.average_rate or 0)
        if rate == 0 or all(one.pts is None for one in pictures):
            raise ClipError(
                f"{path.name} stores no presentation times; every picture needs one to be measured by.",
                REENCODE,
            )
        seconds = (container.duration or 0) / av.time_base
        aspect = stream.sample_aspect_ratio or 1
        return Stream(
            index=stream.index,
            time_base=stream.time_base,
            layout=find_layout(pictures[0], float(aspect)),
            stored_rate=rate,
            pictures=stream.frames or round(seconds * rate),
            tags=dict(container.metadata) | dict(stream.metadata),
        )


@contextmanager
def open_container(path: Path) -> Iterator[Any]:
    """Open a video file for reading; should it name an address elsewhere, that is not followed.

    Yields
    ------
    av.container.InputContainer

    Raises
    ------
    ClipError
        If the file cannot be opened as a video.
    """
    check_file(path)
    try:
        container = av.open(f"file:{path}", options={"protocol_whitelist": "file"})
    except (av.FFmpegError, OSError) as error:
        raise _unreadable(path, error) from error
    with container:
        yield container


def check_file(path: Path) -> None:
    """Refuse what is no file with something in it.

    Raises
    ------
    ClipError
        If there is no such file, it is a folder, or it is empty.
    """
    if path.is_dir():
        raise ClipError(f"{path.name} is a folder; one video file was needed.", "Name a clip inside it.")
    if not path.is_file():
        raise ClipError(
            f"There is no file {path}; a video file was needed.", "Check the name and the folder."
        )
    if path.stat().st_size == 0:
        raise ClipError(f"{path.name} is empty; a video file was needed.", _FILM_AGAIN)


def _unreadable(path: Path, error: Exception) -> ClipError:
    if isinstance(error, PermissionError):
        return ClipError(
            f"{path.name} may not be read by this user.", "Change the file's permissions, or copy it."
        )
    if _starts_as_mp4(path):
        return _cut_off(path)
    return ClipError(f"{path.name} is not a video that can be read here.", _GIVE_A_CLIP)


def _starts_as_mp4(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(12)[4:8] == _MP4_START


def _cut_off(path: Path) -> ClipError:
    return ClipError(
        f"{path.name} starts as a video, but the index of its pictures is missing: the recording or the copying "
        "was cut off.",
        _FILM_AGAIN,
    )


def _video_stream(path: Path, container: Any) -> Any:
    kind = container.format.name
    if kind in _TEXT:
        raise ClipError(f"{path.name} is text, not a video.", _GIVE_A_CLIP)
    if kind in _STILL_PICTURES[:2] or kind.endswith("_pipe"):
        raise _still_picture(path)
    if not container.streams and _starts_as_mp4(path):
        raise _cut_off(path)
    stream = container.streams.best("video")
    if stream is None or stream.disposition & av.stream.Disposition.attached_pic:
        raise ClipError(f"{path.name} holds no moving picture, only sound or other data.", _GIVE_A_CLIP)
    if stream.codec_context is None:
        raise ClipError(f"The video in {path.name} is compressed in a way that is not known here.", REENCODE)
    return stream


def _look_ahead(container: Any, stream: Any) -> tuple[list[Any], list[float]]:
    """The first two pictures, and the steps (s) between the stored times of the first many packets."""
    pictures: list[Any] = []
    pts: list[int] = []
    stream.thread_type = "NONE"
    try:
        for packet in container.demux(stream):
            if packet.pts is not None and not packet.is_discard:
                pts.append(packet.pts)
            if len(pictures) < 2:
                pictures += packet.decode()
            elif len(pts) >= _PACKETS:
                break
    except av.FFmpegError:
        # Damage is met again, and named, when the clip is read; two pictures are enough to begin.
        pass
    ticks = np.diff(np.sort(np.array(pts, dtype=np.int64)))
    return pictures, [float(step * stream.time_base) for step in ticks[ticks > 0].tolist()]


def _still_picture(path: Path) -> ClipError:
    return ClipError(f"{path.name} is a still picture; a video of a walk was needed.", _GIVE_A_CLIP)


def _too_few(path: Path, container: Any, pictures: int) -> ClipError:
    if container.format.name in _STILL_PICTURES:
        return _still_picture(path)
    if pictures == 0:
        return ClipError(
            f"No picture in {path.name} can be decoded; it is damaged or was cut off.", _FILM_AGAIN
        )
    return ClipError(
        f"Only one picture can be read in {path.name}; a video of a walk was needed.", _FILM_AGAIN
    )
