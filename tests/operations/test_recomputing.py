"""Debriefs computed anew by other analyses, as new entries beside the old ones."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import timedelta

import pytest

import flightlog.contract
import flightlog.debriefing
import flightlog.decoded.store
import flightlog.earlier
import flightlog.figures
import flightlog.importers
import flightlog.operations.flight_making
import flightlog.operations.importing
import flightlog.operations.recomputing as recomputing
from flightlog.decoded import DecodedStore
from flightlog.errors import NotWritableError
from flightlog.importers.registry import READING
from flightlog.logbook.book import Draft, Logbook
from flightlog.logbook.entry import CITES, Relation
from flightlog.operations.desk import Desk
from flightlog.operations.importing import Told, finish, import_recording
from flightlog.operations.recomputing import NotRecomputed, Recomputed, outdated, recompute
from flightlog.operations.sorties import debrief_of, recording_debrief, sorties
from flightlog.recording import Recording
from tests.operations.laptops import second_laptop, take_over
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
def other_importers(monkeypatch):
    """Importers of a later version."""
    modules = (
        recomputing,
        flightlog.decoded.store,
        flightlog.operations.flight_making,
        flightlog.operations.importing,
    )
    for module in modules:
        monkeypatch.setattr(module, "READING", READING + 1)
    return READING + 1


@pytest.fixture
def no_reading(monkeypatch):
    def refused(*given, **more):
        raise AssertionError("a raw log was read")

    monkeypatch.setattr(flightlog.importers, "read", refused)


@pytest.fixture
def read_logs(monkeypatch):
    """Names of the raw logs that are read."""
    read, logs = flightlog.importers.read, []

    def reading(path, **how):
        logs.append(path.name)
        return read(path, **how)

    monkeypatch.setattr(flightlog.importers, "read", reading)
    return logs


@pytest.fixture
def two(farm, remembered):
    """A record with a flight from each of two logs."""
    farm.clock.later(days=60)
    for name in ("headwind.bin", "position_1hz_only.bin"):
        log = SAMPLES / name
        import_recording(farm.desk, flightlog.read(log), [log], Told("pannier"))
    farm.clock.later(days=30)
    return farm


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
    assert f"distance flown was {before:.0f} m" in said["changes"][0]
    assert f"is {before + 2.0:.0f} m" in said["changes"][0]
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


def test_tables_that_were_tampered_with_are_not_believed(flown, newer, read_logs):
    farm, done = flown
    name = done.recording.body.content["tables"]
    table = farm.folder.tables / "decoded" / name[:2] / name / "gps.parquet"
    data = bytearray(table.read_bytes())
    data[len(data) // 2] ^= 1
    table.write_bytes(data)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert [done.recording.body.content["sha256"]] == read_logs
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


# --- whose tables are believed


def _as_if_faster(log):
    """Give tables that claim to be a log's, in which the aircraft flew faster."""
    honest = flightlog.read(log)
    gps = honest["gps"].assign(ground_speed_m_s=honest["gps"]["ground_speed_m_s"] + 1.0)
    tables = {**{name: honest[name] for name in honest}, "gps": gps}
    return Recording(tables, honest.receipt, findings=honest.findings)


def _said_again(laptop, recording, **said):
    """Let a laptop append a recording once more, with something else in it."""
    draft = Draft(
        "recording",
        {**recording.body.content, **said},
        attachments=recording.body.attachments,
        relations=[Relation(CITES, recording.hash)],
    )
    return laptop.desk.append(draft)


def test_tables_that_another_laptop_names_are_not_believed(flown, newer, tmp_path, read_logs):
    farm, done = flown
    honest = distance_of(farm.desk)
    forged = DecodedStore(farm.folder.tables).keep(_as_if_faster(SAMPLES / "headwind.bin"))
    shutil.rmtree(farm.book.profile / "work")  # nor did this laptop note what it read
    thief = second_laptop(farm, tmp_path / "thief")
    try:
        said = _said_again(thief, done.recording, tables=forged)
        assert said.body.device in thief.book.own_devices - farm.book.own_devices
        take_over(farm, thief)
    finally:
        thief.book.close()
    assert (said,) == outdated(farm.desk)
    read_logs.clear()

    (one,) = recompute(farm.desk, [said])

    assert [done.recording.body.content["sha256"]] == read_logs
    assert pytest.approx(honest + 2.0) == distance_of(farm.desk)
    assert done.recording.body.content["tables"] == one.entry.body.content["tables"]


