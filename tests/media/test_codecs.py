from __future__ import annotations

import av
import pytest

from stride.errors import OutputError
from stride.media import codecs
from stride.media.codecs import check_codecs


def test_everything_a_phone_writes_can_be_read_and_h264_written():
    checks = check_codecs()
    assert len(checks) == 5
    assert all(one.works and one.note == "" for one in checks)


def test_a_missing_codec_is_named_with_what_to_do(monkeypatch):
    find_codec = av.Codec

    def find_all_but_hevc(name, mode):
        if name == "hevc":
            raise av.codec.codec.UnknownCodecError(name)
        return find_codec(name, mode)

    monkeypatch.setattr(codecs.av, "Codec", find_all_but_hevc)
    failed = [one for one in check_codecs() if not one.works]
    assert [one.what for one in failed] == ["reads HEVC, what many phones write by default"]
    assert "Install" in failed[0].note


def refuse_to_write(*_args, **_kwargs):
    raise OutputError("The video could not be written.", "Make room.")


def lose_the_encoder(*_args, **_kwargs):
    raise av.codec.codec.UnknownCodecError("libx264")


@pytest.mark.parametrize(("fail", "says"), [(refuse_to_write, "Make room"), (lose_the_encoder, "libx264")])
def test_an_encoder_that_does_not_write_is_reported(monkeypatch, fail, says):
    monkeypatch.setattr(codecs, "encode_clip", fail)
    failed = [one for one in check_codecs() if not one.works]
    assert [one.what.split()[0] for one in failed] == ["writes"]
    assert says in failed[0].note
