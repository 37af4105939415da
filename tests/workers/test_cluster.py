"""An existing cluster: two workers on this machine, who die, hang or are others than expected."""

from __future__ import annotations

import logging
import os
import shutil
import socket
import sys
import time
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import pytest

from flightlog import figures
from flightlog.errors import (
    ClusterError,
    FlightlogError,
    LogFileError,
    NotWritableError,
    UnknownFormatError,
)
from flightlog.workers import cluster
from flightlog.workers.cluster import Cluster
from tests.operations.conftest import farm, farm_place
from tests.operations.made import SAMPLES
from tests.workers import jobs

distributed = pytest.importorskip("distributed", reason="Dask is not installed")

__all__ = ["farm", "farm_place"]  # fixtures


def started(**how):
    return distributed.LocalCluster(
        threads_per_worker=1, dashboard_address="127.0.0.1:0", host="127.0.0.1", **how
    )


@pytest.fixture(scope="module")
def address():
    """Of two workers on this machine; a task may cost the lives of two."""
    import dask

    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 1}),
        started(n_workers=2, processes=True) as both,
    ):
        yield both.scheduler_address


@pytest.fixture
def two(address, tmp_path):
    workers = Cluster(address, tmp_path / "tables")
    workers._client.wait_for_workers(2, timeout=60)  # after a test that let some die
    yield workers
    workers.close()
    workers.close()  # does no harm
    assert not list((tmp_path / "tables").iterdir())  # that was written to be looked for


@pytest.fixture
def weak():
    """A cluster whose workers are threads of this process, so that it is there at once."""
    with started(n_workers=1, processes=False, protocol="tcp://") as one:
        yield one


@pytest.fixture
def at_once(monkeypatch):
    """Nobody is waited for longer than a moment."""
    monkeypatch.setattr(cluster, "ANSWER_S", 0.5)
    monkeypatch.setattr(cluster, "SOON_S", 0.1)


def test_two_workers_do_the_tasks_and_errors_keep_their_three_parts(two, tmp_path):
    assert 2 == two.count
    finished = {one.task: one for one in two.each(jobs.refuse_odd, range(6))}
    assert set(range(6)) == set(finished)
    assert [0, 2, 4] == [finished[n].get() for n in (0, 2, 4)]
    for number in (1, 3, 5):
        error = finished[number].error
        assert isinstance(error, UnknownFormatError)
        said = error.found, error.where, error.fix
        assert (f"{number} is odd", "flight.bin", "Double it.") == said
    assert 2 == len({one.get() for one in two.each(jobs.meet, jobs.meeting(tmp_path))})


def test_an_error_that_can_t_travel_is_told(two):
    (finished,) = two.each(jobs.raise_no_way, ["is empty"])
    assert isinstance(finished.error, RuntimeError)
    assert "raise_no_way" in str(finished.error)


def test_tasks_are_asked_for_as_workers_become_free(two):
    asked, done = [], []

    def several():
        for number in range(12):
            assert len(asked) - len(done) < 4  # two in work, two that wait there
            asked.append(number)
            yield number

    for finished in two.each(jobs.double, several()):
        done.append(finished.task)
    assert list(range(12)) == asked == sorted(done)


def test_a_task_that_always_kills_its_worker_has_failed_and_others_are_done(two, tmp_path):
    hows = ["a", "once", "b", "always", "c"]
    finished = list(two.each(jobs.fall, [(how, tmp_path) for how in hows]))
    assert sorted(hows) == sorted(one.task[0] for one in finished)
    (failed,) = [one for one in finished if one.error is not None]
    assert "always" == failed.task[0]
    assert isinstance(failed.error, LogFileError)
    assert "the workers that worked on it died, several times" == failed.error.found
    assert all(one.get() == one.task[0] for one in finished if one.error is None)


def test_a_result_that_was_lost_with_its_worker_is_waited_for_again():
    """Between its being done and its being fetched: the cluster does the task once more."""
    somebody = object.__new__(Cluster)
    assert somebody._answer("a task", SimpleNamespace(status="lost")) is None


def test_leaving_midway_drops_what_waits_and_the_cluster_goes_on(address, tmp_path):
    marks = [tmp_path / str(number) for number in range(20)]
    with closing(Cluster(address, tmp_path)) as workers:
        several = workers.each(jobs.finish_late, [(0.1, mark) for mark in marks])
        next(several)
        several.close()
    with closing(Cluster(address, tmp_path)) as after:
        assert [2, 4] == sorted(one.get() for one in after.each(jobs.double, [1, 2]))
    assert len([mark for mark in marks if mark.exists()]) <= 5


