"""Which lists are to be walked: for the day, for the flight, after an event; and for what."""

from __future__ import annotations

import pytest

from flightlog.errors import UsageError
from flightlog.operations.checks import About
from flightlog.operations.lists_now import about_of, lists_now, state_now
from tests.operations.lists import walk
from tests.operations.released import PLAN, walked
from tests.operations.test_turn_around import (
    landed,
    ready_place,
    released_farm,
    released_place,
)

__all__ = ["landed", "ready_place", "released_farm", "released_place"]  # fixtures


def needed(desk):
    return [one.id for one in lists_now(desk, PLAN) if one.needed]


def test_a_new_day_asks_for_the_daily_and_the_pre_flight_list(farm):
    assert ["daily", "pre-flight"] == needed(farm.desk)


def test_calls_are_never_walked_and_a_turn_around_only_where_it_does(farm):
    known = {one.id for one in lists_now(farm.desk, PLAN)}

    assert not known & {"calls", "turn-around"}
    assert {"post-flight", "charging", "periodic"} <= known


def test_a_list_that_is_done_is_complete_and_still_told(farm):
    walked(farm, "daily", About("pannier"))

    daily = lists_now(farm.desk, PLAN)[0]

    assert "daily" == daily.id
    assert daily.done
    assert daily.state.complete


def test_an_event_asks_for_its_own_list(farm):
    farm.add("event", {"event": "hard-landing", "aircraft": "pannier"}, ("pilot", "reported"))

    found = {one.id: one for one in lists_now(farm.desk, PLAN)}

    assert found["after-hard-landing"].needed
    assert "hard-landing" in found["after-hard-landing"].why


def test_a_list_that_the_record_has_not_says_so_and_hides_no_other(farm, monkeypatch):
    monkeypatch.setattr("flightlog.operations.lists_now.DAILY", "dawn")

    found = {one.id: one for one in lists_now(farm.desk, PLAN)}

    assert found["dawn"].state is None
    assert "no checklist file" in found["dawn"].fault.found
    assert not found["dawn"].done
    assert found["pre-flight"].state is not None


def test_a_list_is_for_the_pack_only_where_it_looks_at_it(farm):
    assert About("pannier", "pack-a") == about_of(farm.desk, PLAN, "pre-flight")
    assert About("pannier") == about_of(farm.desk, PLAN, "daily")
    assert About("", "pack-a") == about_of(farm.desk, PLAN, "charging")


def test_no_such_list_is_refused(farm):
    with pytest.raises(UsageError):
        state_now(farm.desk, PLAN, "evening")


def test_after_a_flight_of_the_day_the_turn_around_is_the_one_to_walk(landed):
    found = {one.id: one for one in lists_now(landed.desk, PLAN)}

    assert found["turn-around"].needed
    assert not found["pre-flight"].needed, "the long one can be walked, and need not"


def test_what_a_turn_around_did_is_not_to_be_done_again(landed):
    before = state_now(landed.desk, PLAN, "pre-flight")
    walk(landed, "turn-around", About("pannier", "pack-a"))
    landed.desk.refresh()

    after = state_now(landed.desk, PLAN, "pre-flight")

    assert not before.complete
    assert after.complete
    assert ["daily", "pre-flight"] == needed(landed.desk)


def test_where_a_turn_around_does_not_do_the_reason_is_told(landed):
    landed.add("event", {"event": "hard-landing", "aircraft": "pannier"}, ("pilot", "reported"))

    found = {one.id: one for one in lists_now(landed.desk, PLAN)}

    assert "turn-around" not in found
    assert "hard-landing" in found["pre-flight"].why
