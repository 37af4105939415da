from __future__ import annotations

import os
import shutil
import sqlite3
import struct
import tempfile
import time
from contextlib import suppress
from itertools import permutations
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.errors import FlightlogError, LogbookError, TeamFolderError
from flightlog.logbook import merge as merging
from flightlog.logbook.book import Draft
from flightlog.logbook.checking import check
from flightlog.logbook.entry import (
    Attachment,
    Body,
    ClaimedTime,
    Effect,
    Entry,
    Relation,
    Signer,
    device_name,
    sorted_seen,
    write_body,
)
from flightlog.logbook.layout import NAMES, RECORD
from flightlog.logbook.merge import merge, merged_lines
from flightlog.logbook.names import Names, Person
from flightlog.logbook.people_drafts import withdrawal
from flightlog.logbook.signatures import Purpose, sign
from flightlog.logbook.store import Store
from tests.logbook.interrupted import interrupted_copy, name_another_file
from tests.logbook.made import NOON, Maker, key_of, public_of
from tests.logbook.teams import Laptop, remark, signed


@pytest.fixture
def laptops(tmp_path):
    """Three laptops with copies of one team folder."""
    first = Laptop(tmp_path / "0")
    first.found().close()
    return [first, *(Laptop(tmp_path / str(n)).copy_from(first) for n in (1, 2))]


def add(laptop: Laptop, text: str, name: str = "pilot", **parts) -> Entry:
    with laptop.open() as book:
        return signed(book, remark(text, name, **parts), [name])


def unite(to: Laptop, other: Laptop):
    with to.open() as book:
        return merge(book, other.logbook)


def hashes(laptop: Laptop) -> list[str]:
    with laptop.open(read_only=True) as book:
        return [entry.hash for entry in book.order]


def state(laptop: Laptop) -> dict[str, object]:
    """Everything that must not depend on the way in which it came together."""
    with laptop.open(read_only=True) as book:
        return {
            "order": [entry.hash for entry in book.order],
            "roles": [(p.id, p.key, p.roles) for p in book.people.persons],
            "counts": [book.standing.counts(entry) for entry in book.order],
            "contradictions": [c.text for c in book.standing.contradictions],
            "names": dict(Names.read(laptop.logbook / NAMES).persons),
        }


# --- the union


def test_both_get_what_the_other_had(laptops):
    one, two, _ = laptops
    here, there = add(one, "here"), add(two, "there")

    merged = unite(one, two)
    unite(two, one)

    assert there in merged.added
    assert hashes(one) == hashes(two)
    assert {here.hash, there.hash} <= set(hashes(one))
    assert check(one.logbook).ok
    assert check(two.logbook).ok


def test_the_next_entry_has_seen_what_was_merged(laptops):
    one, two, _ = laptops
    there = add(two, "there")
    unite(one, two)

    with one.open() as book:
        later = signed(book, remark("later", "pilot"), ["pilot"])
        assert book.order.has_seen(later, there)


# What three laptops do: write, or take over from another one.
ACTIONS = st.lists(
    st.tuples(st.integers(0, 2), st.one_of(st.none(), st.integers(0, 2))), min_size=2, max_size=8
)


@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(ACTIONS, st.data())
def test_any_order_and_number_of_merges_gives_the_same_record(tmp_path_factory, actions, data):
    root = tmp_path_factory.mktemp("teams")
    first = Laptop(root / "0")
    first.found().close()
    laptops = [first, *(Laptop(root / str(n)).copy_from(first) for n in (1, 2))]
    for number, (who, other) in enumerate(actions):
        if other is None:
            add(laptops[who], f"{number}", data.draw(st.sampled_from(["pilot", "mechanic"])))
            name = Names.read(laptops[who].logbook / NAMES)
            name.with_name(public_of("pilot"), f"name {number}").write(laptops[who].logbook / NAMES)
        else:
            unite(laptops[who], laptops[other])

    states = []
    for order in permutations(range(3)):
        place = Laptop(root / f"united-{''.join(map(str, order))}").copy_from(laptops[order[0]])
        for index in (*order[1:], order[1], order[0]):
            unite(place, laptops[index])
        states.append(state(place))
    # (0 with 1) with 2, and 0 with (1 with 2)
    left, right = (Laptop(root / name).copy_from(laptops[1]) for name in ("left", "right"))
    unite(left, laptops[2])
    unite(right, laptops[0])
    unite(right, left)
    states.append(state(right))

    assert all(states[0] == other for other in states[1:])


