"""The season as tables says what the record says, and is made anew only where that changed."""

from __future__ import annotations

import json
import math
import os
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import flightlog
from flightlog.errors import LogbookError, NotWritableError, TeamFolderError, UsageError
from flightlog.operations import season_build
from flightlog.operations.season_figures import BUILT, READ, chosen, season_tables
from flightlog.operations.season_kept import NOTE, folder_of
from flightlog.operations.season_table import DENSITY, season_rows
from flightlog.team.folder import TeamFolder
from tests.operations.conftest import farm, farm_place
from tests.operations.flown import flown
from tests.operations.logs import imported, release
from tests.operations.many_flights import FIRST, WHY, WITHHELD, ManyFlights, value_of
from tests.operations.released import copied
from tests.operations.test_season_table import NINE, WITH_ROLL, weather

__all__ = ["farm", "farm_place"]  # fixtures
ROLL, ENERGY = "takeoff.ground_roll", "energy.used"
FIGURES = (ROLL, ENERGY, "surface.elevator.play")


@pytest.fixture(scope="module")
def many_place(farm_place, tmp_path_factory):
    """Where a record with four flights is kept."""
    root = tmp_path_factory.mktemp("many")
    shutil.copytree(farm_place[0], root, dirs_exist_ok=True)
    ManyFlights(TeamFolder.read(root / "team"), FIGURES).fly((1, 2, 3, 4))
    return root


@pytest.fixture
def many(many_place, tmp_path):
    """A team folder of its own with four flights, and the profile of this laptop."""
    shutil.copytree(many_place, tmp_path, dirs_exist_ok=True)
    return TeamFolder.read(tmp_path / "team"), tmp_path / "profile"


@pytest.fixture
def parsed(monkeypatch):
    """Count the debriefs that are parsed."""
    paths = []
    real = season_build.debrief_in

    def counted(path):
        paths.append(path)
        return real(path)

    monkeypatch.setattr(season_build, "debrief_in", counted)
    return paths


def debrief_paths(found, folder):
    hashes = found.tables.flights["debrief_sha256"].to_pylist()
    return [folder.logbook / "attachments" / h[:2] / h for h in hashes if h]


class HandClock:
    """Stands in for ``datetime``."""

    def __init__(self, at):
        self.at = at

    def now(self, _zone):
        return self.at


def same(one, other):
    """Whether two answers have the same rows in both tables."""
    return all(
        a.replace_schema_metadata(None).equals(b.replace_schema_metadata(None))
        for a, b in (
            (one.tables.flights, other.tables.flights),
            (one.tables.figures, other.tables.figures),
        )
    )


# --- what it says


def test_numbers_are_those_that_were_stored(many):
    found = season_tables(*many)

    wide = found.tables.flights.to_pydict()
    for place, figure in enumerate(FIGURES):
        expected = [value_of(count, place) for count in (1, 2, 3, 4)]
        assert expected == wide[figure]
        assert [0.9 * value for value in expected] == wide[f"{figure}.low"]
        assert [1.1 * value for value in expected] == wide[f"{figure}.high"]
    assert ["pannier"] * 4 == wide["aircraft"]
    assert ["pack-b", "pack-a", "pack-b", "pack-a"] == wide["pack"]
    starts = [at.astimezone(UTC) for at in wide["start_utc"]]
    assert [FIRST + timedelta(days=count) for count in (1, 2, 3, 4)] == starts
    assert ["without a release"] * 4 == wide["released"]
    assert [240.0] * 4 == wide["flown_s"]


def test_what_is_withheld_is_missing_with_its_reason(many):
    tables = season_tables(*many).tables

    assert [None] * 4 == tables.flights[WITHHELD].to_pylist()
    reasons = [one for one in tables.figures.to_pylist() if one["figure"] == WITHHELD]
    assert [WHY] * 4 == [one["withheld"] for one in reasons]
    assert {None} == {one["value"] for one in reasons}


