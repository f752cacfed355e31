import pytest
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, PathPatch

from stride.charts.stretches import lay_out_walkway, span_walkway, split_walkway
from stride.charts.walkway import draw_walkway

from ..builders import make_analysis
from .cases import CASES, make_empty


def gids_of(ax, start, kind):
    return [str(one.get_gid()) for one in ax.findobj(kind) if str(one.get_gid()).startswith(start)]


@pytest.mark.parametrize("prints_per_limb", [2, 5, 9, 17])
def test_every_print_and_overreach_stands_on_exactly_one_stretch(prints_per_limb):
    analysis = make_analysis(prints_per_limb=prints_per_limb)
    drawn = [draw_walkway(Figure().subplots(), analysis, stretch=one) for one in split_walkway(analysis)]
    prints = [gid for ax in drawn for gid in gids_of(ax, "print-", PathPatch)]
    arrows = [gid for ax in drawn for gid in gids_of(ax, "overreach-", FancyArrowPatch)]
    assert sorted(prints) == sorted(f"print-{i}" for i in range(len(analysis.prints)))
    assert sorted(arrows) == sorted(f"overreach-{o.fore_print}-{o.hind_print}" for o in analysis.overreaches)


@pytest.mark.parametrize("case", sorted(set(CASES) - {"empty"}))
def test_stretches_share_one_scale_and_show_their_prints_whole(case):
    analysis = CASES[case]()
    stretches, place = split_walkway(analysis), lay_out_walkway(analysis)
    assert [one.key for one in stretches] == [True] + [False] * (len(stretches) - 1)
    assert len({round(one.right - one.left, 9) for one in stretches}) == 1
    for i, (tip, across) in enumerate(zip(place.along, place.across, strict=True)):
        (home,) = [one for one in stretches if one.holds(place, i)]
        assert home.left < tip - place.hoof and tip < home.right
        assert home.low < across - place.half_heights[i] and across + place.half_heights[i] < home.high


def test_rows_are_filled_evenly():
    stretches = split_walkway(make_analysis(prints_per_limb=4))
    lengths = [one.end - one.start for one in stretches]
    assert len(stretches) > 1
    assert min(lengths) > 0.5 * max(lengths)


def test_a_long_walk_keeps_to_a_few_rows_but_leaves_room_for_every_label():
    assert len(split_walkway(make_analysis(prints_per_limb=9))) <= 6
    stretches = split_walkway(make_analysis(prints_per_limb=40))
    assert max(one.end - one.start for one in stretches) <= 4 * 1.56


def test_the_whole_walk_is_one_stretch_on_request():
    analysis = make_analysis(prints_per_limb=9)
    whole, place = span_walkway(analysis), lay_out_walkway(analysis)
    assert whole.key and all(whole.holds(place, i) for i in range(len(analysis.prints)))


def test_without_prints_there_are_no_stretches():
    assert split_walkway(make_empty()) == ()
