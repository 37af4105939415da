"""An import of many logs in words."""

from __future__ import annotations

import dataclasses
from datetime import timedelta
from pathlib import Path

import pytest

from flightlog.errors import LogFileError, UsageError
from flightlog.operations.importing import Told, finish
from flightlog.operations.log_search import TABLE, Searched
from flightlog.operations.season_import import SAME_FILE, Entered, Failed, LeftOut
from flightlog.reports.season_import import (
    Names,
    Tally,
    entered_line,
    first_releases,
    summary_lines,
)
from tests.operations.conftest import farm, farm_place
from tests.operations.logs import recording, release, stored_debrief
from tests.operations.made import MORNING

__all__ = ["farm", "farm_place"]  # fixtures

NINE = MORNING + timedelta(hours=2)
NOTHING = Searched((), {})


def entered(farm, start, file="made.bin", **more):
    """Enter a recording that is made up, as an import does."""
    farm.clock.now = max(farm.clock.now, start + timedelta(minutes=6))
    entry = recording(farm, stored_debrief(start, file=file, **more))
    done = finish(farm.desk, entry, Told("pannier"))
    return Entered((Path(file),), dataclasses.replace(done, added=(entry, *done.added)))


def again(farm, event):
    return Entered(event.logs, finish(farm.desk, event.imported.recording), known=True)


def tally_of(*events):
    tally = Tally()
    for event in events:
        tally.count(event)
    return tally


def summary(tally, found=NOTHING, name=str, width=80):
    return list(summary_lines(tally, found, name, width))


def test_a_flight_of_which_there_are_two_logs_counts_once_now_and_later(farm):
    short = entered(farm, NINE, "short.bin", flown_s=150.0)
    longer = entered(farm, NINE, "longer.bin", flown_s=240.0)
    other = entered(farm, NINE + timedelta(hours=1), "other.bin")
    events = (short, longer, other)

    assert " 1 flight" in entered_line(short)
    assert "another log" not in entered_line(short)
    assert "1 flight  another log of a flight that is in the record" in entered_line(longer)
    for tally in (tally_of(*events), tally_of(*(again(farm, event) for event in events))):
        first, second, *_ = summary(tally)
        assert "with 2 flights; 0 failed." in first
        assert "2 flights were flown without a release." == second


def test_without_a_release_is_said_on_the_line_once_the_aircraft_had_one(farm):
    past = entered(farm, NINE, "past.bin")
    release(farm, NINE + timedelta(minutes=50))
    released = entered(farm, NINE + timedelta(hours=1), "released.bin")
    forgot = entered(farm, NINE + timedelta(hours=9), "forgot.bin")
    since = first_releases(farm.desk)

    said = [entered_line(event, str, since) for event in (past, released, forgot)]

    assert ["RELEASE" in line for line in said] == [False, False, True]
    assert "  release " in said[1]
    assert "2 flights were flown without a release." in summary(tally_of(past, released, forgot))


def test_the_same_reason_is_given_once_with_all_that_failed_by_it():
    why = {"found": "of which aircraft it is can't be told", "fix": "Give --aircraft ID."}
    failed = [
        Failed((Path("season", name),), UsageError(why["found"], where=name, fix=why["fix"]))
        for name in ("a.bin", "b.bin")
    ]
    failed += [
        Failed((Path("season", name),), LogFileError(found, where=name, fix="Read the manual."))
        for name, found in (("c.bin", "starts with 01"), ("d.bin", "starts with 02"))
    ]

    lines = summary(tally_of(*failed))

    said = lines[lines.index("Failed:") + 1 : -2]
    assert [
        "  2 times: of which aircraft it is can't be told. Give --aircraft ID.",
        f"      {Path('season/a.bin')}",
        f"      {Path('season/b.bin')}",
        f"  {Path('season/c.bin')}  starts with 01. Read the manual.",
        f"  {Path('season/d.bin')}  starts with 02.",
    ] == said


def test_what_lies_beside_logs_is_said_first_where_there_is_something_to_say():
    others = {Path(f"{n}.txt"): "" for n in range(12)} | {Path("thrust.csv"): TABLE}
    found = Searched((), others, (Path(".x.bin"),))
    left = LeftOut(Path("b.bin"), Path("a.bin"), SAME_FILE)

    said = " ".join(" ".join(summary(tally_of(left), found)).split())

    assert "Left out: 1 copy. b.bin: the same file as a.bin, taken once" in said
    assert "No logs: 13 files. thrust.csv is a table as text 0.txt" in said
    assert "and 3 more 1 table could be a log: 'flightlog explain FILE'" in said
    assert "Passed over: 1 hidden file that could be logs. .x.bin" in said
    assert all(len(line) <= 80 for line in summary(tally_of(left), found)[1:])


# --- names


def test_files_are_called_from_the_name_of_their_folder_on():
    place = Path("/data/flying/season")
    named = Names([place, Path("other/1.bin"), Path(".")])

    assert str(Path("season/later/1.bin")) == named(place / "later" / "1.bin")
    assert str(Path("other/1.bin")) == named(Path("other/1.bin"))
    assert str(place) == named(place)  # a folder that is at fault


def test_files_of_folders_of_one_name_are_called_as_they_were_named():
    one, two = Path("a/season"), Path("b/season")

    assert str(one / "1.bin") == Names([one, two])(one / "1.bin")


@pytest.mark.parametrize(
    ("path", "short"),
    [
        ("season/1.bin", "season/1.bin"),
        ("season/2026-05-01/card_a/APM/LOGS/00000001.BIN",
         "season/.../card_a/APM/LOGS/00000001.BIN"),
        ("season/a_name_that_is_much_longer_than_a_line_has_room_for.bin",
         ".../a_name_that_is_much_longer_than_a_line_has_room_for.bin"),
    ],
)  # fmt: skip
def test_long_paths_lose_folders_from_their_middle_and_never_the_name(path, short):
    assert str(Path(short)) == Names([], [Path(path)]).short(Path(path))


def test_paths_that_would_be_called_alike_are_not_made_shorter():
    files = [Path("season", day, "a_folder_of_some_length/LOGS/1.bin") for day in ("may", "june")]
    named = Names([Path("season")], files)

    assert [str(file) for file in files] == [named.short(file) for file in files]
