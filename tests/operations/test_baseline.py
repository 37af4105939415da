"""Parameters and firmware against the baseline."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import LogFileError, UsageError
from flightlog.operations.baseline import (
    Parameters,
    against_baseline,
    baseline_draft,
    differing,
    note_parameters,
    parameter_conditions,
    read_parameters,
    stored,
)
from flightlog.operations.plan import Plan
from flightlog.operations.service import note_event
from tests.logbook.made import public_of
from tests.operations.made import SAMPLES

PLAN = Plan("pannier", "pack-a")
SET = Parameters({"RATE_P": 0.1, "TRIM": 3.0}, "plane 4", "bench")


def sign(farm, parameters=SET):
    draft = baseline_draft(
        farm.desk, "pannier", parameters, public_of("mechanic"), public_of("pilot")
    )
    return farm.sign(draft, "mechanic", "pilot")


def condition(farm):
    farm.desk.refresh()
    (found,) = parameter_conditions(farm.desk, PLAN)
    return found


def test_without_a_baseline_or_a_reading_it_does_not_hold(farm):
    assert "no baseline" in condition(farm).says
    sign(farm)
    assert "nobody read them" in condition(farm).says
    note_parameters(farm.desk, "pannier", SET)
    assert condition(farm).holds


@pytest.mark.parametrize(
    ("values", "firmware", "said"),
    [
        ({"RATE_P": 0.2, "TRIM": 3.0}, "plane 4", "RATE_P 0.1 -> 0.2"),
        ({"RATE_P": 0.1}, "plane 4", "TRIM is only in the first"),
        ({"RATE_P": 0.1, "TRIM": 3.0, "NEW": 1.0}, "plane 4", "NEW is only in the second"),
        ({"RATE_P": 0.1, "TRIM": 3.0}, "plane 5", "firmware plane 4 -> plane 5"),
    ],
)
def test_whatever_differs_is_named(farm, values, firmware, said):
    sign(farm)
    note_parameters(farm.desk, "pannier", Parameters(values, firmware, "today"))

    assert not condition(farm).holds
    assert said in condition(farm).says


def test_the_last_digits_of_a_32_bit_float_are_no_difference(farm):
    sign(farm)
    close = {"RATE_P": 0.10000000149011612, "TRIM": 3.0}
    note_parameters(farm.desk, "pannier", Parameters(close, "plane 4", "log"))

    assert condition(farm).holds


def test_a_change_after_the_reading_asks_for_another_one(farm):
    sign(farm)
    note_parameters(farm.desk, "pannier", SET)
    note_event(farm.desk, "parameter-change", aircraft="pannier")
    assert "not read since" in condition(farm).says
    note_parameters(farm.desk, "pannier", SET)
    assert condition(farm).holds


def test_a_reading_holds_for_a_day(farm):
    sign(farm)
    note_parameters(farm.desk, "pannier", SET)
    farm.clock.later(hours=25)
    assert "25 h ago" in condition(farm).says


def test_an_old_log_that_is_read_today_says_nothing_about_today(farm):
    sign(farm)
    old = datetime(2027, 1, 1, tzinfo=UTC)
    note_parameters(farm.desk, "pannier", Parameters(SET.values, "plane 4", "old.bin", old))
    assert not condition(farm).holds

    # And it does not take away a reading of today.
    note_parameters(farm.desk, "pannier", SET)
    farm.clock.later(minutes=1)
    changed = Parameters({"RATE_P": 9.0, "TRIM": 3.0}, "plane 4", "old.bin", old)
    note_parameters(farm.desk, "pannier", changed)
    assert condition(farm).holds


def test_a_baseline_of_one_person_is_none(farm):
    with pytest.raises(UsageError, match="two persons"):
        baseline_draft(farm.desk, "pannier", SET, public_of("pilot"), public_of("pilot"))


def test_what_is_attached_is_compared_and_not_what_is_said(farm):
    base = sign(farm)
    read = note_parameters(farm.desk, "pannier", SET)
    farm.book.attachments.path(read.body.content["parameters"]).write_bytes(b"[]")

    assert stored(farm.desk, read) is None
    assert ["the list of parameters is missing or damaged"] == against_baseline(
        farm.desk, base, read
    )


def test_a_log_gives_its_parameters_and_when_they_stood():
    found = read_parameters(SAMPLES / "calm.bin")

    assert 8 == len(found.values)
    assert 4000.0 == found.values["BATT_CAPACITY"]
    assert timedelta(minutes=10) > abs(found.at - datetime(2027, 3, 15, 9, 18, tzinfo=UTC))


@pytest.mark.parametrize(
    "text",
    [
        "# firmware: plane 4.5\nRATE_P 0.1\nTRIM 3\n",
        "RATE_P,0.1\r\nTRIM,3\r\n",
        "# Vehicle-Id Component-Id Name Value Type\n1\t1\tRATE_P\t0.1\t9\n1\t1\tTRIM\t3\t6\n",
    ],
)
def test_texts_of_names_and_values_are_read(tmp_path, text):
    path = tmp_path / "today.param"
    path.write_text(text, encoding="utf-8", newline="")

    assert {"RATE_P": 0.1, "TRIM": 3.0} == read_parameters(path).values


def test_a_line_that_is_none_is_named(tmp_path):
    path = tmp_path / "today.param"
    path.write_text("RATE_P 0.1\nTRIM three\n", encoding="utf-8")

    with pytest.raises(LogFileError, match=r"today.param:2: 'TRIM three'"):
        read_parameters(path)


@given(st.text(max_size=200))
def test_no_text_crashes_it(text):
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "x.param"
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        try:
            read_parameters(path)
        except LogFileError:
            pass


names = st.dictionaries(st.sampled_from("ABCD"), st.floats(-1e6, 1e6, width=32), max_size=4)


@given(names, names)
def test_two_lists_differ_alike_from_either_side(one, other):
    assert not differing(one, one)
    assert bool(differing(one, other)) == bool(differing(other, one))
    assert len(differing(one, other)) == len(differing(other, one))
