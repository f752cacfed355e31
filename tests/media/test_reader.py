from __future__ import annotations

import gc
import hashlib
import operator
import weakref
import zipfile
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from stride.errors import ClipError
from stride.media.encoder import encode_clip
from stride.media.reader import open_clip

from .made_clips import (
    SIZE_PX,
    numbered_frames,
    numbered_picture,
    packet_places,
    read_number,
    set_display_matrix,
    set_edit,
    write_packets,
    write_planes,
)

IRREGULAR = [0.0, 0.01, 0.0333, 0.2, 0.21, 0.5, 0.77, 1.0, 1.02, 1.1]
TENTH_OF_A_MILLISECOND = 1e-4


@pytest.fixture
def clip_file(tmp_path) -> Path:
    """Twelve numbered pictures at 25 a second."""
    path = tmp_path / "clip.mp4"
    encode_clip(path, numbered_frames(np.arange(12) / 25), crf=12)
    return path


# Times and order


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("h264.mp4", {}),
        ("h264.mov", {"b_frames": 3}),
        ("hevc.mp4", {"codec": "hevc", "b_frames": 2}),
        ("hevc10.mp4", {"codec": "hevc", "pixel_format": "yuv420p10le"}),
        ("vp9.mp4", {"codec": "vp9"}),
        ("av1.mp4", {"codec": "av1"}),
    ],
)
def test_irregular_times_are_exact_and_in_order(tmp_path, name, options):
    encode_clip(tmp_path / name, numbered_frames(IRREGULAR), crf=15, **options)
    frames = list(open_clip(tmp_path / name))
    np.testing.assert_allclose([one.t for one in frames], IRREGULAR, rtol=0, atol=TENTH_OF_A_MILLISECOND)
    assert [one.index for one in frames] == list(range(len(IRREGULAR)))
    assert [read_number(one.luma) for one in frames] == list(range(len(IRREGULAR)))


def test_webm_times_are_as_exact_as_the_container_stores_them(tmp_path):
    encode_clip(tmp_path / "clip.webm", numbered_frames(IRREGULAR), codec="vp9")
    times = [one.t for one in open_clip(tmp_path / "clip.webm")]
    np.testing.assert_allclose(times, np.round(IRREGULAR, 3), rtol=0, atol=1e-9)


def test_an_avi_without_stored_times_of_its_own_counts_its_pictures(tmp_path):
    planes = [cv2.cvtColor(numbered_picture(n), cv2.COLOR_BGR2YUV_I420) for n in range(10)]
    write_planes(tmp_path / "clip.avi", planes, codec="mpeg4", pixel_format="yuv420p")
    frames = list(open_clip(tmp_path / "clip.avi"))
    np.testing.assert_allclose([one.t for one in frames], np.arange(10) / 25, rtol=0, atol=1e-9)
    assert [read_number(one.luma) for one in frames] == list(range(10))


def test_the_ntsc_rate_makes_no_clip_longer_or_shorter(tmp_path):
    times = [n * 1001 / 30000 for n in range(60)]
    encode_clip(tmp_path / "clip.mp4", numbered_frames(times), frame_rate=30000 / 1001)
    clip = open_clip(tmp_path / "clip.mp4").describe()
    assert clip.duration == pytest.approx(59 * 1001 / 30000, abs=1e-9)
    assert clip.timing.frame_rate == pytest.approx(30000 / 1001, rel=1e-9)
    assert clip.timing.irregular == 0


def test_pictures_predicted_from_later_ones_come_in_presentation_order(tmp_path):
    path = tmp_path / "clip.mp4"
    encode_clip(path, numbered_frames(np.arange(30) / 30), b_frames=3, preset="medium", crf=15)
    with av.open(str(path)) as container:
        stored = [one.pts for one in container.demux(video=0) if one.pts is not None]
    assert stored != sorted(stored), "the file holds no such picture, the test would show nothing"
    assert [read_number(one.luma) for one in open_clip(path)] == list(range(30))


@pytest.mark.parametrize("start", [0.0, 7.5])
def test_the_first_picture_is_time_nought_wherever_the_file_starts(tmp_path, start):
    times = np.arange(12) / 30
    encode_clip(tmp_path / "clip.mp4", numbered_frames(start + times), b_frames=2)
    found = [one.t for one in open_clip(tmp_path / "clip.mp4")]
    np.testing.assert_allclose(found, times, rtol=0, atol=TENTH_OF_A_MILLISECOND)


