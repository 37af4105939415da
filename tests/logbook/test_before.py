"""The record as it was to those who made an entry."""

from __future__ import annotations

import pytest

from flightlog.errors import RefusedError
from flightlog.logbook.merge import merge
from tests.logbook.teams import Laptop, remark, signed


@pytest.fixture
def laptop(tmp_path):
    return Laptop(tmp_path / "one")


def test_it_holds_what_the_entry_had_seen_and_stands_at_its_time(laptop):
    with laptop.found() as book:
        first = signed(book, remark("first", "pilot"), ["pilot"])
        second = signed(book, remark("second", "pilot"), ["pilot"])
        signed(book, remark("third", "pilot"), ["pilot"])
        past = book.before(second)

        assert [first] == list(past.order)[1:]
        assert second.body.time.utc == past.now()
        assert past.people.persons
        past.refresh()
        assert 2 == len(past.order)


def test_what_was_made_apart_is_not_in_it(laptop, tmp_path):
    other = Laptop(tmp_path / "two")
    with laptop.found() as book:
        other.copy_from(laptop)
        with other.open() as elsewhere:
            signed(elsewhere, remark("there", "pilot"), ["pilot"])
        here = signed(book, remark("here", "pilot"), ["pilot"])
        merge(book, other.logbook)

        assert 1 == len(book.before(here).order)
        assert 4 == len(book.order)  # with the start of the other's chain


def test_nothing_can_be_written_there(laptop):
    with laptop.found() as book:
        entry = signed(book, remark("first", "pilot"), ["pilot"])

        with pytest.raises(RefusedError, match="reading only"):
            book.before(entry).append(remark("then"))
