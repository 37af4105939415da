"""Many logs at once: order, joining, faults, and going on after an interruption."""

from __future__ import annotations

import dataclasses
import json
import os
import shutil
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from types import SimpleNamespace

import pytest

import flightlog
import flightlog.debriefing
import flightlog.importers
from flightlog.decoded import DecodedStore
from flightlog.errors import LogFileError, NotWritableError, UsageError
from flightlog.logbook.book import Logbook
from flightlog.operations.desk import Desk
from flightlog.operations.flight_making import Worked, debrief_flight
from flightlog.operations.importing import Told, import_recording
from flightlog.operations.log_search import search
from flightlog.operations.season_import import Entered, Failed, LeftOut, SeasonImport
from flightlog.operations.sorties import recording_debrief, sorties
from flightlog.recording import Recording
from flightlog.team.ledger import Ledger
from flightlog.workers import Here
from flightlog.workers.processes import Processes
from tests.operations.logs import recording, release, stored_debrief
from tests.operations.made import FILES, MORNING, SAMPLES
from tests.operations.remembered import remembered

__all__ = ["remembered"]  # a fixture

PANNIER = Told("pannier")


@pytest.fixture
def season(tmp_path):
    """A folder of a card: flights of two days in the wrong order of names, and what is no log."""
    folder = tmp_path / "season"
    (folder / "later").mkdir(parents=True)
    shutil.copyfile(SAMPLES / "position_1hz_only.bin", folder / "later" / "a_late.bin")
    shutil.copyfile(SAMPLES / "headwind.bin", folder / "z_early.bin")
    shutil.copyfile(SAMPLES / "headwind.bin", folder / "z_twin.bin")
    (folder / "broken.gpx").write_bytes(b"<gpx><trk></trk></gpx>")
    (folder / "notes.txt").write_text("wind from the north", encoding="utf-8")
    return folder


def taken(farm, *paths, workers=None, progress=None):
    found = search(paths, farm.clock.now)
    return list(SeasonImport(farm.desk, PANNIER, workers, progress).take(found.logs))


def names_of(events):
    return [log.name for event in events for log in event.logs]


@pytest.fixture
def reads(monkeypatch, remembered):
    """Names of the logs that are read, and how often something is debriefed."""
    counted = {"read": [], "debriefed": 0}
    read, debrief = flightlog.importers.read, flightlog.debriefing.debrief

    def reading(path, **how):
        counted["read"].append(path.name)
        return read(path, **how)

    def debriefing(*given):
        counted["debriefed"] += 1
        return debrief(*given)

    monkeypatch.setattr(flightlog.importers, "read", reading)
    monkeypatch.setattr(flightlog.debriefing, "debrief", debriefing)
    return counted


def test_logs_are_entered_in_order_of_time_and_one_bad_file_keeps_none_out(farm, season, reads):
    farm.clock.later(days=60)
    found = search([season], farm.clock.now)
    assert ["notes.txt"] == [path.name for path in found.others]

    events = taken(farm, season)

    done = [event for event in events if isinstance(event, Entered)]
    assert ["z_early.bin", "a_late.bin"] == names_of(done)
    assert [event.imported.recording for event in done] == sorted(
        (event.imported.recording for event in done), key=lambda e: e.body.number
    )
    (twin,) = [event for event in events if isinstance(event, LeftOut)]
    assert f"{season / 'z_twin.bin'}: the same file as {season / 'z_early.bin'}" in twin.why()
    (failed,) = [event for event in events if isinstance(event, Failed)]
    assert ["broken.gpx"] == [log.name for log in failed.logs]
    assert isinstance(failed.error, LogFileError)
    assert 2 == len(sorties(farm.desk))
    assert 2 == reads["debriefed"]

    again = taken(farm, season)
    known = [event for event in again if isinstance(event, Entered)]
    assert all(event.known and not event.imported.added for event in known)
    assert 2 == len(known)
    assert 2 == reads["debriefed"]


