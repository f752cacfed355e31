import cv2
import numpy as np
import pytest

from stride.imaging.flow import (
    REACH_PX,
    chase_points,
    cut_patches,
    find_common_shift,
    find_strong_points,
    gather_patches,
    locate_patches,
    measure_sharpness,
    read_shift,
    shrink,
)

SIZE = (240, 320)
UPRIGHT = np.eye(2)


def texture(
    seed: int = 0, grain: float = 2.0, contrast: float = 30.0, size: tuple[int, int] = SIZE
) -> np.ndarray:
    smooth = cv2.GaussianBlur(np.random.default_rng(seed).normal(size=size), (0, 0), grain)
    return 128 + contrast * smooth / smooth.std()


def shifted(picture: np.ndarray, shift: tuple[float, float]) -> np.ndarray:
    """The picture moved by a fraction of a pixel without any interpolation, by its Fourier transform."""
    across, down = np.fft.fftfreq(picture.shape[1]), np.fft.fftfreq(picture.shape[0])[:, None]
    turn = np.exp(-2j * np.pi * (across * shift[0] + down * shift[1]))
    return as_luma(np.fft.ifft2(np.fft.fft2(picture) * turn).real)


def as_luma(picture: np.ndarray) -> np.ndarray:
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def points_of(luma: np.ndarray, count: int = 40) -> np.ndarray:
    return find_strong_points(luma, cell_px=40, per_cell=2, worst_px=0.6)[0][:count]


@pytest.mark.parametrize("shift", [(0.1, 0.25), (0.5, -0.75), (-2.3, 1.6)])
def test_a_patch_is_found_again_to_a_hundredth_of_a_pixel(shift):
    picture = texture()
    before, after = as_luma(picture), shifted(picture, shift)
    patches = cut_patches(before, points_of(before))
    found = locate_patches(after, patches, patches.xy_px, np.tile(UPRIGHT, (len(patches), 1, 1)))
    error = found.xy_px - patches.xy_px - shift
    assert np.abs(error.mean(axis=0)).max() < 0.015
    assert error.std() < 0.02
    assert found.similarity.min() > 0.99
    assert found.sharpness.min() > 0.85


def test_a_patch_is_found_under_its_distortion_and_in_other_light():
    picture = texture(1)
    before = as_luma(picture)
    shape = np.array([[1.08, 0.05], [-0.03, 0.94]])
    middle = np.array([SIZE[1] / 2, SIZE[0] / 2])
    matrix = np.column_stack([shape, middle - shape @ middle])
    warped = cv2.warpAffine(picture, matrix, SIZE[::-1], flags=cv2.INTER_CUBIC)
    after = as_luma(0.7 * warped + 25)
    patches = cut_patches(before, points_of(before))
    true = patches.xy_px @ shape.T + matrix[:, 2]
    inside = ((true > 15) & (true < np.array(SIZE[::-1]) - 15)).all(axis=1)
    found = locate_patches(after, patches, true + 0.8, np.tile(shape, (len(patches), 1, 1)))
    assert np.abs(found.xy_px - true)[inside].max() < 0.12
    assert found.similarity[inside].min() > 0.97


def test_a_small_shift_is_read_in_one_step():
    picture = texture(2)
    before = as_luma(picture)
    patches = cut_patches(before, points_of(before))
    shift, similarity = read_shift(shifted(picture, (0.3, -0.2)), patches)
    assert np.abs(np.median(shift, axis=0) - (0.3, -0.2)).max() < 0.04
    assert similarity.min() > 0.9
    still, alike = read_shift(before, patches)
    assert np.abs(still).max() < 1e-3
    assert alike.min() == pytest.approx(1, abs=1e-4)


def test_blur_leaves_nothing_to_place_a_patch_by():
    picture = texture(3)
    before = as_luma(picture)
    smeared = as_luma(cv2.blur(picture, (25, 1)))
    patches = cut_patches(before, points_of(before))
    found = locate_patches(smeared, patches, patches.xy_px, np.tile(UPRIGHT, (len(patches), 1, 1)))
    assert np.median(found.sharpness) < 0.2
    across, down = measure_sharpness(smeared) / measure_sharpness(before)
    assert across < 0.1 < down