# --- what is refused


@pytest.mark.parametrize(
    ("nowhere", "code"),
    [
        ("", 2),
        ("field", 2),
        ("a b", 2),
        ("http://127.0.0.1:1", 2),
        ("tls://127.0.0.1:1", 2),
        ("tcp://127.0.0.1:1", 3),
        ("127.0.0.1:1", 3),
    ],
)
def test_only_an_address_that_is_none_was_typed_wrong(nowhere, code, tmp_path, at_once):
    with pytest.raises(FlightlogError, match="no cluster answers") as raised:
        Cluster(nowhere, tmp_path)
    assert f"--cluster {nowhere}" == raised.value.where
    assert code == raised.value.exit_code


def test_a_program_that_takes_calls_and_never_answers_is_not_waited_for(tmp_path, at_once):
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        address = f"tcp://127.0.0.1:{deaf.getsockname()[1]}"
        told = []
        with pytest.raises(ClusterError, match="no cluster answers"):
            Cluster(address, tmp_path, told.append)
        assert [f"waiting for an answer from {address}, 0 s at most"] == told


def test_without_the_extra_it_is_named(monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ClusterError, match=r"flightlog\[cluster\]"):
        Cluster("tcp://127.0.0.1:1", tmp_path)


def test_workers_with_another_version_are_refused(address, tmp_path, monkeypatch):
    monkeypatch.setattr(figures, "ANALYSES_VERSION", figures.ANALYSES_VERSION + 1)
    with pytest.raises(ClusterError, match="has another version of this program"):
        Cluster(address, tmp_path)


def test_a_worker_without_the_program_is_refused(address, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "_versions", jobs.without_the_program)
    monkeypatch.setattr(jobs, "HERE", True)
    with pytest.raises(ClusterError, match="none that can be used"):
        Cluster(address, tmp_path)


def test_a_worker_with_another_version_that_comes_later_does_nothing(two, monkeypatch):
    monkeypatch.setattr(figures, "ANALYSES_VERSION", figures.ANALYSES_VERSION + 1)
    (finished,) = two.each(jobs.double, [1])
    assert isinstance(finished.error, ClusterError)
    assert "another version" in finished.error.found


def test_a_worker_that_comes_later_and_does_not_see_the_folder_does_nothing(two, tmp_path):
    mark, away = tmp_path / "mark", tmp_path / "away"
    (tmp_path / "tables").rename(away)  # as on another machine
    (finished,) = two.each(jobs.finish_late, [(0.0, mark)])
    away.rename(tmp_path / "tables")
    assert isinstance(finished.error, ClusterError)
    assert f"does not see {tmp_path / 'tables'}" in finished.error.found
    assert "Share the folder" in finished.error.fix
    assert not mark.exists()


def test_what_killed_sessions_left_is_removed_once_it_is_old_and_nothing_else(tmp_path):
    names = ["0" * 32, "1" * 32, "notes"]
    old, new, notes = (tmp_path / f"{name}.probe" for name in names)
    for path in (old, new, notes):
        path.touch()
        os.utime(path, (0, 0) if path is not new else None)
    probe = cluster._Probe(tmp_path)
    probe.leave()
    assert {new, notes, probe.path} == set(tmp_path.iterdir())
    assert probe.is_seen()
    probe.take_away()
    assert not probe.is_seen()