def test_what_this_laptop_read_itself_is_not_read_again_for_an_entry_of_another(
    flown, newer, tmp_path, no_reading
):
    farm, done = flown
    other = second_laptop(farm, tmp_path / "other")
    try:
        said = _said_again(other, done.recording, tables="ab" * 32)
        take_over(farm, other)
    finally:
        other.book.close()

    (one,) = recompute(farm.desk, [said])

    assert isinstance(one, Recomputed), one.error
    assert done.recording.body.content["tables"] == one.entry.body.content["tables"]


# --- other importers


def test_a_log_that_is_read_otherwise_today_is_read_again(flown, other_importers, read_logs):
    farm, done = flown
    assert READING == done.recording.body.content["reading"]
    assert (done.recording,) == outdated(farm.desk)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert [done.recording.body.content["sha256"]] == read_logs
    assert other_importers == one.entry.body.content["reading"]
    assert () == outdated(farm.desk)


def test_tables_of_the_reading_before_are_not_taken_for_newer_analyses(
    flown, newer, other_importers, read_logs
):
    farm, done = flown

    list(recompute(farm.desk, outdated(farm.desk)))

    assert [done.recording.body.content["sha256"]] == read_logs


def test_an_entry_that_tells_no_reading_is_by_the_first(farm, monkeypatch):
    version = flightlog.figures.ANALYSES_VERSION
    entry = recording(farm, stored_debrief(MORNING))
    entry = _said_again(farm, entry, analyses=version)
    for reading, old in ((1, ()), (2, (entry,))):
        monkeypatch.setattr(recomputing, "READING", reading)
        assert old == outdated(farm.desk)


# --- what is told


def _ten_times_wider(sortie):
    figures = {
        id_: replace(figure, quantity=figure.quantity.widened(10 * figure.quantity.std, "made"))
        for id_, figure in sortie.figures.items()
        if id_ == DISTANCE
    }
    return replace(sortie, figures={**sortie.figures, **figures})


def test_an_interval_alone_that_became_wider_is_a_change(flown, newer, monkeypatch):
    farm, _ = flown
    monkeypatch.setattr("tests.operations.test_recomputing._longer", _ten_times_wider)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert 1 == one.entry.body.content["changed"]
    assert one.entry.body.content["changes"][0].startswith("distance flown was")


def test_an_entry_tells_the_first_changes_and_how_many_there_are(flown, newer, monkeypatch):
    farm, _ = flown
    every = tuple(f"{number} {'x' * 300}" for number in range(30))
    monkeypatch.setattr(flightlog.earlier, "changes_in", lambda result: every)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    said = one.entry.body.content
    assert every == one.changes
    assert 30 == said["changed"]
    assert [f"{number} {'x' * 300}"[:199] + "…" for number in range(24)] == said["changes"]


def test_what_clocks_were_allowed_to_differ_by_stays(flown, newer):
    farm, done = flown
    apart = {"value": "2700", "unit": "s"}
    _said_again(farm, done.recording, clocks_apart=apart)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert apart == one.entry.body.content["clocks_apart"]


def test_a_flight_is_computed_with_the_pack_that_the_record_names_by_now(flown, newer):
    farm, done = flown
    assert recording_debrief(farm.desk, done.recording)["inputs"]["pack"] is None
    paired = {"pack": "pack-a", "reason": "by the charging list"}
    farm.add("pairing", paired, ("pilot", "stated"), cites=[done.flights[0].entry])
    assert ["pack-a"] == [flight.pack for flight in sorties(farm.desk)]

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert "pack-a" == recording_debrief(farm.desk, one.entry)["inputs"]["pack"]["id"]
    assert "what was given beside the log differs: pack" == one.changes[0]


