"""``flightlog defect``: from the report to the closing, at the command line."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.cli.hangars import FILES, entry_added, equipped
from tests.cli.teams import terminal
from tests.operations.test_photos import SECRET, exif, jpeg, segment

__all__ = ["terminal"]  # a fixture

REPORT = ("defect", "report", "horn loose", "--part", "elevator horn", "--aircraft", "pannier")
CONTROLS = ("--group", "flight-controls", "--severity", "blocking")


@pytest.fixture(autouse=True)
def morning(terminal):
    terminal.at(datetime(2027, 3, 15, 10, 0, tzinfo=UTC))


def test_a_flight_control_from_the_report_to_the_closing(terminal, tmp_path):
    equipped(terminal, "aircraft/pannier.toml")
    photo = tmp_path / "horn.jpg"
    photo.write_bytes(jpeg(segment(0xE1, exif())))
    assert 0 == terminal.run(*REPORT, *CONTROLS, "--photo", str(photo)), terminal.err
    defect = entry_added(terminal)
    assert "open (blocking), flight-controls; waits for a rectification" in terminal.out

    words = ("defect", "close", defect, "--by", "pilot")
    assert 5 == terminal.signs(*words, by=["pilot"])
    assert "nobody has put it right" in terminal.err
    words = ("defect", "rectify", defect, "--action", "horn glued anew", "--by", "mechanic")
    assert 0 == terminal.signs(*words, by=["mechanic"]), terminal.err
    assert 5 == terminal.signs("defect", "close", defect, "--by", "pilot", by=["pilot"])
    assert "an independent inspection" in terminal.err
    # The defect is named; its newest work is meant. Who did it does not inspect it.
    words = ("defect", "inspect", defect, "--text", "locked, full travel", "--by")
    assert 5 == terminal.signs(*words, "mechanic", by=["mechanic"])
    assert "did the work" in terminal.err
    assert 0 == terminal.signs(*words, "pilot", by=["pilot"]), terminal.err
    assert 0 == terminal.run("defect", "list", "--aircraft", "pannier")
    assert "waits for closing" in terminal.out
    assert 0 == terminal.signs("defect", "close", defect, "--by", "mechanic", by=["mechanic"])
    assert 0 == terminal.run("defect", "list")
    assert "None." in terminal.out
    assert 0 == terminal.run("defect", "list", "--closed")
    assert f"{defect} elevator horn: closed (blocking)" in terminal.out

    # The whole history, with who, when and the photo.
    assert 0 == terminal.run("defect", "show", defect)
    for said in (
        *("horn.jpg", "horn glued anew", "locked, full travel", "2027-03-15 10:00:00 UTC"),
        *("performed, as mechanic", "inspected, as inspector", "closed, as inspector"),
    ):
        assert said in terminal.out, said
    kept = list((terminal.team / "logbook" / "attachments").glob("*/*"))
    assert not any(SECRET in path.read_bytes() for path in kept)


def with_safety_officer(terminal):
    names = ["pilot", "mechanic"]
    code = terminal.signs(
        *("team", "new", str(terminal.team), "--name", "Hill farm"),
        *("--person", "pilot", "--roles", "pilot,inspector"),
        *("--person", "mechanic", "--roles", "mechanic,safety"),
        by=[*names, *names],
    )
    assert 0 == code, terminal.err
    file = str(FILES["aircraft/pannier.toml"])
    code = terminal.signs("team", "enter", file, "--by", "mechanic", "--by", "pilot",
                          by=["mechanic", "pilot"])  # fmt: skip
    assert 0 == code, terminal.err


def test_a_deferral_has_two_persons_and_an_end(terminal):
    with_safety_officer(terminal)
    words = (*REPORT, "--group", "payload", "--severity", "deferrable")
    assert 0 == terminal.run(*words), terminal.err
    defect = entry_added(terminal)
    said = ("--reason", "no part", "--risk", "water", "--limitation", "not in rain")
    words = ("defect", "defer", defect, *said, "--by", "pilot", "--by", "mechanic")
    two = ["pilot", "mechanic"]

    assert 2 == terminal.signs(*words, by=two)
    assert "a deferral ends" in terminal.err
    assert 2 == terminal.signs(*words[:-2], "--flights", "3", by=["pilot"])
    assert "two persons sign" in terminal.err
    until = ("--until", "2027-04-10", "--flights", "3")
    assert 0 == terminal.signs(*words, *until, by=two), terminal.err
    assert 0 == terminal.run("defect", "list")
    assert "until 2027-04-10 23:59 UTC (26.6 days left), 0 of 3 flights flown" in terminal.out
    assert "not in rain" in terminal.out

    # It is raised by a new report, and never lowered.
    words = (*REPORT, "--group", "payload", "--of", defect, "--severity")
    assert 5 == terminal.run(*words, "cosmetic")
    assert 0 == terminal.run(*words, "blocking"), terminal.err
    assert "open (blocking)" in terminal.out
    assert 5 == terminal.run("defect", "show", "99.ZZZZZ")
    assert 2 == terminal.run("defect", "list", "--aircraft", "panier")