def test_no_point_is_chosen_on_a_bare_wall_or_along_an_edge():
    rng = np.random.default_rng(4)
    wall = np.full(SIZE, 90.0)
    wall[150:] = 130
    noisy = as_luma(cv2.GaussianBlur(wall, (0, 0), 1.0) + rng.normal(0, 2.0, SIZE))
    xy, _ = find_strong_points(noisy, cell_px=40, per_cell=3, worst_px=0.6)
    assert len(xy) == 0


def test_points_are_spread_and_the_best_come_first():
    luma = as_luma(texture(5))
    xy, error = find_strong_points(luma, cell_px=40, per_cell=3, worst_px=0.6)
    cells = len(np.unique(xy // 40, axis=0))
    assert cells > 35
    assert len(np.unique(xy[:cells] // 40, axis=0)) == cells
    assert error[:cells].mean() < error[cells:].mean()
    assert (xy > REACH_PX).all()
    assert (xy < np.array(SIZE[::-1]) - REACH_PX - 1).all()


def test_weak_texture_counts_for_less():
    strong, weak = as_luma(texture(6, contrast=40)), as_luma(texture(6, contrast=6))
    xy = points_of(strong)
    error = [np.sqrt(np.linalg.eigvalsh(cut_patches(luma, xy).cov_px2)[:, 1]) for luma in (strong, weak)]
    assert (error[1] > 1.5 * error[0]).all()


def test_the_error_lies_along_an_edge():
    ramp = np.full(SIZE, 60.0)
    ramp[:, 160:] = 180
    luma = as_luma(cv2.GaussianBlur(ramp, (0, 0), 1.5) + np.random.default_rng(7).normal(0, 2, SIZE))
    cov = cut_patches(luma, np.array([[160.0, 120.0]])).cov_px2[0]
    assert cov[1, 1] > 9 * cov[0, 0]


def test_patches_of_several_pictures_are_gathered_in_order():
    one, two = (as_luma(texture(seed)) for seed in (8, 9))
    sets = [cut_patches(luma, points_of(luma)) for luma in (one, two)]
    both = gather_patches(sets, [np.array([3, 1]), np.array([0])])
    assert len(both) == 3
    assert np.array_equal(both.xy_px, np.vstack([sets[0].xy_px[[3, 1]], sets[1].xy_px[:1]]))
    assert np.array_equal(both.basis[2], sets[1].basis[0])


def test_nothing_is_found_of_no_patches():
    luma = as_luma(texture())
    none = cut_patches(luma, np.empty((0, 2)))
    found = locate_patches(luma, none, none.xy_px, np.empty((0, 2, 2)))
    assert len(found.xy_px) == len(found.similarity) == len(found.sharpness) == 0


def test_points_are_chased_over_many_pixels():
    picture = texture(10, size=(240, 400))
    before, after = as_luma(picture[:, 40:360]), as_luma(picture[:, 22:342])
    xy = points_of(before)
    spots, found = chase_points(before, after, xy, xy)
    inside = found & (xy[:, 0] < 290)
    assert np.median(np.abs(spots - xy - (18, 0))[inside], axis=0).max() < 0.2
    empty, none = chase_points(before, after, np.empty((0, 2)), np.empty((0, 2)))
    assert len(empty) == len(none) == 0


def test_the_common_shift_is_that_of_the_many():
    rng = np.random.default_rng(11)
    floor = (7.0, -1.0) + rng.normal(0, 0.3, (30, 2))
    animal = (0.5, 0.0) + rng.normal(0, 0.3, (20, 2))
    shift = find_common_shift(np.vstack([floor, animal]), np.ones(50), reach_px=3.0)
    assert shift == pytest.approx((7.0, -1.0), abs=0.2)


def test_shrinking_to_its_own_size_changes_nothing():
    luma = as_luma(texture())
    assert shrink(luma, SIZE[::-1]) is luma
    assert shrink(luma, (160, 120)).shape == (120, 160)
