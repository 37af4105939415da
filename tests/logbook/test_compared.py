from __future__ import annotations

from dataclasses import dataclass, replace

from flightlog.logbook.checking import check_rows
from flightlog.logbook.codes import Head, code, head_code, read_head
from flightlog.logbook.device import Remembered
from flightlog.logbook.entry import Entry, device_name
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


def test_a_head_typed_with_the_number_of_another_entry_is_a_break():
    entry = ENTRIES[33]
    report = checked(ENTRIES, heads=[read_head(f"7.{code(entry.hash)}")])

    assert f"head 7.{code(entry.hash)}" == report.first_break.name
    assert f"the code is that of {entry.name}, and the number before it another one" == (
        report.first_break.found
    )
    assert 1 == len(report.breaks)
    assert () == report.compared
    assert "" == report.older


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
    assert 2 == sum(line.endswith("which is broken") for line in report.compared)
    assert 1 == sum("is here, but not all that it had seen" in line for line in report.compared)


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


def cut_at_three_from_the_end() -> list[Entry]:
    laptop = [e for e in ENTRIES if e.body.device == public_of("laptop")]
    return list(ENTRIES[: ENTRIES.index(laptop[-3]) + 1])


def last_of(name: str) -> Entry:
    return next(e for e in reversed(ENTRIES) if e.body.device == public_of(name))


def missing_of(name: str, cut: list[Entry]) -> str:
    """What is missing of a device, counted by hand."""
    left = sum(e.body.device == public_of(name) for e in cut)
    return (
        f"entries {left + 1} to {last_of(name).body.number} of device "
        f"{device_name(public_of(name))} are missing"
    )


def test_a_copy_that_lacks_only_what_was_noted_is_an_older_one():
    cut = cut_at_three_from_the_end()
    laptop, tablet = last_of("laptop"), last_of("tablet")
    one = checked(cut, remembered=[kept(laptop)])
    # Of one device only the highest number counts; a head from paper that is remembered is known.
    both = checked(cut, remembered=[kept(laptop), kept(tablet)], heads=[head_of(laptop)])
    bare = checked(cut, remembered=[kept(tablet)], heads=[read_head(code(tablet.hash))])

    assert missing_of("laptop", cut) == one.older
    assert {missing_of("laptop", cut), missing_of("tablet", cut)} == set(both.older.split("; "))
    assert 3 == len(both.breaks)
    assert missing_of("tablet", cut) == bare.older
    assert not both.ok


def test_a_head_from_paper_beyond_every_chain_says_that_the_copy_is_older():
    cut = cut_at_three_from_the_end()
    tablet = last_of("tablet")
    report = checked(cut, heads=[head_of(tablet)])

    assert f"{missing_of('tablet', cut)}, or" in f"{report.older}, or"
    assert report.older.endswith(", or a whole chain")


def test_a_whole_device_that_is_missing_is_an_older_copy():
    maker = Maker()
    founding = maker.found()
    tablet = maker.add("tablet", "chain-start", {"reason": "new"}, seen=[founding])
    report = checked([founding], remembered=[kept(tablet)])

    assert f"entry 1 of {tablet.name.partition(' of ')[2]} is missing" == report.older


def test_of_many_devices_whose_ends_are_missing_some_are_named():
    maker = Maker()
    founding = maker.found()
    names = ("a", "b", "c", "d", "e")
    ends = [maker.add(n, "chain-start", {"reason": "new"}, seen=[founding]) for n in names]
    report = checked([founding], remembered=[kept(end) for end in ends])

    assert 3 == report.older.count("is missing")
    assert report.older.endswith("; and more in 2 others")


def test_with_any_other_break_it_is_broken_and_not_only_older():
    cut = cut_at_three_from_the_end()
    laptop = kept(last_of("laptop"))
    holed = [*cut[:9], *cut[10:]]
    rewritten = replace(laptop, number=1)
    other = Maker()
    other.found("tablet")
    strange = head_of(other.add("tablet", "remark", {"text": "elsewhere"}))
    for report in (
        checked(holed, remembered=[laptop]),
        checked(cut, remembered=[laptop, rewritten]),
        checked(cut, remembered=[laptop], heads=[strange]),
        checked(cut, remembered=[laptop], heads=[read_head(f"7.{code(cut[3].hash)}")]),
        check_rows(rows_of(cut), remembered=[laptop], damage=["a page is torn"]),
        check_rows(rows_of(cut), remembered=[laptop], attachment_problem=lambda _file: "gone"),
    ):
        assert "" == report.older
        assert len(report.breaks) > 1


def test_of_what_is_remembered_only_that_has_a_line_which_no_other_vouches_for():
    laptop, tablet = kept(ENTRIES[20]), kept(ENTRIES[49])
    report = checked(ENTRIES, remembered=[laptop, tablet])

    assert report.ok
    assert 1 == len(report.compared)
    assert "49 entries before it" in report.compared[0]


def test_the_tips_of_a_whole_record_are_what_is_noted_of_it():
    maker = Maker()
    founding = maker.found()
    laptop = maker.add("laptop", "remark", {"text": "a"})
    tablet = maker.add("tablet", "chain-start", {"reason": "new"}, seen=[founding])
    whole = checked(maker.entries)
    holed = checked([founding, *maker.entries[2:]], remembered=[kept(laptop)])

    assert {kept_as_noted(laptop), kept_as_noted(tablet)} == set(whole.tips)
    assert founding.body.team == whole.team
    assert () == holed.tips, "of what is not whole nothing is noted"
    assert founding.body.team == holed.team


def kept_as_noted(entry: Entry) -> Remembered:
    return Remembered(entry.body.device, entry.body.number, entry.hash)


def test_heads_are_compared_also_where_a_stored_hash_is_no_text():
    for strange in (None, 7, b"x"):
        rows = rows_of(ENTRIES)
        rows[33] = replace(rows[33], hash=strange)
        report = check_rows(
            rows, heads=[head_of(ENTRIES[33])], remembered=[kept(ENTRIES[33]), kept(ENTRIES[20])]
        )

        assert not report.ok
        assert "is here, and all that it had seen" in report.compared[-1]
