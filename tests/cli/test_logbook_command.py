from __future__ import annotations

import json
import shutil
import sqlite3

from tests.cli.teams import terminal

__all__ = ["terminal"]  # a fixture


def remark(terminal, text: str, *more: str, by: str = "pilot") -> None:
    code = terminal.signs("logbook", "remark", text, "--by", by, *more, by=[by])
    assert 0 == code, terminal.err


def cut_tail(terminal) -> None:
    """Take the last entry away, behind the program's back."""
    connection = sqlite3.connect(terminal.team / "logbook" / "record.sqlite", isolation_level=None)
    triggers = connection.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall()
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute("DELETE FROM entries WHERE received = (SELECT max(received) FROM entries)")
    for _, sql in triggers:
        connection.execute(sql)
    connection.close()


def test_a_whole_record_is_said_to_be_whole_with_what_can_not_be_known(terminal):
    terminal.found()
    remark(terminal, "nil defects")

    assert 0 == terminal.run("logbook", "check")
    assert "The record is whole" in terminal.out
    assert "can't know" in terminal.out


def test_a_changed_byte_is_code_6_and_named(terminal):
    terminal.found()
    remark(terminal, "nil defects")
    remark(terminal, "follows")
    place = terminal.team / "logbook" / "record.sqlite"
    data = place.read_bytes()
    assert 1 == data.count(b"nil defects")
    place.write_bytes(data.replace(b"nil defects", b"two defects"))

    assert 6 == terminal.run("logbook", "check")
    assert "entry 2 of device" in terminal.out


def test_a_cut_tail_is_found_by_the_memory_of_this_laptop(terminal):
    terminal.found()
    remark(terminal, "will be cut off")
    cut_tail(terminal)

    assert 6 == terminal.run("logbook", "check")


def test_a_cut_tail_is_found_elsewhere_only_by_a_head_from_paper(terminal):
    terminal.found()
    remark(terminal, "will be cut off")
    head = terminal.head()
    cut_tail(terminal)
    terminal.laptop("of an inspector")

    without = terminal.run("logbook", "check")
    said = terminal.out
    with_head = terminal.run("logbook", "check", "--head", head.lower().replace("-", " "))

    assert [0, 6] == [without, with_head]
    assert "cut off" in said


def test_a_head_with_a_slip_of_the_pen_is_told_as_one(terminal):
    terminal.found()
    head = terminal.head()
    wrong = head[:-4] + ("0" if head[-4] != "0" else "1") + head[-3:]

    assert 2 == terminal.run("logbook", "check", "--head", wrong)
    assert "sign by sign" in terminal.err


def test_check_as_json_is_one_object(terminal):
    terminal.found()

    assert 0 == terminal.run("logbook", "check", "--json")
    report = json.loads(terminal.out)
    assert ["flightlog.logbook-check/1", True, 1] == [
        report["schema"],
        report["ok"],
        report["entries"],
    ]


def test_a_missing_team_folder_is_an_error_object_with_json(terminal):
    assert 3 == terminal.run("logbook", "check", "--json")
    assert "flightlog.error/1" == json.loads(terminal.out)["schema"]


def test_entries_are_shown_with_who_signed(terminal, tmp_path):
    terminal.found()
    (tmp_path / "horn.jpg").write_bytes(b"picture")
    remark(terminal, "horn glued", "--attach", str(tmp_path / "horn.jpg"))

    assert 0 == terminal.run("logbook", "show", "--last", "1")
    (line,) = terminal.out.splitlines()
    for text in ("2.", "UTC", "remark by pilot (", "horn glued", "+1 file"):
        assert text in line
    assert 0 == terminal.run("logbook", "show", "--last", "1", "--full")
    for text in ("horn glued", "pilot (", "horn.jpg", "hash: "):
        assert text in terminal.out


def test_one_entry_is_shown_by_its_hash(terminal):
    terminal.found()
    remark(terminal, "horn glued")
    terminal.run("logbook", "show", "--last", "1")
    short = terminal.out.split()[0]
    assert 0 == terminal.run("logbook", "show", short)
    assert "text: horn glued" in terminal.out
    digest = next(x for x in terminal.out.splitlines() if "hash" in x).split()[-1]

    assert 0 == terminal.run("logbook", "show", digest[:10])
    assert "text: horn glued" in terminal.out


def test_a_correction_names_what_it_corrects_and_both_stay(terminal):
    terminal.found()
    remark(terminal, "left aileron")
    remark(terminal, "it was the right one", "--corrects", terminal.head())

    terminal.run("logbook", "show")
    assert "left aileron" in terminal.out
    assert "it was the right one" in terminal.out
    assert "corrected by" in terminal.out