def as_rows(found):
    """Give the tables flight by flight, as the slow form has them."""
    told = {}
    for one in found.tables.figures.to_pylist():
        numbers, reasons = told.setdefault(one["entry_sha256"], ({}, {}))
        if one["withheld"] is None:
            numbers[one["figure"]] = (one["value"], one["low"], one["high"])
        else:
            reasons[one["figure"]] = one["withheld"]
    wide = found.tables.flights.to_pylist()
    return [
        (one["sortie"], one["released"], one["no_debrief"] or "", *told[one["entry_sha256"]])
        for one in wide
    ]


def test_it_agrees_with_the_table_of_the_season_page(farm):
    weighed = release(farm, NINE - timedelta(minutes=10), cites=[weather(farm)])
    imported(farm, NINE, each=WITH_ROLL | {"withheld": {ENERGY: "no current"}})
    imported(farm, NINE + timedelta(days=1), each=WITH_ROLL, sorties=2, file="two.bin")
    flown(farm, 300, source="hand", start=NINE + timedelta(days=2))
    profile = farm.folder.path.parent / "profile"

    found = season_tables(farm.folder, profile)

    expected = [
        (
            row.name,
            row.released,
            row.no_debrief,
            {id_: (n.value, n.low, n.high) for id_, n in row.figures.items()},
            {id_: why for id_, why in row.withheld.items() if id_ not in row.figures},
        )
        for row in season_rows(farm.desk)
    ]
    assert 4 == len(expected)
    assert expected == as_rows(found)
    assert DENSITY in expected[0][3]
    configurations = found.tables.flights["configuration"].to_pylist()
    assert [weighed.body.content["configuration"], None] == configurations[:2]


def test_flights_without_a_time_come_last_and_cut_ones_are_marked(farm):
    imported(farm, None, file="untimed.bin", each=WITH_ROLL)
    later = farm.clock.now + timedelta(days=2)
    imported(farm, later, file="cut.bin", each=WITH_ROLL | {"touchdown_s": None, "ends": "air"})
    profile = farm.folder.path.parent / "profile"

    found = season_tables(farm.folder, profile).tables

    assert ["cut.bin", "untimed.bin"] == found.flights["file"].to_pylist()
    assert [None] == found.flights["start_utc"].to_pylist()[1:]
    assert [False, True] == found.flights["whole"].to_pylist()
    rows = [row for row in found.figures.to_pylist() if row["figure"] == ROLL]
    assert [False, True] == [row["whole"] for row in rows]
    assert [row.record.entry.hash for row in season_rows(farm.desk)] == (
        found.flights["entry_sha256"].to_pylist()
    )


def test_columns_of_numbers_say_their_unit_also_in_the_file(many):
    season_tables(*many)

    schema = pq.read_schema(folder_of(many[0]) / "flights.parquet")

    assert {b"unit": b"m"} == schema.field(f"{ROLL}.low").metadata
    assert {b"unit": b"Wh"} == schema.field(ENERGY).metadata
    assert {b"unit": b"s"} == schema.field("flown_s").metadata
    assert schema.field("landings").metadata is None


def test_recomputed_figures_count_from_then_on(many):
    season_tables(*many)

    def longer(body):
        body["sorties"][0]["figures"][ROLL] |= {"value": 77.0, "low": 76.0, "high": 78.0}

    (recording,) = ManyFlights(many[0], FIGURES).fly((2,), change=longer, analyses=5)

    wide = season_tables(*many).tables.flights.to_pydict()
    assert [value_of(1, 0), 77.0, value_of(3, 0), value_of(4, 0)] == wide[ROLL]
    assert [4, 5, 4, 4] == wide["analyses"]
    assert recording.body.attachments[1].sha256 == wide["debrief_sha256"][1]


def test_a_record_without_flights_has_empty_tables(farm):
    found = season_tables(farm.folder, farm.folder.path.parent / "profile")

    assert 0 == found.tables.flights.num_rows == found.tables.figures.num_rows


def test_half_a_character_in_a_debrief_is_no_fault(many):
    def odd(body):
        body["sorties"][0]["withheld"] = {"\ud800": "a key that is no text"}

    ManyFlights(many[0], FIGURES).fly((2,), change=odd)

    told = season_tables(*many).tables.figures.to_pydict()
    assert "a key that is no text" in told["withheld"]
    assert same(season_tables(*many), season_tables(*many))