@pytest.mark.parametrize(("by_s", "same"), [(4.0, True), (6.0, False)])
def test_flights_of_other_times_are_other_flights(flown, newer, monkeypatch, by_s, same):
    farm, _ = flown

    def later(sortie):
        return replace(sortie, sortie=replace(sortie.sortie, start_s=sortie.sortie.start_s + by_s))

    monkeypatch.setattr("tests.operations.test_recomputing._longer", later)

    (one,) = recompute(farm.desk, outdated(farm.desk))

    assert same == isinstance(one, Recomputed)
    assert same or "other flights" in str(one.error)


def test_a_log_whose_name_ends_as_that_of_a_debrief_is_computed_anew(
    farm, newer, remembered, tmp_path
):
    farm.clock.later(days=60)
    log = tmp_path / "x.debrief.json"
    shutil.copyfile(SAMPLES / "headwind.bin", log)
    import_recording(farm.desk, flightlog.read(log), [log], Told("pannier"))
    (old,) = farm.desk.ledger.of("recording")
    old = _said_again(farm, old, analyses=newer - 1)

    (one,) = recompute(farm.desk, [old])

    assert isinstance(one, Recomputed), one.error
    assert ["x.debrief.json", "x.debrief.json.debrief.json"] == [
        a.name for a in one.entry.body.attachments
    ]


# --- faults, and others at work


def test_a_fault_of_ours_with_one_keeps_no_other_out(two, newer, monkeypatch):
    first, second = outdated(two.desk)
    draft, given = recomputing._draft, recomputing._given

    def faulty(work):
        def fails(desk, recording, *more):
            if recording == first:
                raise ZeroDivisionError
            return work(desk, recording, *more)

        return fails

    for name, work in (("_draft", draft), ("_given", given)):
        with monkeypatch.context() as patch:
            patch.setattr(recomputing, name, faulty(work))
            came = list(recompute(two.desk, [first, second]))
        failed = [one for one in came if isinstance(one, NotRecomputed)]
        assert [(first, ZeroDivisionError)] == [(one.before, type(one.error)) for one in failed]
        (done,) = (one for one in came if isinstance(one, Recomputed))
        assert second == done.before
        second = done.entry


@pytest.mark.parametrize(
    "where",
    [
        "flightlog.operations.recomputing.enter_sorties",
        "flightlog.operations.flight_making.keep_debrief",
        "flightlog.operations.recomputing._draft",
    ],
)
def test_a_disk_that_is_full_ends_it(two, newer, monkeypatch, where):
    def full(*given):
        raise NotWritableError("the disk is full", where="team")

    monkeypatch.setattr(where, full)
    length = len(two.desk.ledger.order)

    with pytest.raises(NotWritableError):
        list(recompute(two.desk, outdated(two.desk)))
    assert length == len(two.desk.ledger.order)


@pytest.fixture
def beside(flown):
    """A second process of the same laptop, at the same record."""
    farm, _ = flown
    book = Logbook.open(farm.folder.logbook, profile=farm.book.profile, clock=farm.clock)
    yield Desk(farm.folder, book)
    book.close()


def test_what_another_process_computed_anew_meanwhile_is_not_entered_twice(flown, newer, beside):
    farm, _ = flown

    def meanwhile(share, text):
        assert [Recomputed] == [type(one) for one in recompute(beside, outdated(beside))]

    assert [] == list(recompute(farm.desk, outdated(farm.desk), progress=meanwhile))

    assert 2 == len(farm.desk.ledger.of("recording"))
    assert () == outdated(farm.desk)


def test_a_recording_that_came_meanwhile_and_is_as_old_is_left_for_the_next_time(
    flown, newer, beside
):
    farm, done = flown

    def meanwhile(share, text):
        _said_again(_Laptop(beside), done.recording, clocks_apart={"value": "60", "unit": "s"})

    (one,) = recompute(farm.desk, outdated(farm.desk), progress=meanwhile)

    assert "another recording of this log since" in str(one.error)
    assert "Give the same command again." in str(one.error)
    assert 2 == len(farm.desk.ledger.of("recording"))


class _Laptop:
    def __init__(self, desk):
        self.desk = desk
