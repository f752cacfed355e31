from __future__ import annotations

import cv2
import numpy as np
import pytest

from stride.imaging.locate import (
    correlate_looks,
    cut_look,
    cut_patch,
    refine_patch,
    search_patch,
)

from ..textures import make_texture, make_tile, to_picture

SIZE_PX = (110, 90)
MIDDLE = np.array([60.0, 48.0])
# A patch the size of a hoof of 24 px: full weight inside, soft at its edge, the point near its lower right corner.
WEIGHT = np.outer(np.bartlett(29) ** 0.2, np.bartlett(41) ** 0.2).astype(np.float32)[1:-1, 1:-1]
POINT = (29.0, 18.0)


def see(texture, at, *, angle=0.0, noise=0.0, rng=None, alike=False):
    """A picture of the texture; noise with ``alike`` is shared by neighbouring pixels, as compression leaves it."""
    drawn = texture.draw(SIZE_PX, at, angle)
    if noise:
        grain = rng.standard_normal(drawn.shape)
        if alike:
            grain = 2.0 * cv2.blur(grain, (2, 2))
        drawn = drawn + noise / 25.0 * grain
    return to_picture(drawn)


def cut(luma, xy_px, angle=0.0):
    return cut_patch(luma, xy_px, angle=angle, weight=WEIGHT, point=POINT)


@pytest.mark.parametrize("turn", [0.0, 0.15], ids=["shifted", "shifted and turned"])
def test_a_known_shift_and_turn_are_found(turn):
    rng = np.random.default_rng(1)
    for _ in range(25):
        texture = make_texture(rng)
        first, second = MIDDLE + rng.uniform(-0.5, 0.5, 2), MIDDLE + rng.uniform(-2, 2, 2)
        angle = rng.uniform(-turn, turn)
        patch = cut(see(texture, first, noise=1.0, rng=rng), first)
        picture = see(texture, second, angle=angle, noise=1.0, rng=rng)
        found = refine_patch(picture, patch, MIDDLE, angle=0.0, turning=turn > 0)
        assert np.hypot(*(found.xy_px - second)) < 0.05
        assert found.angle == pytest.approx(angle, abs=0.003)
        assert found.similarity > 0.99


def test_a_shift_agrees_with_the_whole_picture_correlation_of_another_library():
    registration = pytest.importorskip(
        "skimage.registration", reason="scikit-image is missing: pip install 'stride[dev]'"
    )
    rng = np.random.default_rng(2)
    for _ in range(10):
        texture = make_tile(rng, 96)
        shift = rng.uniform(-2, 2, 2)
        before, after = (to_picture(texture.draw((96, 96), at)) for at in ((0.0, 0.0), shift))
        back, _, _ = registration.phase_cross_correlation(
            before, after, upsample_factor=100, normalization=None
        )
        patch = cut(before, np.array([48.0, 48.0]))
        found = refine_patch(after, patch, np.array([48.0, 48.0]), angle=0.0, turning=False)
        assert found.xy_px - 48.0 == pytest.approx(-back[::-1], abs=0.04)
        assert found.xy_px - 48.0 == pytest.approx(shift, abs=0.04)


@pytest.mark.parametrize("turning", [False, True], ids=["shifting", "turning too"])
@pytest.mark.parametrize(
    ("alike", "least", "most"),
    [
        pytest.param(True, 0.7, 1.4, id="blotches of two pixels"),
        # Grain that differs from pixel to pixel, as no compressed clip has it, is overstated twice.
        pytest.param(False, 0.4, 1.0, id="grain"),
    ],
)
def test_the_stated_error_is_within_a_factor_of_two(turning, alike, least, most):
    rng = np.random.default_rng(3)
    misses = []
    for _ in range(100):
        texture = make_texture(rng, waves=25)
        second = MIDDLE + rng.uniform(-1, 1, 2)
        patch = cut(see(texture, MIDDLE, noise=6.0, rng=rng, alike=alike), MIDDLE)
        picture = see(texture, second, noise=6.0, rng=rng, alike=alike)
        found = refine_patch(picture, patch, np.round(second), angle=0.0, turning=turning)
        misses.append(np.linalg.solve(np.linalg.cholesky(found.cov_px2), found.xy_px - second))
    assert least < np.sqrt(np.mean(np.square(misses))) < most


def test_the_stated_error_has_the_shape_of_the_texture():
    """Upright stripes tell where a thing is across them, hardly along them."""
    rng = np.random.default_rng(4)
    stripes = np.tile(make_texture(rng).draw((SIZE_PX[0], 1)), (SIZE_PX[1], 1))
    patch = cut(to_picture(stripes + 0.1 * rng.standard_normal(stripes.shape)), MIDDLE)
    picture = to_picture(stripes + 0.1 * rng.standard_normal(stripes.shape))
    cov = refine_patch(picture, patch, MIDDLE, angle=0.0, turning=False).cov_px2
    assert cov[1, 1] > 20 * cov[0, 0]


def test_another_thing_is_less_alike():
    rng = np.random.default_rng(5)
    same, other = [], []
    for _ in range(15):
        texture = make_texture(rng)
        patch = cut(see(texture, MIDDLE), MIDDLE)
        for kept, one in ((same, texture), (other, make_texture(rng))):
            picture = see(one, MIDDLE, noise=3.0, rng=rng)
            xy, _ = search_patch(picture, patch, MIDDLE, angle=0.0, reach_px=5)
            kept.append(refine_patch(picture, patch, xy, angle=0.0, turning=True).similarity)
    assert min(same) > 0.97
    assert max(other) < 0.75


