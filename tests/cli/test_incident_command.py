"""``flightlog incident``: cautions first, then the restriction, then the copies, then a look."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime

import pytest

from flightlog.reports.cautions import LITHIUM
from tests.cli.hangars import SAMPLES, entry_added, equipped
from tests.cli.teams import terminal

__all__ = ["terminal"]  # a fixture

FACTS = ("--facts", "struck the ground beyond the strip")
THINGS = ("--aircraft", "pannier", "--pack", "pack-a")


@pytest.fixture(autouse=True)
def morning(terminal):
    terminal.at(datetime(2027, 3, 15, 10, 0, tzinfo=UTC))


@pytest.fixture
def card(tmp_path):
    folder = tmp_path / "card"
    folder.mkdir()
    data = (SAMPLES / "position_1hz_only.bin").read_bytes()
    (folder / "7.bin").write_bytes(data[: len(data) * 2 // 3])
    return folder


def test_cautions_come_before_anything_even_where_there_is_no_folder(terminal):
    assert 3 == terminal.run("incident", "report", *THINGS)
    assert terminal.out.startswith(f"FIRST: {LITHIUM}")


def test_from_the_crash_to_the_sheet_without_a_passphrase(terminal, card, tmp_path):
    equipped(terminal, "aircraft/pannier.toml", "packs/pack-a.toml")
    page = tmp_path / "incident.html"
    code = terminal.run("incident", "report", str(card), *THINGS, *FACTS, "--html", str(page))
    assert 0 == code, terminal.err
    said, entry = terminal.out, entry_added(terminal)
    digest = hashlib.sha256((card / "7.bin").read_bytes()).hexdigest()

    # In this order: cautions, restriction, copies, the look, and what the law may ask for.
    places = [
        said.index(text)
        for text in (LITHIUM, "Added: entry", "Out of service: aircraft pannier, pack pack-a",
                     f"Kept: card/7.bin, SHA-256 {digest}", "The last minute:", "local law")
    ]  # fmt: skip
    assert places == sorted(places)
    assert digest in page.read_text(encoding="utf-8")
    assert 0 == terminal.run("service", "show")
    assert "aircraft pannier: struck the ground" in terminal.out
    assert "pack pack-a: was in the incident" in terminal.out

    # A person puts a name to an opinion; it stands apart.
    words = ("incident", "opinion", entry, "the elevator did not answer", "--by", "pilot")
    assert 0 == terminal.signs(*words, by=["pilot"]), terminal.err
    assert 0 == terminal.run("incident", "show", entry)
    facts, _, opinions = terminal.out.partition("OPINIONS, no part of the facts")
    assert "the elevator did not answer" in opinions
    assert "the elevator" not in facts
    assert "card/7.bin" in facts
    assert 0 == terminal.run("incident", "list")
    assert f"{entry} 2027-03-15 10:00 UTC" in terminal.out
    assert "1 files kept" in terminal.out

    # More comes to light; the table of all channels.
    more = tmp_path / "note.txt"
    more.write_text("seen from the gate", encoding="utf-8")
    assert 0 == terminal.run("incident", "add", entry, str(more)), terminal.err
    table, again = tmp_path / "t.csv", tmp_path / "again.html"
    assert 0 == terminal.run("incident", "timeline", entry, "--csv", str(table)), terminal.err
    text = table.read_text(encoding="utf-8")
    assert text.startswith("time_s,source,table,column,value,unit,axis")
    assert "gps instance 0,ground_speed_m_s" in text
    assert "note.txt: not read as a log" in terminal.out
    assert 0 == terminal.run("incident", "sheet", entry, "--html", str(again)), terminal.err
    assert "the elevator did not answer" in again.read_text(encoding="utf-8")
    assert 3 == terminal.run("incident", "sheet", entry, "--html", str(again))
    words = ("incident", "timeline", entry, "--csv", str(tmp_path / "x.csv"))
    assert 3 == terminal.run(*words, "--reference", "9.bin")
    assert "There are: card/7.bin" in terminal.err


def test_slips_cost_neither_the_restriction_nor_the_copies(terminal, card, tmp_path):
    equipped(terminal, "aircraft/pannier.toml")
    words = ("incident", "report", str(card), str(tmp_path / "gone"), *THINGS, "--at", "10 o'clock")
    assert 2 == terminal.run(*words)

    assert "'10 o'clock' is no time in UTC" in terminal.err.replace('"', "'")
    assert "the record knows no pack 'pack-a'" in terminal.err
    assert "Kept: card/7.bin" in terminal.out
    assert "gone: left out: can't be read" in terminal.out
    assert 0 == terminal.run("incident", "show", entry_added_from(terminal.out))
    assert "Time as it was typed: 10 o'clock" in terminal.out
    # A source that is not whole makes an exit code of its own.
    assert 3 == terminal.run("incident", "report", str(tmp_path / "gone"), *THINGS)
    # What is no id at all can restrict nothing, and that is said at once.
    assert 2 == terminal.run("incident", "report", "--aircraft", "the pannier")
    assert 2 == terminal.run("incident", "report", str(card))


def entry_added_from(text):
    line = next(one for one in text.splitlines() if "dded: entry" in one)
    return line.rpartition("head ")[2].partition("-")[0]


def test_who_signs_signs_the_facts_after_everything_that_cannot_wait(terminal, card):
    equipped(terminal, "aircraft/pannier.toml", "packs/pack-a.toml")
    words = ("incident", "report", str(card), *THINGS, *FACTS, "--by", "pilot")
    assert 3 == terminal.run(*words, types=["a wrong passphrase"])
    assert "Kept: card/7.bin" in terminal.out
    assert 0 == terminal.signs(*words, by=["pilot"]), terminal.err

    assert terminal.out.index("Kept: card/7.bin") < terminal.out.index("To be signed:")
    assert 0 == terminal.run("service", "show")
    assert 2 == terminal.out.count("aircraft pannier: struck the ground")