def test_merging_with_itself_brings_nothing(laptops):
    one = laptops[0]
    add(one, "x")
    before = hashes(one)

    assert () == unite(one, one).added
    assert before == hashes(one)


def test_only_the_other_folder_is_read(laptops):
    one, two, _ = laptops
    add(two, "there")
    before = {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in two.team.rglob("*")}

    unite(one, two)

    assert before == {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in two.team.rglob("*")}


# --- what it means


def test_one_release_spent_on_two_laptops_is_a_contradiction(laptops):
    one, two, _ = laptops
    release = add(one, "fit for one flight", effect=Effect("permits", "aircraft PN-01"))
    unite(two, one)
    spent = [
        add(laptop, f"lift-off {n}", relations=[Relation("spends", release.hash)])
        for n, laptop in enumerate((one, two))
    ]
    with one.open(read_only=True) as book:
        assert () == book.standing.contradictions

    unite(one, two)
    unite(two, one)

    for laptop in (one, two):
        with laptop.open(read_only=True) as book:
            (contradiction,) = book.standing.contradictions
            assert {e.hash for e in spent} <= {e.hash for e in contradiction.entries}
        assert check(laptop.logbook).ok  # the record is whole, and says what contradicts


def test_a_defect_on_one_laptop_beats_a_release_on_the_other(laptops):
    one, two, _ = laptops
    release = add(one, "fit for one flight", effect=Effect("permits", "aircraft PN-01"))
    add(two, "crack in the spar", "mechanic", effect=Effect("restricts", "aircraft PN-01"))
    with one.open(read_only=True) as book:
        assert book.standing.permit(release).holds

    unite(one, two)

    with one.open(read_only=True) as book:
        assert not book.standing.permit(release).holds


def test_a_signature_made_elsewhere_after_a_revocation_is_kept_and_counts_for_nothing(laptops):
    from flightlog.logbook.people_drafts import revocation

    one, two, _ = laptops
    with one.open() as book:
        draft = revocation(public_of("mechanic"), "lost", "stick lost", public_of("pilot"))
        signed(book, draft, ["pilot"])
    elsewhere = add(two, "signed with the lost stick", "mechanic")

    unite(one, two)

    with one.open(read_only=True) as book:
        assert elsewhere in list(book.order)
        assert not book.standing.counts(elsewhere)
        assert any("revoked" in problem for problem in book.standing.problems(elsewhere))


def test_an_unknown_kind_is_kept_shown_and_handed_on(laptops):
    one, two, three = laptops
    with two.open() as book:
        entry = book.append(Draft("of-a-later-program", {"new": "thing"}))

    unite(one, two)
    unite(three, one)

    with three.open(read_only=True) as book:
        assert entry in list(book.order)
        assert any("unknown" in note or "not known" in note for note in book.standing.notes(entry))


def test_an_erased_name_does_not_come_back(laptops):
    one, two, _ = laptops
    person = public_of("pilot")
    for laptop in (one, two):
        Names().with_name(person, "A. Pilot").write(laptop.logbook / NAMES)
    Names.read(one.logbook / NAMES).erased(person).write(one.logbook / NAMES)

    unite(one, two)
    unite(two, one)

    for laptop in (one, two):
        assert Names.read(laptop.logbook / NAMES).of(person) is None


# --- attachments