def test_the_figures_are_those_of_an_import_one_by_one(farm, season, farm_place, tmp_path):
    from tests.operations.released import copied

    farm.clock.later(days=60)
    taken(farm, season)
    alone = copied(farm_place[0], tmp_path / "alone", farm_place[1])
    try:
        alone.clock.later(days=60)
        for name in ("headwind.bin", "position_1hz_only.bin"):
            log = SAMPLES / name
            import_recording(alone.desk, flightlog.read(log), [log], PANNIER)
        pairs = zip(sorties(farm.desk), sorties(alone.desk), strict=True)
        for mine, other in pairs:
            one = recording_debrief(farm.desk, mine.recording)
            two = recording_debrief(alone.desk, other.recording)
            two["log"]["file"] = one["log"]["file"]
            assert two == one
            assert other.entry.body.content == mine.entry.body.content
    finally:
        alone.close()


def test_logs_of_one_flight_are_joined_and_not_imported_a_second_time(farm, tmp_path, reads):
    farm.clock.later(days=60)
    for name in ("calm.bin", "calm_transmitter.csv"):
        shutil.copyfile(SAMPLES / name, tmp_path / name)
    logs = [tmp_path / "calm_transmitter.csv", tmp_path / "calm.bin"]

    (event,) = taken(farm, *logs)

    assert ["calm.bin", "calm_transmitter.csv"] == [log.name for log in event.logs]
    (partner,) = recording_debrief(farm.desk, event.imported.recording)["log"]["partners"]
    assert "calm_transmitter.csv" == partner["file"]
    (again,) = taken(farm, *logs)
    assert again.known
    assert 1 == reads["debriefed"]


class Stops(Exception):
    """As if somebody pulled the plug."""


def test_after_an_interruption_nothing_that_was_done_is_done_again(farm, season, reads):
    farm.clock.later(days=60)
    logs = search([season], farm.clock.now).logs

    def stopping(share, text):
        if text.startswith("1 of 2 logs entered"):
            raise Stops

    with pytest.raises(Stops):
        list(SeasonImport(farm.desk, PANNIER, None, stopping).take(logs))
    assert 1 == reads["debriefed"]  # and not yet entered
    assert not sorties(farm.desk)
    read = list(reads["read"])
    assert sorted(["broken.gpx", "z_early.bin", "a_late.bin"]) == sorted(read)

    events = taken(farm, season)

    assert ["z_early.bin", "a_late.bin"] == names_of(e for e in events if isinstance(e, Entered))
    assert [*read, "broken.gpx"] == reads["read"]
    assert 2 == reads["debriefed"]
    assert 2 == len(sorties(farm.desk))
    assert not list((farm.book.profile / "work" / "debriefs").iterdir())


def test_flights_that_wait_to_be_entered_keep_their_releases_from_each_other(farm, tmp_path):
    """Two flights within the minutes that clocks may be apart, and a release for each."""
    log = tmp_path / "two_flights.bin"
    shutil.copyfile(SAMPLES / "two_flights.bin", log)
    recording = flightlog.read(log)
    began = recording.receipt.utc.unix_offset_s
    from datetime import UTC, datetime

    start = datetime.fromtimestamp(began, UTC)
    farm.clock.now = start - timedelta(minutes=30)
    first = release(farm, start - timedelta(minutes=8))
    farm.clock.now = max(farm.clock.now, start + timedelta(minutes=1))
    second = release(farm, start + timedelta(minutes=2))
    farm.clock.now = start + timedelta(hours=1)

    (event,) = taken(farm, log)

    flights = event.imported.flights
    spent = [flight.release for flight in flights]
    assert len(spent) == len({one.hash for one in spent if one is not None})
    assert {first, second} >= set(filter(None, spent))
    assert any(one is not None for one in spent)


class Backwards(Here):
    """Workers who take all that there is, and finish the last of it first."""

    def each(self, work, tasks, size=None, note=None):
        yield from super().each(work, reversed(list(tasks)), size, note)


def test_what_is_finished_too_early_is_entered_in_order_of_time(farm, season, remembered):
    farm.clock.later(days=60)

    events = taken(farm, season, workers=Backwards())

    done = [event for event in events if isinstance(event, Entered)]
    assert ["z_early.bin", "a_late.bin"] == names_of(done)
    early, late = (event.imported.recording.body for event in done)
    assert early.number < late.number