# --- when it is made anew


def test_it_is_made_once_and_then_read_without_opening_the_record(many, monkeypatch):
    first = season_tables(*many)
    monkeypatch.setattr("flightlog.logbook.book.Logbook.open", None)

    second = season_tables(*many)

    assert (BUILT, READ) == (first.how, second.how)
    assert same(first, second)
    assert "Signatures were checked then and not now" in second.checked
    assert "checked then" not in first.checked


def test_after_an_import_only_its_own_debrief_is_parsed(many, parsed):
    season_tables(*many)
    assert 4 == len(parsed)
    parsed.clear()

    (recording,) = ManyFlights(many[0], FIGURES).fly((5,))
    found = season_tables(*many)

    assert BUILT == found.how
    assert [recording.body.attachments[1].sha256] == [path.name for path in parsed]
    assert [value_of(count, 0) for count in range(1, 6)] == found.tables.flights[ROLL].to_pylist()
    folder_of(many[0]).joinpath("flights.parquet").unlink()
    assert same(found, season_tables(*many))  # as if nothing had been known


def test_an_entry_that_is_no_flight_makes_it_anew_and_parses_nothing(farm_place, tmp_path, parsed):
    farm = copied(farm_place[0], tmp_path, farm_place[1])
    ManyFlights(farm.folder, FIGURES).fly((1, 2))
    place = farm.folder, tmp_path / "profile"
    season_tables(*place)
    parsed.clear()
    farm.desk.refresh()
    (entry, *_) = farm.desk.ledger.of("sortie")
    content = {"aircraft": "pannier", "pack": "pack-b", "reason": "by the label"}
    farm.add("pairing", content, ("pilot", "stated", "pilot"), cites=[entry])
    farm.close()

    found = season_tables(*place)

    assert (BUILT, []) == (found.how, parsed)
    assert "pack-b" == found.tables.flights["pack"].to_pylist()[0]


def test_a_debrief_that_goes_is_missed_and_one_that_comes_back_is_taken(many):
    found = season_tables(*many)
    path = debrief_paths(found, many[0])[1]
    data = path.read_bytes()

    path.unlink()
    without = season_tables(*many)
    path.write_bytes(data)
    again = season_tables(*many)

    assert (BUILT, BUILT) == (without.how, again.how)
    assert without.tables.flights[ROLL].to_pylist()[1] is None
    assert "missing or damaged" in without.tables.flights["no_debrief"].to_pylist()[1]
    assert same(found, again)


def test_a_debrief_of_other_bytes_is_not_taken(many):
    found = season_tables(*many)
    path = debrief_paths(found, many[0])[1]
    info = path.stat()

    path.write_bytes(path.read_bytes().replace(b"1.28", b"9.28"))
    os.utime(path, ns=(info.st_atime_ns, info.st_mtime_ns + 1))

    assert season_tables(*many).tables.flights[ROLL].to_pylist()[1] is None


# --- whom it believes


@pytest.mark.parametrize("name", ["flights.parquet", "figures.parquet"])
def test_tables_that_somebody_else_wrote_are_not_believed(many, name):
    first = season_tables(*many)
    path = folder_of(many[0]) / name
    table = pq.read_table(path)
    column = ROLL if name == "flights.parquet" else "value"
    lie = pa.array([1.5] * table.num_rows)
    pq.write_table(table.set_column(table.column_names.index(column), column, lie), path)

    second = season_tables(*many)

    assert BUILT == second.how
    assert same(first, second)


@pytest.mark.parametrize("junk", [b"", b"PAR1", b"\0" * 5000])
def test_junk_in_their_place_is_made_anew(many, junk):
    first = season_tables(*many)
    for name in ("flights.parquet", "figures.parquet"):
        (folder_of(many[0]) / name).write_bytes(junk)

    assert same(first, season_tables(*many))
    assert READ == season_tables(*many).how


