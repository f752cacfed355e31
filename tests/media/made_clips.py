"""Small video files whose pictures carry their own number, so that order and times can be checked."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]

SIZE_PX = (96, 64)
BITS = 8
#: The 16.16 fixed-point one and the 2.30 one of a display matrix (ISO/IEC 14496-12, 6.2.2).
ONE, ONE_W = 1 << 16, 1 << 30


def numbered_picture(number: int, size_px: tuple[int, int] = SIZE_PX) -> Image:
    """A picture with a red square in its top-left corner and its number in blocks along its middle row."""
    width, height = size_px
    image = np.full((height, width, 3), 90, np.uint8)
    image[:12, :12] = (0, 0, 255)
    top = height // 2 - 6
    for bit in range(BITS):
        image[top : top + 12, 2 + bit * 11 : 12 + bit * 11] = 230 if number >> bit & 1 else 20
    return image


def read_number(luma: Image) -> int:
    """The number a picture carries."""
    row = luma[luma.shape[0] // 2]
    return sum(1 << bit for bit in range(BITS) if row[7 + bit * 11] > 128)


def numbered_frames(times: Sequence[float]) -> list[tuple[float, Image]]:
    """Times with pictures numbered from 0."""
    return [(t, numbered_picture(number)) for number, t in enumerate(times)]


def write_planes(
    path: Path,
    planes: Sequence[NDArray[np.generic]],
    *,
    codec: str,
    pixel_format: str,
    pixel_aspect: Fraction | None = None,
) -> None:
    """Write pictures in a given pixel format 25 a second."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=25)
        first = av.VideoFrame.from_ndarray(planes[0], format=pixel_format)
        stream.width, stream.height, stream.pix_fmt = first.width, first.height, pixel_format
        if pixel_aspect is not None:
            stream.codec_context.sample_aspect_ratio = pixel_aspect
        for number, plane in enumerate(planes):
            picture = av.VideoFrame.from_ndarray(plane, format=pixel_format)
            picture.pts = number
            picture.time_base = Fraction(1, 25)
            container.mux(stream.encode(picture))
        container.mux(stream.encode(None))


def write_packets(
    path: Path, ticks: Sequence[int], *, size_px: tuple[int, int] = SIZE_PX, later_size_px=SIZE_PX
) -> None:
    """Numbered pictures at the given ticks (1/25 s), the second half in another size if wanted."""
    half = len(ticks) // 2
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height = size_px
        for part, (width, height) in ((range(half), size_px), (range(half, len(ticks)), later_size_px)):
            encoder = av.CodecContext.create("libx264", "w")
            encoder.width, encoder.height, encoder.pix_fmt = width, height, "yuv420p"
            encoder.time_base, encoder.options = Fraction(1, 25), {"tune": "zerolatency", "bf": "0"}
            for number in part:
                image = numbered_picture(number, (width, height))
                picture = av.VideoFrame.from_ndarray(image, format="bgr24").reformat(format="yuv420p")
                picture.pts, picture.time_base = number, Fraction(1, 25)
                for packet in encoder.encode(picture):
                    packet.pts = packet.dts = ticks[number]
                    packet.time_base, packet.stream = Fraction(1, 25), stream
                    container.mux(packet)


def set_display_matrix(path: Path, abcd: tuple[int, int, int, int]) -> None:
    """Write a turn or mirroring into the track header of an MP4 or MOV file, as a phone does."""
    data = bytearray(path.read_bytes())
    start = data.index(b"tkhd") + 4 + 40
    a, b, c, d = (ONE * one for one in abcd)
    data[start : start + 36] = struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, ONE_W)
    path.write_bytes(data)


def set_edit(path: Path, media_time: int) -> None:
    """Let the file's edit list start at another media time (ticks of the track)."""
    data = bytearray(path.read_bytes())
    entry = data.index(b"elst") + 4 + 8
    data[entry + 4 : entry + 8] = struct.pack(">i", media_time)
    path.write_bytes(data)


def packet_places(path: Path) -> list[tuple[int, int]]:
    """Offset and size of every stored picture in a file."""
    with av.open(str(path)) as container:
        return [(packet.pos, packet.size) for packet in container.demux(video=0) if packet.size]