def with_photo(laptop: Laptop, tmp_path: Path) -> Entry:
    photo = tmp_path / "horn.jpg"
    photo.write_bytes(b"picture of the horn")
    with laptop.open() as book:
        return signed(book, remark("horn", "pilot", attachments=[book.attach(photo)]), ["pilot"])


def test_attachments_come_along(laptops, tmp_path):
    one, two, _ = laptops
    (attachment,) = with_photo(two, tmp_path).body.attachments

    merged = unite(one, two)

    assert 1 == merged.attachments
    with one.open(read_only=True) as book:
        assert book.attachments.problem(attachment) is None
    assert 0 == unite(one, two).attachments


def test_an_attachment_that_was_missing_is_repaired_by_the_next_merge(laptops, tmp_path):
    one, two, _ = laptops
    (attachment,) = with_photo(two, tmp_path).body.attachments
    unite(one, two)
    with one.open(read_only=True) as book:
        book.attachments.path(attachment.sha256).unlink()

    assert 1 == unite(one, two).attachments
    assert check(one.logbook).ok


@pytest.mark.parametrize("harm", ["removed", "changed", "grown", "linked"])
def test_an_attachment_that_is_not_whole_is_left_out_and_said(laptops, tmp_path, harm):
    one, two, _ = laptops
    (attachment,) = with_photo(two, tmp_path).body.attachments
    with two.open(read_only=True) as book:
        file = book.attachments.path(attachment.sha256)
    data = file.read_bytes()
    file.unlink()
    if harm == "changed":
        file.write_bytes(data[:-1] + b"?")
    elif harm == "grown":
        file.write_bytes(data * 100)
    elif harm == "linked":
        secret = tmp_path / "secret"
        secret.write_bytes(data)
        try:
            file.symlink_to(secret)
        except OSError:
            pytest.skip("links can't be made here")

    merged = unite(one, two)

    assert (attachment,) == merged.missing
    assert any("horn.jpg" in line for line in merged_lines(merged))
    with one.open(read_only=True) as book:
        assert not book.attachments.path(attachment.sha256).exists()


# --- hostile folders


def refused(one: Laptop, other: Path, error: type[FlightlogError], match: str) -> None:
    """Merging is refused, and nothing was written."""
    before = {p: p.read_bytes() for p in one.team.rglob("*") if p.is_file()}
    with one.open() as book, pytest.raises(error, match=match):
        merge(book, other)
    assert before == {p: p.read_bytes() for p in one.team.rglob("*") if p.is_file()}


def tampered(laptop: Laptop, *statements: tuple[str, tuple[object, ...]]) -> None:
    """Run statements on a record behind the program's back, and leave its form as it was."""
    connection = sqlite3.connect(laptop.logbook / RECORD, isolation_level=None)
    triggers = connection.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall()
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    for statement, values in statements:
        connection.execute(statement, values)
    for _, sql in triggers:
        connection.execute(sql)
    connection.close()


def test_one_changed_byte_refuses_the_whole_and_names_the_entry(laptops):
    one, two, _ = laptops
    add(two, "nil defects")
    entry = add(two, "nil defects again")
    tampered(
        two,
        (
            "UPDATE entries SET data = ? WHERE hash = ?",
            (entry.data.replace(b"nil", b"two"), entry.hash),
        ),
    )

    refused(one, two.logbook, LogbookError, "entry 3 of device")


def test_a_removed_entry_refuses_the_whole(laptops):
    one, two, _ = laptops
    entry = add(two, "will be removed")
    add(two, "follows")
    tampered(two, ("DELETE FROM entries WHERE hash = ?", (entry.hash,)))

    refused(one, two.logbook, LogbookError, "missing")


