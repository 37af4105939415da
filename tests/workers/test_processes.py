"""Processes of this machine: one that dies takes nothing with it, and none is left behind."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from pathlib import Path

import pytest

from flightlog.errors import LogFileError, UnknownFormatError
from flightlog.workers import processes, tasks
from flightlog.workers.processes import AHEAD, Processes, cores
from tests.workers import jobs

ROOT = Path(__file__).parents[2]
POSIX = pytest.mark.skipif(os.name != "posix", reason="Windows has no signals to send")


@pytest.fixture(scope="module")
def two():
    """Two processes, which no test may let die."""
    workers = Processes(2)
    yield workers
    workers.close()
    assert not multiprocessing.active_children()


def made(marks):
    return sum(mark.exists() for mark in marks)


def waited_for(what):
    """Wait until something is so."""
    ends = time.monotonic() + 30
    while not what():
        assert time.monotonic() < ends
        time.sleep(0.005)


@pytest.fixture
def others():
    """Processes that are there before a test."""
    return set(multiprocessing.active_children())


def test_there_is_at_least_one_core_and_not_more_than_the_machine_has():
    assert 1 <= cores() <= os.cpu_count()


def test_windows_is_not_asked_for_more_processes_than_it_can_wait_for(monkeypatch):
    monkeypatch.setattr(processes.sys, "platform", "win32")
    assert [61, 4] == [Processes(64).count, Processes(4).count]
    monkeypatch.setattr(processes.sys, "platform", "linux")
    assert 64 == Processes(64).count


def test_results_and_errors_come_back_each_with_its_task(two):
    finished = {one.task: one for one in two.each(jobs.refuse_odd, range(6))}
    assert set(range(6)) == set(finished)
    assert [0, 2, 4] == [finished[n].get() for n in (0, 2, 4)]
    for number in (1, 3, 5):
        error = finished[number].error
        assert isinstance(error, UnknownFormatError)
        said = error.found, error.where, error.fix
        assert (f"{number} is odd", "flight.bin", "Double it.") == said
        assert "refuse_odd" in str(error.__cause__)  # where it was raised there


def test_the_work_is_done_by_two_other_processes(two, tmp_path):
    done = {one.get() for one in two.each(jobs.meet, jobs.meeting(tmp_path))}
    assert 2 == len(done)
    assert os.getpid() not in done


@pytest.mark.parametrize("work", [jobs.raise_two_parts, jobs.raise_no_way])
def test_an_error_that_can_t_travel_is_no_death_of_the_process(two, work):
    (finished,) = two.each(work, ["is empty"])
    assert isinstance(finished.error, RuntimeError)
    assert "is empty" in str(finished.error)
    assert work.__name__ in str(finished.error)


def test_work_that_can_t_be_sent_fails_by_itself(two):
    (finished,) = two.each(lambda _: 1, [1])
    assert finished.error is not None
    (after,) = two.each(jobs.double, [1])
    assert 2 == after.get()


def test_tasks_are_asked_for_in_order_and_few_of_them_ahead(two):
    asked, done = [], []

    def several():
        for number in range(20):
            assert len(asked) - len(done) < (1 + AHEAD) * 2
            asked.append(number)
            yield number

    for finished in two.each(jobs.double, several()):
        done.append(finished.task)
    assert list(range(20)) == asked
    assert asked == sorted(done)


def test_processes_are_at_work_while_who_asked_is_busy_with_what_was_done(two, tmp_path):
    marks = [tmp_path / str(number) for number in range(20)]
    several = two.each(jobs.finish_late, [(0.0, mark) for mark in marks])
    next(several)
    # More than the one that was given and the two that were in work with it.
    waited_for(lambda: made(marks) >= 4)
    time.sleep(0.1)
    assert made(marks) <= (1 + AHEAD) * 2
    assert 19 == len(list(several))


def test_each_task_is_noted_before_it_is_given(two):
    noted = []

    def note(finished):
        time.sleep(0.01)  # in which a hasty one would be given
        noted.append(finished)

    for finished in two.each(jobs.refuse_odd, range(8), None, note):
        assert finished in noted
    assert 8 == len(noted)


def test_what_is_in_work_when_it_is_stopped_is_noted_and_nothing_new_is_begun(tmp_path):
    """Though who asked was busy elsewhere, and asks for nothing any more."""
    workers, noted = Processes(2), []
    marks = [tmp_path / str(number) for number in range(12)]
    naps = [0.0, *[0.4] * 11]
    tasks = list(zip(naps, marks, strict=True))
    several = workers.each(jobs.finish_late, tasks, None, noted.append)
    next(several)
    waited_for(lambda: workers._handings[0]._running)
    workers.close()
    assert len(noted) == made(marks)  # whatever was done is noted
    assert 2 <= made(marks) <= 4
    del several


def test_processes_that_are_ended_do_not_finish_what_they_have(tmp_path, others):
    workers, noted = Processes(2), []
    naps = [(0.0, tmp_path / "first"), (100, tmp_path / "long"), (100, tmp_path / "longer")]
    several = workers.each(jobs.finish_late, naps, None, noted.append)
    next(several)
    workers.end()
    workers.close()
    assert others == set(multiprocessing.active_children())
    assert [(0.0, tmp_path / "first")] == [one.task for one in noted]
    del several


def test_a_fault_in_handing_over_reaches_who_asked(two):
    def full(_):
        raise OSError("no room for a note")

    with pytest.raises(OSError, match="no room for a note"):
        list(two.each(jobs.double, [1, 2], None, full))
    assert [2] == [one.get() for one in two.each(jobs.double, [1])]


def test_large_logs_are_not_in_work_beside_each_other(two, tmp_path, monkeypatch):
    monkeypatch.setattr(tasks, "MOST_BYTES", 10)
    large = sorted(f.get() for f in two.each(jobs.span, [0.05] * 3, lambda _: 6))
    assert all(end <= began for (_, end), (began, _) in pairwise(large))
    small = two.each(jobs.meet, jobs.meeting(tmp_path), lambda _: 5)
    assert 2 == len({one.get() for one in small})  # else nothing is shown above


def test_a_log_that_grows_while_it_is_read_upsets_nobody(two):
    sizes = iter(range(100))
    done = two.each(jobs.double, [1, 2, 3], lambda _: next(sizes))
    assert [2, 4, 6] == sorted(one.get() for one in done)


def test_an_error_of_who_gives_the_tasks_reaches_who_asked(two):
    def several():
        yield 1
        raise LogFileError("the folder is gone")

    with pytest.raises(LogFileError, match="the folder is gone"):
        list(two.each(jobs.double, several()))
    assert [2] == [one.get() for one in two.each(jobs.double, [1])]


def test_a_process_that_dies_costs_its_own_task_only(tmp_path, others):
    hows = ["a", "always", "b", "once", "c", "d"]
    workers = Processes(2)
    try:
        finished = list(workers.each(jobs.fall, [(how, tmp_path) for how in hows]))
        assert sorted(hows) == sorted(one.task[0] for one in finished)
        failed = [one for one in finished if one.error is not None]
        assert ["always"] == [one.task[0] for one in failed]
        assert isinstance(failed[0].error, LogFileError)
        assert "the process that worked on it died, twice" == failed[0].error.found
        assert "--jobs 1" in failed[0].error.fix
        assert all(one.get() == one.task[0] for one in finished if one.error is None)
        # And what comes next has all processes again.
        assert 2 == len({one.get() for one in workers.each(jobs.meet, jobs.meeting(tmp_path))})
    finally:
        workers.close()
    assert others == set(multiprocessing.active_children())


def test_what_was_in_work_when_a_process_died_is_tried_again_with_nothing_beside_it(
    tmp_path, monkeypatch
):
    """The death of a process is heard of at once, though it was started a moment ago."""
    start = ProcessPoolExecutor._adjust_process_count

    def starting(pool):
        time.sleep(0.1)
        start(pool)

    monkeypatch.setattr(ProcessPoolExecutor, "_adjust_process_count", starting)
    workers = Processes(2)
    try:
        fates = [(how, tmp_path, 0.2) for how in ("beside", "dies")]
        one, other = sorted(done.get() for done in workers.each(jobs.fall_beside, fates))
    finally:
        workers.close()
    assert one[1] <= other[0]


def test_stopping_midway_lets_what_is_in_work_finish_and_leaves_no_process(tmp_path, capfd, others):
    workers = Processes(2)
    marks = [tmp_path / str(number) for number in range(6)]
    (printed,) = workers.each(jobs.print_both_ways, ["from a worker"])
    several = workers.each(jobs.finish_late, [(0.3, mark) for mark in marks])
    next(several)
    several.close()
    workers.close()
    workers.close()  # does no harm
    assert others == set(multiprocessing.active_children())
    assert 2 <= made(marks) <= 4
    # What a worker prints is no part of the answer of a command.
    assert "from a worker" == printed.get()
    out, err = capfd.readouterr()
    assert "" == out
    assert 2 == err.count("from a worker")


# --- a program of its own that is stopped


SCRIPT = """
import sys, time
from pathlib import Path
from flightlog.workers.processes import Processes
from tests.workers import jobs

