"""What all workers share: how a task ends, what waits, and how much may be in work."""

from __future__ import annotations

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

import flightlog.errors
from flightlog.errors import FlightlogError, UnknownFormatError
from flightlog.workers import Here, tasks
from flightlog.workers.tasks import Finished, Room, Waiting, carried
from tests.workers import jobs

ERRORS = [
    kind
    for kind in vars(flightlog.errors).values()
    if isinstance(kind, type) and issubclass(kind, FlightlogError)
]


@given(st.sampled_from(ERRORS), st.text(), st.text(), st.text())
def test_every_error_comes_out_of_another_process_with_its_three_parts(kind, found, where, fix):
    sent = kind(found, where=where, fix=fix)
    come = pickle.loads(pickle.dumps(sent))
    assert type(come) is kind
    assert (found, where, fix) == (come.found, come.where, come.fix)
    assert str(sent) == str(come)
    assert sent.exit_code == come.exit_code


def test_this_process_does_tasks_in_order_and_an_error_stops_none_of_the_rest():
    finished = list(Here().each(jobs.refuse_odd, [2, 3, 4]))
    assert [2, 3, 4] == [one.task for one in finished]
    assert [2, None, 4] == [one.result for one in finished]
    assert 2 == finished[0].get()
    with pytest.raises(UnknownFormatError, match="3 is odd"):
        finished[1].get()


def test_this_process_takes_a_task_when_the_one_before_it_is_done():
    asked = []

    def several():
        for number in range(3):
            asked.append(number)
            yield number

    answers = Here().each(jobs.double, several())
    assert 0 == next(answers).get()
    assert [0] == asked
    assert 2 == next(answers).get()
    assert [0, 1] == asked


def test_an_interruption_is_not_taken_for_a_failed_task():
    def interrupted(_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        next(Here().each(interrupted, [1]))


def test_a_task_that_waits_is_asked_for_once_and_not_before_it_is_looked_at():
    asked = []
    waiting = Waiting(asked.append(n) or n for n in range(2))
    assert not asked
    assert waiting.there
    assert waiting.there
    assert [0] == asked
    assert 0 == waiting.next
    assert [0] == asked
    assert 0 == waiting.take()
    assert [0] == asked
    assert waiting.there
    assert 1 == waiting.take()
    assert not waiting.there


@pytest.mark.parametrize("work", [jobs.raise_two_parts, jobs.raise_no_way])
def test_an_error_that_can_t_travel_is_told_by_one_that_can(work):
    # Some libraries, once loaded, make more errors travel; then it is the error itself.
    with pytest.raises((RuntimeError, jobs.TwoParts)) as raised:
        carried(work, "is empty")
    assert "is empty" in str(pickle.loads(pickle.dumps(raised.value)))


def test_it_is_told_where_the_error_was_raised_and_in_utf_8():
    with pytest.raises(RuntimeError) as raised:
        carried(jobs.raise_no_way, "caf\udce9")
    told = str(raised.value).encode("utf-8")
    assert b"caf?" in told
    assert b"in raise_no_way" in told


def test_an_error_that_can_travel_is_left_as_it_is():
    with pytest.raises(UnknownFormatError) as raised:
        carried(jobs.refuse_odd, 3)
    assert "flight.bin" == raised.value.where
    assert 4 == carried(jobs.refuse_odd, 4)


class TestRoom:
    @pytest.fixture(autouse=True)
    def ten_bytes(self, monkeypatch):
        monkeypatch.setattr(tasks, "MOST_BYTES", 10)

    def test_there_is_room_for_so_many_tasks(self):
        room = Room(2, None)
        taken = [room.begin("a")]
        assert room.fits("b")
        room.begin("b")
        assert room.full
        assert not room.fits("c")
        room.end(taken[0])
        assert not room.full
        assert room.fits("c")

    def test_there_is_room_for_so_many_bytes(self):
        room = Room(9, len)
        four = room.begin("1234")
        assert room.fits("123456")
        assert not room.fits("1234567")
        assert not room.full
        room.begin("123456")
        room.end(four)
        assert room.fits("1234")
        assert not room.fits("12345")

    def test_one_task_always_has_room(self):
        room = Room(2, len)
        assert room.fits("x" * 100)
        size = room.begin("x" * 100)
        assert not room.fits("")
        room.end(size)
        assert room.fits("x" * 100)

    def test_a_file_that_grows_or_is_gone_meanwhile_upsets_nobody(self):
        sizes = iter([4, 0, 9, 10**9, 3])
        room = Room(3, lambda _: next(sizes))
        first, second = room.begin("a"), room.begin("b")
        room.end(first)
        room.end(second)
        assert room.fits("c")


def test_a_result_of_nothing_is_a_result():
    assert Finished("a").get() is None