def test_an_entry_of_a_newer_schema_is_refused_in_words(laptops):
    one, two, _ = laptops
    entry = add(two, "x")
    data = entry.data.replace(b"flightlog.entry/1", b"flightlog.entry/2")
    signature = sign(key_of("some device"), Purpose.DEVICE, data)  # read no further than the schema
    tampered(
        two,
        (
            "UPDATE entries SET data = ?, device_signature = ? WHERE hash = ?",
            (data, signature, entry.hash),
        ),
    )

    refused(one, two.logbook, LogbookError, "newer than this program")


def test_a_record_of_a_newer_program_is_refused_in_words(laptops):
    one, two, _ = laptops
    tampered(two, ("INSERT INTO marks (step) VALUES ('years later')", ()))

    refused(one, two.logbook, TeamFolderError, "newer flightlog")


def test_another_team_is_refused(laptops, tmp_path):
    stranger = Laptop(tmp_path / "stranger")
    stranger.found().close()

    refused(laptops[0], stranger.logbook, TeamFolderError, "another team")


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TRIGGER spring AFTER INSERT ON entries BEGIN DELETE FROM entries; END",
        "ALTER TABLE entries ADD COLUMN more TEXT",
        "DROP INDEX entries_by_device",
    ],
)
def test_tables_that_no_program_of_ours_made_are_refused(laptops, statement):
    one, two, _ = laptops
    tampered(two, (statement, ()))

    refused(one, two.logbook, LogbookError, "not as this program makes them")


def test_a_view_that_counts_for_ever_is_no_table_of_entries(laptops):
    one, two, _ = laptops
    _replace_by_view(two)

    refused(one, two.logbook, LogbookError, "not as this program makes them")


def _replace_by_view(laptop: Laptop) -> None:
    connection = sqlite3.connect(laptop.logbook / RECORD, isolation_level=None)
    connection.execute("DROP TABLE entries")
    connection.execute(
        "CREATE VIEW entries AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i FROM n) "
        "SELECT i AS received FROM n"
    )
    connection.close()


@pytest.mark.parametrize(
    "statement", ["CREATE TABLE birds (name TEXT)", "CREATE VIEW v AS SELECT 1", "ANALYZE"]
)
def test_nothing_may_stand_beside_our_tables(laptops, statement):
    one, two, _ = laptops
    tampered(two, (statement, ()))

    refused(one, two.logbook, LogbookError, r"\('(birds|v|sqlite_stat1)' was added\)")


def test_a_schema_without_end_is_not_even_read(laptops):
    """Reading it takes SQLite the square of the number of tables: these would take hours."""
    one, two, _ = laptops
    connection = sqlite3.connect(two.logbook / RECORD, isolation_level=None)
    connection.execute("PRAGMA writable_schema=ON")
    connection.execute(
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 500000) "
        "INSERT INTO sqlite_master SELECT 'view', 'v' || i, 'v' || i, 0, "
        "'CREATE VIEW v' || i || ' AS SELECT 1' FROM n"
    )
    connection.close()

    refused(one, two.logbook, LogbookError, "more tables than this program makes")


def test_our_own_schema_stands_on_one_page(laptops):
    # sqlite.org/fileformat.html, 1.6: byte 100 is the kind of the first page, 13 a leaf.
    assert 13 == (laptops[0].logbook / RECORD).read_bytes()[100]


def test_what_takes_too_long_to_read_is_refused(laptops, monkeypatch):
    one, two, _ = laptops
    for n in range(5):
        add(two, f"{n}")
    monkeypatch.setattr(merging, "MOST_WORK_S", -1.0)
    monkeypatch.setattr(merging, "_STEPS", 1)

    refused(one, two.logbook, TeamFolderError, "takes too long to read")


@pytest.mark.parametrize("place", [0, -5, 2**63 - 1])
def test_a_row_at_a_place_that_no_program_gives_is_refused(laptops, place):
    one, two, _ = laptops
    entry = add(two, "x")
    tampered(two, ("UPDATE entries SET received = ? WHERE hash = ?", (place, entry.hash)))

    refused(one, two.logbook, LogbookError, f"its place in the order received is {place}, which")