@pytest.mark.parametrize(("gain", "offset"), [(8.0, 60.0), (25.0, 170.0), (12.0, 200.0)])
def test_darker_and_flatter_light_changes_nothing(gain, offset):
    texture, second = make_texture(np.random.default_rng(6)), MIDDLE + [1.3, -0.8]
    patch = cut(see(texture, MIDDLE), MIDDLE)
    plain = refine_patch(see(texture, second), patch, MIDDLE, angle=0.0, turning=True)
    dim = refine_patch(
        to_picture(texture.draw(SIZE_PX, second), gain=gain, offset=offset),
        patch,
        MIDDLE,
        angle=0.0,
        turning=True,
    )
    assert dim.xy_px == pytest.approx(plain.xy_px, abs=0.03)
    assert dim.angle == pytest.approx(plain.angle, abs=0.003)
    assert dim.similarity == pytest.approx(plain.similarity, abs=0.01)


def test_the_search_finds_the_whole_pixel_and_keeps_to_its_reach():
    texture = make_texture(np.random.default_rng(7))
    patch = cut(see(texture, MIDDLE), MIDDLE)
    picture = see(texture, MIDDLE + [6.0, -4.0])
    xy, similarity = search_patch(picture, patch, MIDDLE, angle=0.0, reach_px=7)
    assert xy.tolist() == (MIDDLE + [6.0, -4.0]).tolist()
    assert similarity > 0.99
    xy, similarity = search_patch(picture, patch, MIDDLE, angle=0.0, reach_px=3)
    assert np.abs(xy - MIDDLE).max() <= 3
    assert similarity < 0.9


def test_a_turned_thing_is_cut_and_searched_upright():
    texture, angle = make_texture(np.random.default_rng(8)), 0.6
    turned = see(texture, MIDDLE, angle=angle)
    upright = cut(see(texture, MIDDLE), MIDDLE)
    assert np.corrcoef(cut(turned, MIDDLE, angle=angle).template, upright.template)[0, 1] > 0.99
    # a step of the search goes along the turned axes
    c, s = np.cos(angle), np.sin(angle)
    away = MIDDLE + np.array([[c, -s], [s, c]]) @ [3.0, -2.0]
    xy, _ = search_patch(see(texture, away, angle=angle), upright, MIDDLE, angle=angle, reach_px=4)
    assert xy == pytest.approx(away, abs=1e-9)
    found = refine_patch(turned, upright, MIDDLE + [0.7, -0.4], angle=angle + 0.05, turning=True)
    assert found.xy_px == pytest.approx(MIDDLE, abs=0.05)
    assert found.angle == pytest.approx(angle, abs=0.003)


@pytest.mark.parametrize("angle", [1.5, -2.2, 3.0])
def test_a_thing_turned_far_is_found_where_it_is(angle):
    texture = make_texture(np.random.default_rng(12))
    patch = cut(see(texture, MIDDLE), MIDDLE)
    second = MIDDLE + [0.9, -0.6]
    found = refine_patch(see(texture, second, angle=angle), patch, MIDDLE, angle=angle, turning=False)
    assert found.xy_px == pytest.approx(second, abs=0.05)
    assert found.angle == angle


def test_a_thing_held_at_its_point_only_turns():
    texture = make_texture(np.random.default_rng(9))
    patch = cut(see(texture, MIDDLE), MIDDLE)
    found = refine_patch(
        see(texture, MIDDLE, angle=0.08), patch, MIDDLE, angle=0.0, turning=True, shifting=False
    )
    assert found.xy_px.tolist() == MIDDLE.tolist()
    assert found.angle == pytest.approx(0.08, abs=0.003)


def test_looks_are_compared_as_a_refined_patch_is():
    rng = np.random.default_rng(10)
    texture, other = make_texture(rng), make_texture(rng)
    pictures = [see(texture, MIDDLE), see(texture, MIDDLE, noise=8.0, rng=rng), see(other, MIDDLE)]
    looks = np.stack([cut_look(one, MIDDLE, weight=WEIGHT, point=POINT) for one in pictures])
    alike = correlate_looks(looks, WEIGHT)
    assert np.diag(alike) == pytest.approx(np.ones(3), abs=1e-4)
    assert alike == pytest.approx(alike.T)
    assert alike[0, 1] > 0.9
    assert alike[0, 2] < 0.6
    still = refine_patch(
        pictures[1], cut(pictures[0], MIDDLE), MIDDLE, angle=0.0, turning=False, iterations=1
    )
    assert still.similarity == pytest.approx(alike[0, 1], abs=1e-3)


@pytest.mark.parametrize("xy", [(2.0, 3.0), (108.0, 87.0), (60.0, 89.0)])
def test_at_the_edge_the_picture_goes_on_as_it_ends(xy):
    """A hoof at the border is still found, and nothing is read from outside the picture."""
    texture = make_texture(np.random.default_rng(11))
    at = np.array(xy)
    picture = see(texture, MIDDLE)
    for angle in (0.0, 0.3):
        patch = cut(picture, at, angle=angle)
        assert np.isfinite(patch.template).all()
        assert patch.pixels.min() >= picture.min() and patch.pixels.max() <= picture.max()
    found = refine_patch(picture, cut(picture, at), at + 0.4, angle=0.0, turning=False)
    assert found.xy_px == pytest.approx(at, abs=0.05)


def test_a_flat_patch_says_so():
    flat = np.full((90, 110), 90, dtype=np.uint8)
    patch = cut(flat, MIDDLE)
    assert patch.contrast == 0.0
    found = refine_patch(flat, patch, MIDDLE, angle=0.0, turning=True)
    assert np.isfinite(found.xy_px).all() and np.isfinite(found.cov_px2).all()
