from __future__ import annotations

from dataclasses import replace

from flightlog.logbook.check_report import MOST_LISTED
from flightlog.logbook.checking import check_rows, report_lines
from flightlog.logbook.codes import code
from tests.logbook.made import Maker, public_of, rows_of, signed_entry
from tests.logbook.made_logbook import checked, made_logbook, without

ENTRIES = made_logbook()


def test_of_several_breaks_the_first_received_is_named_first():
    rows = rows_of(without(ENTRIES, 30))
    rows[40] = replace(rows[40], data=b"{}")
    rows[10] = replace(rows[10], number=99)
    report = check_rows(rows)

    assert [11, 31, 41] == [one.received for one in report.breaks]
    assert report.breaks[0] == report.first_break
    assert ENTRIES[10].name == report.breaks[0].name
    assert ENTRIES[30].name == report.breaks[1].name
    assert f"{ENTRIES[41].name} as stored" == report.breaks[2].name


def test_one_cause_is_one_break_and_who_rests_on_it_is_counted():
    maker = Maker()
    founding = maker.found()
    for number in range(30):
        maker.add(f"device {number}", "chain-start", {"reason": "new"}, seen=[founding])
    report = check_rows(rows_of(maker.entries[1:]))

    assert 1 == len(report.breaks)
    assert code(founding.hash) in report.first_break.name
    assert f"missing; {maker.entries[1].name} has seen it" == report.first_break.found
    assert 29 == report.first_break.rest_on_it


def test_a_missing_entry_is_named_by_its_chain_though_another_device_notices_it_first():
    maker = Maker()
    founding = maker.found()
    remark = maker.add("laptop", "remark", {"text": "a"})
    maker.add("tablet", "chain-start", {"reason": "new"}, seen=[remark])
    follower = maker.add("laptop", "remark", {"text": "b"})
    entries = [founding, *maker.entries[2:]]
    report = check_rows(rows_of(entries))

    assert (2, remark.name) == (report.first_break.received, report.first_break.name)
    assert f"missing; {follower.name} follows it" == report.first_break.found
    assert 1 == report.first_break.rest_on_it


def test_an_entry_changed_together_with_its_stored_hash_is_still_one_break():
    rows = rows_of(ENTRIES)
    rows[20] = replace(rows[20], data=rows[20].data[:-1], hash="0" * 64)
    report = check_rows(rows)
    own = [b for b in report.breaks if b.received == 21]

    assert f"{ENTRIES[20].name} as stored" == own[0].name
    assert 1 <= own[0].rest_on_it
    assert not any(ENTRIES[20].name == b.name for b in report.breaks), "it is not called missing"


def test_alike_breaks_of_one_device_are_one_and_the_list_is_bounded():
    rows = [replace(row, data=b"") for row in rows_of(ENTRIES)]
    report = check_rows(rows)
    every = [replace(row, number=row.number + 100, hash=str(n)) for n, row in enumerate(rows)]
    distinct = [replace(row, device=f"{n:064x}") for n, row in enumerate(every)]
    bounded = check_rows(distinct)

    assert 2 == len(report.breaks), "one for each device"
    assert 48 == sum(one.alike for one in report.breaks)
    assert MOST_LISTED == len(bounded.breaks)
    assert 30 == bounded.more_breaks
    assert "  ... and 30 more" in report_lines(bounded)


def test_a_chain_that_jumps_or_changes_devices_is_broken():
    maker = Maker()
    founding = maker.found()
    body = maker.add("laptop", "remark", {"text": "x"}, keep=False).body
    jumped = signed_entry("laptop", replace(body, number=7))
    stolen = signed_entry("tablet", replace(body, device=public_of("tablet")))
    report = check_rows(rows_of([founding, jumped, stolen]))

    assert [
        f"it follows {founding.name}, so its number is wrong",
        f"it follows {founding.name}, of another device",
    ] == [one.found for one in report.breaks]


def test_concurrent_entries_may_be_received_in_any_order():
    maker = Maker()
    founding = maker.found()
    one = maker.add("laptop", "remark", {"text": "a"})
    other = maker.add("tablet", "chain-start", {"reason": "new"}, seen=[founding])

    assert checked([founding, one, other]).ok
    assert checked([founding, other, one]).ok
    assert not checked([other, founding, one]).ok


def test_columns_of_any_kind_break_their_own_row_only():
    for change in ({"number": None}, {"number": "7"}, {"device": None}, {"hash": None}):
        rows = rows_of(ENTRIES)
        rows[20] = replace(rows[20], data=b"{}", **change)
        report = check_rows(rows)

        assert {21} <= {one.received for one in report.breaks}
        assert "the column" in next(b for b in report.breaks if b.received == 21).found