if __name__ == "__main__":
    folder, nap_s, how = Path(sys.argv[1]), float(sys.argv[2]), sys.argv[3]
    workers = Processes(2)
    naps = [0.0] * 2 + [nap_s] * 6
    done = workers.each(jobs.finish_late, [(n, folder / str(i)) for i, n in enumerate(naps)])
    [next(done), next(done)]  # both processes are there
    if how == "leave":
        sys.exit(0)
    try:
        print("ready", flush=True)
        next(done)
    except KeyboardInterrupt:
        print("stopping", flush=True)
        workers.close()
        print("stopped", flush=True)
"""


def started(tmp_path, nap_s, how="work"):
    script = tmp_path / "script.py"
    script.write_text(SCRIPT, encoding="utf-8")
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    program = subprocess.Popen(
        [sys.executable, script, tmp_path, str(nap_s), how],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=env,
        start_new_session=True,
    )
    if how == "work":
        assert "ready\n" == program.stdout.readline()
        time.sleep(0.2)  # until the tasks are begun
    return program


def end_of(program):
    """Wait until it and all its processes are gone: each of them holds the same pipes."""
    try:
        return program.communicate(timeout=90)
    except subprocess.TimeoutExpired:
        if os.name == "posix":
            os.killpg(program.pid, signal.SIGKILL)
            program.communicate()  # else the tests after this one hear of it
        raise


@POSIX
def test_ctrl_c_lets_the_processes_finish_what_they_have(tmp_path):
    program = started(tmp_path, 0.6)
    os.killpg(program.pid, signal.SIGINT)  # as a terminal sends it: to all of them
    out, err = end_of(program)
    assert "stopping\nstopped\n" == out
    assert "" == err
    assert 4 == len([p for p in tmp_path.iterdir() if p.name.isdigit()])


@POSIX
def test_ctrl_c_twice_ends_them_at_once(tmp_path):
    program = started(tmp_path, 100)
    os.killpg(program.pid, signal.SIGINT)
    assert "stopping\n" == program.stdout.readline()
    time.sleep(0.1)
    os.killpg(program.pid, signal.SIGINT)
    out, err = end_of(program)
    assert "" == out
    assert "KeyboardInterrupt" in err


def test_no_process_outlives_a_program_that_was_killed(tmp_path):
    program = started(tmp_path, 100)
    program.kill()
    end_of(program)


def test_a_program_that_ends_without_letting_them_go_ends(tmp_path):
    program = started(tmp_path, 0.5, "leave")
    _, err = end_of(program)
    assert (0, "") == (program.returncode, err)
    assert (tmp_path / "2").exists()
