from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from flightlog.errors import (
    KeyFileError,
    LogbookError,
    NotWritableError,
    RefusedError,
    SignatureError,
    TeamFolderError,
    UsageError,
)
from flightlog.logbook.book import Draft, Founder, Logbook, founding, founding_lines
from flightlog.logbook.checking import check
from flightlog.logbook.entry import Effect, Relation, Signer
from flightlog.logbook.layout import RECORD
from tests.logbook.made import public_of
from tests.logbook.teams import Laptop, Watch, noon_utc, remark, signed, unlocked


@pytest.fixture
def laptop(tmp_path):
    return Laptop(tmp_path / "one")


@pytest.fixture
def book(laptop):
    with laptop.found() as book:
        yield book


# --- founding


def test_two_people_found_a_record_and_may_both_grant(book):
    (entry,) = book.order

    assert ("founding", 1, None) == (entry.body.kind, entry.body.number, entry.body.previous)
    assert {public_of("pilot"), public_of("mechanic")} == {p.id for p in book.people.persons}
    assert all("authorise" in person.roles for person in book.people.persons)


def test_one_person_alone_founds_nothing(laptop):
    draft = founding([Founder(public_of("pilot"), ())])

    with pytest.raises(RefusedError):
        Logbook.found(laptop.logbook, draft, [unlocked("pilot")], profile=laptop.profile)
    with laptop.found() as book:  # and what is left of it is no hindrance
        assert 1 == len(book.order)


def test_a_record_is_founded_once(laptop):
    laptop.found().close()

    with pytest.raises(RefusedError, match="holds a record already"):
        laptop.found()


def test_founders_see_their_keys_and_roles_before_they_sign():
    lines = "\n".join(
        founding_lines(founding([Founder(public_of(n), (n,)) for n in ("pilot", "mechanic")]))
    )

    assert public_of("pilot") in lines
    assert "mechanic" in lines
    assert "authorise" in lines


# --- adding


def test_what_is_added_is_there_for_the_next_process(laptop, book):
    entry = signed(book, remark("Left aileron horn glued anew", "mechanic"), ["mechanic"])

    with laptop.open(read_only=True) as again:
        assert [e.hash for e in book.order] == [e.hash for e in again.order]
        assert entry == again.order.get(entry.hash)


def test_entries_of_one_device_are_one_chain(book):
    entries = [signed(book, remark(f"{n}", "pilot"), ["pilot"]) for n in range(3)]

    assert [2, 3, 4] == [e.body.number for e in entries]
    assert [e.hash for e in entries[:2]] == [e.body.previous for e in entries[1:]]
    assert all(not e.body.seen for e in entries)


def test_an_entry_of_the_device_alone_needs_no_person(book):
    entry = book.append(Draft("remark", {"text": "log imported"}))

    assert () == entry.body.signers
    assert book.standing.counts(entry)


def test_each_entry_holds_the_time_that_the_clock_gave_and_where_from(laptop, book):
    entry = signed(book, remark("x", "pilot"), ["pilot"])

    assert laptop.clock.now == entry.body.time.utc
    assert "laptop clock" == entry.body.time.source


def test_a_clock_that_was_set_back_is_recorded(laptop, book):
    signed(book, remark("before", "pilot"), ["pilot"])
    latest = laptop.clock.now
    laptop.clock.set_back(hours=5)

    entry = signed(book, remark("after", "pilot"), ["pilot"])

    assert (latest - entry.body.time.utc).total_seconds() == entry.body.time.behind_s > 0
    assert any("clock" in note for note in book.standing.notes(entry))


def test_the_clock_of_another_laptop_is_not_this_one_s(laptop, book, tmp_path):
    """One laptop with a clock years ahead must not make all others say that theirs went back."""
    ahead = Laptop(tmp_path / "ahead", Watch(noon_utc(24 * 365 * 70))).copy_from(laptop)
    with ahead.open() as other:
        stranger = signed(other, remark("from the future", "pilot"), ["pilot"])
        book.adopt(list(other.order))

    entry = signed(book, remark("x", "pilot"), ["pilot"])

    assert book.order.has_seen(entry, stranger)
    assert 0 == entry.body.time.behind_s


def test_an_entry_made_late_says_how_late_and_why(laptop, book):
    draft = remark("tail hit a stone", "pilot", occurred=noon_utc(-3), late_reason="laptop flat")

    entry = signed(book, draft, ["pilot"])

    assert entry.body.occurred is not None
    assert noon_utc(-3) == entry.body.occurred.utc
    assert (entry.body.time.utc - noon_utc(-3)).total_seconds() == entry.body.occurred.late_s


