"""A video file read as a clip: upright frames in presentation order, each with its exact time."""

from __future__ import annotations

import hashlib
import math
import os
from array import array
from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Any, Final

import av
import numpy as np

from ..errors import ClipError
from ..walk.clip import Clip, Frame, Timing
from .pace import Pace, choose_pace, find_capture_rate
from .pictures import load_bgr, read_luma
from .repeats import flag_repeats
from .streams import REENCODE, Stream, check_file, find_stream, open_container

#: A clip of which a larger share of pictures has no usable time is refused.
_MAX_UNTIMED: Final = 0.1
#: A step that differs from the median by more than this share of it counts as irregular.
_IRREGULAR: Final = 0.1


@dataclass(slots=True)
class _Pass:
    """What one reading from start to end has found."""

    times: array[float] = field(default_factory=lambda: array("d"))
    repeated: int = 0
    untimed: int = 0
    damage: str | None = None


class VideoClip:
    """A video file as a source of frames; made by :func:`open_clip`.

    Each iteration decodes the file from its start and holds only the few frames in work. A file damaged in the
    middle ends there: what comes after a lost picture is built on it, so it is not shown; ``describe`` says so.
    """

    def __init__(self, path: Path, stream: Stream, pace: Pace) -> None:
        self._path = path
        self._stream = stream
        self._pace = pace
        self._sha256: str | None = None
        self._finished: _Pass | None = None

    @property
    def path(self) -> Path:
        """Where the file is."""
        return self._path

    @property
    def name(self) -> str:
        """File name without folder; what is no text in it is shown as �."""
        return os.fsencode(self._path.name).decode(errors="replace")

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height (px), upright and with square pixels."""
        return self._stream.layout.upright_px

    @property
    def pace(self) -> Pace:
        """Where the times come from and by how much they were divided; known before anything is decoded."""
        return self._pace

    @property
    def sha256(self) -> str:
        """Of the file's bytes; read once, a block at a time."""
        if self._sha256 is None:
            check_file(self._path)
            with self._path.open("rb") as file:
                self._sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        return self._sha256

    def __length_hint__(self) -> int:
        """How many frames the file says it holds; may be wrong, for progress only."""
        return self._stream.pictures

    def __iter__(self) -> Iterator[Frame]:
        """Frames in presentation order.

        Raises
        ------
        ClipError
            If too little of the file can be read, its times are unusable, or the picture changes size.
        """
        done = _Pass()
        layout = self._stream.layout
        with closing(self._timed_pictures(done)) as pictures:
            with_luma = ((one, layout.upright(read_luma(one[1]))) for one in pictures)
            for (t, picture), luma, repeated in flag_repeats(with_luma):
                luma.setflags(write=False)
                index = len(done.times)
                done.times.append(t)
                done.repeated += repeated
                yield Frame(
                    index=index,
                    t=t,
                    luma=luma,
                    load_image=partial(load_bgr, picture, layout),
                    repeated=repeated,
                )
        if len(done.times) < 2:
            reason = done.damage or "the others have no time of their own"
            raise ClipError(
                f"Only {len(done.times)} of the pictures of {self.name} can be used: {reason}.", REENCODE
            )
        self._finished = done

    def describe(self) -> Clip:
        """Facts about the clip; reads it through first where that has not been done.

        Returns
        -------
        Clip

        Raises
        ------
        ClipError
            As for reading the frames.
        """
        if self._finished is None:
            for _ in self:
                pass
        assert self._finished is not None
        times = np.frombuffer(self._finished.times)
        return Clip(
            name=self.name,
            sha256=self.sha256,
            frames=len(times),
            duration=float(times[-1]),
            size_px=self.size_px,
            timing=_describe_timing(self._pace, self._finished),
        )

    def _timed_pictures(self, done: _Pass) -> Generator[tuple[float, Any], None, None]:
        """Decoded pictures with their time from the first (s); those without a time of their own are left out."""
        first = last = None
        stored_px = self._stream.layout.stored_px
        with closing(self._decoded(done)) as pictures:
            for kept, picture in enumerate(pictures):
                if (picture.width, picture.height) != stored_px:
                    raise ClipError(
                        f"The picture of {self.name} changes size in the middle, from {stored_px[0]} × "
                        f"{stored_px[1]} to {picture.width} × {picture.height} px; one size throughout is needed.",
                        "Cut out the part with the walk, or export the clip again at one size.",
                    )
                if picture.pts is None or (last is not None and picture.pts <= last):
                    done.untimed += 1
                    self._check_untimed(done.untimed, kept + 1)
                    continue
                last = picture.pts
                if first is None:
                    first = last
                yield _seconds(last - first, self._stream.time_base, self._pace.slowed), picture
        self._check_untimed(done.untimed, done.untimed + len(done.times))

    def _check_untimed(self, untimed: int, pictures: int) -> None:
        if untimed > max(3, _MAX_UNTIMED * pictures):
            raise ClipError(
                f"{untimed} of the first {pictures} pictures of {self.name} have no time of their own; every "
                "picture needs a presentation time later than the one before.",
                REENCODE,
            )

    def _decoded(self, done: _Pass) -> Generator[Any, None, None]:
        """Pictures as the decoder gives them, up to the end or the first damage."""
        with open_container(self._path) as container:
            stream = container.streams[self._stream.index]
            stream.thread_type = "AUTO"
            expected, packets = len(stream.index_entries), 0
            try:
                for packet in container.demux(stream):
                    last = packet.size == 0 or packet.is_corrupt
                    if packet.is_corrupt:
                        done.damage = "a stored picture is incomplete"
                    elif last and packets < expected:
                        done.damage = "the file ends"
                    packets += 1
                    for picture in stream.codec_context.decode(None if last else packet):
                        if picture.is_corrupt:
                            done.damage = "a picture is damaged"
                            return
                        yield picture
                    if last:
                        return
            except av.FFmpegError:
                done.damage = "a picture cannot be decoded"


