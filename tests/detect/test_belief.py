from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stride.detect.belief import believe_stances, believe_walk
from stride.detect.landings import Stir
from stride.detect.refine import FittedGait, Footfall
from stride.detect.refusals import (
    check_alone,
    check_length,
    check_motion,
    check_strides,
    is_walk,
    mean_fit,
    refuse_no_walk,
)
from stride.detect.toes import Toe
from stride.errors import RefusedError

from .walkers import true_stances, walking_gait


def fitted_walk(fit=0.95, odd=2.0, score=8.0, pattern=None, **gait_options):
    options = {} if pattern is None else {"pattern": pattern}
    gait = walking_gait(**options, **gait_options)
    footfalls = tuple(
        Footfall(
            foot=foot,
            number=number,
            toe=toe,
            level=level,
            start=start,
            end=end,
            fit=fit,
            seen=1.0,
            stride_px=gait.stride_px,
            stride_time=gait.stride_time,
        )
        for foot, number, toe, level, start, end in true_stances(gait, 5.0, 320)
    )
    return FittedGait(gait=gait, footfalls=footfalls, explained=score + 0.15 * odd, odd=odd)


def toes_of(fitted, likeness=0.8):
    return [
        Toe(footfall=one, xy=np.array([one.toe, one.level]), picture=10, likeness=likeness, alone=False)
        for one in fitted.footfalls
    ]


def calm(count, landing=1.0, leaving=1.0):
    return Stir(landing=np.full(count, landing), leaving=np.full(count, leaving))


class TestStances:
    def chance(self, fit=0.95, likeness=0.8, **stir):
        toes = toes_of(fitted_walk(fit), likeness)
        return float(believe_stances(toes, calm(len(toes), **stir))[0])

    def test_a_clear_stance_is_believed(self):
        assert self.chance() > 0.9

    @pytest.mark.parametrize("worse", [{"fit": 0.3}, {"likeness": 0.2}, {"landing": 0.05}, {"leaving": 0.05}])
    def test_each_doubt_lowers_it(self, worse):
        assert self.chance(**worse) < self.chance() - 0.005

    def test_no_toes(self):
        assert len(believe_stances([], calm(0))) == 0


class TestWalks:
    def test_a_clear_walk_is_believed(self):
        assert believe_walk(fitted_walk(), agreement=1.0) > 0.95

    @pytest.mark.parametrize("worse", [{"fit": 0.4}, {"odd": 18.0}])
    def test_each_doubt_lowers_it(self, worse):
        assert believe_walk(fitted_walk(**worse), 1.0) < believe_walk(fitted_walk(), 1.0) - 0.01
        assert believe_walk(fitted_walk(), 0.0) < believe_walk(fitted_walk(), 1.0)

    def test_what_is_a_walk(self):
        assert is_walk(fitted_walk())
        assert not is_walk(None)
        assert not is_walk(fitted_walk(score=-1.0))
        assert not is_walk(fitted_walk(fit=0.3))
        hurried = fitted_walk()
        shift = hurried.gait.time_shift * [1, 1, 0.6, 0.6]
        assert not is_walk(replace(hurried, gait=replace(hurried.gait, time_shift=shift)))

    def test_missing_stances_count_in_the_mean_fit(self):
        fitted = fitted_walk(fit=1.0)
        half = [replace(one, fit=0.0) if one.number % 2 else one for one in fitted.footfalls]
        assert mean_fit(replace(fitted, footfalls=tuple(half))) == pytest.approx(0.5, abs=0.1)


class TestRefusals:
    @pytest.mark.parametrize(("travel", "word"), [(0.0, "Nothing moves"), (0.1, "stays")])
    def test_motion(self, travel, word):
        with pytest.raises(RefusedError, match=word):
            check_motion(travel)
        check_motion(0.8)

    @pytest.mark.parametrize(("duration", "held", "word"), [(1.0, 1.0, "1.0 s"), (4.0, 0.2, "20 %")])
    def test_length(self, duration, held, word):
        with pytest.raises(RefusedError, match=word):
            check_length(duration, held)
        check_length(4.0, 1.0)

    def test_a_trot_is_named_only_where_it_explains_more(self):
        assert "trots" in refuse_no_walk(fitted_walk(score=5.0), fitted_walk(score=1.0)).problem
        assert "no walking hooves" in refuse_no_walk(fitted_walk(score=5.0), fitted_walk(score=4.0)).problem
        assert "no walking hooves" in refuse_no_walk(None, None).problem

    def test_a_second_animal(self):
        first = fitted_walk()
        with pytest.raises(RefusedError, match="Two animals"):
            check_alone(first, fitted_walk(score=5.0, start=1.6))
        check_alone(first, None)
        check_alone(first, fitted_walk(fit=0.55, score=5.0, start=1.6))
        # What goes with the animal is the animal.
        check_alone(first, fitted_walk(score=5.0, start=-0.5))

    def test_too_little_of_a_walk(self):
        toes = toes_of(fitted_walk())
        check_strides(toes)
        with pytest.raises(RefusedError, match="Only 5 stances"):
            check_strides(toes[:5])
        only_fores = [toe for toe in toes if toe.footfall.foot < 2]
        with pytest.raises(RefusedError):
            check_strides(only_fores)
