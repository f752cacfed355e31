from __future__ import annotations

import cv2
import numpy as np
import pytest

from stride.detect.landings import measure_stir
from stride.detect.occupancy import Occupancy
from stride.detect.refine import FittedGait, Footfall
from stride.detect.toes import find_toes
from stride.imaging.standing import HOLD, Standing
from stride.imaging.strip import STEP

from .walkers import true_stances, walking_gait

WIDTH, HEIGHT, DURATION = 320, 110, 5.0


def paint(heading=1, shift=0.0, missing=(), stays=()):
    """Hooves as differences from the floor, toe tips between pixels, and the walk they belong to."""
    gait = walking_gait(heading=heading)
    count = round(DURATION / STEP) + 1
    rng = np.random.default_rng(2)
    difference = rng.normal(0, 1, (count, HEIGHT, WIDTH))
    footfalls = []
    for foot, number, toe, level, start, end in true_stances(gait, DURATION, WIDTH):
        footfalls.append(
            Footfall(
                foot=foot,
                number=number,
                toe=toe + shift * (number % 2),
                level=level,
                start=start,
                end=end,
                fit=0.0 if (foot, number) in missing else 1.0,
                seen=1.0,
                stride_px=gait.stride_px,
                stride_time=gait.stride_time,
            )
        )
        if (foot, number) in missing:
            continue
        silhouette = np.zeros((HEIGHT, WIDTH), np.float32)
        fine, hoof = 16, gait.hoof_px
        outline = [(0, 0), (-1, 0), (-1.2, -1.2), (-0.7, -1.2)]
        points = [((toe + heading * x * hoof) * fine, (level + y * hoof) * fine) for x, y in outline]
        cv2.fillPoly(silhouette, [np.rint(points).astype(np.int32)], 1.0, cv2.LINE_8, 4)
        silhouette = cv2.GaussianBlur(silhouette, (3, 3), 0.5)
        last = count if (foot, number) in stays else round(end / STEP) + 1
        difference[max(0, round(start / STEP)) : max(0, last)] -= 40 * silhouette
    standing = Standing(
        strength=np.zeros((count, HEIGHT, WIDTH), np.uint8),
        lowest=np.full((count, WIDTH), -1, np.int16),
        difference=np.rint(difference).astype(np.int16),
        threshold=2.5,
        hold=HOLD,
        hoof=gait.hoof_px,
    )
    occupancy = Occupancy(standing, np.ones((count, WIDTH), dtype=bool), 0.0, WIDTH, (70.0, 90.0))
    return (
        gait,
        standing,
        occupancy,
        FittedGait(gait=gait, footfalls=tuple(footfalls), explained=9.0, odd=1.0),
    )


def errors(gait, toes):
    true = {(foot, number): toe for foot, number, toe, *_ in true_stances(gait, DURATION, WIDTH)}
    return np.array(
        [gait.heading * (toe.xy[0] - true[toe.footfall.foot, toe.footfall.number]) for toe in toes]
    )


@pytest.mark.parametrize("heading", [1, -1])
def test_tips_are_read_to_a_fraction_of_a_pixel(heading):
    gait, standing, occupancy, fitted = paint(heading)
    toes = find_toes(standing, occupancy, fitted)
    off = errors(gait, toes)
    assert len(toes) == len(fitted.footfalls)
    assert off.std() < 0.5
    assert abs(off.mean()) < 1.5


def test_each_stance_is_laid_on_the_others_of_its_foot():
    gait, standing, occupancy, fitted = paint(shift=2.5)
    off = errors(gait, find_toes(standing, occupancy, fitted))
    assert off.std() < 0.7


def test_a_picture_in_the_middle_of_the_stance_is_chosen():
    _, standing, occupancy, fitted = paint()
    for toe in find_toes(standing, occupancy, fitted):
        assert toe.footfall.start < toe.picture * STEP < toe.footfall.end
        assert toe.likeness > 0.7
        assert not toe.alone


def test_where_nothing_stands_nothing_is_found():
    _, standing, occupancy, fitted = paint(missing=[(0, 1), (3, 1)])
    found = {(toe.footfall.foot, toe.footfall.number) for toe in find_toes(standing, occupancy, fitted)}
    assert not found & {(0, 1), (3, 1)}
    assert len(found) == len(fitted.footfalls) - 2


def test_a_foot_that_lands_and_leaves_stirs_the_picture():
    gait, standing, occupancy, fitted = paint(stays=[(2, 2)])
    toes = find_toes(standing, occupancy, fitted)
    stir = measure_stir(standing, occupancy, toes, gait.heading)
    assert stir.landing.min() > 0.4
    for toe, leaving in zip(toes, stir.leaving, strict=True):
        halted = (toe.footfall.foot, toe.footfall.number) == (2, 2)
        assert (leaving < 0.4) == halted
