"""Debriefs computed anew by other analyses, as new entries beside the old ones."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import timedelta

import pytest

import flightlog.contract
import flightlog.debriefing
import flightlog.earlier
import flightlog.figures
import flightlog.importers
import flightlog.operations.recomputing as recomputing
from flightlog.logbook.entry import CITES
from flightlog.operations.importing import Told, finish, import_recording
from flightlog.operations.recomputing import NotRecomputed, Recomputed, outdated, recompute
from flightlog.operations.sorties import debrief_of, recording_debrief, sorties
from tests.operations.logs import imported, recording, release, stored_debrief
from tests.operations.made import MORNING, SAMPLES
from tests.operations.remembered import remembered

__all__ = ["remembered"]  # a fixture

DISTANCE = "flight.distance"


@pytest.fixture
def flown(farm, remembered):
    """A record with one flight from a log, imported by the analyses of today."""
    farm.clock.later(days=60)
    log = SAMPLES / "headwind.bin"
    done = import_recording(farm.desk, flightlog.read(log), [log], Told("pannier"))
    farm.clock.later(days=30)
    return farm, done


@pytest.fixture
def newer(monkeypatch):
    """Analyses of a later version, by which each flight is two metres longer."""
    version = flightlog.figures.ANALYSES_VERSION + 1
    modules = (flightlog.figures, flightlog.contract, flightlog.earlier, recomputing)
    for module in modules:
        monkeypatch.setattr(module, "ANALYSES_VERSION", version)
    debrief = flightlog.debriefing.debrief

    def longer(*given):
        result = debrief(*given)
        return replace(result, sorties=tuple(map(_longer, result.sorties)))

    monkeypatch.setattr(flightlog.debriefing, "debrief", longer)
    return version


def _longer(sortie):
    figure = sortie.figures[DISTANCE]
    moved = replace(figure.quantity, value=figure.quantity.value + 2.0)
    return replace(sortie, figures={**sortie.figures, DISTANCE: replace(figure, quantity=moved)})


@pytest.fixture
def no_reading(monkeypatch):
    def refused(*given, **more):
        raise AssertionError("a raw log was read")

    monkeypatch.setattr(flightlog.importers, "read", refused)


def distance_of(desk):
    (flight,) = sorties(desk)
    return debrief_of(desk, flight)["figures"][DISTANCE]["value"]


def test_what_is_of_today_is_left_alone(flown):
    farm, _ = flown
    assert () == outdated(farm.desk)


def test_figures_come_from_kept_tables_and_a_new_entry_says_what_changed(flown, newer, no_reading):
    farm, done = flown
    before = distance_of(farm.desk)
    (old,) = outdated(farm.desk)
    assert done.recording == old

    (one,) = recompute(farm.desk, [old])

    assert isinstance(one, Recomputed)
    said = one.entry.body.content
    assert newer == said["analyses"]
    assert old.hash in one.entry.body.related(CITES)
    assert 1 == said["changed"]
    assert len(one.changes) == len(said["changes"])
    assert DISTANCE in said["changes"][0]
    assert f"by analyses {newer - 1}" in said["changes"][0]
    assert pytest.approx(before + 2.0) == distance_of(farm.desk)
    # The old one is there as it was, and the flight is one flight still.
    assert done.recording in farm.desk.ledger.of("recording")
    assert before == recording_debrief(farm.desk, old)["sorties"][0]["figures"][DISTANCE]["value"]
    assert 1 == len(sorties(farm.desk))
    assert () == outdated(farm.desk)


def test_nothing_is_raised_or_entered_again_by_it(flown, newer):
    farm, _ = flown
    kinds = [e.body.kind for e in farm.desk.ledger.order]

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert [*kinds, "recording"] == [e.body.kind for e in farm.desk.ledger.order]
    assert () == finish(farm.desk, one.entry).added


def test_an_unchanged_debrief_is_entered_as_one(flown, newer, monkeypatch):
    farm, _ = flown
    monkeypatch.setattr("tests.operations.test_recomputing._longer", lambda sortie: sortie)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert () == one.changes
    assert 0 == one.entry.body.content["changed"]
    assert "changes" not in one.entry.body.content


def test_tables_that_were_tampered_with_are_not_believed(flown, newer, monkeypatch):
    farm, done = flown
    name = done.recording.body.content["tables"]
    table = farm.folder.tables / "decoded" / name[:2] / name / "gps.parquet"
    data = bytearray(table.read_bytes())
    data[len(data) // 2] ^= 1
    table.write_bytes(data)
    read, logs = flightlog.importers.read, []

    def reading(path, **how):
        logs.append(path.name)
        return read(path, **how)

    monkeypatch.setattr(flightlog.importers, "read", reading)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert [done.recording.body.content["sha256"]] == logs
    assert "headwind.bin" == one.entry.body.content["file"]
    assert 1 == one.entry.body.content["changed"]


def test_without_tables_and_log_the_debrief_stands(flown, newer):
    farm, done = flown
    shutil.rmtree(farm.folder.tables)
    farm.book.attachments.path(done.recording.body.content["sha256"]).unlink()
    before = distance_of(farm.desk)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert isinstance(one, NotRecomputed)
    assert before == distance_of(farm.desk)


def test_other_flights_than_the_record_has_are_not_entered(flown, newer, monkeypatch):
    farm, _ = flown
    length = len(farm.desk.ledger.order)
    debrief = flightlog.debriefing.debrief
    monkeypatch.setattr(
        flightlog.debriefing, "debrief", lambda *given: replace(debrief(*given), sorties=())
    )

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert "other flights" in str(one.error)
    assert length == len(farm.desk.ledger.order)


def test_joined_logs_are_computed_anew_from_what_was_joined(farm, newer, no_reading, monkeypatch):
    monkeypatch.undo()
    farm.clock.later(days=60)
    logs = [SAMPLES / "calm.bin", SAMPLES / "calm_transmitter.csv"]
    (joined,) = flightlog.join(map(flightlog.read, logs))
    done = import_recording(farm.desk, joined, logs, Told("pannier"))
    monkeypatch.setattr(recomputing, "ANALYSES_VERSION", flightlog.figures.ANALYSES_VERSION + 1)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    before = recording_debrief(farm.desk, done.recording)
    after = recording_debrief(farm.desk, one.entry)
    assert before["log"]["partners"] == after["log"]["partners"]
    assert before["sorties"][0]["figures"] == after["sorties"][0]["figures"]
    assert len(done.recording.body.attachments) == len(one.entry.body.attachments)

    shutil.rmtree(farm.folder.tables)  # and from the logs, where the tables are gone
    (again,) = recompute(farm.desk, [one.entry])
    anew = recording_debrief(farm.desk, again.entry)
    assert before["sorties"][0]["figures"] == anew["sorties"][0]["figures"]
    assert before["log"]["partners"] == anew["log"]["partners"]
    name = again.entry.body.content["tables"]
    assert (farm.folder.tables / "decoded" / name[:2] / name).is_dir()

    shutil.rmtree(farm.folder.tables)
    monkeypatch.setattr("flightlog.operations.flight_making.join", list)  # nothing fits any more
    (refused,) = recompute(farm.desk, [again.entry])
    assert "no longer joined" in str(refused.error)


def test_each_flight_is_computed_under_its_release_whatever_its_number_in_other_logs(farm, newer):
    both, second = MORNING + timedelta(hours=1), MORNING + timedelta(hours=3)
    releases = [release(farm, at - timedelta(minutes=10)) for at in (both, second)]
    imported(farm, both, sorties=2, apart_min=120, file="both.bin")
    imported(farm, second, file="second.tlog")
    assert releases == [flight.release for flight in sorties(farm.desk)]

    tasks = [recomputing._task(farm.desk, one, 0) for one in outdated(farm.desk)]

    under = [[key.split()[0] for key in task.under] for task in tasks]
    assert [[r.hash for r in releases], [releases[1].hash]] == under


def test_an_interrupted_import_is_finished_before_its_figures_are_computed_anew(farm, newer):
    signed = release(farm, MORNING + timedelta(minutes=50))
    farm.clock.now = MORNING + timedelta(hours=2)
    recording(farm, stored_debrief(MORNING + timedelta(hours=1)))

    list(recompute(farm.desk, outdated(farm.desk)))  # its log was made up and can't be read

    (flight,) = sorties(farm.desk)
    assert signed == flight.release