@pytest.mark.parametrize(
    ("hours", "reason", "message"),
    [(40, "laptop flat", "not past"), (-3, "", "says why")],
)
def test_a_late_entry_is_past_and_has_a_reason(book, hours, reason, message):
    draft = remark("x", "pilot", occurred=noon_utc(hours), late_reason=reason)

    with pytest.raises(RefusedError, match=message):
        book.show(draft)


# --- showing and signing


def test_what_is_shown_holds_the_text_and_the_meaning(book):
    shown = book.show(remark("Left aileron horn glued anew", "mechanic"))

    text = "\n".join(shown.lines)
    assert "Left aileron horn glued anew" in text
    assert "stated" in text


def test_nobody_signs_what_was_not_shown(book):
    draft = remark("x", "pilot")

    with pytest.raises(RefusedError, match="not shown"):
        book.append(draft, [unlocked("pilot")])
    with pytest.raises(RefusedError, match="not shown"):
        book.append(draft, [unlocked("pilot")], shown=book.show(remark("y", "pilot")))


def test_content_that_changes_between_showing_and_signing_is_refused(book):
    content = {"text": "nil defects"}
    draft = Draft("remark", content, [Signer(public_of("pilot"), "stated")])
    shown = book.show(draft)
    content["text"] = "wing repaired"

    with pytest.raises(RefusedError, match="no longer what was shown"):
        book.append(draft, [unlocked("pilot")], shown=shown)
    assert 1 == len(book.order)


def test_what_another_process_adds_in_between_changes_the_place_only(laptop, book):
    draft = remark("x", "pilot")
    shown = book.show(draft)
    with laptop.open() as other:
        signed(other, remark("in between", "mechanic"), ["mechanic"])

    entry = book.append(draft, [unlocked("pilot")], shown=shown)

    assert 3 == entry.body.number
    assert check(laptop.logbook).ok


def test_the_keys_are_those_of_the_signers(book):
    draft = remark("x", "pilot")

    with pytest.raises(RefusedError, match="not those that are to sign"):
        book.append(draft, [unlocked("mechanic")], shown=book.show(draft))


def test_a_key_unlocked_for_one_list_does_not_sign_another(book):
    draft = remark("x", "pilot")

    with pytest.raises(RefusedError, match="before flight"):
        book.append(
            draft,
            [unlocked("pilot", "before flight")],
            shown=book.show(draft),
            list_name="battery",
        )
    assert 1 == len(book.order)


def test_a_key_whose_time_is_over_signs_nothing(book):
    draft = remark("x", "pilot")
    key = unlocked("pilot")
    key.end()

    with pytest.raises(RefusedError, match="handed over"):
        book.append(draft, [key], shown=book.show(draft))
    assert 1 == len(book.order)


def test_rules_are_asked_before_anybody_signs(book):
    for draft in (
        remark("by nobody known", "stranger"),
        Draft(
            "grant",
            {"person": public_of("pilot"), "roles": ["inspector"]},
            [Signer(public_of("pilot"), "granted"), Signer(public_of("mechanic"), "granted")],
        ),
        remark("as what one is not", "pilot", relations=[Relation("corrects", "0" * 64)]),
    ):
        with pytest.raises(RefusedError):
            book.show(draft)
    assert 1 == len(book.order)


def test_the_doer_does_not_inspect_their_own_work(book):
    done = signed(
        book,
        Draft("remark", {"text": "horn glued"}, [Signer(public_of("mechanic"), "performed")]),
        ["mechanic"],
    )
    inspection = Draft(
        "remark",
        {"text": "horn locked, free, right sense"},
        [Signer(public_of("mechanic"), "inspected")],
        relations=[Relation("inspects", done.hash)],
    )

    with pytest.raises(RefusedError):
        book.show(inspection)


def test_what_is_not_of_the_form_of_a_record_is_refused_before_anybody_signs(book):
    with pytest.raises(RefusedError, match="one key signs twice"):
        book.show(Draft("remark", {"text": "x"}, [Signer(public_of("pilot"), "stated")] * 2))
    with pytest.raises(RefusedError, match="float"):
        book.show(Draft("remark", {"text": 1.5}))


# --- attachments


def test_a_file_is_kept_and_named_by_the_entry(laptop, book, tmp_path):
    photo = tmp_path / "horn.jpg"
    photo.write_bytes(b"picture")

    entry = signed(book, remark("horn", "pilot", attachments=[book.attach(photo)]), ["pilot"])

    (attachment,) = entry.body.attachments
    assert b"picture" == book.attachments.path(attachment.sha256).read_bytes()
    assert check(laptop.logbook).ok


def test_a_folder_is_no_attachment(book, tmp_path):
    with pytest.raises(UsageError, match=r"is a folder\. Name one file"):
        book.attach(tmp_path)


