from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest

from stride.errors import MarksError
from stride.walk.clip import Frame
from stride.walk.following import HoofShape
from stride.walk.limbs import LIMBS
from stride.walk.marks import HoofMark
from stride.walk.settings import Settings
from stride.walk.tracks import HoofFollower

from ..painted_hooves import FRAME_RATE, SHAPE, SIZE_PX, Hoof, paint_scene, stands

FRAMES = 120
# A near fore foot swings past a standing far one, and the near hind lands where the near fore has stood.
HOOVES = (
    Hoof(limb="left_fore", stances=(stands(180, 146, -1.0, 1.3), stands(330, 146, 1.7, 9.0))),
    Hoof(limb="right_hind", stances=(stands(-45, 150, -1.0, 0.45), stands(107, 150.6, 0.85, 9.0))),
    Hoof(limb="right_fore", stances=(stands(110, 150, -1.0, 0.7), stands(252, 150, 1.1, 9.0))),
)
MARKED = (("left_fore", 20), ("right_fore", 20), ("right_hind", 80), ("right_fore", 95))


def follow(frames, marks, *, size_px=SIZE_PX, shape=SHAPE, to_first=None, source="marked"):
    follower = HoofFollower(marks, shape, size_px, Settings(), source)
    for frame in frames:
        follower.add(frame, None if to_first is None else to_first[frame.index])
    return {track.limb: track for track in follower.finish()}


def standing(scene, track):
    """(K,) bool: whether the hoof stands in each frame of its track."""
    stances = next(one for one in scene.hooves if one.limb == track.limb).stances
    return np.array([any(one.begin <= t <= one.end for one in stances) for t in track.t])


def misses(scene, track):
    return np.hypot(*(track.xy_px - scene.toes_px(track.limb, track.frames)).T)


@pytest.fixture(scope="module", params=range(3))
def followed(request):
    scene = paint_scene(HOOVES, request.param)
    return scene, follow(scene.film(FRAMES), [scene.mark(*one) for one in MARKED])


def test_each_marked_limb_has_one_unbroken_track(followed):
    _, tracks = followed
    assert list(tracks) == [limb for limb in LIMBS if limb in tracks]
    assert set(tracks) == {limb for limb, _ in MARKED}
    for track in tracks.values():
        count = len(track.frames)
        assert (np.diff(track.frames) == 1).all()
        assert track.t == pytest.approx(track.frames / FRAME_RATE)
        assert (track.xy_px.shape, track.cov_px2.shape) == ((count, 2), (count, 2, 2))
        assert track.seen.shape == track.offset_px2.shape == (count,)
        assert np.isfinite(track.xy_px).all() and np.isfinite(track.cov_px2).all()
        assert (np.diagonal(track.cov_px2, axis1=1, axis2=2) > 0).all()
        assert track.source == "marked"
    assert tracks["right_fore"].frames[[0, -1]].tolist() == [0, FRAMES - 1]


def test_a_standing_toe_is_followed_to_a_share_of_a_pixel(followed):
    """Within a pixel and a half while its heel rises."""
    scene, tracks = followed
    for track in tracks.values():
        off = misses(scene, track)[standing(scene, track)]
        assert np.median(off) < 0.1
        assert off.max() < 1.5


def test_a_swing_between_two_marks_is_followed_all_the_way(followed):
    scene, tracks = followed
    track = tracks["right_fore"]
    flying = ~standing(scene, track)
    off = misses(scene, track)[flying]
    assert track.seen[flying].mean() > 0.85
    assert np.median(off) < 0.1 * SHAPE.length_px
    assert off.max() < 0.3 * SHAPE.length_px


def test_no_hoof_is_taken_for_another(followed):
    scene, tracks = followed
    for track in tracks.values():
        own = misses(scene, track)
        for other in scene.hooves:
            if other.limb != track.limb:
                toes = scene.toes_px(other.limb, track.frames)
                nearer = np.hypot(*(track.xy_px - toes).T) < np.minimum(own, 0.3 * SHAPE.length_px)
                assert not (nearer & track.seen).any()


def test_the_order_of_the_marks_does_not_matter(followed):
    scene, tracks = followed
    again = follow(scene.film(FRAMES), [scene.mark(*one) for one in MARKED[::-1]])
    for limb, track in tracks.items():
        assert np.array_equal(track.xy_px, again[limb].xy_px)
        assert np.array_equal(track.seen, again[limb].seen)