def test_bytes_that_are_no_record_are_refused(laptops):
    one, two, _ = laptops
    (two.logbook / RECORD).write_bytes(b"no database, whatever its name" * 100)

    refused(one, two.logbook, FlightlogError, "no database|not a database|no SQLite")


@pytest.mark.parametrize("at", [100, 1000, 5000, 9000, 20000])
def test_a_record_that_was_cut_or_torn_is_refused_or_whole(laptops, at):
    """Never a crash; and what is taken over is whole."""
    one, two, _ = laptops
    for n in range(5):
        add(two, f"{n}" * 500)
    place = two.logbook / RECORD
    data = bytearray(place.read_bytes())
    data[at : at + 64] = b"\xff" * 64
    place.write_bytes(data)

    before = hashes(one)
    with one.open() as book:
        try:
            merge(book, two.logbook)
        except FlightlogError:
            assert before == [e.hash for e in book.order]
    assert check(one.logbook).ok


def test_a_record_beyond_all_bounds_is_not_even_copied(laptops):
    one, two, _ = laptops
    with (two.logbook / RECORD).open("r+b") as file:
        file.truncate(merging.MOST_RECORD_BYTES + 1)  # sparse: it takes no room

    refused(one, two.logbook, TeamFolderError, "the most that is taken over")


def test_more_entries_than_any_team_has_are_refused(laptops, monkeypatch):
    one, two, _ = laptops
    for n in range(4):
        add(two, f"{n}")
    monkeypatch.setattr(merging, "MOST_ENTRIES", 3)

    refused(one, two.logbook, TeamFolderError, "more entries")


def test_links_and_pipes_in_the_place_of_the_record_are_not_opened(laptops, tmp_path):
    one, two, _ = laptops
    place = two.logbook / RECORD
    real = tmp_path / "elsewhere.sqlite"
    shutil.move(place, real)
    try:
        place.symlink_to(real)
    except OSError:
        pytest.skip("links can't be made here")
    refused(one, two.logbook, TeamFolderError, "no plain file")
    place.unlink()
    if hasattr(os, "mkfifo"):
        os.mkfifo(place)
        refused(one, two.logbook, TeamFolderError, "no plain file")


def test_a_folder_without_logbook_is_told(laptops, tmp_path):
    refused(laptops[0], tmp_path, TeamFolderError, "no logbook here")


def test_a_damaged_names_file_costs_only_the_names(laptops):
    one, two, _ = laptops
    there = add(two, "there")
    (two.logbook / NAMES).write_text("{" * 100_000, encoding="utf-8")

    merged = unite(one, two)

    assert there in merged.added
    assert any("names" in note for note in merged.notes)


def test_a_write_that_was_interrupted_there_is_undone_in_our_copy_only(laptops, tmp_path):
    """The other laptop lost power in the middle of a write; its stick is read as it is."""
    one, two, _ = laptops
    there = [add(two, f"{n}" * 300) for n in range(10)]
    torn = interrupted_copy(two.logbook / RECORD, tmp_path / "torn")
    before = {p: p.read_bytes() for p in torn.parent.iterdir()}
    assert 2 == len(before)

    with one.open() as book:
        merged = merge(book, torn.parent)

    assert {e.hash for e in there} <= {e.hash for e in merged.added}
    assert before == {p: p.read_bytes() for p in torn.parent.iterdir()}


@pytest.mark.parametrize("page", [4096, 0])
def test_a_journal_that_would_make_the_copy_long_is_not_undone(laptops, page):
    one, two, _ = laptops
    # Its header (sqlite.org/fileformat.html, 3): no records, and a file of so many pages before.
    head = bytes.fromhex("d9d505f920a163d7") + struct.pack(">IIIII", 0, 1, 10**8, 512, page)
    (two.logbook / f"{RECORD}-journal").write_bytes(head.ljust(512, b"\0"))

    refused(one, two.logbook, TeamFolderError, r"an unfinished write of \d+ bytes")