def test_an_entry_does_not_name_a_file_that_is_not_there(book, tmp_path):
    photo = tmp_path / "horn.jpg"
    photo.write_bytes(b"picture")
    attachment = book.attach(photo)
    book.attachments.path(attachment.sha256).unlink()

    with pytest.raises(RefusedError, match=r"horn\.jpg"):
        book.show(remark("horn", "pilot", attachments=[attachment]))


# --- devices


def test_a_copied_folder_starts_a_new_chain_at_its_first_write(laptop, book, tmp_path):
    signed(book, remark("x", "pilot"), ["pilot"])
    copy = Laptop(tmp_path / "two").copy_from(laptop)

    with copy.open() as other:
        entry = signed(other, remark("y", "mechanic"), ["mechanic"])
        start = other.order.get(entry.body.previous)

    assert ("chain-start", 1, "first write on this device") == (
        start.body.kind,
        start.body.number,
        start.body.content["reason"],
    )
    assert start.body.seen == (book.order.tips()[0].hash,)


def test_a_copy_on_the_same_laptop_never_forks_a_chain(laptop, book, tmp_path):
    copy = Laptop(tmp_path / "two", laptop.clock).copy_from(laptop)

    with Logbook.open(copy.logbook, profile=laptop.profile, clock=laptop.clock) as other:
        for _ in range(2):
            signed(book, remark("here", "pilot"), ["pilot"])
            signed(other, remark("there", "pilot"), ["pilot"])
        both = {e.hash: e for e in (*book.order, *other.order)}

    from flightlog.logbook.order import Order

    assert () == Order(both.values()).forks()
    assert 2 == len(Order(both.values()).devices())


def test_a_folder_restored_from_an_older_copy_starts_a_new_chain(laptop, book, tmp_path):
    backup = Laptop(tmp_path / "backup").copy_from(laptop)
    signed(book, remark("lost with the disk", "pilot"), ["pilot"])
    book.close()
    (laptop.logbook / RECORD).unlink()
    (backup.logbook / RECORD).rename(laptop.logbook / RECORD)

    with laptop.open() as restored:
        entry = signed(restored, remark("after", "pilot"), ["pilot"])
        start = restored.order.get(entry.body.previous)

    assert "chain-start" == start.body.kind
    assert "restored" in start.body.content["reason"]


def test_an_older_copy_is_told_by_what_this_laptop_remembers(laptop, book, tmp_path):
    backup = Laptop(tmp_path / "backup").copy_from(laptop)
    entry = signed(book, remark("later", "pilot"), ["pilot"])
    assert () == book.missing_heads()

    with Logbook.open(backup.logbook, profile=laptop.profile, read_only=True) as older:
        assert [entry.hash] == [head.hash for head in older.missing_heads()]


def test_a_record_can_be_read_at_a_laptop_whose_profile_is_damaged(laptop, book):
    (laptop.profile / "device.sqlite").write_bytes(b"damaged" * 1000)

    with laptop.open(read_only=True) as reading:
        assert len(book.order) == len(reading.order)
        assert () == reading.missing_heads()
    with pytest.raises(KeyFileError):
        laptop.open()


def test_keys_of_the_laptop_are_not_in_the_team_folder(laptop):
    with pytest.raises(KeyFileError):
        Logbook.found(
            laptop.logbook,
            founding([Founder(public_of(n), ()) for n in ("pilot", "mechanic")]),
            [unlocked("pilot"), unlocked("mechanic")],
            profile=laptop.team / "profile",
        )


# --- opening


def test_without_a_logbook_nothing_is_made(tmp_path):
    with pytest.raises(TeamFolderError, match="no logbook here"):
        Logbook.open(tmp_path / "team" / "logbook", profile=tmp_path / "profile")
    assert [] == list(tmp_path.iterdir())


def test_for_reading_only_nothing_is_written(laptop, book):
    book.close()
    before = {p: p.stat().st_mtime_ns for p in laptop.team.rglob("*")}

    with laptop.open(read_only=True) as reading:
        with pytest.raises(RefusedError, match="reading only"):
            reading.append(Draft("remark", {"text": "x"}))
    assert before == {p: p.stat().st_mtime_ns for p in laptop.team.rglob("*")}


def forged(laptop: Laptop, statement: str) -> None:
    """Change rows behind the program's back, and leave the form of the file as it was."""
    connection = sqlite3.connect(laptop.logbook / RECORD, isolation_level=None)
    triggers = connection.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall()
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute(statement)
    for _, sql in triggers:
        connection.execute(sql)
    connection.close()


