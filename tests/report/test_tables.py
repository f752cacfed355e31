from dataclasses import replace

import pytest

from stride.report.tables import (
    list_key_measures,
    list_measure,
    list_measures,
    list_overreaches,
    list_prints,
    list_settings,
    list_strides,
)
from stride.walk.settings import Settings

from ..builders import make_analysis
from ..charts.cases import make_empty, make_eventless, make_unscaled_single


def test_a_measure_stands_with_both_parts_of_its_doubt_its_spread_and_its_count():
    analysis = make_analysis()
    row = list_measure("overreach_left", analysis.measures["overreach_left"])
    assert (row.name, row.value, row.n) == ("Overreach, left side", "−8.3 ± 0.8 cm", "3")
    assert (row.random, row.common, row.spread) == ("0.4 cm", "0.1 cm", "1.0 cm")
    assert row.explanation and not row.reason


def test_a_spread_that_is_not_known_says_so():
    analysis = make_analysis()
    assert list_measure("speed_change", analysis.measures["speed_change"]).spread == "not known"


def test_every_measure_stands_once_in_a_section_and_families_stand_together():
    measures = make_analysis().measures
    sections = list_measures(measures)
    rows = [row for _, section in sections for row in section]
    assert len(rows) == len(measures)
    timing = [row.name.split(",")[0] for row in dict(sections)["Timing"]]
    runs = [name for i, name in enumerate(timing) if i == 0 or timing[i - 1] != name]
    assert len(runs) == len(set(runs))


def test_an_explanation_stands_once_in_a_section():
    for _, rows in list_measures(make_analysis().measures):
        said = [row.explanation for row in rows if row.explanation]
        assert said and len(said) == len(set(said))


def test_the_key_numbers_say_overreach_in_words_and_absent_ones_why():
    rows = list_key_measures(make_analysis(missing={"speed": "no foot landed twice"}).measures)
    assert [row.name for row in rows][:3] == [
        "Overreach, left side",
        "Overreach, right side",
        "Overreach, mean of the walk",
    ]
    assert rows[0].value == "8.3 ± 0.8 cm short of the front print"
    assert rows[5].reason == "no foot landed twice"
    assert all(row.reason for row in list_key_measures({}))


def test_prints_are_counted_from_the_first_along_the_walk_and_to_the_left():
    analysis = make_analysis(direction="right_to_left")
    table = list_prints(analysis)
    assert table.headings[2:4] == ("along the walk (cm)", "to the left (cm)")
    places = [float(row[2].split()[0]) for row in table.rows]
    assert min(places) == 0.0
    for row, one in zip(table.rows, analysis.prints, strict=True):
        assert row[3].startswith("13.0" if one.limb.startswith("left") else "−13.0")
        assert row[2].endswith("± 1.0")
    assert table.rows[-1][5] == "not seen"


def test_found_prints_say_how_sure_they_are():
    assert list_prints(make_analysis(source="found")).rows[0][-1] == "found, 97 % sure"


def test_prints_without_scale_are_in_shares_of_a_stride_whatever_length_the_ground_has():
    plain = make_analysis(unit="stride")
    stretched = replace(
        plain,
        prints=tuple(
            replace(one, xy=one.xy * 50, cov=one.cov * 2500, limb_cov=one.limb_cov * 2500)
            for one in plain.prints
        ),
    )
    assert list_prints(stretched) == list_prints(plain)
    assert list_prints(plain).headings[2] == "along the walk (% of a stride)"
    assert list_prints(make_unscaled_single()).headings[2] == "along the walk (no scale)"


def test_strides_name_their_prints_and_leave_unseen_times_out():
    analysis = make_analysis()
    assert len(list_strides(analysis).rows) == len(analysis.strides)
    blind = replace(analysis, strides=tuple(replace(one, time=None, speed=None) for one in analysis.strides))
    row = list_strides(blind).rows[0]
    assert row[1] == f"{analysis.strides[0].start + 1} to {analysis.strides[0].end + 1}"
    assert row[2].endswith("cm") and row[3] == row[4] == "not seen"


def test_overreaches_name_the_prints_they_join():
    analysis = make_analysis()
    one, row = analysis.overreaches[0], list_overreaches(analysis).rows[0]
    assert row[:3] == (one.side, str(one.fore_print + 1), str(one.hind_print + 1))
    assert row[3] == "7.2 ± 1.4 cm short of the front print"


def test_every_setting_is_listed_in_a_persons_unit():
    rows = dict(list_settings(Settings()).rows)
    assert len(rows) == len(Settings.__slots__)
    assert rows["Counts as filling the print: within"] == "6 cm"
    assert rows["A class is named from a probability of"] == "90 %"


@pytest.mark.parametrize("make", [make_empty, make_eventless])
def test_a_walk_with_nothing_or_no_events_has_its_tables(make):
    analysis = make()
    assert len(list_prints(analysis).rows) == len(analysis.prints)
    assert all("not seen" in row for row in list_prints(analysis).rows)