def test_copies_that_ended_merges_left_behind_are_removed_after_a_day(
    laptops, tmp_path, monkeypatch
):
    one, two, _ = laptops
    room = tmp_path / "temporary"
    left = [room / f"flightlog-merge-{name}" for name in ("old", "new", "file", "link")]
    other = room / "flightlog-else"
    for folder in (room, left[0], left[1], other):
        folder.mkdir()
    (left[0] / RECORD).write_bytes(b"copy")
    left[2].write_bytes(b"a file")
    kept = [left[1], left[2], other]
    with suppress(OSError):
        left[3].symlink_to(other)
        kept.append(left[3])
    long_ago = time.time() - 25 * 3600
    for path in (left[0], left[2], other):
        os.utime(path, (long_ago, long_ago))
    monkeypatch.setattr(tempfile, "tempdir", str(room))

    unite(one, two)

    assert sorted(kept) == sorted(room.iterdir())


def test_a_made_up_journal_removes_no_file_of_ours(laptops, tmp_path):
    one, two, _ = laptops
    for n in range(10):
        add(two, f"{n}" * 300)
    torn = interrupted_copy(two.logbook / RECORD, tmp_path / "torn")
    mine = tmp_path / "mine.txt"
    mine.write_text("mine", encoding="utf-8")
    name_another_file(torn, mine)

    refused(one, torn.parent, TeamFolderError, "names another file")
    assert "mine" == mine.read_text(encoding="utf-8")


def test_a_hostile_name_of_an_attachment_is_only_a_name(laptops, tmp_path):
    one, two, _ = laptops
    photo = tmp_path / "horn.jpg"
    photo.write_bytes(b"picture")
    with two.open() as book:
        attachment = book.attach(photo, "../../../escaped.jpg")
        signed(book, remark("horn", "pilot", attachments=[attachment]), ["pilot"])

    unite(one, two)

    assert not list(tmp_path.rglob("escaped.jpg"))


def test_signatures_alone_are_what_a_made_up_person_has(laptops):
    """A device that nobody knows may add entries; a person that nobody enrolled signs nothing."""
    one, two, _ = laptops
    with two.open(read_only=True) as book:
        body = Body(
            book.team,
            public_of("made-up device"),
            1,
            None,
            sorted_seen([tip.hash for tip in book.order.tips()]),
            ClaimedTime(NOON, "laptop clock"),
            "remark",
            {"text": "all is well"},
            (Signer(public_of("nobody"), "released"),),
        )
    data = write_body(body)
    person = sign(key_of("nobody"), Purpose.PERSON, data)
    entry = Entry(data, sign(key_of("made-up device"), Purpose.DEVICE, data + person), (person,))
    with Store(two.logbook / RECORD) as store, store.writing() as writing:
        writing.add(entry)

    unite(one, two)

    with one.open(read_only=True) as book:
        assert entry in list(book.order)
        assert not book.standing.counts(entry)


# --- strangers


def strange(laptop: Laptop, chains: int, each: int = 1, kind: str = "remark", **parts) -> None:
    """Add chains of devices that somebody made up; on none of them a person signed."""
    with laptop.open(read_only=True) as book:
        founding = next(iter(book.order))
        maker = Maker(team=book.team)
    with Store(laptop.logbook / RECORD) as store, store.writing() as writing:
        for number in range(chains):
            device = f"strange {number}"
            writing.add(maker.add(device, "chain-start", {"reason": "x"}, seen=[founding]))
            for _ in range(each - 1):
                writing.add(maker.add(device, kind, **parts))


def test_a_few_strangers_come_along_and_are_told(laptops):
    one, two, _ = laptops
    add(two, "of a person")
    strange(two, 16)

    merged = unite(one, two)

    assert 18 == len(merged.added)
    (note,) = merged.notes
    assert note.startswith("Of what is new, 16 entries, 16 new chains or branches, are of devices")
    assert device_name(public_of("strange 3")) in note or "and 11 more" in note
    assert () == unite(one, two).notes