def test_a_changed_file_is_noticed_at_the_next_opening(laptop, book):
    signed(book, remark("nil defects", "pilot"), ["pilot"])
    book.close()
    forged(laptop, "UPDATE entries SET data = CAST(replace(data, 'nil', 'two') AS BLOB)")

    with pytest.raises(LogbookError, match="the record is broken at row 2"):
        laptop.open(read_only=True)


def test_a_forged_entry_with_a_fitting_hash_is_noticed_at_the_next_opening(laptop, book):
    """Whoever changes bytes, hash and columns still lacks the keys."""
    from dataclasses import replace

    from flightlog.logbook.entry import Entry, write_body

    entry = signed(book, remark("nil defects", "pilot"), ["pilot"])
    book.close()
    body = replace(entry.body, content={"text": "wing repaired"})
    other = Entry(write_body(body), entry.device_signature, entry.people_signatures)
    with sqlite3.connect(laptop.logbook / RECORD) as connection:
        triggers = connection.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(
            "UPDATE entries SET data = ?, hash = ? WHERE hash = ?",
            (other.data, other.hash, entry.hash),
        )
        for _, sql in triggers:
            connection.execute(sql)
    connection.close()

    with pytest.raises(SignatureError):
        laptop.open()


# --- when nothing can be written


def test_while_another_process_holds_the_record_it_is_said(laptop, book, monkeypatch):
    monkeypatch.setattr("flightlog.logbook.store.PATIENCE_S", 0.1)
    holder = sqlite3.connect(laptop.logbook / RECORD, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    try:
        from flightlog.logbook.store import Store

        impatient = Logbook(
            laptop.logbook,
            Store(laptop.logbook / RECORD, patience_s=0.1),
            book._memory,
            Watch(),
        )
        impatient.refresh()
        with pytest.raises(NotWritableError, match="writing"):
            impatient.append(Draft("remark", {"text": "x"}))
        impatient.close()
    finally:
        holder.close()
    assert 1 == len(book.order)


WRITER = """
import sys
from pathlib import Path
from tests.logbook.teams import Laptop, remark, signed
with Laptop(Path(sys.argv[1])).open() as book:
    for number in range(15):
        print(signed(book, remark(f"{sys.argv[2]} {number}", "pilot"), ["pilot"]).hash)
"""


def test_two_processes_sign_into_one_record_at_once(laptop, book):
    book.close()
    running = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(laptop.root), name],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        for name in ("one", "two")
    ]
    said = [line for process in running for line in process.communicate(timeout=120)[0].split()]

    assert [0, 0] == [process.returncode for process in running]
    assert 30 == len(set(said))
    report = check(laptop.logbook)
    assert report.ok, report.first_break
    with laptop.open(read_only=True) as again:
        assert all(digest in again.order for digest in said)
        assert 1 == len(again.order.devices())


def test_effects_and_relations_reach_the_record(book):
    defect = signed(
        book,
        remark("crack in the spar", "mechanic", effect=Effect("restricts", "aircraft PN-01")),
        ["mechanic"],
    )
    assert [defect] == list(book.standing.open_restrictions("aircraft PN-01"))

    signed(
        book, remark("spar renewed", "pilot", relations=[Relation("ends", defect.hash)]), ["pilot"]
    )
    assert [] == list(book.standing.open_restrictions("aircraft PN-01"))


# --- finding


def test_an_entry_is_found_by_hash_or_by_head(book):
    from flightlog.logbook.codes import head_code

    entry = signed(book, remark("x", "pilot"), ["pilot"])

    assert entry == book.find(entry.hash[:8])
    assert entry == book.find(head_code(2, entry.hash))
    assert entry == book.find(head_code(2, entry.hash)[:7].lower())
    with pytest.raises(RefusedError, match="no such entry"):
        book.find("0" * 64)


def test_what_counted_is_judged_anew_when_a_person_is_revoked(tmp_path):
    laptop = Laptop(tmp_path)
    with laptop.found() as book:
        said = signed(book, remark("the tail is sound", "pilot"), ["pilot"])
        assert book.standing.counts(said)
        signed(book, remark("a word more", "mechanic"), ["mechanic"])
        assert book.standing.counts(said)
        content = {
            "key": public_of("pilot"),
            "why": "disclosed",
            "reason": "seen on a note",
            "doubtful_after": said.body.previous,
        }
        draft = Draft("revocation", content, [Signer(public_of("mechanic"), "revoked")])
        signed(book, draft, ["mechanic"])
        with laptop.open(read_only=True) as anew:
            assert anew.standing.counts(said) == book.standing.counts(said)
            assert [anew.standing.counts(e) for e in anew.order] == [
                book.standing.counts(e) for e in book.order
            ]