def test_the_mirrored_clip_gives_mirrored_tracks(followed):
    scene, tracks = followed

    def mirror(frame):
        return replace(frame, luma=np.ascontiguousarray(frame.luma[:, ::-1]))

    marks = [scene.mark(*one) for one in MARKED]
    mirrored = [replace(one, xy_px=(SIZE_PX[0] - 1 - one.xy_px[0], one.xy_px[1])) for one in marks]
    shape = HoofShape(length_px=SHAPE.length_px, facing=-1)
    other = follow((mirror(frame) for frame in scene.film(FRAMES)), mirrored, shape=shape)
    for limb, track in tracks.items():
        back = other[limb]
        both = track.seen & standing(scene, track) & np.isin(track.frames, back.frames)
        at = np.searchsorted(back.frames, track.frames[both])
        assert back.xy_px[at] == pytest.approx([SIZE_PX[0] - 1, 0] + [-1, 1] * track.xy_px[both], abs=1.0)


@pytest.mark.parametrize("seed", range(3))
def test_a_hind_hoof_that_fills_the_print_leaves_the_fore_its_own_time(seed):
    """It looks just like the fore hoof and comes down on the same spot a fifth of a second after that has left."""
    hooves = (
        Hoof(limb="right_fore", stances=(stands(110, 150, -1.0, 0.7), stands(252, 150, 1.1, 9.0))),
        Hoof(limb="right_hind", stances=(stands(-45, 150, -1.0, 0.5), stands(110.2, 150.1, 0.9, 9.0))),
    )
    scene = paint_scene(hooves, seed, alike=True)
    marks = [scene.mark("right_fore", 20), scene.mark("right_hind", 85)]
    tracks = follow(scene.film(FRAMES), marks)
    for track in tracks.values():
        at_print = np.hypot(*(track.xy_px - [110.0, 150.0]).T) < 6
        assert misses(scene, track)[track.seen & at_print].max() < 0.5 * SHAPE.length_px
    fore, hind = tracks["right_fore"], tracks["right_hind"]
    assert fore.frames[fore.seen & (fore.xy_px[:, 0] < 115)].max() < 50
    assert hind.frames[hind.seen & (np.abs(hind.xy_px[:, 0] - 110) < 5)].min() > 46


@pytest.fixture(scope="module")
def passed():
    """A far hoof that stands all along, while a near one swings past and hides it; marked after that."""
    far = Hoof(limb="left_fore", stances=(stands(150, 148, -1.0, 9.0),))
    near = Hoof(limb="right_fore", stances=(stands(100, 166, -1.0, 0.25), stands(200, 166, 1.15, 9.0)))
    scene = paint_scene((far, near), 3)
    marks = [scene.mark("left_fore", 80), scene.mark("right_fore", 6), scene.mark("right_fore", 84)]
    return scene, follow(scene.film(90), marks)


def test_a_hidden_hoof_is_not_seen_and_its_place_is_bridged(passed):
    scene, tracks = passed
    track = tracks["left_fore"]
    hidden = np.array([scene.hidden("left_fore", int(frame)) for frame in track.frames])
    assert (hidden > 0.5).sum() >= 5
    assert track.frames[0] == 0
    assert not track.seen[hidden > 0.4].any()
    assert track.seen[hidden == 0].mean() > 0.95
    assert misses(scene, track).max() < 1.0


def test_what_is_bridged_is_less_sure_than_what_is_seen(passed):
    _, tracks = passed
    track = tracks["left_fore"]
    variance = track.cov_px2[:, 0, 0]
    assert variance[~track.seen].mean() > 10 * np.median(variance[track.seen])


