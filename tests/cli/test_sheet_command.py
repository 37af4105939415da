"""``flightlog sheet`` and ``checks print --pdf`` as they are typed."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import UTC, datetime

import pytest

from tests.cli.hangars import SAMPLES
from tests.cli.ready import settled
from tests.cli.teams import terminal
from tests.operations.released import ready_place, released_place
from tests.reports.sheets import pages_of, text_of

__all__ = ["ready_place", "released_place", "terminal"]  # fixtures

LANDED = datetime(2027, 3, 15, 9, 40, tzinfo=UTC)


@pytest.fixture
def team(terminal, released_place, monkeypatch, tmp_path):
    """A released aircraft, in a folder of its own to write into."""
    place = tmp_path / "here"
    place.mkdir()
    monkeypatch.chdir(place)
    return settled(terminal, *released_place)


def landed(team, log):
    """Import a log half an hour after the calm flight."""
    team.at(LANDED)
    assert 0 == team.run("import", str(log)), team.err


def sheet_of(team, tmp_path):
    """Give the pages and the HTML of the last flight."""
    assert 0 == team.run("sortie", "list", "--json"), team.err
    sortie = json.loads(team.out)["sorties"][-1]["sortie"]
    pdf, html = tmp_path / "a.pdf", tmp_path / "a.html"
    assert 0 == team.run("sheet", sortie, "--pdf", str(pdf), "--html", str(html)), team.err
    return pages_of(pdf.read_bytes()), html.read_text(encoding="utf-8")


def test_a_flight_under_its_release_takes_two_pages_and_one_of_wear(team, tmp_path):
    landed(team, SAMPLES / "calm.bin")
    (first, second, third), page = sheet_of(team, tmp_path)
    head = team.head()

    for text in ("Ground roll 28.1 m", "Take-off roll", "Track over the ground", "Laps, gate"):
        assert text in first
    for text in ("Conditions of the release", "Battery and power", "pre-flight", head):
        assert text in second
    for text in ("What is wearing out", "Sink rate", "Battery resistance", "elevator", head):
        assert text in third
    assert head in page
    assert page.count("<svg") > 4


@pytest.mark.parametrize("log", ["position_1hz_only.bin", "two_flights.bin", "radio_copy.tlog"])
def test_other_flights_take_three_pages_too(team, tmp_path, log):
    landed(team, SAMPLES / log)

    assert 3 == len(sheet_of(team, tmp_path)[0])


def test_a_truncated_log_gives_a_sheet(team, tmp_path):
    log = tmp_path / "cut.bin"
    log.write_bytes((SAMPLES / "calm.bin").read_bytes()[:900_000])
    landed(team, log)

    assert 0 == team.run("sheet", "2027-03-15"), team.err
    (written,) = (tmp_path / "here").glob("flight-*.pdf")
    assert 3 == len(pages_of(written.read_bytes()))
    assert f"Written: {written.name}" in team.out


def test_an_aircraft_and_an_inspection_are_written_into_this_folder(team, tmp_path):
    assert 0 == team.run("sheet", "--aircraft", "pannier"), team.err
    code = team.run("sheet", "--inspection", "club-trial-2027", "--aircraft", "pannier")
    assert 0 == code, team.err

    here = tmp_path / "here"
    assert "fitness: holds" in text_of((here / "aircraft-pannier.pdf").read_bytes())
    assert "clause 4.2" in text_of((here / "inspection-pannier.pdf").read_bytes())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("sheet",), "nothing is named"),
        (("sheet", "2027-03-15", "--aircraft", "pannier"), "has its aircraft already"),
        (("sheet", "--inspection", "club-trial-2027"), "no aircraft is named"),
        (("sheet", "--aircraft", "panier"), "Did you mean 'pannier'?"),
        (("sheet", "--inspection", "club", "--aircraft", "pannier"), "club-trial-2027"),
        (("sheet", "2026-01-01"), "2026-01-01"),
    ],
)
def test_what_is_typed_wrong_is_told(team, tmp_path, words, says):
    assert team.run(*words) in (2, 5)
    assert says in team.err
    assert not list((tmp_path / "here").iterdir())


def test_nothing_is_written_over(team, tmp_path):
    kept = tmp_path / "kept.pdf"
    kept.write_text("kept", encoding="utf-8")

    for words in (("sheet", "--aircraft", "pannier"), ("checks", "print", "daily")):
        assert 3 == team.run(*words, "--pdf", str(kept))
        assert "Name a new file" in team.err
    assert "kept" == kept.read_text(encoding="utf-8")
    assert 3 == team.run("sheet", "--aircraft", "pannier", "--html", str(tmp_path / "no" / "x"))


def test_a_list_is_printed_with_boxes(team, tmp_path):
    pdf = tmp_path / "daily.pdf"
    code = team.run("checks", "print", "daily", "--aircraft", "pannier", "--pdf", str(pdf))
    assert 0 == code, team.err

    assert "result or number" in text_of(pdf.read_bytes())


def test_the_help_does_not_load_the_typesetter():
    code = (
        "import sys\nfrom flightlog.cli.app import main\nmain(['sheet', '--help'])\n"
        "print(sorted({'typst', 'segno', 'pandas', 'scipy'} & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )

    assert done.stdout.endswith("[]\n")