@pytest.mark.parametrize(
    "note", ["", "no json", "[]", "{}", '{"schema": "flightlog.season-note/1", "folders": 3}',
             '{"schema": "flightlog.season-note/1", "folders": {"a": 1}}', "[" * 100_000]
)  # fmt: skip
def test_a_note_that_is_none_is_made_anew(many, note):
    season_tables(*many)
    (many[1] / NOTE).write_text(note, encoding="utf-8")

    assert BUILT == season_tables(*many).how
    assert READ == season_tables(*many).how


def test_another_laptop_makes_its_own_which_has_the_same_bytes(many, tmp_path, monkeypatch):
    first = season_tables(*many)
    later = datetime.now(UTC) + timedelta(days=1)
    monkeypatch.setattr("flightlog.operations.season_figures.datetime", HandClock(later))

    second = season_tables(many[0], tmp_path / "other")

    assert BUILT == second.how
    assert first.made_utc != second.made_utc
    assert same(first, second)
    assert READ == season_tables(many[0], tmp_path / "other").how
    third = season_tables(*many)
    assert (READ, first.made_utc) == (third.how, third.made_utc)


def test_no_note_is_kept_where_others_could_write_it(many):
    inside = many[0].path / "profile"

    season_tables(many[0], inside)

    assert not (inside / NOTE).exists()
    assert BUILT == season_tables(many[0], inside).how


def test_a_note_of_another_form_is_not_taken(many, monkeypatch):
    season_tables(*many)
    monkeypatch.setattr("flightlog.operations.season_kept.FORM", 99)

    assert BUILT == season_tables(*many).how


def test_a_damaged_record_is_told_and_not_answered_from_the_table(many):
    season_tables(*many)
    (many[0].logbook / "record.sqlite").write_bytes(b"x" * 4096)

    with pytest.raises((LogbookError, TeamFolderError)):
        season_tables(*many)


def test_it_remembers_so_many_folders_and_forgets_the_oldest(many, monkeypatch):
    monkeypatch.setattr("flightlog.operations.season_kept.MOST_NOTES", 2)
    folders = []
    for name in ("a", "b", "c"):
        place = many[0].path.parent / name
        shutil.copytree(many[0].path, place)
        folders.append(TeamFolder.read(place))
        season_tables(folders[-1], many[1])

    kept = json.loads((many[1] / NOTE).read_text(encoding="utf-8"))["folders"]
    assert [os.path.realpath(folder.path) for folder in folders[1:]] == list(kept)


# --- where it can't be kept


def test_a_folder_that_can_not_be_written_answers_all_the_same(many, monkeypatch):
    first = season_tables(*many)
    shutil.rmtree(many[0].tables)
    many[0].tables.write_text("a file in the way", encoding="utf-8")

    second = season_tables(*many)

    assert (BUILT, False) == (second.how, second.kept)
    assert same(first, second)
    assert "not kept" in second.checked
    monkeypatch.setenv("FLIGHTLOG_PROFILE", str(many[1]))
    with pytest.raises(NotWritableError):
        flightlog.season_files(many[0].path)


def test_what_was_left_by_a_process_that_ended_is_removed(many):
    season_tables(*many)
    folders = folder_of(many[0]), many[1]  # the tables, and the note of them
    old, new, other = ("0" * 16, "1" * 16, "thesis")
    for place in (folder / f"{n}.part" for folder in folders for n in (old, new, other)):
        place.write_bytes(b"half")
        if place.stem != new:
            os.utime(place, (1, 1))
    ManyFlights(many[0], FIGURES).fly((5,))

    season_tables(*many)

    for folder in folders:
        assert {new, other} == {path.stem for path in folder.glob("*.part")}


@pytest.mark.parametrize("place", ["tables", "tables/season"])
def test_tables_are_not_written_through_a_link_and_nothing_is_removed_there(many, tmp_path, place):
    elsewhere = tmp_path / "elsewhere"
    for folder in (elsewhere, elsewhere / "season"):
        folder.mkdir()
        for name in ("thesis.part", f"{'0' * 16}.part"):
            (folder / name).write_bytes(b"mine")
            os.utime(folder / name, (1, 1))
    before = sorted(elsewhere.rglob("*"))
    (many[0].path / place).parent.mkdir(exist_ok=True)
    try:
        (many[0].path / place).symlink_to(elsewhere, target_is_directory=True)
    except OSError:
        pytest.skip("this user may not make links here")

    assert season_tables(*many).tables.flights.num_rows

    assert before == sorted(elsewhere.rglob("*"))