def test_the_error_of_a_click_is_stated_for_all_that_was_followed_from_it():
    """Clicks are two pixels off: the assumed pixel is raised as far as the marks of one foot disagree."""
    scene = paint_scene(HOOVES, 4)
    rng = np.random.default_rng(5)
    frames = list(scene.film(FRAMES))
    misplaced, stated = [], []
    for _ in range(6):
        marks = [scene.mark(limb, frame, 2.0 * rng.standard_normal(2)) for limb, frame in MARKED]
        for track in follow(frames, marks).values():
            still = standing(scene, track) & track.seen
            off = track.xy_px[still] - scene.toes_px(track.limb, track.frames[still])
            misplaced += list(np.median(off, axis=0))
            stated.append(float(np.median(track.offset_px2[still])) + track.limb_px2)
    assert 0.4 < np.sqrt(np.mean(stated)) / np.std(misplaced) < 1.6
    assert np.std(misplaced) < 2.2


def test_found_hooves_say_so_and_are_less_sure_of_the_toe(followed):
    scene, tracks = followed
    found = follow(scene.film(FRAMES), [scene.mark(*one) for one in MARKED], source="found")
    for limb, track in found.items():
        assert track.source == "found"
        assert track.limb_px2 > tracks[limb].limb_px2
        assert np.array_equal(track.xy_px, tracks[limb].xy_px)


def test_a_camera_that_moves_is_followed_on_the_floor():
    """The camera swings 15 px to either side, and hooves that stand slide through the picture."""
    scene = paint_scene(HOOVES, 1)
    left = np.round(20 + 15 * np.sin(np.arange(FRAMES) / 20)).astype(int)
    width = SIZE_PX[0] - 40

    def crop(frame):
        x = int(left[frame.index])
        return replace(frame, luma=frame.luma[:, x : x + width])

    to_first = np.tile(np.eye(3), (FRAMES, 1, 1))
    to_first[:, 0, 2] = left - left[0]
    marks = []
    for limb, frame in MARKED:
        one = scene.mark(limb, frame)
        marks.append(replace(one, xy_px=(one.xy_px[0] - float(left[frame]), one.xy_px[1])))
    tracks = follow(
        (crop(frame) for frame in scene.film(FRAMES)), marks, size_px=(width, SIZE_PX[1]), to_first=to_first
    )
    for track in tracks.values():
        true = scene.toes_px(track.limb, track.frames) - np.column_stack([left, 0 * left])[track.frames]
        off = np.hypot(*(track.xy_px - true).T)
        still = standing(scene, track) & track.seen
        assert np.median(off[still]) < 0.15
        assert np.quantile(off[still], 0.9) < 0.5
        assert off[still].max() < 0.2 * SHAPE.length_px
        assert len(track.frames) > 50


def test_a_mark_after_the_end_is_refused_in_words():
    scene = paint_scene(HOOVES[:1], 0)
    follower = HoofFollower([scene.mark("left_fore", 30)], SHAPE, SIZE_PX, Settings())
    for frame in scene.film(20):
        follower.add(frame)
    with pytest.raises(MarksError, match="marked in frame 30, but the clip ends after 20 frames"):
        follower.finish()


@pytest.mark.parametrize("xy_px", [(-1.0, 90.0), (400.0, 90.0), (20.0, 180.0)])
def test_a_mark_off_the_picture_is_refused_in_words(xy_px):
    mark = HoofMark(limb="right_hind", frame=3, xy_px=xy_px)
    with pytest.raises(MarksError, match=r"right hind in frame 3 lies at .*off the picture of 320 × 180 px"):
        HoofFollower([mark], SHAPE, SIZE_PX, Settings())


@pytest.mark.parametrize("frame", [0, 19])
def test_a_mark_in_the_first_or_last_frame_is_followed(frame):
    scene = paint_scene(HOOVES[:1], 0)
    (track,) = follow(scene.film(20), [scene.mark("left_fore", frame)]).values()
    assert track.frames.tolist() == list(range(20))
    assert misses(scene, track).max() < 0.5


def test_memory_does_not_grow_with_the_clip():
    """Frames are let go once no mark needs them, so a clip four times as long holds no more of them."""
    scene = paint_scene(HOOVES[:1], 0)
    picture = scene.paint(0)
    marks = [scene.mark("left_fore", 10)]

    def hold(seconds):
        tracemalloc.start()
        follower = HoofFollower(marks, SHAPE, SIZE_PX, Settings())
        for index in range(round(seconds * 30)):
            luma = picture.copy()
            follower.add(Frame(index=index, t=index / 30, luma=luma, load_image=lambda luma=luma: luma))
        held, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return held

    assert hold(20.0) < 1.1 * hold(5.0)