def test_pictures_cut_away_by_an_edit_list_are_not_shown(tmp_path):
    path = tmp_path / "clip.mp4"
    encode_clip(path, numbered_frames(np.arange(20) / 30), b_frames=2, crf=15)
    whole = [read_number(one.luma) for one in open_clip(path)]
    with av.open(str(path)) as container:
        begins = next(one.pts - one.dts for one in container.demux(video=0))
    set_edit(path, begins + 5 * 3000)
    clip = open_clip(path)
    frames = list(clip)
    assert whole == list(range(20))
    assert [read_number(one.luma) for one in frames] == list(range(5, 20))
    np.testing.assert_allclose([one.t for one in frames], np.arange(15) / 30, atol=TENTH_OF_A_MILLISECOND)
    assert "up to" not in clip.describe().timing.note


def test_irregular_steps_are_counted(tmp_path):
    times = np.arange(30) / 30
    times[10:] += 0.04
    times[20:] += 0.02
    encode_clip(tmp_path / "clip.mp4", numbered_frames(times))
    timing = open_clip(tmp_path / "clip.mp4").describe().timing
    assert timing.irregular == 2
    assert "2 of 29" in timing.note
    assert timing.frame_rate == pytest.approx(30, rel=1e-3)


# Slow motion


@pytest.mark.parametrize(
    ("stored_rate", "tags", "filmed_at", "pace"),
    [
        (30.0, {"com.android.capture.fps": "240.000000"}, None, ("capture_tag", 8.0)),
        (30000 / 1001, {"com.android.capture.fps": "240"}, None, ("capture_tag", 8.0)),
        (30.0, {"com.apple.quicktime.Capture-FPS": "120"}, None, ("capture_tag", 4.0)),
        (30.0, {"com.apple.quicktime.camera.captureFPS": "120"}, None, ("capture_tag", 4.0)),
        (30.0, {"com.android.capture.fps": "30.0"}, None, ("container", 1.0)),
        (240.0, {"com.android.capture.fps": "240.0"}, None, ("container", 1.0)),
        (30.0, {"com.android.capture.fps": "10"}, None, ("capture_tag", 1 / 3)),
        (30.0, {"com.android.capture.fps": "fast"}, None, ("container", 1.0)),
        (30.0, {"com.android.capture.fps": "0"}, None, ("container", 1.0)),
        (30.0, {"com.android.capture.fps": "240"}, 120.0, ("told", 4.0)),
        (30.0, {}, 100.0, ("told", 100 / 30)),
        (30.0, {}, 30.0, ("told", 1.0)),
        (30.0, {}, None, ("container", 1.0)),
    ],
)
def test_slow_motion_is_undone(tmp_path, stored_rate, tags, filmed_at, pace):
    source, slowed = pace
    stored = np.arange(16) / stored_rate
    encode_clip(tmp_path / "clip.mp4", numbered_frames(stored), metadata=tags)
    clip = open_clip(tmp_path / "clip.mp4", filmed_at=filmed_at)
    assert (clip.pace.source, clip.pace.slowed) == (source, pytest.approx(slowed))
    np.testing.assert_allclose([one.t for one in clip], stored / slowed, rtol=0, atol=TENTH_OF_A_MILLISECOND)
    timing = clip.describe().timing
    assert (timing.source, timing.slowed) == (source, pytest.approx(slowed))
    assert timing.frame_rate == pytest.approx(stored_rate * slowed, rel=1e-2)


def test_the_note_says_slow_motion_in_plain_words(tmp_path):
    encode_clip(
        tmp_path / "clip.mp4", numbered_frames(np.arange(9) / 30), metadata={"com.android.capture.fps": "240"}
    )
    by_tag = open_clip(tmp_path / "clip.mp4").pace.note
    told = open_clip(tmp_path / "clip.mp4", filmed_at=120).pace.note
    assert "filmed at 240 frames a second" in by_tag
    assert "8 times slower than life" in by_tag
    assert "The user gave 120" in told
    assert "says 240" in told