def at(monkeypatch, **began):
    """Let logs begin at other times, by their names."""
    read = flightlog.importers.read

    def reading(path, **how):
        recording = read(path, **how)
        utc = recording.receipt.utc
        if path.stem in began:
            utc = dataclasses.replace(utc, offset_s=began[path.stem].timestamp())
        receipt = dataclasses.replace(recording.receipt, utc=utc)
        return Recording(
            {n: recording[n] for n in recording}, receipt, recording.raw, recording.findings
        )

    monkeypatch.setattr(flightlog.importers, "read", reading)


def test_no_flight_is_debriefed_under_the_release_of_one_that_waits_to_be_entered(
    farm, tmp_path, reads, monkeypatch
):
    """The first release fits both; that of the second is found because the first is given away."""
    start = MORNING + timedelta(days=3)
    at(monkeypatch, one=start, other=start + timedelta(minutes=12))
    shutil.copyfile(SAMPLES / "headwind.bin", tmp_path / "one.bin")
    shutil.copyfile(SAMPLES / "position_1hz_only.bin", tmp_path / "other.bin")
    first = release(farm, start - timedelta(minutes=8))
    second = release(farm, start + timedelta(minutes=10))
    farm.clock.now = start + timedelta(hours=1)

    events = taken(farm, tmp_path / "one.bin", tmp_path / "other.bin", workers=Backwards())

    assert [first, second] == [event.imported.flights[0].release for event in events]
    assert 2 == reads["debriefed"]  # each once: under its own from the beginning


class Elsewhen(Here):
    """Workers whose debriefs have the flights five hours later than they were seen at first."""

    def each(self, work, tasks, size=None, note=None):
        for finished in super().each(work, tasks, size, note):
            made = finished.result
            if isinstance(made, Worked):
                legs = [
                    dataclasses.replace(leg, start_s=leg.start_s + 5 * 3600.0) for leg in made.legs
                ]
                made = dataclasses.replace(made, legs=tuple(legs))
            yield dataclasses.replace(finished, result=made)


@pytest.fixture
def twice(farm, tmp_path, remembered, monkeypatch):
    """A log whose first debrief fits another release than what was seen before, and later ones."""
    from flightlog.operations import season_import

    start = MORNING + timedelta(days=3)
    at(monkeypatch, log=start)
    log = tmp_path / "log.bin"
    shutil.copyfile(SAMPLES / "position_1hz_only.bin", log)
    first = release(farm, start - timedelta(minutes=8))
    later = release(farm, start + timedelta(hours=4.5))
    farm.clock.now = start + timedelta(hours=10)
    found = SimpleNamespace(log=log, first=first, later=later, under=[], meanwhile=None)

    def debriefing(task):
        found.under.append(task.under)
        if len(found.under) == 2 and found.meanwhile is not None:
            found.meanwhile()
        return debrief_flight(task)

    monkeypatch.setattr(season_import, "debrief_flight", debriefing)
    return found


def test_a_debrief_under_other_releases_than_at_last_is_made_once_more(farm, twice):
    (event,) = taken(farm, twice.log, workers=Elsewhen())

    first, later = twice.first.hash, twice.later.hash
    assert [(first,), (later,), (first,)] == twice.under
    (flight,) = event.imported.flights
    assert twice.first == flight.release


def test_what_another_import_entered_while_a_debrief_was_made_again_is_not_entered_twice(
    farm, twice
):
    def meanwhile():
        desk = Desk(farm.folder, farm.book)
        import_recording(desk, flightlog.importers.read(twice.log), [twice.log], PANNIER)

    twice.meanwhile = meanwhile

    (event,) = taken(farm, twice.log, workers=Elsewhen())

    assert event.known
    assert 1 == len(farm.desk.ledger.of("recording"))
    assert 1 == len(event.imported.flights)


def threads(monkeypatch):
    """Let the processes be threads of this one, which are there at once."""
    monkeypatch.setattr("flightlog.workers.processes._pool", ThreadPoolExecutor)


