from __future__ import annotations

from dataclasses import replace

from flightlog.logbook.stored import check_row, check_stored, stored_name
from tests.logbook.made import rows_of
from tests.logbook.made_logbook import made_logbook

ENTRIES = made_logbook()


def test_rows_of_the_wrong_kind_are_named_by_what_is_left():
    row = rows_of(ENTRIES)[5]
    broken = replace(row, device="\ufffd" * 64, data="text")
    worse = replace(row, number=None, device=None)

    assert "a device that can't be read" in check_row(broken).name
    assert ("the column 'data' holds str",) == check_row(broken).problems
    assert "entry ? of a device that can't be read as stored" == check_row(worse).name
    assert stored_name("?", row.device) != stored_name(6, row.device)


def test_a_row_at_a_place_that_no_program_gives_is_broken_and_still_looked_at():
    row = rows_of(ENTRIES)[5]
    for place in (0, -7, 2**53):
        checked = check_row(replace(row, received=place))

        assert ENTRIES[5] == checked.entry
        assert checked.genuine
        assert (
            f"its place in the order received is {place}, which no program gives",
        ) == checked.problems
    assert () == check_row(replace(row, received=2**53 - 1)).problems


def test_many_rows_are_checked_by_several_threads_with_the_same_result():
    rows = rows_of(ENTRIES) * 6
    rows[200] = replace(rows[200], device_signature=bytes(64))
    told: list[int] = []
    results = check_stored(rows, threads=2, tell=told.append)

    assert rows == [one.row for one in results]
    assert [200] == [i for i, one in enumerate(results) if one.problems]
    assert sorted(told) == told
    assert 300 == told[-1]