@pytest.mark.parametrize("filmed_at", [0.0, -30.0, float("nan"), float("inf")])
def test_a_rate_that_is_none_is_misuse(clip_file, filmed_at):
    with pytest.raises(ValueError, match="filmed_at"):
        open_clip(clip_file, filmed_at=filmed_at)


# Pictures


@pytest.mark.parametrize(
    ("matrix", "corner"),
    [
        ((1, 0, 0, 1), "top left"),
        ((0, 1, -1, 0), "top right"),
        ((-1, 0, 0, -1), "bottom right"),
        ((0, -1, 1, 0), "bottom left"),
        ((-1, 0, 0, 1), "top right"),
        ((1, 0, 0, -1), "bottom left"),
        ((0, 1, 1, 0), "top left"),
        ((0, -1, -1, 0), "bottom right"),
    ],
)
def test_the_picture_is_turned_and_mirrored_as_a_player_does(tmp_path, matrix, corner):
    path = tmp_path / "clip.mov"
    encode_clip(path, numbered_frames([0, 0.1, 0.2]), crf=8)
    set_display_matrix(path, matrix)
    clip = open_clip(path)
    width, height = SIZE_PX if matrix[0] else SIZE_PX[::-1]
    frame = next(iter(clip))
    row = 5 if corner.startswith("top") else height - 6
    column = 5 if corner.endswith("left") else width - 6
    assert clip.size_px == (width, height)
    assert frame.luma.shape == (height, width)
    np.testing.assert_allclose(frame.image[row, column], (0, 0, 255), atol=12)
    marked = frame.image[..., 2].astype(int) - frame.image[..., 1] > 120
    assert marked.sum() == pytest.approx(144, abs=40)
    assert frame.luma[row, column] < 85 < frame.luma[height // 2, 1 if matrix[0] else width // 2 - 8]


def luma_planes(dtype: type, top: int) -> list[np.ndarray]:
    rng = np.random.default_rng(3)
    return [rng.integers(0, top, (96, 64), dtype=dtype) for _ in range(3)]


@pytest.mark.parametrize(
    ("pixel_format", "dtype", "top", "shift"),
    [("yuv420p", np.uint8, 256, 0), ("yuv420p10le", np.uint16, 1024, 2), ("gray", np.uint8, 256, 0)],
)
def test_luma_is_the_stored_plane_in_eight_bits(tmp_path, pixel_format, dtype, top, shift):
    planes = luma_planes(dtype, top)
    if pixel_format == "gray":
        planes = [one[:64] for one in planes]
    write_planes(tmp_path / "clip.mkv", planes, codec="ffv1", pixel_format=pixel_format)
    for frame, plane in zip(open_clip(tmp_path / "clip.mkv"), planes, strict=True):
        np.testing.assert_array_equal(frame.luma, plane[:64] >> shift)
        assert frame.luma.dtype == np.uint8


def test_luma_of_a_file_that_stores_colours_is_made_from_them(tmp_path):
    images = [np.full((64, 96, 3), value, np.uint8) for value in (0, 100, 255)]
    write_planes(tmp_path / "clip.mov", images, codec="png", pixel_format="rgb24")
    means = [float(one.luma.mean()) for one in open_clip(tmp_path / "clip.mov")]
    np.testing.assert_allclose(means, (0, 100, 255), atol=2)


def test_pixels_that_are_not_square_are_stretched(tmp_path):
    planes = luma_planes(np.uint8, 256)
    write_planes(
        tmp_path / "clip.mp4", planes, codec="libx264", pixel_format="yuv420p", pixel_aspect=Fraction(4, 3)
    )
    clip = open_clip(tmp_path / "clip.mp4")
    frame = next(iter(clip))
    assert clip.size_px == (85, 64)
    assert frame.luma.shape == frame.image.shape[:2] == (64, 85)


def test_luma_cannot_be_written_to(clip_file):
    for frame in open_clip(clip_file):
        with pytest.raises(ValueError, match="read-only"):
            frame.luma[0, 0] = 1


def test_colour_can_be_asked_for_later(clip_file):
    frames = list(open_clip(clip_file))
    gc.collect()
    for number, frame in enumerate(frames):
        image = frame.image
        assert image.shape == (64, 96, 3)
        np.testing.assert_allclose(image[5, 5], (0, 0, 255), atol=12)
        assert read_number(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)) == number


# Reading again, early ends, memory


