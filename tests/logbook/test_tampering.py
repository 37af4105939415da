"""Whatever is changed in a stored record is found, and the entry that was changed is named.

All on rows in memory: 50 entries, two devices, persons' signatures, an attachment, relations.
Each replaced byte is replaced by one other value, chosen from a seed.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import pytest

from flightlog.logbook.check_report import Report
from flightlog.logbook.checking import check_rows
from flightlog.logbook.codes import code, head_code, read_head
from flightlog.logbook.entry import Body, Entry
from flightlog.logbook.store import Row
from flightlog.logbook.stored import Known
from tests.logbook.made import Maker, key_of, public_of, rows_of, signed_entry
from tests.logbook.made_logbook import attachment_problem, made_logbook, without

SEED = 20270302
ENTRIES = made_logbook()
ROWS = rows_of(ENTRIES)


@pytest.fixture(scope="module")
def known() -> Known:
    """The untouched rows, read and verified once."""
    done: Known = {}
    report = check_rows(ROWS, attachment_problem=attachment_problem, known=done)
    assert report.ok
    assert len(ROWS) == len(done)
    return done


def checked(rows: Sequence[Row], known: Known, **options: object) -> Report:
    return check_rows(rows, attachment_problem=attachment_problem, known=dict(known), **options)


def instead(place: int, row: Row) -> list[Row]:
    return [*ROWS[:place], row, *ROWS[place + 1 :]]


# --- every byte


def each_byte(data: bytes, rng: random.Random) -> Iterator[bytes]:
    for place in range(len(data)):
        changed = bytearray(data)
        changed[place] ^= rng.randrange(1, 256)
        yield bytes(changed)


def stored_text(data: bytes) -> str:
    """As the store reads a text that may be damaged."""
    return data.decode("utf-8", "replace")


def each_digit(number: int, rng: random.Random) -> Iterator[int]:
    digits = str(number)
    for place, digit in enumerate(digits):
        other = rng.choice([d for d in "0123456789" if d != digit])
        yield int(digits[:place] + other + digits[place + 1 :])


def changed_rows(column: str, row: Row, rng: random.Random) -> Iterator[Row]:
    value = getattr(row, column)
    if isinstance(value, bytes):
        yield from (replace(row, **{column: data}) for data in each_byte(value, rng))
    elif isinstance(value, str):
        for data in each_byte(value.encode(), rng):
            yield replace(row, **{column: stored_text(data)})
    elif isinstance(value, int):
        yield from (replace(row, **{column: number}) for number in each_digit(value, rng))


@pytest.mark.parametrize(
    ("column", "fewest"),
    [
        ("data", 25_000),
        ("device_signature", 50 * 64),
        ("people_signatures", 30 * 64),
        ("hash", 50 * 64),
        ("device", 50 * 64),
        ("previous", 48 * 64),
        ("number", 80),
    ],
)
def test_every_changed_byte_is_found_and_its_entry_named(column, fewest, known):
    rng = random.Random(f"{SEED} {column}")
    count = 0
    for place, row in enumerate(ROWS):
        for changed in changed_rows(column, row, rng):
            report = checked(instead(place, changed), known)
            count += 1

            assert not report.ok
            assert report.first_break is not None
            assert row.received == report.first_break.received
            assert ENTRIES[place].name in report.first_break.name
            assert 1 == len(report.breaks), "one cause is one break"
    assert fewest <= count


def test_a_signature_that_was_taken_away_or_added_is_found(known):
    for place, row in enumerate(ROWS):
        for signatures in (row.people_signatures[64:], row.people_signatures + bytes(64)):
            if signatures != row.people_signatures:
                changed = replace(row, people_signatures=signatures)
                report = checked(instead(place, changed), known)

                assert row.received == report.first_break.received


def test_a_signer_taken_out_of_the_bytes_as_well_is_found(known):
    place, row = next((i, r) for i, r in enumerate(ROWS) if r.people_signatures)
    body = ENTRIES[place].body
    forged = signed_entry("somebody else", replace(body, signers=()))
    changed = rows_of([forged])[0]
    report = checked(instead(place, replace(changed, received=row.received)), known)

    assert row.received == report.first_break.received
    assert "the device's signature does not fit the bytes" in report.first_break.found


# --- deletions


def test_every_deletion_before_the_end_is_found_and_the_entry_named(known):
    for place, entry in enumerate(ENTRIES[:-1]):
        report = checked(rows_of(without(ENTRIES, place)), known)
        same_chain = any(e.body.previous == entry.hash for e in ENTRIES)
        name = entry.name if same_chain else code(entry.hash)

        assert 1 == len(report.breaks)
        assert name in report.first_break.name
        assert report.first_break.found.startswith("missing; ")


@pytest.mark.parametrize("length", [2, 3, 7])
def test_a_run_that_was_taken_out_of_a_chain_is_named_as_a_run(length, known):
    laptop = [i for i, e in enumerate(ENTRIES) if e.body.device == public_of("laptop")]
    gone = laptop[4 : 4 + length]
    report = checked(rows_of(without(ENTRIES, *gone)), known)
    first, last = (ENTRIES[gone[i]].body.number for i in (0, -1))

    assert any(one.name.startswith(f"entries {first} to {last} of device") for one in report.breaks)


def test_a_cut_tail_is_found_only_with_a_head_from_elsewhere(known):
    last = ENTRIES[-1]
    head = read_head(head_code(last.body.number, last.hash))
    for cut in range(1, 11):
        rows = ROWS[:-cut]
        alone = checked(rows, known)
        compared = checked(rows, known, heads=[head])

        assert alone.ok
        assert any("cut off, or the whole was written anew" in line for line in alone.cannot_know)
        assert not compared.ok
        assert f"{last.body.number}.{code(last.hash)}" in compared.first_break.name
        assert "missing" in compared.first_break.found
        assert not any("written anew" in line for line in compared.cannot_know)


# --- order


def test_every_swap_of_two_rows_is_found(known):
    # In this record each entry has seen the one received before it, so there is one order only.
    for one, other in combinations(range(len(ROWS)), 2):
        rows = list(ROWS)
        rows[one] = replace(ROWS[one], received=ROWS[other].received)
        rows[other] = replace(ROWS[other], received=ROWS[one].received)
        report = checked(rows, known)

        assert not report.ok
        assert one + 1 == report.first_break.received
        assert ENTRIES[other].name == report.first_break.name
        assert "was received before" in report.first_break.found


def test_every_swap_of_what_two_rows_hold_is_found(known):
    for one, other in combinations(range(len(ROWS)), 2):
        rows = list(ROWS)
        for place, source in ((one, ROWS[other]), (other, ROWS[one])):
            rows[place] = replace(
                ROWS[place],
                data=source.data,
                device_signature=source.device_signature,
                people_signatures=source.people_signatures,
            )
        report = checked(rows, known)

        assert one + 1 == report.first_break.received
        assert {one + 1, other + 1} <= {b.received for b in report.breaks}


# --- insertions


def device_of(body: Body) -> str:
    return "laptop" if body.device == public_of("laptop") else "tablet"


def copy_of(entry: Entry) -> Callable[[int], list[Entry]]:
    return lambda place: [entry]


def by_another_key(place: int) -> list[Entry]:
    body = replace(ENTRIES[place].body, content={"text": "put in"}, signers=())
    return [signed_entry("", body, device_key=key_of("somebody else"))]


def by_the_same_device(place: int) -> list[Entry]:
    body = replace(ENTRIES[place].body, content={"text": "put in"}, signers=())
    return [signed_entry(device_of(body), body)]


def chain_without_a_founding(_place: int) -> list[Entry]:
    maker = Maker()
    maker.add("made up", "chain-start", {"reason": "made up"})
    maker.add("made up", "remark", {"text": "made up"})
    return maker.entries


def chain_with_a_founding_of_its_own(_place: int) -> list[Entry]:
    maker = Maker(team=ENTRIES[0].body.team)
    maker.add("made up", "founding", {"nonce": "11" * 16, "people": []})
    return maker.entries


def chain_of_another_team(_place: int) -> list[Entry]:
    maker = Maker(team="e" * 64)
    maker.add("made up", "chain-start", {"reason": "made up"}, seen=[ENTRIES[0]])
    return maker.entries


@pytest.mark.parametrize(
    ("made", "found"),
    [
        (copy_of(ENTRIES[7]), "already"),
        (by_another_key, "the device's signature does not fit the bytes"),
        (by_the_same_device, "fork"),
        (chain_without_a_founding, "without having seen the founding"),
        (chain_with_a_founding_of_its_own, "without having seen the founding"),
        (chain_of_another_team, "it is of another team"),
    ],
)
def test_every_insertion_before_the_end_is_found(made, found, known):
    for place in range(1, len(ENTRIES)):
        more = made(place)
        entries = [*ENTRIES[:place], *more, *ENTRIES[place:]]
        report = checked(rows_of(entries), known)

        assert not report.ok
        # Of a copy or a fork it is the second one received that is too much.
        assert report.first_break.received in (place + 1, place + 2)
        assert any(found in one.found for one in report.breaks)
