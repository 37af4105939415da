from __future__ import annotations

from dataclasses import dataclass, replace

from flightlog.logbook.checking import check_rows
from flightlog.logbook.codes import Head, code, head_code, read_head
from flightlog.logbook.entry import Entry
from tests.logbook.made import Maker, public_of, rows_of, signed_entry
from tests.logbook.made_logbook import checked, made_logbook

ENTRIES = made_logbook()


@dataclass(frozen=True)
class Kept:
    """A head that a laptop remembers."""

    device: str
    number: int
    hash: str


def kept(entry: Entry) -> Kept:
    return Kept(entry.body.device, entry.body.number, entry.hash)


def head_of(entry: Entry) -> Head:
    return read_head(head_code(entry.body.number, entry.hash))


def test_a_head_that_is_here_vouches_for_all_that_it_had_seen():
    entry = ENTRIES[33]
    report = checked(ENTRIES, heads=[head_of(entry)])

    assert report.ok
    assert (
        f"head {head_code(entry.body.number, entry.hash)}: {entry.name} is here, and all that it "
        "had seen: 33 entries before it",
    ) == report.compared
    assert "whether entries that came after the heads compared here were cut off" in (
        report.cannot_know
    )


def test_a_head_counts_only_what_it_had_seen():
    maker = Maker()
    founding = maker.found()
    maker.add("laptop", "remark", {"text": "a"})
    tablet = maker.add("tablet", "chain-start", {"reason": "new"}, seen=[founding])
    report = checked(maker.entries, heads=[head_of(tablet)])

    assert "had seen: 1 entry before it" in report.compared[0]


def test_a_head_typed_with_a_wrong_number_is_told():
    entry = ENTRIES[33]
    report = checked(ENTRIES, heads=[read_head(f"7.{code(entry.hash)}")])

    assert report.ok
    assert report.compared[1].endswith(f"its number is {entry.body.number}, not 7")


def test_a_head_beyond_the_end_names_what_is_missing():
    laptop = [e for e in ENTRIES if e.body.device == public_of("laptop")]
    last = laptop[-1]
    cut = ENTRIES[: ENTRIES.index(laptop[-3]) + 1]
    found = checked(cut, heads=[head_of(last)]).first_break
    number = last.body.number

    assert found.received is None
    assert f"head {head_code(number, last.hash)}" == found.name
    assert found.found.startswith(f"not here: entries {number - 1} to {number} of device")
    assert "are missing" in found.found


def test_a_head_of_another_record_is_a_break():
    other = Maker()
    other.found("tablet")
    strange = other.add("tablet", "remark", {"text": "elsewhere"})
    named = checked(ENTRIES, heads=[head_of(strange)]).first_break
    bare = checked(ENTRIES, heads=[read_head(strange.hash)]).first_break

    assert "though every chain is long enough: its own was written anew" in named.found
    assert f"head {code(strange.hash)}" == bare.name
    assert "entries at an end are missing, or the record is another one" in bare.found


def test_a_head_that_is_here_but_broken_is_one_break():
    rows = rows_of(ENTRIES)
    rows[33] = replace(rows[33], data=b"{}")
    entry = ENTRIES[33]
    report = check_rows(rows, heads=[head_of(entry)], remembered=[kept(entry), kept(ENTRIES[40])])

    assert 1 == len(report.breaks)
    assert all("which is broken" in line for line in report.compared[:2])
    assert report.compared[2].endswith("is here, but not all that it had seen")


def test_what_this_laptop_remembers_is_compared():
    last = ENTRIES[-1]
    fork = signed_entry("tablet", replace(last.body, content={"text": "written anew"}))
    anew = [*ENTRIES[:-1], fork]
    cut = checked(ENTRIES[:-1], remembered=[kept(last)]).first_break
    written_anew = checked(anew, remembered=[kept(last)]).first_break
    whole = checked(ENTRIES, remembered=lambda team: [kept(last)] if team else [])

    assert f"entry {last.body.number} of device" in cut.found
    assert "which this laptop remembers" in cut.name
    assert "the chain was written anew" in written_anew.found
    assert whole.ok
    assert "49 entries before it" in whole.compared[0]