def test_every_iteration_starts_at_the_first_picture(clip_file):
    clip = open_clip(clip_file)
    for _ in zip(range(3), clip, strict=False):
        pass
    first, second = iter(clip), iter(clip)
    assert [read_number(next(one).luma) for one in (first, first, second, first)] == [0, 1, 0, 2]
    assert [read_number(one.luma) for one in clip] == list(range(12))


def test_only_a_few_frames_are_held_whatever_the_length(tmp_path):
    def most_alive(frames: int) -> int:
        path = tmp_path / f"{frames}.mp4"
        encode_clip(path, numbered_frames(np.arange(frames) / 30))
        seen: list[weakref.ref] = []
        most = 0
        for frame in open_clip(path):
            seen.append(weakref.ref(frame.luma))
            most = max(most, sum(one() is not None for one in seen))
        return most

    assert most_alive(120) == most_alive(30) <= 6


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="counting threads needs a Linux /proc")
def test_stopping_early_leaves_no_thread_and_no_open_file(clip_file):
    def held() -> tuple[int, int]:
        return len(list(Path("/proc/self/task").iterdir())), len(list(Path("/proc/self/fd").iterdir()))

    clip = open_clip(clip_file)
    next(iter(clip))
    before = held()
    for _ in range(5):
        for _frame in clip:
            break
    assert held() == before


# Facts


def test_facts_after_reading(clip_file):
    clip = open_clip(clip_file)
    facts = clip.describe()
    assert facts.name == "clip.mp4"
    assert facts.sha256 == hashlib.sha256(clip_file.read_bytes()).hexdigest()
    assert (facts.frames, facts.size_px) == (12, SIZE_PX)
    assert facts.duration == pytest.approx(11 / 25)
    assert operator.length_hint(clip) == 12


@pytest.mark.parametrize("name", ["kråka 牛 №4.mp4", "a:b %03d.mp4", "-i.mp4", "two  spaces.MP4"])
def test_any_file_name_will_do(tmp_path, clip_file, name):
    path = clip_file.rename(tmp_path / name)
    assert open_clip(path).describe().name == name


# What is no clip


def write_one_picture(path: Path) -> None:
    encode_clip(path, numbered_frames([0]))


def write_text(path: Path) -> None:
    path.write_text("This is a note about the heifer in the third stall.\n" * 40)


def write_zip(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.txt", "text")


def write_still(path: Path) -> None:
    assert cv2.imwrite(str(path), numbered_picture(1))


def write_sound(path: Path) -> None:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=16000)
        sound = av.AudioFrame.from_ndarray(np.zeros((1, 16000), np.float32), format="fltp", layout="mono")
        sound.sample_rate = 16000
        sound.pts = 0
        container.mux(stream.encode(sound))
        container.mux(stream.encode(None))


def write_cut_before_the_index(path: Path) -> None:
    encode_clip(path, numbered_frames([0, 0.1, 0.2]))
    data = path.read_bytes()
    path.write_bytes(data[: data.index(b"moov") + 40])


def write_without_times(path: Path) -> None:
    with av.open(str(path), "w", format="h264") as container:
        stream = container.add_stream("libx264", rate=25, options={"bf": "0"})
        stream.width, stream.height = SIZE_PX
        for number in range(12):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(numbered_picture(number), format="bgr24")))
        container.mux(stream.encode(None))


@pytest.mark.parametrize(
    ("name", "write", "says"),
    [
        ("none.mp4", lambda path: None, "There is no file"),
        ("folder.mp4", Path.mkdir, "is a folder"),
        ("empty.mp4", Path.touch, "is empty"),
        ("note.mp4", write_text, "not a video"),
        ("note.txt", write_text, "not a video"),
        ("packed.mp4", write_zip, "not a video"),
        ("still.png", write_still, "still picture"),
        ("still.jpg", write_still, "still picture"),
        ("still.gif", write_still, "still picture"),
        ("sound.m4a", write_sound, "no moving picture"),
        ("sound.mp4", write_sound, "no moving picture"),
        ("one.mp4", write_one_picture, "Only one picture"),
        ("cut.mp4", write_cut_before_the_index, "cut off"),
        ("raw.h264", write_without_times, "times"),
    ],
)
def test_what_is_no_clip_is_refused_in_two_sentences(tmp_path, name, write, says):
    path = tmp_path / name
    write(path)
    with pytest.raises(ClipError, match=says) as caught:
        open_clip(path)
    assert caught.value.problem.endswith(".")
    assert caught.value.remedy.endswith(".")
    assert len(caught.value.remedy.split()) >= 3