def open_clip(path: str | os.PathLike[str], *, filmed_at: float | None = None) -> VideoClip:
    """Open a video file as a clip.

    Times are the presentation times stored in the file, from its first picture. Where the clip is slow motion
    they are divided by how many times slower than life it plays: by ``filmed_at`` if given, else by the
    capture-rate tag that phones write, else not at all.

    Parameters
    ----------
    path : path
        Of a file on this machine.
    filmed_at : float, optional
        Frames a second at which the camera ran, as the user knows it.

    Returns
    -------
    VideoClip

    Raises
    ------
    ClipError
        If there is no such file, or it is no video of at least two pictures.
    ValueError
        If ``filmed_at`` is not a rate.
    """
    if filmed_at is not None and not (math.isfinite(filmed_at) and filmed_at > 0):
        raise ValueError(
            f"filmed_at must be frames a second above zero, got {filmed_at}; leave it out if unknown"
        )
    file = Path(path)
    stream = find_stream(file)
    capture_rate = find_capture_rate(stream.tags)
    return VideoClip(
        file,
        stream,
        choose_pace(stored_rate=stream.stored_rate, capture_rate=capture_rate, filmed_at=filmed_at),
    )


def _seconds(ticks: int, time_base: Fraction, slowed: float) -> float:
    return ticks * time_base.numerator / (time_base.denominator * slowed)


def _describe_timing(pace: Pace, done: _Pass) -> Timing:
    times = np.frombuffer(done.times)
    steps = np.diff(times)
    usual = float(np.median(steps))
    irregular = int(np.count_nonzero(np.abs(steps - usual) > _IRREGULAR * usual))
    notes = [pace.note]
    if irregular:
        notes.append(f"Steps between pictures that differ from the usual one: {irregular} of {len(steps)}.")
    if done.repeated:
        notes.append(f"Pictures that repeat the one before: {done.repeated} of {len(times)}.")
    if done.untimed:
        notes.append(f"Pictures left out because they have no time of their own: {done.untimed}.")
    if done.damage:
        notes.append(f"The clip was read up to {times[-1]:.2f} s only: after that {done.damage}.")
    return Timing(
        source=pace.source,
        slowed=pace.slowed,
        frame_rate=1 / usual,
        irregular=irregular,
        repeated=done.repeated,
        note=" ".join(notes),
    )