@pytest.mark.parametrize("step", ["look", "debrief_flight"])
def test_what_is_in_work_when_it_is_interrupted_is_finished_and_not_done_again(
    farm, tmp_path, reads, monkeypatch, step
):
    from flightlog.operations import season_import

    farm.clock.later(days=60)
    names = ("headwind.bin", "marginal.bin", "position_1hz_only.bin", "attempt_then_takeoff.bin")
    logs = [tmp_path / name for name in names]
    for log in logs:
        shutil.copyfile(SAMPLES / log.name, log)
    work, begun, go = getattr(season_import, step), [], threading.Event()
    in_work = threading.Semaphore(0)

    def working(task):
        """The first at once, those after it when they are let go."""
        begun.append(task)
        in_work.release()
        if len(begun) > 1:
            assert go.wait(30)
        return work(task)

    def interrupting(share, text):
        if text.startswith("1 of 4") and text.endswith("read" if step == "look" else "entered"):
            for _ in range(3):
                assert in_work.acquire(timeout=30)
            raise KeyboardInterrupt

    threads(monkeypatch)
    monkeypatch.setattr(season_import, step, working)
    workers = Processes(2)
    with pytest.raises(KeyboardInterrupt):
        taken(farm, *logs, workers=workers, progress=interrupting)
    threading.Timer(0.05, go.set).start()
    workers.close()

    assert 3 == len(begun)
    monkeypatch.setattr(season_import, step, work)
    assert 4 == len(taken(farm, *logs))
    assert sorted(names) == sorted(reads["read"])
    assert 4 == reads["debriefed"]
    assert 4 == len(sorties(farm.desk))


def test_a_log_of_no_known_aircraft_fails_and_the_others_are_entered(farm, season, remembered):
    farm.clock.later(days=60)
    shutil.copyfile(SAMPLES / "calm_transmitter.csv", season / "card.csv")
    logs = search([season / "card.csv", season / "z_early.bin"], farm.clock.now).logs

    events = list(SeasonImport(farm.desk).take(logs))

    failed = {event.logs[0].name: event.error for event in events if isinstance(event, Failed)}
    assert ["card.csv"] == list(failed)
    assert isinstance(failed["card.csv"], UsageError)
    assert "--aircraft" in failed["card.csv"].fix
    assert ["z_early.bin"] == names_of(e for e in events if isinstance(e, Entered))


def test_a_full_disk_ends_it_and_the_same_call_goes_on(farm, season, remembered, monkeypatch):
    farm.clock.later(days=60)
    append = Logbook.append
    left = [4]

    def full(self, *given, **more):
        left[0] -= 1
        if left[0] < 0:
            raise NotWritableError("the disk is full", where="team")
        return append(self, *given, **more)

    monkeypatch.setattr(Logbook, "append", full)
    with pytest.raises(NotWritableError):
        taken(farm, season)
    monkeypatch.setattr(Logbook, "append", append)

    taken(farm, season)

    assert 2 == len(sorties(farm.desk))


def test_a_log_that_changes_between_the_passes_fails(farm, season, remembered):
    farm.clock.later(days=60)
    log = season / "z_early.bin"

    def changing(share, text):
        if text.endswith("logs read"):
            log.write_bytes((SAMPLES / "position_1hz_only.bin").read_bytes())

    (event,) = taken(farm, log, progress=changing)

    assert isinstance(event, Failed)
    assert "changed while it was read" in str(event.error)
    assert not sorties(farm.desk)


def test_what_others_note_in_the_team_folder_of_a_log_is_not_believed(farm, season, reads):
    """Tables of another flight that claim to be this log's, laid where tables are kept."""
    farm.clock.later(days=60)
    log = season / "z_early.bin"
    honest = flightlog.importers.read(log)
    gps = honest["gps"].assign(ground_speed_m_s=honest["gps"]["ground_speed_m_s"] + 1.0)
    tables = {**{name: honest[name] for name in honest}, "gps": gps}
    forged = Recording(tables, honest.receipt, findings=honest.findings)
    store = DecodedStore(farm.folder.tables)
    store.note(honest.receipt.sha256, store.keep(forged))
    reads["read"].clear()

    (event,) = taken(farm, log)

    assert ["z_early.bin"] == reads["read"]
    assert store.name_of(honest.receipt.sha256) != event.imported.recording.body.content["tables"]


