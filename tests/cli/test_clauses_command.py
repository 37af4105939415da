from __future__ import annotations

import csv

from tests.cli.hangars import entry_added, equipped
from tests.cli.teams import terminal

__all__ = ["terminal"]  # a fixture

MEANT = ("--rules", "club-trial-2027", "--aircraft", "pannier")
RECORD = ("clauses", "record", "span", *MEANT, "--how", "measured", "--text", "2.48 m, tape T-1")


def ready(terminal):
    equipped(terminal, "aircraft/pannier.toml", "rules/club-trial-2027.toml")


def test_a_clause_is_recorded_and_shown_with_who_said_it(terminal, tmp_path):
    ready(terminal)

    code = terminal.signs(
        *(*RECORD, "--state", "shown", "--by", "mechanic", "--by", "pilot"),
        by=["mechanic", "pilot"],
    )
    assert 0 == code, terminal.err
    assert "clause 2.3: shown" in terminal.out
    entry = entry_added(terminal)
    page, table = tmp_path / "matrix.html", tmp_path / "matrix.csv"
    code = terminal.run("clauses", "show", *MEANT, "--html", str(page), "--csv", str(table))
    assert 0 == code, terminal.err

    assert "SHOWN             clause 2.3 [span]" in terminal.out
    assert "1 of 12 clauses are shown" in terminal.out
    assert "2.48 m, tape T-1" in page.read_text(encoding="utf-8")
    with table.open(encoding="utf-8", newline="") as file:
        rows = {row["clause"]: row for row in csv.DictReader(file)}
    assert ("shown", entry) == (rows["clause 2.3"]["state"], rows["clause 2.3"]["entry"])
    assert "mechanic" in rows["clause 2.3"]["by"]
    assert "pilot" in rows["clause 2.3"]["by"]


def test_nothing_is_shown_by_leaving_the_state_out(terminal):
    ready(terminal)

    assert 2 == terminal.signs(*RECORD, "--by", "mechanic", by=[])
    assert "--state" in terminal.err


def test_a_sheet_is_not_written_over_another_file(terminal, tmp_path):
    ready(terminal)
    page = tmp_path / "matrix.html"
    page.write_text("kept", encoding="utf-8")

    assert 3 == terminal.run("clauses", "show", *MEANT, "--html", str(page))
    assert "kept" == page.read_text(encoding="utf-8")


def test_a_photo_is_kept_and_one_that_is_none_is_refused(terminal, tmp_path):
    ready(terminal)
    photo = tmp_path / "serial.jpg"
    photo.write_text("no picture", encoding="utf-8")
    words = ("clauses", "record", "identity", *MEANT, "--how", "photo", "--state", "shown")

    code = terminal.signs(*words, "--text", "x", "--photo", str(photo), "--by", "mechanic", by=[])

    assert 2 == code
    assert "is no photo" in terminal.err


def test_a_rule_book_that_is_not_in_the_record_is_told(terminal):
    ready(terminal)

    assert 2 == terminal.run("clauses", "show", "--rules", "club", "--aircraft", "pannier")
    assert "club-trial-2027" in terminal.err