def test_a_table_that_another_program_has_open_for_a_moment_is_replaced_after_it(many, monkeypatch):
    replace, refused = Path.replace, []

    def busy(self, target):
        if target.name not in refused:
            refused.append(target.name)
            raise PermissionError(13, "in use")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", busy)
    season_tables(*many)

    assert ["flights.parquet", "figures.parquet", NOTE] == refused
    assert READ == season_tables(*many).how


# --- some of it


def test_flights_and_figures_are_chosen(many):
    tables = season_tables(*many).tables

    some = chosen(tables, aircraft="pannier", pack="pack-a", figures=[ENERGY])

    wide = some.flights.to_pydict()
    assert [value_of(2, 1), value_of(4, 1)] == wide[ENERGY]
    assert ROLL not in wide
    assert {ENERGY} == set(some.figures["figure"].to_pylist())
    assert 2 == some.figures.num_rows
    assert chosen(tables) is tables


@pytest.mark.parametrize(
    "asked", [{"aircraft": "panier"}, {"pack": "pack-z"}, {"figures": ["energy.usd"]}]
)
def test_what_the_record_does_not_know_is_refused_with_what_is_near(many, asked):
    with pytest.raises(UsageError, match="Did you mean"):
        chosen(season_tables(*many).tables, **asked)


# --- from Python


@pytest.fixture
def at_home(many, monkeypatch):
    monkeypatch.setenv("FLIGHTLOG_PROFILE", str(many[1]))
    return many[0]


def test_python_gets_data_frames_of_both(at_home, monkeypatch):
    wide, long = flightlog.season(at_home.path), flightlog.season_figures(at_home.path)

    assert [value_of(count, 0) for count in (1, 2, 3, 4)] == list(wide[ROLL])
    assert str(wide["start_utc"].dt.tz) == "UTC"
    assert all(math.isnan(value) for value in wide[WITHHELD])
    assert "m" == wide.attrs["units"][ROLL]
    assert "Made now" in wide.attrs["checked"]
    assert "not now" in long.attrs["checked"]
    assert {WHY} == set(long[long["figure"] == WITHHELD]["withheld"])
    assert set(long["entry_sha256"]) == set(wide["entry_sha256"])
    monkeypatch.setenv("FLIGHTLOG_TEAM", str(at_home.path))
    assert wide.equals(flightlog.season())


def test_tools_that_read_parquet_get_the_files(at_home):
    flights, figures = flightlog.season_files(at_home.path)

    mean = pq.read_table(flights, columns=[ROLL])[ROLL].to_pandas().mean()
    assert mean == pytest.approx(sum(value_of(count, 0) for count in (1, 2, 3, 4)) / 4)
    assert 4 * (len(FIGURES) + 2) == pq.read_table(figures).num_rows


@pytest.mark.parametrize(
    "ask", [flightlog.season, flightlog.season_figures, flightlog.season_files]
)
def test_who_asks_from_python_is_told_what_helps_there(ask, tmp_path, monkeypatch):
    monkeypatch.delenv("FLIGHTLOG_TEAM", raising=False)
    monkeypatch.chdir(tmp_path)

    with pytest.raises(TeamFolderError, match="is no team folder") as named:
        ask(tmp_path / "nope")
    with pytest.raises(TeamFolderError, match="neither this folder") as not_named:
        ask()

    for raised in (named.value, not_named.value):
        assert "--team" not in raised.fix
        assert "flightlog team" not in raised.fix
        assert "team.toml" in raised.fix
        assert "FLIGHTLOG_TEAM" in raised.fix


def test_an_unknown_figure_is_told_beside_all_of_its_subject(many):
    tables = season_tables(*many).tables

    with pytest.raises(UsageError) as refused:
        chosen(tables, figures=["surface.q"])

    assert "Known: surface.elevator.play." == refused.value.fix
