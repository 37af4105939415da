from __future__ import annotations

import shutil

from tests.cli.teams import terminal

__all__ = ["terminal"]  # a fixture


def test_a_copy_is_made_told_of_and_holds_the_entry_about_itself(terminal, tmp_path):
    terminal.found()

    assert 0 == terminal.run("team", "copy", str(tmp_path / "copy")), terminal.err
    assert "1 entry, " in terminal.out
    assert "Added: entry 2" in terminal.out
    assert 0 == terminal.run("team", "show", "--team", str(tmp_path / "copy"))
    assert "2 entries" in terminal.out
    assert 0 == terminal.run("team", "show")

    assert "Second copy:" in terminal.out
    assert "0 entries since" in terminal.out


def test_a_team_that_never_made_one_is_told_so(terminal):
    terminal.found()

    assert 0 == terminal.run("team", "show")
    assert "Second copy: NONE YET" in terminal.out


def test_a_place_that_holds_other_entries_is_refused_with_the_way_out(terminal, tmp_path):
    terminal.found()
    copy = tmp_path / "copy"
    assert 0 == terminal.run("team", "copy", str(copy)), terminal.err
    words = ("logbook", "remark", "at the stick", "--unsigned", "--team", str(copy))
    assert 0 == terminal.run(*words), terminal.err

    assert 5 == terminal.run("team", "copy", str(copy))
    assert "flightlog logbook merge" in terminal.err
    assert 0 == terminal.run("logbook", "merge", str(copy)), terminal.err
    assert 0 == terminal.run("team", "copy", str(copy)), terminal.err


def test_within_the_team_folder_is_no_second_place(terminal):
    terminal.found()

    assert 7 == terminal.run("team", "copy", str(terminal.team / "copy"))
    assert not (terminal.team / "copy").exists()


def test_a_missing_attachment_is_a_break_and_no_entry_says_that_all_was_copied(terminal, tmp_path):
    terminal.found()
    note = tmp_path / "note.txt"
    note.write_text("kept", encoding="utf-8")
    words = ("logbook", "remark", "x", "--unsigned", "--attach", str(note))
    assert 0 == terminal.run(*words), terminal.err
    shutil.rmtree(terminal.team / "logbook" / "attachments")

    assert 6 == terminal.run("team", "copy", str(tmp_path / "copy"))
    assert "note.txt: the file is missing" in terminal.out
    assert 0 == terminal.run("team", "show")
    assert "Second copy: NONE YET" in terminal.out


def test_the_folder_is_lost_and_the_copy_goes_on(terminal, tmp_path):
    """The restore drill as a person does it: copy back, check, sign."""
    terminal.found()
    assert 0 == terminal.run("team", "copy", str(tmp_path / "copy")), terminal.err
    shutil.rmtree(terminal.team)

    shutil.copytree(tmp_path / "copy", terminal.team)

    assert 0 == terminal.run("logbook", "check"), terminal.out
    assert "The record is whole" in terminal.out
    words = ("logbook", "remark", "after the loss", "--by", "pilot")
    assert 0 == terminal.signs(*words, by=["pilot"]), terminal.err
    assert "OLDER COPY" not in terminal.err