def test_a_late_remark_says_how_late(terminal):
    terminal.found()
    remark(terminal, "hit a stone", "--occurred", "2020-01-01T10:00:00Z", "--reason", "laptop flat")

    terminal.run("logbook", "show", "--last", "1")
    assert "late by" in terminal.out
    unsigned = ["logbook", "remark", "x", "--unsigned", "--occurred"]
    assert 2 == terminal.run(*unsigned, "yesterday", "--reason", "y")
    assert 5 == terminal.run(*unsigned, "2100-01-01T10:00:00Z", "--reason", "y")
    assert 2 == terminal.run(*unsigned, "2020-01-01T10:00:00Z")
    assert 2 == terminal.run("logbook", "remark", "x", "--unsigned", "--reason", "y")


def test_two_laptops_merge_to_one_record(terminal):
    terminal.found()
    other = terminal.root / "other"
    shutil.copytree(terminal.team, other)
    remark(terminal, "here")
    terminal.laptop("second")
    assert 0 == terminal.run("logbook", "remark", "there", "--unsigned", "--team", str(other))

    assert 0 == terminal.run("logbook", "merge", str(terminal.team), "--team", str(other))
    terminal.laptop("profile")
    assert 0 == terminal.run("logbook", "merge", str(other))
    assert "2 new entries" in terminal.out
    assert 0 == terminal.run("logbook", "check")
    assert "2 devices" in terminal.out


def test_a_remark_without_a_person_has_to_be_meant(terminal):
    terminal.found()

    assert 2 == terminal.run("logbook", "remark", "x")
    assert "--unsigned" in terminal.err
    assert 0 == terminal.run("logbook", "remark", "x", "--unsigned")
    assert "Added" in terminal.out


def test_what_a_merge_changes_is_said(terminal):
    """A key that was revoked here has signed there in the meantime."""
    terminal.found()
    other = terminal.root / "other"
    shutil.copytree(terminal.team, other)
    terminal.signs(
        *("team", "crew", "revoke", "mechanic", "--why", "lost", "--by", "pilot"),
        *("--reason", "stick lost"),
        by=["pilot"],
    )
    here = str(terminal.team)
    words = ["logbook", "remark", "signed there", "--by", "mechanic", "--team", str(other)]
    assert 0 == terminal.signs(*words, by=["mechanic"])

    assert 0 == terminal.run("logbook", "merge", here, "--team", str(other))

    assert "To look at, after this merge" in terminal.out
    assert "counted before and no longer does" in terminal.out
    terminal.run("logbook", "show", "--team", str(other))
    (line,) = [line for line in terminal.out.splitlines() if "signed there" in line]
    assert "DOES NOT COUNT" in line


def test_an_older_copy_is_warned_of_before_anybody_signs(terminal):
    terminal.found()
    backup = terminal.root / "backup"
    shutil.copytree(terminal.team, backup)
    remark(terminal, "later")

    for words in (["remark", "x", "--unsigned"], ["head"]):
        assert 0 == terminal.run("logbook", *words, "--team", str(backup))
        assert "OLDER COPY" in terminal.err


def test_a_laptop_remembers_what_it_has_checked(terminal):
    """An inspector's laptop that wrote nothing notices an older copy later."""
    terminal.found()
    older = terminal.root / "older"
    shutil.copytree(terminal.team, older)
    remark(terminal, "later")
    terminal.laptop("of an inspector")
    assert 0 == terminal.run("logbook", "check")

    assert 6 == terminal.run("logbook", "check", "--team", str(older))
    assert "remembers" in terminal.out


def test_only_the_entries_of_a_fork_are_explained(terminal):
    terminal.found()
    remark(terminal, "no fork")
    head = terminal.head()

    code = terminal.run("logbook", "remark", "x", "--unsigned", "--explains", head)

    assert 2 == code
    assert "not all the entries of a fork" in terminal.err


def test_merging_a_folder_with_itself_is_a_slip(terminal):
    terminal.found()

    assert 2 == terminal.run("logbook", "merge", str(terminal.team))


def test_a_broken_record_is_exported_with_code_6(terminal, tmp_path):
    terminal.found()
    (tmp_path / "horn.jpg").write_bytes(b"picture")
    remark(terminal, "horn", "--attach", str(tmp_path / "horn.jpg"))
    (photo,) = (terminal.team / "logbook" / "attachments").glob("??/*")
    photo.unlink()

    assert 6 == terminal.run("logbook", "export", str(tmp_path / "export"))
    assert "BROKEN" in terminal.out


def test_merging_what_is_no_team_folder_is_told(terminal, tmp_path):
    terminal.found()

    assert 3 == terminal.run("logbook", "merge", str(tmp_path))
    assert "no logbook here" in terminal.err


def test_an_export_stands_by_itself(terminal, tmp_path):
    terminal.found()
    remark(terminal, "nil defects")

    assert 0 == terminal.run("logbook", "export", str(tmp_path / "export"))
    assert "nil defects" in (tmp_path / "export" / "logbook.txt").read_text(encoding="utf-8")
    assert "pilot (" not in (tmp_path / "export" / "logbook.txt").read_text(encoding="utf-8")
