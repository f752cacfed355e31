"""Whether this machine can read what phones write, and write what browsers play."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import av
import numpy as np

from ..errors import StrideError
from .encoder import encode_clip
from .reader import open_clip

_INSTALL_AGAIN: Final = "Install the package av again: its wheels carry every codec named here."
_READ: Final = {
    "h264": "H.264, what most phones and cameras write",
    "hevc": "HEVC, what many phones write by default",
    "vp9": "VP9, in WebM files",
    "av1": "AV1, in newer files",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CodecCheck:
    """One thing that was tried: ``what`` in plain words, whether it works, and what to do where it does not."""

    what: str
    works: bool
    note: str


def check_codecs() -> list[CodecCheck]:
    """Look for the codecs that clips come in, and write and read a clip of two pictures.

    Returns
    -------
    list of CodecCheck

    Examples
    --------
    >>> all(one.works for one in check_codecs())
    True
    """
    checks = [_check_reading(codec, what) for codec, what in _READ.items()]
    return [*checks, _check_writing()]


def _check_reading(codec: str, what: str) -> CodecCheck:
    try:
        av.Codec(codec, "r")
    except av.codec.codec.UnknownCodecError:
        return CodecCheck(what=f"reads {what}", works=False, note=_INSTALL_AGAIN)
    return CodecCheck(what=f"reads {what}", works=True, note="")


def _check_writing() -> CodecCheck:
    what = "writes H.264, for clips that play in a browser"
    picture = np.full((48, 64, 3), 128, np.uint8)
    try:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "two pictures.mp4"
            encode_clip(path, [(0.0, picture), (0.1, picture)])
            frames = open_clip(path).describe().frames
    except StrideError as error:
        return CodecCheck(what=what, works=False, note=str(error))
    except (OSError, ValueError) as error:
        return CodecCheck(what=what, works=False, note=f"{error}. {_INSTALL_AGAIN}")
    works = frames == 2
    return CodecCheck(what=what, works=works, note="" if works else _INSTALL_AGAIN)
