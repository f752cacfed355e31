import colorsys

import pytest
from matplotlib.colors import to_rgb

from stride.charts.style import LIMB_STYLES, make_drawable, name_distance, name_walk

from ..builders import make_analysis
from .cases import make_unscaled_single


def lightness(colour):
    red, green, blue = (
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)
    )  # relative luminance of IEC 61966-2-1
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_every_limb_differs_from_every_other_in_grey_print():
    looks = {
        limb: (style.line, style.marker, style.filled, round(lightness(style.colour), 1))
        for limb, style in LIMB_STYLES.items()
    }
    assert len(set(looks.values())) == 4
    for side in ("left", "right"):
        assert LIMB_STYLES[f"{side}_fore"].marker != LIMB_STYLES[f"{side}_hind"].marker
    for pair in ("fore", "hind"):
        left, right = (lightness(LIMB_STYLES[f"{side}_{pair}"].colour) for side in ("left", "right"))
        assert left > 1.5 * right


def test_front_and_hind_differ_in_hue():
    hues = {limb: colorsys.rgb_to_hsv(*to_rgb(style.colour))[0] for limb, style in LIMB_STYLES.items()}
    assert min(hues["left_fore"], hues["right_fore"]) > 0.5 > max(hues["left_hind"], hues["right_hind"]) + 0.3


def test_text_of_a_user_is_drawn_on_one_line_with_boxes_for_what_the_font_lacks():
    assert (
        make_drawable("cow\t2\n\N{CJK UNIFIED IDEOGRAPH-725B}\x07 ü")
        == "cow 2 \N{WHITE SQUARE}\N{WHITE SQUARE} ü"
    )


@pytest.mark.parametrize(("tag", "name"), [("214", "animal 214 · aisle.mp4"), (None, "aisle.mp4")])
def test_a_walk_is_named_by_tag_and_clip(tag, name):
    assert name_walk(make_analysis(tag=tag)) == name


def test_an_endless_tag_is_shortened():
    assert len(name_walk(make_analysis(tag="many words " * 60))) <= 122


def test_distance_is_in_metres_strides_or_nothing():
    assert name_distance(make_analysis()) == (1.0, "m")
    length, unit = name_distance(make_analysis(unit="stride"))
    assert unit == "strides" and length == pytest.approx(1.0, abs=0.02)
    assert name_distance(make_unscaled_single()) == (1.0, "no scale")