# Damage


@pytest.mark.parametrize("share", [0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.97, 0.995])
def test_a_file_cut_short_is_read_as_far_as_it_goes_or_refused(tmp_path, share):
    path = tmp_path / "clip.mp4"
    rng = np.random.default_rng(0)
    images = [cv2.add(numbered_picture(n), rng.integers(0, 30, (64, 96, 3), np.uint8)) for n in range(40)]
    encode_clip(path, [(n / 25, image) for n, image in enumerate(images)], crf=18)
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    try:
        clip = open_clip(path)
        frames = list(clip)
    except ClipError as error:
        assert share < 0.3
        assert error.remedy.endswith(".")
        return
    assert 2 <= len(frames) < 40
    assert [read_number(one.luma) for one in frames] == list(range(len(frames)))
    np.testing.assert_allclose([one.t for one in frames], np.arange(len(frames)) / 25, atol=1e-9)
    assert f"read up to {frames[-1].t:.2f} s only" in clip.describe().timing.note


def test_a_file_cut_between_two_pictures_is_known_to_be_cut(clip_file):
    places = packet_places(clip_file)
    clip_file.write_bytes(clip_file.read_bytes()[: places[8][0]])
    clip = open_clip(clip_file)
    assert clip.describe().frames == 8
    assert "after that the file ends" in clip.describe().timing.note


def test_a_clip_ends_where_a_picture_is_damaged(tmp_path):
    path = tmp_path / "clip.mp4"
    rng = np.random.default_rng(0)
    images = [cv2.add(numbered_picture(n), rng.integers(0, 30, (64, 96, 3), np.uint8)) for n in range(40)]
    encode_clip(path, [(n / 25, image) for n, image in enumerate(images)], crf=18)
    offset, size = packet_places(path)[25]
    data = bytearray(path.read_bytes())
    data[offset + 5 : offset + size] = rng.bytes(size - 5)
    path.write_bytes(data)
    clip = open_clip(path)
    first = [read_number(one.luma) for one in clip]
    assert first == list(range(25))
    assert "read up to 0.96 s only" in clip.describe().timing.note
    assert [read_number(one.luma) for one in clip] == first


def test_a_picture_that_changes_size_is_refused(tmp_path):
    write_packets(tmp_path / "clip.ts", range(24), later_size_px=(128, 96))
    with pytest.raises(ClipError, match="changes size in the middle, from 96 × 64 to 128 × 96 px"):
        list(open_clip(tmp_path / "clip.ts"))


def test_a_few_pictures_without_a_time_of_their_own_are_left_out(tmp_path):
    ticks = [n - (n == 10) for n in range(24)]
    write_packets(tmp_path / "clip.mkv", ticks)
    clip = open_clip(tmp_path / "clip.mkv")
    assert [read_number(one.luma) for one in clip] == [n for n in range(24) if n != 10]
    np.testing.assert_allclose([one.t for one in clip], [n / 25 for n in range(24) if n != 10], atol=1e-9)
    assert "left out because they have no time of their own: 1." in clip.describe().timing.note


def test_many_pictures_without_a_time_of_their_own_are_refused(tmp_path):
    write_packets(tmp_path / "clip.mkv", [n // 2 for n in range(24)])
    with pytest.raises(ClipError, match="no time of their own"):
        list(open_clip(tmp_path / "clip.mkv"))


def test_a_file_removed_after_opening_says_so(clip_file):
    clip = open_clip(clip_file)
    clip_file.unlink()
    with pytest.raises(ClipError, match="There is no file"):
        list(clip)
    with pytest.raises(ClipError, match="There is no file"):
        _ = clip.sha256


def test_two_pictures_at_one_time_are_no_clip(tmp_path):
    write_packets(tmp_path / "clip.mkv", [0, 0])
    with pytest.raises(ClipError, match="no time of their own"):
        list(open_clip(tmp_path / "clip.mkv"))


def test_an_unreadable_file_says_so(clip_file, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(av, "open", refuse)
    with pytest.raises(ClipError, match="may not be read"):
        open_clip(clip_file)