def test_many_chains_of_strangers_are_refused_unless_they_are_asked_for(laptops):
    one, two, three = laptops
    strange(two, 17)

    refused(one, two.logbook, TeamFolderError, r"17 new chains .*merge with --strangers")
    with three.open() as book:
        merged = merge(book, two.logbook, strangers=True)
    assert 17 == len(merged.added)
    assert "17 new chains" in merged.notes[0]


def test_many_entries_of_a_stranger_are_refused(laptops, monkeypatch):
    one, two, _ = laptops
    monkeypatch.setattr(merging, "MOST_STRANGE_ENTRIES", 20)
    strange(two, 1, 21)

    refused(one, two.logbook, TeamFolderError, "21 entries, 1 new chains")


def test_a_stranger_that_is_here_already_stays_one(laptops, monkeypatch):
    """Whoever got one entry in has not got a way in for thousands, or for a hundred branches."""
    one, two, three = laptops
    monkeypatch.setattr(merging, "MOST_STRANGE_ENTRIES", 20)
    strange(two, 1)
    unite(one, two)
    strange(three, 1, 22)
    refused(one, three.logbook, TeamFolderError, "21 entries, 0 new chains")
    with one.open(read_only=True) as book:
        (head,) = book.order.chain(public_of("strange 0"))
        maker = Maker(team=book.team)
    with Store(two.logbook / RECORD) as store, store.writing() as writing:
        for number in range(18):
            writing.add(maker.add("strange 0", "remark", {"n": number}, after=head))
    refused(one, two.logbook, TeamFolderError, "18 entries, 17 new chains")


def test_a_device_with_which_a_person_signed_is_no_stranger(laptops, monkeypatch):
    one, two, _ = laptops
    monkeypatch.setattr(merging, "MOST_STRANGE_ENTRIES", 0)
    with two.open() as book:
        for number in range(3):
            book.append(Draft("import", {"rows": number}))
    refused(one, two.logbook, TeamFolderError, "no person of the record has signed")
    add(two, "here I am")

    assert () == unite(one, two).notes


def test_a_signature_that_counts_for_nothing_makes_no_friend(laptops, monkeypatch):
    one, two, _ = laptops
    monkeypatch.setattr(merging, "MOST_STRANGE_ENTRIES", 0)
    strange(two, 1, 2, signers=[("nobody", "stated", "")])

    refused(one, two.logbook, TeamFolderError, "no person of the record has signed")


def test_own_writing_has_room_after_any_merge(laptops, monkeypatch):
    """A stick with as many chains as can be read; what is taken over of it leaves room."""
    one, two, three = laptops
    strange(two, 300)
    with one.open() as book:
        with pytest.raises(TeamFolderError, match=r"301 chains and branches with ours; 256 are"):
            merge(book, two.logbook, strangers=True)
    strange(three, 255)
    with one.open() as book:
        merge(book, three.logbook, strangers=True)
        signed(book, remark("on", "pilot"), ["pilot"])
    new = Laptop(one.root.parent / "new").copy_from(one)
    add(new, "on the 257th chain")
    assert check(new.logbook).ok
    # What adds no chain still comes along.
    later = add(one, "later")
    assert later in unite(new, one).added


def test_more_strands_than_can_be_read_are_told(laptops):
    one, two, _ = laptops
    strange(two, 600)

    refused(one, two.logbook, LogbookError, "more than 512 chains and branches")