def test_the_entry_names_the_tables_that_the_figures_came_from(farm, season, remembered):
    farm.clock.later(days=60)

    (event,) = taken(farm, season / "z_early.bin")

    name = event.imported.recording.body.content["tables"]
    folder = farm.folder.tables / "decoded" / name[:2] / name
    receipt = json.loads((folder / "receipt.json").read_text(encoding="utf-8"))
    assert event.imported.recording.body.content["sha256"] == receipt["receipt"]["sha256"]


@pytest.mark.parametrize(("firmware", "entered"), [("ArduCopter V4.5.1", 0), ("V4.5.1", 1)])
def test_other_craft_among_many_logs_are_not_entered_as_the_aircraft_that_was_named(
    farm, season, monkeypatch, firmware, entered
):
    """Their hours would wear its parts, and what a multicopter does is a hard landing of a wing."""
    read = flightlog.importers.read

    def reading(path, **how):
        recording = read(path, **how)
        receipt = dataclasses.replace(recording.receipt, firmware=firmware)
        return Recording({n: recording[n] for n in recording if n != "messages"}, receipt)

    monkeypatch.setattr(flightlog.importers, "read", reading)
    farm.clock.later(days=60)

    (event,) = taken(farm, season / "z_early.bin")

    assert entered == len(sorties(farm.desk))
    if not entered:
        assert "its firmware is for multicopters (ArduCopter V4.5.1)" in event.error.found
        assert "nothing in it names pannier" in event.error.found


def test_a_release_with_a_damaged_file_and_a_fault_of_ours_keep_no_other_log_out(
    farm, season, remembered, monkeypatch
):
    from flightlog.errors import TeamFileError
    from flightlog.operations import season_import

    farm.clock.later(days=60)
    shutil.copyfile(SAMPLES / "calm.bin", season / "calm.bin")
    given, entering = season_import.FlightPairing.given, season_import.enter
    shutil.copyfile(SAMPLES / "marginal.bin", season / "marginal.bin")

    def damaged(self, under):
        if self._seen.receipt.file == "calm.bin":
            raise TeamFileError("its bytes are gone", where="pannier.toml")
        if self._seen.receipt.file == "marginal.bin":
            raise AssertionError("a fault of ours")
        return given(self, under)

    def faulty(desk, pairing, made):
        if made.receipt.file == "z_early.bin":
            raise ZeroDivisionError
        return entering(desk, pairing, made)

    monkeypatch.setattr(season_import.FlightPairing, "given", damaged)
    monkeypatch.setattr(season_import, "enter", faulty)
    logs = [season / name for name in ("calm.bin", "marginal.bin", "z_early.bin")]
    logs.append(season / "later" / "a_late.bin")

    events = taken(farm, *logs)

    failed = {e.logs[0].name: type(e.error) for e in events if isinstance(e, Failed)}
    assert {
        "calm.bin": TeamFileError,
        "marginal.bin": AssertionError,
        "z_early.bin": ZeroDivisionError,
    } == failed
    assert ["a_late.bin"] == names_of(e for e in events if isinstance(e, Entered))


def test_what_another_import_entered_meanwhile_is_not_entered_twice(farm, season, remembered):
    farm.clock.later(days=60)
    log = season / "z_early.bin"

    def meanwhile(share, text):
        if text.endswith("logs read"):
            other = Desk(farm.folder, farm.book)  # of which the first one hears nothing
            import_recording(other, flightlog.read(log), [log], PANNIER)

    (event,) = taken(farm, log, progress=meanwhile)

    assert event.known
    assert 1 == len(farm.desk.ledger.of("recording"))
    assert 1 == len(farm.desk.ledger.of("parameters-read"))


