from __future__ import annotations

from fractions import Fraction

import av
import numpy as np
import pytest

from stride.errors import OutputError
from stride.media.encoder import encode_clip, open_encoder

from .made_clips import SIZE_PX, numbered_frames, numbered_picture, read_number

IRREGULAR = [0.0, 0.01, 0.0333, 0.2, 0.21, 0.5, 0.77, 1.0]


def decode(path):
    with av.open(str(path)) as container:
        return [(float(one.pts * one.time_base), one) for one in container.decode(video=0)]


@pytest.mark.parametrize("ending", [".mp4", ".mov", ".mkv"])
def test_times_are_kept_to_a_fraction_of_a_millisecond(tmp_path, ending):
    path = tmp_path / f"clip{ending}"
    frames = encode_clip(path, numbered_frames(IRREGULAR))
    times = [t for t, _ in decode(path)]
    assert frames == len(IRREGULAR)
    np.testing.assert_allclose(times, IRREGULAR, atol=1e-4 if ending != ".mkv" else 5.1e-4)


def test_the_ntsc_rate_is_stored_without_error(tmp_path):
    times = [n * 1001 / 30000 for n in range(40)]
    encode_clip(tmp_path / "clip.mp4", numbered_frames(times), frame_rate=30000 / 1001)
    with av.open(str(tmp_path / "clip.mp4")) as container:
        stored = [one.pts * one.time_base for one in container.decode(video=0)]
    assert stored == [Fraction(n * 1001, 30000) for n in range(40)]


def test_the_file_plays_from_its_start_before_it_is_all_there(tmp_path):
    encode_clip(tmp_path / "clip.mp4", numbered_frames([0, 0.1]))
    data = (tmp_path / "clip.mp4").read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")


def test_the_stated_length_holds_every_picture(tmp_path):
    encode_clip(tmp_path / "clip.mp4", numbered_frames(IRREGULAR))
    with av.open(str(tmp_path / "clip.mp4")) as container:
        stream = container.streams.video[0]
        assert float(stream.duration * stream.time_base) > IRREGULAR[-1]


def test_pictures_keep_their_order_and_colour(tmp_path):
    encode_clip(tmp_path / "clip.mp4", numbered_frames(np.arange(20) / 20), crf=12)
    pictures = [one for _, one in decode(tmp_path / "clip.mp4")]
    numbers = [read_number(one.to_ndarray(format="gray")) for one in pictures]
    assert numbers == list(range(20))
    np.testing.assert_allclose(pictures[3].to_ndarray(format="bgr24")[5, 5], (0, 0, 255), atol=12)
    assert pictures[0].format.name == "yuv420p"


@pytest.mark.parametrize(("width", "height"), [(95, 63), (95, 64), (96, 63)])
def test_an_odd_size_is_filled_up_to_even(tmp_path, width, height):
    image = numbered_picture(5, (width, height))
    image[:, -1] = image[-1] = 250
    encode_clip(tmp_path / "clip.mp4", [(0.0, image), (0.1, image)], crf=8)
    _, picture = decode(tmp_path / "clip.mp4")[0]
    assert (picture.width, picture.height) == (96, 64)
    gray = picture.to_ndarray(format="gray")
    assert gray[-1].min() > 200
    assert gray[:, -1].min() > 200


@pytest.mark.parametrize("codec", ["h264", "hevc", "vp9", "av1"])
def test_every_named_codec_writes(tmp_path, codec):
    encode_clip(tmp_path / "clip.mp4", numbered_frames([0, 0.1, 0.2]), codec=codec)
    assert len(decode(tmp_path / "clip.mp4")) == 3


def test_tags_are_stored_under_any_key(tmp_path):
    tags = {"com.android.capture.fps": "240", "title": "aisle"}
    encode_clip(tmp_path / "clip.mp4", numbered_frames([0, 0.1]), metadata=tags)
    with av.open(str(tmp_path / "clip.mp4")) as container:
        assert tags.items() <= container.metadata.items()


def test_nothing_appears_until_the_end_and_nothing_stays_after_an_error(tmp_path):
    class Interrupted(Exception):
        pass

    def interrupted():
        with open_encoder(tmp_path / "clip.mp4", size_px=SIZE_PX) as encoder:
            encoder.write(numbered_picture(0), 0.0)
            assert not (tmp_path / "clip.mp4").exists()
            raise Interrupted

    with pytest.raises(Interrupted):
        interrupted()
    assert list(tmp_path.iterdir()) == []


def test_an_error_leaves_the_earlier_file_as_it_was(tmp_path):
    path = tmp_path / "clip.mp4"
    encode_clip(path, numbered_frames([0, 0.1]))
    before = path.read_bytes()
    with pytest.raises(ValueError, match="does not follow"):
        encode_clip(path, numbered_frames([0, 0.1, 0.1]))
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("frames", "message"),
    [
        ([], "at least one"),
        ([(0.0, numbered_picture(0)), (0.1, numbered_picture(0, (64, 96)))], "96 × 64"),
        ([(0.0, numbered_picture(0).astype(float))], "uint8"),
        ([(0.2, numbered_picture(0)), (0.1, numbered_picture(0))], "rising"),
        ([(-0.1, numbered_picture(0)), (0.1, numbered_picture(0))], "before 0"),
    ],
)
def test_misuse_is_named(tmp_path, frames, message):
    with pytest.raises(ValueError, match=message):
        encode_clip(tmp_path / "clip.mp4", frames)
    assert list(tmp_path.iterdir()) == []


def test_an_encoder_that_was_given_nothing_says_so(tmp_path):
    with (
        pytest.raises(ValueError, match="no picture"),
        open_encoder(tmp_path / "clip.mp4", size_px=SIZE_PX),
    ):
        pass
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_ending_is_refused(tmp_path):
    with pytest.raises(ValueError, match=r"\.txt"):
        encode_clip(tmp_path / "clip.txt", numbered_frames([0]))


def test_a_missing_folder_is_an_output_error(tmp_path):
    with pytest.raises(OutputError, match="could not be written") as caught:
        encode_clip(tmp_path / "nowhere" / "clip.mp4", numbered_frames([0]))
    assert "nowhere" in caught.value.remedy


def test_a_name_taken_by_a_folder_is_an_output_error(tmp_path):
    (tmp_path / "clip.mp4").mkdir()
    with pytest.raises(OutputError):
        encode_clip(tmp_path / "clip.mp4", numbered_frames([0]))
    assert [one.name for one in tmp_path.iterdir()] == ["clip.mp4"]
