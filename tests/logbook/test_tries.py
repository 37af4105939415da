from __future__ import annotations

import errno
import json
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.logbook import tries
from flightlog.logbook.tries import LONGEST_S, TryCount, wait_after
from tests.logbook.hands import Clock

WAITS = [0, 1, 2, 4, 8, 16, 32, 60, 60, 60]
"""After the first, second, ... failure [s]."""


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def path(tmp_path):
    return tmp_path / "0123456789abcdef.tries.json"


def started_anew(path: Path, clock: Clock) -> TryCount:
    """As another process would count: it knows what is in the file and nothing else."""
    tries._KEPT.clear()
    return TryCount(path, clock.wall)


def failures(count: TryCount, number: int) -> list[int]:
    return [count.failed() for _ in range(number)]


@pytest.fixture
def read_only(monkeypatch):
    """A stick with its switch at read-only, also for a user who may do everything."""

    def refused(*_args, **_options):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr(tries, "write_private", refused)
    monkeypatch.setattr(Path, "unlink", refused)


def test_the_wait_doubles_from_a_second_to_a_minute(path, clock):
    assert WAITS == failures(TryCount(path, clock.wall), 10)
    assert [0, *WAITS] == [wait_after(n) for n in range(11)]


@given(st.integers(0, 10**9))
def test_no_wait_is_longer_than_a_minute(number):
    assert 0 <= wait_after(number) <= LONGEST_S


def test_nobody_waits_before_a_failure_or_after_the_first(path, clock):
    count = TryCount(path, clock.wall)

    assert 0 == count.wait_s()
    count.failed()
    assert 0 == count.wait_s()


def test_the_wait_runs_down_and_is_rounded_up(path, clock):
    count = TryCount(path, clock.wall)
    failures(count, 4)

    left = []
    for _ in range(6):
        left.append(count.wait_s())
        clock.pass_s(0.75)
    # 4 s less 0.75 s each: 4, 3.25, 2.5, 1.75, 1, 0.25.
    assert [4, 4, 3, 2, 1, 1] == left
    assert 0 == count.wait_s()


def test_the_count_holds_when_the_program_is_started_anew(path, clock):
    for wait in WAITS:
        assert wait == started_anew(path, clock).failed()
        assert wait == started_anew(path, clock).wait_s()
        clock.pass_s(wait)
        assert 0 == started_anew(path, clock).wait_s()


def test_a_right_passphrase_starts_again(path, clock):
    count = TryCount(path, clock.wall)
    failures(count, 5)
    count.forget()

    assert not path.exists()
    assert 0 == started_anew(path, clock).wait_s()
    assert WAITS[:3] == failures(count, 3)


def test_the_file_is_small_and_says_only_how_often_and_when(path, clock):
    failures(TryCount(path, clock.wall), 3)

    assert {"schema": "flightlog.tries/1", "failures": 3, "at_ms": 1_800_000_000_000} == json.loads(
        path.read_bytes()
    )
    assert [path] == list(path.parent.iterdir())


# --- clocks


@pytest.mark.parametrize("back_s", [0.5, 30, 3600, 10**9])
def test_a_clock_set_back_brings_the_whole_wait_and_no_more(path, clock, back_s):
    failures(TryCount(path, clock.wall), 6)  # 16 s
    clock.pass_s(10)
    clock.wall_s -= 10 + back_s

    assert 16 == started_anew(path, clock).wait_s()
    clock.pass_s(15)
    assert 1 == started_anew(path, clock).wait_s()
    clock.pass_s(1)
    assert 0 == started_anew(path, clock).wait_s()


def test_a_clock_that_was_years_ahead_leaves_nobody_locked_out(path, clock):
    right_s = clock.wall_s
    clock.wall_s += 10**9
    failures(TryCount(path, clock.wall), 9)
    clock.wall_s = right_s

    assert 60 == started_anew(path, clock).wait_s()
    clock.pass_s(60)
    assert 0 == started_anew(path, clock).wait_s()


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(["fail", "set", "pass"]), st.integers(-(10**6), 10**6)),
        max_size=20,
    )
)
def test_whatever_happens_to_the_clock_the_wait_is_a_minute_at_most(tmp_path_factory, steps):
    path = tmp_path_factory.mktemp("keys") / "a.tries.json"
    clock = Clock()
    for step, number in steps:
        if step == "fail":
            TryCount(path, clock.wall).failed()
        elif step == "set":
            clock.wall_s += number
        else:
            clock.pass_s(abs(number) / 10**4)
        assert 0 <= TryCount(path, clock.wall).wait_s() <= LONGEST_S