def test_a_folder_that_workers_do_not_see_is_refused(address, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # the workers stay where they were, and look elsewhere
    with pytest.raises(ClusterError, match="does not see this folder"):
        Cluster(address, Path("tables"))
    assert not list((tmp_path / "tables").iterdir())


def test_a_folder_that_can_t_be_written_is_said(address, tmp_path):
    (tmp_path / "tables").write_bytes(b"a file")
    with pytest.raises(NotWritableError):
        Cluster(address, tmp_path / "tables")


def test_a_cluster_without_workers_is_refused(weak, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "ANSWER_S", 3.0)
    weak.scale(0)
    weak.sync(weak._correct_state)
    told = []
    with pytest.raises(ClusterError, match="it has no worker"):
        Cluster(weak.scheduler_address, tmp_path, told.append)
    (line,) = told
    assert line.endswith("has no worker yet; waiting for one, 3 s at most")


def test_when_no_worker_is_left_the_work_is_given_up(weak, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "NOBODY_S", 0.2)
    monkeypatch.setattr(cluster, "_ASK_S", 0.05)
    told = []
    with closing(Cluster(weak.scheduler_address, tmp_path, told.append)) as workers:
        several = workers.each(jobs.finish_late, [(0.05, tmp_path / str(n)) for n in range(50)])
        next(several)
        weak.scale(0)
        weak.sync(weak._correct_state)
        with pytest.raises(ClusterError, match="it has had no worker for 0 s"):
            list(several)
    (line,) = told  # once, however often it is asked who is there
    assert line.endswith("has no worker; waiting for one, 0 s at most")


def test_the_library_of_the_cluster_is_quiet_while_it_is_used_and_not_afterwards(address, tmp_path):
    loggers = [logging.getLogger(n) for n in ("distributed", "distributed.client", "asyncio")]
    before = [logger.level for logger in loggers]
    with closing(Cluster(address, tmp_path)):
        assert not any(logger.isEnabledFor(logging.CRITICAL) for logger in loggers)
        assert not logging.getLogger("distributed.made.later").isEnabledFor(logging.CRITICAL)
    assert before == [logger.level for logger in loggers]


def test_when_the_scheduler_is_gone_the_work_is_given_up(weak, tmp_path, monkeypatch):
    with closing(Cluster(weak.scheduler_address, tmp_path)) as workers:
        several = workers.each(jobs.finish_late, [(0.05, tmp_path / str(n)) for n in range(50)])
        next(several)
        monkeypatch.setattr(cluster, "ANSWER_S", 0.5)
        weak.close()
        with pytest.raises(ClusterError, match="the connection to it was lost"):
            list(several)


class Future:
    """One whose worker died when it was done, before it gave the result away."""

    status = "finished"

    def result(self, timeout):
        raise TimeoutError


def test_a_result_that_died_with_its_worker_is_waited_for_again(two):
    assert two._answer(1, Future()) is None


def test_a_result_that_never_comes_is_asked_for_a_few_times_and_then_has_failed(two, monkeypatch):
    asked = []

    def never(self, timeout):
        asked.append(self.key)
        raise TimeoutError

    monkeypatch.setattr(distributed.Future, "result", never)
    finished = list(two.each(jobs.double, [1, 2]))
    assert [1, 2] == sorted(one.task for one in finished)
    for one in finished:
        assert isinstance(one.error, ClusterError)
        assert "did not give the result, asked 3 times" in one.error.found
    assert 6 == len(asked)


def test_it_is_asked_who_is_there_while_a_result_never_comes(two, monkeypatch):
    def never(self, timeout):
        time.sleep(0.01)
        raise TimeoutError

    monkeypatch.setattr(distributed.Future, "result", never)
    monkeypatch.setattr(cluster, "_MOST_FETCHES", 500)
    monkeypatch.setattr(cluster, "NOBODY_S", 0.1)
    monkeypatch.setattr(cluster, "_ASK_S", 0.02)
    monkeypatch.setattr(Cluster, "count", 0)
    monkeypatch.setattr(distributed.as_completed, "has_ready", lambda self: True)  # at once again
    with pytest.raises(ClusterError, match="it has had no worker"):
        list(two.each(jobs.double, [1]))


# --- the whole


def test_an_import_by_two_workers_gives_the_figures_of_a_local_one(
    farm, farm_place, address, tmp_path
):
    from tests.operations.released import copied

    logs = [tmp_path / name for name in ("headwind.bin", "position_1hz_only.bin", "marginal.bin")]
    for log in logs:
        shutil.copyfile(SAMPLES / log.name, log)
    alone = copied(farm_place[0], tmp_path / "alone", farm_place[1])
    workers = Cluster(address, farm.desk.folder.tables)
    try:
        by_workers, here = figures_of(farm, logs, workers), figures_of(alone, logs, None)
    finally:
        workers.close()
        alone.close()
    assert 3 == len(here)
    assert sum(len(flight["figures"]) for sorties in here for flight in sorties) > 30
    assert rounded(here) == rounded(by_workers)


def figures_of(farm, logs, workers):
    """Import logs; give the flights of the debriefs in the record, in its order."""
    from flightlog.operations.importing import Told
    from flightlog.operations.season_import import Entered, SeasonImport
    from flightlog.operations.sorties import recording_debrief, sorties

    farm.clock.later(days=60)
    events = list(SeasonImport(farm.desk, Told("pannier"), workers).take(logs))
    assert all(isinstance(event, Entered) for event in events)
    return [recording_debrief(farm.desk, s.recording)["sorties"] for s in sorties(farm.desk)]


def rounded(what):
    """Round all numbers to 9 digits."""
    if isinstance(what, dict):
        return {key: rounded(value) for key, value in what.items()}
    if isinstance(what, list):
        return [rounded(value) for value in what]
    return float(f"{what:.9g}") if isinstance(what, float) else what
