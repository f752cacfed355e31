from __future__ import annotations

import pytest

from stride.media.pace import choose_pace, find_capture_rate


@pytest.mark.parametrize(
    ("tags", "rate"),
    [
        ({"com.android.capture.fps": "239.76"}, 239.76),
        ({"COM.ANDROID.CAPTURE.FPS": "120"}, 120.0),
        ({"vendor.capturefps": "240/1"}, 240.0),
        ({"vendor.recording-frame-rate": " 60 fps"}, 60.0),
        ({"vendor.captureFrameRate": "240000/1001"}, pytest.approx(239.76, abs=0.01)),
        ({"vendor.capture.fps": "0"}, None),
        ({"vendor.capture.fps": "1/0"}, None),
        ({"vendor.capture.fps": ""}, None),
        ({"encoder.fps": "240"}, None),
        ({"comment": "capture.fps 240"}, None),
        ({}, None),
    ],
)
def test_the_capture_rate_is_found_among_the_tags(tags, rate):
    assert find_capture_rate(tags) == rate


@pytest.mark.parametrize(
    ("stored", "filmed", "slowed"),
    [
        (30.0, 240.0, 8.0),
        (29.93, 240.0, 8.0),
        (59.94, 60.0, 1.0),
        (24.0, 60.0, 2.5),
        (30.0, 1.0, 1 / 30),
        (240.0, 30.0, 1 / 8),
    ],
)
def test_a_factor_near_a_whole_one_is_whole(stored, filmed, slowed):
    pace = choose_pace(stored_rate=stored, capture_rate=None, filmed_at=filmed)
    assert pace.slowed == pytest.approx(slowed, rel=1e-12)


@pytest.mark.parametrize(
    ("stored", "capture", "says"), [(30, 240, "8 times slower"), (30, 1, "30 times faster")]
)
def test_the_note_says_which_way(stored, capture, says):
    assert says in choose_pace(stored_rate=stored, capture_rate=capture, filmed_at=None).note


def test_a_tag_that_agrees_with_the_user_is_not_argued_with():
    note = choose_pace(stored_rate=30, capture_rate=240, filmed_at=240).note
    assert "was not used" not in note
    assert "speed of life" in choose_pace(stored_rate=30, capture_rate=None, filmed_at=30).note
