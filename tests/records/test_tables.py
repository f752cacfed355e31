from __future__ import annotations

import csv
import io
import math
from dataclasses import replace

import numpy as np
import pytest

from stride.records.tables import write_prints_table, write_strides_table
from stride.walk.limbs import SIDES

from ..builders import make_analysis
from ..charts.cases import CASES, make_empty, make_eventless, make_unscaled_single

PLACES = ("x_m", "y_m", "x_error_m", "y_error_m")


def read(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_prints_have_a_row_each_in_the_order_of_the_analysis():
    analysis = make_analysis()
    rows = read(write_prints_table(analysis))
    assert [int(row["print"]) for row in rows] == list(range(len(analysis.prints)))
    for row, one in zip(rows, analysis.prints, strict=True):
        assert (row["limb"], row["source"], float(row["confidence"])) == (one.limb, "marked", 1.0)
        assert [float(row["x_m"]), float(row["y_m"])] == pytest.approx(list(one.xy), abs=1e-5)
        assert float(row["touch_down_s"]) == pytest.approx(one.touch_down, abs=1e-5)
        assert float(row["touch_down_error_s"]) == pytest.approx(one.touch_down_error, abs=1e-5)


def test_the_error_of_a_place_has_all_its_parts():
    """Its own, the limb's idea of the toe tip, and what the whole clip shares."""
    analysis = make_analysis(scale_error=0.02)
    for row, one in zip(read(write_prints_table(analysis)), analysis.prints, strict=True):
        common = one.ground_jacobian @ analysis.ground.covariance @ one.ground_jacobian.T
        for axis, name in enumerate(("x_error_m", "y_error_m")):
            total = one.cov[axis, axis] + one.limb_cov[axis, axis] + common[axis, axis]
            assert float(row[name]) == pytest.approx(math.sqrt(total), abs=1e-5)


def test_a_time_that_was_not_seen_is_an_empty_cell():
    rows = read(write_prints_table(make_eventless()))
    assert rows
    for row in rows:
        assert {
            row[f"{event}{part}_s"] for event in ("touch_down", "lift_off") for part in ("", "_error")
        } == {""}
        assert row["x_m"] != ""


def test_without_scale_places_are_in_strides_whatever_length_the_ground_has():
    plain = make_analysis(unit="stride")
    stretched = replace(
        plain,
        prints=tuple(
            replace(one, xy=one.xy * 50, cov=one.cov * 2500, limb_cov=one.limb_cov * 2500)
            for one in plain.prints
        ),
    )
    assert write_prints_table(stretched) == write_prints_table(plain)
    rows = read(write_prints_table(plain))
    assert {name.replace("_m", "_strides") for name in PLACES} <= set(rows[0])
    assert not any(name.endswith("_m") for name in rows[0])
    own = [float(row["x_strides"]) for row in rows if row["limb"] == "left_fore"]
    assert np.diff(own) == pytest.approx(np.ones(len(own) - 1), abs=0.05)


def test_without_scale_and_without_a_stride_places_are_empty_cells():
    rows = read(write_prints_table(make_unscaled_single()))
    assert rows
    assert {row[name] for row in rows for name in ("x_strides", "y_strides", "x_error_strides")} == {""}


def test_strides_and_overreaches_name_the_prints_they_join():
    analysis = make_analysis()
    rows = read(write_strides_table(analysis))
    lengths = [row for row in rows if row["measure"] == "length"]
    for row, one in zip(lengths, analysis.strides, strict=True):
        assert (row["kind"], row["limb_or_side"]) == ("stride", one.limb)
        assert (int(row["from_print"]), int(row["to_print"])) == (one.start, one.end)
        assert float(row["value"]) == pytest.approx(one.length.value, abs=1e-5)
        assert float(row["common"]) == pytest.approx(one.length.common, abs=1e-5)
        assert row["unit"] == "m"
    past = [row for row in rows if row["kind"] == "overreach"]
    for row, one in zip(past, analysis.overreaches, strict=True):
        assert row["limb_or_side"] in SIDES
        assert (int(row["from_print"]), int(row["to_print"])) == (one.fore_print, one.hind_print)
        assert float(row["value"]) == pytest.approx(one.value.value, abs=1e-5)
    units = {row["measure"]: row["unit"] for row in rows}
    assert units == {
        "length": "m",
        "time": "s",
        "speed": "m/s",
        "stance_time": "s",
        "swing_time": "s",
        "duty_factor": "1",
        "overreach": "m",
    }


def test_what_a_stride_lacks_has_no_row():
    analysis = make_analysis()
    blind = replace(analysis, strides=tuple(replace(one, time=None, speed=None) for one in analysis.strides))
    assert {row["measure"] for row in read(write_strides_table(blind))} == {
        "length",
        "stance_time",
        "swing_time",
        "duty_factor",
        "overreach",
    }


@pytest.mark.parametrize("make", CASES.values(), ids=CASES)
def test_tables_of_any_walk_are_even_and_hold_finite_numbers(make):
    analysis = make()
    for write in (write_prints_table, write_strides_table):
        text = write(analysis)
        assert text.endswith("\n") and "\r" not in text
        head, *rows = csv.reader(io.StringIO(text))
        assert len(set(head)) == len(head)
        assert all(len(row) == len(head) for row in rows)
        assert not {"nan", "inf", "-inf", "None"} & {cell for row in rows for cell in row}


def test_an_empty_walk_has_the_headings_alone():
    for write in (write_prints_table, write_strides_table):
        assert len(write(make_empty()).splitlines()) == 1