def test_entries_about_people_are_counted_where_a_person_signed(laptops, monkeypatch):
    one, two, three = laptops
    monkeypatch.setattr(merging, "MOST_ABOUT_PEOPLE", 3)
    strange(two, 1, 9, "grant", content={"x": 1})
    with one.open() as book:
        assert 9 == len(merge(book, two.logbook, strangers=True).added)
    with three.open() as book:
        for role in ("a", "b", "c"):
            draft = withdrawal(public_of("pilot"), [role], "x", public_of("mechanic"))
            signed(book, draft, ["mechanic"])

    refused(one, three.logbook, TeamFolderError, "4 entries about people with ours; 3 are the most")


def test_another_founding_of_the_same_content_is_refused(laptops, tmp_path):
    """Anybody can write down the content of our founding once more and sign it."""
    one, two, _ = laptops
    with two.open(read_only=True) as book:
        first = next(iter(book.order))
    for path in two.logbook.iterdir():
        path.unlink()
    people = [("pilot", "enrolled", ""), ("mechanic", "enrolled", "")]
    made_up = Maker(team=first.body.team).add(
        "evil", "founding", first.body.content, signers=people
    )
    with Store.create(two.logbook / RECORD) as store, store.writing() as writing:
        writing.add(made_up)

    refused(one, two.logbook, TeamFolderError, "another founding than ours")


# --- what a refused merge leaves, and names


def test_a_refused_merge_copies_no_attachment(laptops, tmp_path, monkeypatch):
    one, two, _ = laptops
    with_photo(two, tmp_path)
    more = tmp_path / "more.jpg"
    more.write_bytes(b"one more picture")
    with two.open() as book:
        signed(book, remark("more", "pilot", attachments=[book.attach(more)]), ["pilot"])
    monkeypatch.setattr(merging, "MOST_ATTACHED_BYTES", 20)  # enough for one of them

    refused(one, two.logbook, TeamFolderError, "more bytes of attachments")


def test_a_stick_with_too_many_strangers_leaves_no_attachment(laptops, tmp_path):
    one, two, _ = laptops
    with_photo(two, tmp_path)
    strange(two, 17)

    refused(one, two.logbook, TeamFolderError, "17 new chains")


def test_attachments_that_are_only_named_are_not_counted(laptops, monkeypatch):
    one, two, _ = laptops
    monkeypatch.setattr(merging, "MOST_ATTACHED_BYTES", 20)
    strange(two, 1, 2, attachments=[Attachment("ab" * 32, 10**6, "made-up.jpg")])

    assert ["made-up.jpg"] == [file.name for file in unite(one, two).missing]


def test_names_of_another_folder_change_ours_openly_and_by_little(laptops):
    one, two, _ = laptops
    pilot, mechanic = public_of("pilot"), public_of("mechanic")
    ours = Names().with_name(pilot, "A. Pilot").with_name(mechanic, "B. Mechanic")
    ours.write(one.logbook / NAMES)
    far = Person("B. Mechanic", "", 2**53 - 1)
    filling = {f"{n:064x}": Person("zz", "", 1) for n in range(900)}
    Names({**filling, pilot: far, mechanic: Person("A. Pilot", "", 2)}).write(two.logbook / NAMES)

    notes = unite(one, two).notes

    names = Names.read(one.logbook / NAMES)
    assert "A. Pilot" == names.of(pilot)
    assert {pilot, mechanic} == set(names.persons)
    assert 3 == len(notes)
    assert any("far above ours" in note for note in notes)
    assert any("Names of 900 persons" in note for note in notes)
    assert any("'B. Mechanic'" in note and "changed to 'A. Pilot'" in note for note in notes)
    assert "C. Mechanic" == names.with_name(mechanic, "C. Mechanic").of(mechanic)


def test_names_that_filled_our_file_go_with_the_next_merge(laptops):
    one, two, _ = laptops
    filling = {f"{n:064x}": Person("zz", "", 1) for n in range(1000)}
    Names(filling).write(one.logbook / NAMES)
    Names().with_name(public_of("pilot"), "A. Pilot").write(two.logbook / NAMES)

    unite(one, two)

    assert {public_of("pilot")} == set(Names.read(one.logbook / NAMES).persons)
