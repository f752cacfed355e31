from __future__ import annotations

from dataclasses import replace

import av
import cv2
import numpy as np
import pytest

from stride.media import lettering, overlay
from stride.media.encoder import encode_clip
from stride.media.overlay import draw_overlay_frame, write_overlay
from stride.media.reader import open_clip
from stride.walk.camera import CameraMotion
from stride.walk.clip import Frame
from stride.walk.limbs import LIMBS

from ..builders import make_analysis

SMALL_PX = (320, 180)


def blank(brightness: int, size_px: tuple[int, int] = (1280, 720)) -> np.ndarray:
    return np.full((size_px[1], size_px[0], 3), brightness, np.uint8)


def coloured(image: np.ndarray, limb: str) -> np.ndarray:
    """Where a picture has a limb's colour, the legend left out."""
    mask = (np.abs(image.astype(int) - overlay._COLOURS[limb]) < 12).all(axis=2)
    mask[: image.shape[0] // 5] = False
    return mask


@pytest.fixture
def said(monkeypatch):
    """Every text drawn, in order."""
    texts: list[str] = []

    def draw_text(image, text, *args, **options):
        texts.append(text)
        return lettering.draw_text(image, text, *args, **options)

    monkeypatch.setattr(overlay, "draw_text", draw_text)
    return texts


def frame_at(analysis, t: float) -> int:
    return int(np.searchsorted(analysis.tracks[0].t, t))


def test_the_picture_given_is_left_as_it_is():
    image = blank(120)
    drawn = draw_overlay_frame(image, make_analysis(), 60, 2.0)
    assert (image == 120).all()
    assert drawn.shape == image.shape
    assert (drawn != 120).any()


def test_a_print_appears_at_touch_down_and_stays():
    analysis = make_analysis(prints_per_limb=2)
    one = next(p for p in analysis.prints if p.limb == "right_fore")
    analysis = replace(analysis, tracks=())
    x, y = np.rint(one.xy_px).astype(int)
    area = np.s_[y - 12 : y + 12, x - 30 : x + 6]

    def shown(frame: int) -> bool:
        return bool(
            coloured(draw_overlay_frame(blank(60), analysis, frame, frame / 30), "right_fore")[area].any()
        )

    assert not shown(one.frames[0] - 1)
    assert shown(one.frames[0])
    assert shown(one.frames[1] + 10)
    assert shown(analysis.clip.frames - 1)


def test_prints_stay_on_the_floor_while_the_camera_pans():
    analysis = replace(make_analysis(pan_px=240.0), tracks=(), overreaches=())
    one = next(p for p in analysis.prints if p.limb == "left_fore")
    analysis = replace(analysis, prints=(one,), strides=())
    moved = []
    for frame in (one.frames[0], analysis.clip.frames - 1):
        mask = coloured(draw_overlay_frame(blank(60), analysis, frame, frame / 30), "left_fore")
        moved.append(np.argwhere(mask).mean(axis=0)[::-1])
    shift = (
        analysis.camera.to_first[analysis.clip.frames - 1, 0, 2]
        - analysis.camera.to_first[one.frames[0], 0, 2]
    )
    np.testing.assert_allclose(moved[0] - moved[1], (shift, 0), atol=0.6)


def test_nothing_is_laid_on_the_floor_where_the_camera_was_lost(said):
    analysis = make_analysis()
    lost = np.ones(analysis.clip.frames, dtype=bool)
    lost[100] = False
    camera = CameraMotion(
        to_first=analysis.camera.to_first, residual_px=analysis.camera.residual_px, held=lost, moving=True
    )
    drawn = draw_overlay_frame(blank(60), replace(analysis, camera=camera), 100, 100 / 30)
    assert not any(coloured(drawn, limb).any() for limb in LIMBS)
    assert "3.33 s of 4.87 s" in said[0]


def test_a_frame_after_the_last_is_only_headed():
    drawn = draw_overlay_frame(blank(60), make_analysis(), 10_000, 333.0)
    assert (drawn[150:] == 60).all()


def test_a_hoof_that_is_hidden_is_drawn_hollow():
    analysis = replace(make_analysis(), prints=(), strides=(), overreaches=())
    track = next(one for one in analysis.tracks if one.limb == "right_hind")
    filled = []
    for seen in (True, False):
        shown = replace(track, seen=np.full(len(track.frames), seen))
        drawn = draw_overlay_frame(blank(60), replace(analysis, tracks=(shown,)), 20, 20 / 30)
        x, y = np.rint(track.xy_px[20]).astype(int)
        filled.append(bool(coloured(drawn, "right_hind")[y, x]))
    assert filled == [True, False]


def test_front_and_hind_feet_differ_in_shape_and_all_four_in_colour():
    analysis = make_analysis()
    assert len({overlay._COLOURS[limb] for limb in LIMBS}) == 4
    shapes = {limb: overlay._SHAPES[limb] for limb in LIMBS}
    assert shapes["left_fore"] == shapes["right_fore"] != shapes["left_hind"] == shapes["right_hind"]
    drawn = draw_overlay_frame(blank(60), analysis, 60, 2.0)
    assert all(coloured(drawn, limb).any() for limb in LIMBS)


@pytest.mark.parametrize(
    ("options", "text"),
    [
        ({}, "left 7.2 cm short"),
        ({"overreach_left": 0.05}, "left 6.1 cm past"),
        ({"unit": "stride"}, "left 4.6 % of a stride short"),
    ],
)
def test_overreach_is_written_for_a_while_after_the_hind_foot_lands(said, options, text):
    analysis = make_analysis(**options)
    landed = min(
        analysis.prints[one.hind_print].touch_down for one in analysis.overreaches if one.side == "left"
    )

    def writes(t: float) -> bool:
        said.clear()
        draw_overlay_frame(blank(60), analysis, frame_at(analysis, t), t)
        return text in said

    assert [writes(landed + after) for after in (-0.1, 0.05, 2.0, 3.0)] == [False, True, True, False]


def test_an_overreach_of_a_foot_seen_standing_from_the_start_is_still_written(said):
    analysis = make_analysis()
    first = min(one.hind_print for one in analysis.overreaches)
    prints = list(analysis.prints)
    prints[first] = replace(prints[first], touch_down=None, touch_down_error=None)
    frame = prints[first].frames[0] + 5
    draw_overlay_frame(blank(60), replace(analysis, prints=tuple(prints)), frame, frame / 30)
    assert any("short" in text for text in said)


def test_the_bar_reaches_from_the_front_print_to_the_hind_print():
    analysis = make_analysis(overreach_left=-0.2, overreach_right=-0.2)
    one = next(o for o in analysis.overreaches if o.side == analysis.near_side)
    analysis = replace(analysis, overreaches=(one,))
    hind, fore = analysis.prints[one.hind_print], analysis.prints[one.fore_print]
    t = hind.touch_down + 0.05
    with_bar = draw_overlay_frame(blank(60), analysis, frame_at(analysis, t), t)
    without = draw_overlay_frame(blank(60), replace(analysis, overreaches=()), frame_at(analysis, t), t)
    white = (with_bar.min(axis=2) > 240) & (without.min(axis=2) < 240)
    row = int(max(hind.xy_px[1], fore.xy_px[1]) + 22)
    columns = np.flatnonzero(white[row - 3 : row + 4].any(axis=0))
    np.testing.assert_allclose((columns.min(), columns.max()), (hind.xy_px[0], fore.xy_px[0]), atol=4)


def test_the_heading_names_the_animal_and_the_time(said):
    draw_overlay_frame(blank(60), make_analysis(tag="214 Ø 牛"), 30, 1.0)
    assert "animal 214 Ø 牛    1.00 s of 4.87 s" in said
    said.clear()
    draw_overlay_frame(blank(60), make_analysis(tag=None), 30, 1.0)
    assert "1.00 s of 4.87 s" in said


@pytest.mark.parametrize("brightness", [0, 255])
def test_text_stands_out_on_any_floor(brightness):
    image = blank(brightness, (200, 60))
    box = lettering.draw_text(image, "RH", (40, 15), 17)
    part = image[int(box.top) : int(box.bottom), int(box.left) : int(box.right)]
    assert (part > 230).any()
    assert (part < 40).any()
    changed = np.argwhere((image != brightness).any(axis=2))
    assert changed.min(axis=0)[0] >= box.top
    assert changed.max(axis=0)[1] < box.right


@pytest.mark.parametrize("corner", [(-15, -8), (190, 50), (400, 20), (-400, 20), (20, -90)])
def test_text_over_the_edge_is_cut_off(corner):
    image = blank(90, (200, 60))
    lettering.draw_text(image, "left 8.1 cm short", corner, 17)
    lettering.draw_text(image, "no\nbreak", corner, 17)
    assert image.shape == (60, 200, 3)


def test_labels_do_not_cover_one_another(monkeypatch):
    boxes = []

    def draw_text(image, text, *args, **options):
        box = lettering.draw_text(image, text, *args, **options)
        if len(text) == 2 or " cm " in text:
            boxes.append(box)
        return box

    monkeypatch.setattr(overlay, "draw_text", draw_text)
    analysis = make_analysis(overreach_left=-0.02, overreach_right=-0.02)
    for frame in range(0, analysis.clip.frames, 5):
        boxes.clear()
        draw_overlay_frame(blank(60), analysis, frame, frame / 30)
        assert len(boxes) >= 4
        assert not any(a.overlaps(b) for k, a in enumerate(boxes) for b in boxes[:k])


@pytest.mark.parametrize("size_px", [(180, 320), (320, 180), (1080, 1920), (64, 48)])
def test_any_size_and_shape_of_picture_is_drawn(size_px):
    drawn = draw_overlay_frame(blank(60, size_px), make_analysis(), 60, 2.0)
    assert drawn.shape == (size_px[1], size_px[0], 3)


def test_a_walk_without_a_stride_or_scale_still_shows_its_prints():
    analysis = make_analysis(unit="stride")
    analysis = replace(analysis, strides=(), overreaches=(), tracks=())
    drawn = draw_overlay_frame(blank(60), analysis, analysis.clip.frames - 1, 4.8)
    assert all(coloured(drawn, limb).any() for limb in LIMBS)


# The file


def write_clip(path, analysis, size_px=SMALL_PX):
    rng = np.random.default_rng(4)
    floor = cv2.resize(rng.integers(60, 140, (9, 16, 3), np.uint8), size_px)
    encode_clip(path, ((float(t), floor) for t in analysis.tracks[0].t))
    return open_clip(path)


@pytest.mark.parametrize(("frame_rate", "frames"), [(25.0, 122), (30.0, 146), (60.0, 146), (240.0, 146)])
def test_at_most_thirty_pictures_a_second_are_written_at_their_own_times(tmp_path, frame_rate, frames):
    analysis = make_analysis(frame_rate=frame_rate, size_px=SMALL_PX)
    clip = write_clip(tmp_path / "clip.mp4", analysis)
    written = write_overlay(clip, analysis, tmp_path / "overlay.mp4")
    times = np.array([one.t for one in open_clip(tmp_path / "overlay.mp4")])
    assert written == len(times) == pytest.approx(frames, abs=2)
    nearest = np.abs(times[:, None] - analysis.tracks[0].t).min(axis=1)
    assert nearest.max() < 1e-4


def test_the_file_is_what_a_browser_plays(tmp_path):
    analysis = make_analysis(size_px=(322, 181))
    clip = write_clip(tmp_path / "clip.mp4", analysis, (322, 181))
    reports = []
    write_overlay(
        clip,
        analysis,
        tmp_path / "overlay.mp4",
        width_px=201,
        progress=lambda *report: reports.append(report),
    )
    with av.open(str(tmp_path / "overlay.mp4")) as container:
        stream = container.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert (stream.width, stream.height) == (202, 114)
        assert next(container.decode(stream)).format.name == "yuv420p"
    assert reports[-1] == ("overlay", analysis.clip.frames, analysis.clip.frames)
    data = (tmp_path / "overlay.mp4").read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")


def test_a_small_clip_is_not_blown_up(tmp_path):
    analysis = make_analysis(size_px=SMALL_PX, prints_per_limb=2)
    write_overlay(write_clip(tmp_path / "clip.mp4", analysis), analysis, tmp_path / "overlay.mp4")
    assert open_clip(tmp_path / "overlay.mp4").size_px == SMALL_PX


def test_a_clip_that_breaks_leaves_no_overlay(tmp_path):
    class Broken(Exception):
        pass

    class BrokenClip:
        size_px = SMALL_PX

        def __iter__(self):
            image = blank(60, SMALL_PX)
            yield Frame(index=0, t=0.0, luma=image[..., 0], load_image=image.copy)
            raise Broken

    with pytest.raises(Broken):
        write_overlay(BrokenClip(), make_analysis(size_px=SMALL_PX), tmp_path / "overlay.mp4")
    assert list(tmp_path.iterdir()) == []