# --- files that are not as they should be

DAMAGED = [
    b"",
    b"{}",
    b"[]",
    b"x" * 300,
    b'{"at_ms":1,"failures":1}',
    b'{"at_ms":1,"failures":-1,"schema":"flightlog.tries/1"}',
    b'{"at_ms":1,"failures":1000001,"schema":"flightlog.tries/1"}',
    b'{"at_ms":1,"failures":true,"schema":"flightlog.tries/1"}',
    b'{"at_ms":"1","failures":1,"schema":"flightlog.tries/1"}',
    b'{"at_ms":1,"failures":1,"schema":"flightlog.tries/2"}',
    b'{"at_ms":1, "failures":1,"schema":"flightlog.tries/1"}',
    b'{"at_ms":1e300,"failures":1,"schema":"flightlog.tries/1"}',
]


@pytest.mark.parametrize("data", DAMAGED)
def test_a_damaged_file_brings_the_longest_wait_once(path, clock, data):
    path.write_bytes(data)

    assert 60 == started_anew(path, clock).wait_s()
    clock.pass_s(59)
    assert 1 == started_anew(path, clock).wait_s()
    clock.pass_s(1)
    assert 0 == started_anew(path, clock).wait_s()
    started_anew(path, clock).forget()
    assert 0 == started_anew(path, clock).wait_s()


def test_a_folder_in_place_of_the_file_locks_nobody_out(path, clock):
    path.mkdir()
    count = started_anew(path, clock)

    assert 60 == count.wait_s()
    clock.pass_s(60)
    assert 0 == count.wait_s()
    count.forget()
    assert 0 == count.wait_s()


# --- a stick that can't be written


def test_without_a_file_this_process_counts(path, clock, read_only):
    for wait in WAITS:
        assert wait == TryCount(path, clock.wall).failed()
        assert wait == TryCount(path, clock.wall).wait_s()
        clock.pass_s(wait)
    assert not path.exists()


def test_without_a_file_each_key_has_its_own_count(path, clock, read_only):
    failures(TryCount(path, clock.wall), 5)

    assert 0 == TryCount(path.with_name("other.tries.json"), clock.wall).wait_s()


@pytest.mark.parametrize(
    "data", [*DAMAGED[:2], b'{"at_ms":1,"failures":9,"schema":"flightlog.tries/1"}']
)
def test_a_file_that_can_not_be_taken_away_holds_nobody_up_twice(path, clock, read_only, data):
    path.write_bytes(data)
    count = started_anew(path, clock)
    count.wait_s()
    clock.pass_s(60)
    assert 0 == count.wait_s()
    count.forget()

    assert 0 == TryCount(path, clock.wall).wait_s()
    assert WAITS[:3] == failures(TryCount(path, clock.wall), 3)


def test_when_it_can_be_written_again_the_file_counts_on(path, clock):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tries, "write_private", _refuse)
        failures(TryCount(path, clock.wall), 3)

    assert 4 == TryCount(path, clock.wall).failed()
    assert path not in tries._KEPT  # else what other processes count would be passed over
    assert 4 == started_anew(path, clock).wait_s()


def _refuse(*_args):
    raise OSError(errno.EROFS, os.strerror(errno.EROFS))


# --- two processes


def test_two_processes_at_once_lose_one_count_at_most(path, clock, monkeypatch):
    one, other = TryCount(path, clock.wall), TryCount(path, clock.wall)
    failures(one, 3)
    write = tries.write_private

    def others_first(file: Path, data: bytes) -> None:
        monkeypatch.setattr(tries, "write_private", write)
        other.failed()
        write(file, data)

    monkeypatch.setattr(tries, "write_private", others_first)
    assert 4 == one.failed()

    assert 4 == started_anew(path, clock).wait_s()
    assert 4 == json.loads(path.read_bytes())["failures"]