def test_a_disk_that_is_full_for_workers_ends_it_too(farm, season, remembered, monkeypatch):
    def full(*given):
        raise NotWritableError("the disk is full", where="attachments")

    farm.clock.later(days=60)
    monkeypatch.setattr("flightlog.operations.flight_making.keep_debrief", full)

    with pytest.raises(NotWritableError):
        taken(farm, season / "z_early.bin", season / "later" / "a_late.bin")


@pytest.mark.skipif(sys.platform != "linux", reason="no other system keeps such names")
def test_a_name_that_is_no_text_keeps_no_log_out(farm, tmp_path, remembered):
    farm.clock.later(days=60)
    log = tmp_path / os.fsdecode(b"caf\xe9.bin")
    shutil.copyfile(SAMPLES / "headwind.bin", log)

    (event,) = taken(farm, log)

    assert isinstance(event, Entered), event.error
    assert "caf?.bin" == event.imported.recording.body.content["file"]
    assert taken(farm, log)[0].known


_KEY = """
import sys
from pathlib import Path
from flightlog.inputs import Inputs, load_aircraft, load_pack, load_site
from flightlog.operations.flight_making import FlightTask, Given
from flightlog.rules.book import load_rules

place = Path(sys.argv[1])
aircraft, pack, site = load_aircraft(place / "pannier.toml"), load_pack(place / "pack_a.toml"), \
    load_site(place / "site.toml")
given = Given(Inputs(site=site, aircraft=aircraft, pack=pack), load_rules(Path(sys.argv[2])))
print(FlightTask((), ("a",), {"a": given}, place, place).key)
"""


def test_a_debrief_that_was_made_is_found_by_another_process_too():
    rules = SAMPLES.parent / FILES["rules", "club-trial-2027"]
    told = {
        subprocess.run(
            [sys.executable, "-c", _KEY, str(SAMPLES), str(rules)],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert 1 == len(told)
    assert 64 == len(told.pop().strip())


def test_a_damaged_debrief_in_the_record_keeps_no_other_recording_from_being_finished(
    farm, tmp_path, monkeypatch
):
    entries = [
        recording(farm, stored_debrief(MORNING + timedelta(hours=n), file=f"{n}.bin"))
        for n in (1, 2)
    ]
    stored = entries[0].body.attachments[-1]
    farm.book.attachments.path(stored.sha256).write_text("{}", encoding="utf-8")
    logs = [tmp_path / "1.bin", tmp_path / "2.bin"]
    for log in logs:
        log.write_bytes(log.name.encode())
    monkeypatch.setattr(flightlog.importers, "detect", lambda head, where: None)  # they are no logs

    damaged, whole = SeasonImport(farm.desk, PANNIER).take(logs)

    assert "damaged" in str(damaged.error)
    assert 1 == len(whole.imported.flights)


def test_known_logs_are_not_sought_one_after_the_other_and_it_is_told_how_far_it_is(
    farm, tmp_path, monkeypatch
):
    logs, told, asked = [], [], []
    for n in range(12):
        recording(farm, stored_debrief(MORNING + timedelta(hours=n), file=f"{n}.bin"))
        logs.append(tmp_path / f"{n}.bin")
        logs[-1].write_bytes(logs[-1].name.encode())
    monkeypatch.setattr(flightlog.importers, "detect", lambda head, where: None)  # they are no logs
    list(SeasonImport(farm.desk, PANNIER).take(logs))  # their flights are entered
    of = Ledger.of

    def asking(self, kind, **said):
        asked.append((kind, said))
        return of(self, kind, **said)

    def telling(share, text):
        told.append((share, text))

    farm.desk.refresh()
    monkeypatch.setattr(Ledger, "of", asking)
    events = list(SeasonImport(farm.desk, PANNIER, None, telling).take(logs))

    assert 12 == sum(event.known for event in events)
    assert [logs[n].name for n in range(12)] == names_of(events)
    assert [f"{n}.bin" for n in range(12)] == [
        event.imported.recording.body.content["file"] for event in events
    ]
    assert 2 >= asked.count(("recording", {}))  # for files, and for flights
    shares = [share for share, text in told if text.endswith("of 12 known logs")]
    assert 12 == len(shares)
    assert sorted(set(shares)) == shares
