"""The second flight of the day: when fifteen items do, and when they don't."""

from __future__ import annotations

import pytest

from flightlog.logbook.entry import SPENDS
from flightlog.operations.checks import About, checklist_in_force
from flightlog.operations.defects import defect_draft
from flightlog.operations.list_conditions import list_conditions
from flightlog.operations.service import note_event
from flightlog.operations.turn_around import flight_list
from tests.operations.flown import flown
from tests.operations.lists import begin, judge, passing, walk
from tests.operations.released import (
    PLAN,
    charged,
    expected,
    loaded,
    ready_place,
    released,
    released_farm,
    released_place,
    wind,
)

__all__ = ["ready_place", "released_farm", "released_place"]  # fixtures

ABOUT = About(PLAN.aircraft, PLAN.pack)


@pytest.fixture
def landed(released_farm):
    """A farm after its first flight of the day, half an hour later."""
    farm = released_farm
    release = farm.desk.ledger.last("release")
    farm.clock.later(minutes=5)
    flown(farm, 300, relations=[(SPENDS, release)])
    note_event(farm.desk, "battery-change", aircraft="pannier", pack="pack-a")
    farm.clock.later(minutes=20)
    farm.desk.refresh()
    return farm


def flight_condition(farm):
    farm.desk.refresh()
    return next(c for c in list_conditions(farm.desk, PLAN) if c.name == "flight-list")


def test_a_flight_reopens_the_list_of_the_flight(landed):
    condition = flight_condition(landed)

    assert not condition.holds
    assert "flight" in condition.says


def test_the_shorter_list_is_named_where_it_does(landed):
    told = flight_condition(landed)

    assert told.clear.startswith("The turn-around does it too: 'flightlog checks walk turn-around")


def test_the_list_has_at_most_fifteen_items_and_two_persons_can_do_them(farm):
    checklist = checklist_in_force(farm.desk, "turn-around")
    assert 15 >= len(checklist.items)

    walk(farm, "turn-around", turns=("mechanic", "pilot", "mechanic"))
    short = flight_list(farm.desk, PLAN)[1]
    assert short is None  # no released flight came before: it stands in for nothing


def test_a_turn_around_renews_the_list_of_the_flight(landed):
    walk(landed, "turn-around", ABOUT)
    condition = flight_condition(landed)

    assert condition.holds, condition.says
    assert "turn-around complete" in condition.says


def test_a_whole_second_release_follows_a_turn_around(landed):
    farm = landed
    walk(farm, "turn-around", ABOUT)
    charged(farm)
    loaded(farm)
    wind(farm)
    expected(farm)

    release = released(farm)
    assert farm.book.standing.permit(release).holds


def test_one_item_short_the_list_is_not_done(landed):
    walk(landed, "turn-around", ABOUT, skip=("gear",))

    assert not flight_condition(landed).holds


@pytest.mark.parametrize("item", ["cells", "strap", "sense"])
def test_what_failed_in_the_turn_around_is_not_renewed(landed, item):
    farm = landed
    begun = walk(farm, "turn-around", ABOUT)
    found = checklist_in_force(farm.desk, "turn-around").item(item)
    who = "mechanic" if found.role == "mechanic" else "pilot"
    bad = passing(found)
    bad = type(bad)("fail", value="4.0" if item == "cells" else "", instrument=bad.instrument)
    judge(farm, begun, item, who, bad)

    assert not flight_condition(farm).holds


def test_after_a_defect_the_whole_list_is_walked(landed):
    farm = landed
    farm.sign(
        defect_draft(
            farm.desk, part="tyre", group="landing-gear", severity="cosmetic", text="worn",
            aircraft="pannier",
        )
    )  # fmt: skip
    walk(farm, "turn-around", ABOUT)
    condition = flight_condition(farm)

    assert not condition.holds
    assert "a defect was found" in condition.says + str(flight_list(farm.desk, PLAN)[2])


def test_another_crew_walks_the_whole_list(landed):
    farm = landed
    content = {"person": farm.desk.crew.find("observer").id, "roles": ["mechanic"]}
    farm.add("grant", content, ("pilot", "granted"), ("mechanic", "granted"))
    stranger = begin(farm, "turn-around", ABOUT)
    judge(farm, stranger, "gear", "observer", passing(_item(farm, "gear")))

    assert "not the same crew: observer" in flight_list(farm.desk, PLAN)[2]


def _item(farm, id_):
    return checklist_in_force(farm.desk, "turn-around").item(id_)


def test_a_grounding_event_asks_for_the_whole_list(landed):
    note_event(landed.desk, "hard-landing", aircraft="pannier")
    walk(landed, "turn-around", ABOUT)

    assert not flight_condition(landed).holds
    assert "hard-landing" in flight_list(landed.desk, PLAN)[2]


def test_the_next_day_begins_with_the_whole_list(landed):
    landed.clock.later(hours=20)
    walk(landed, "turn-around", ABOUT)

    assert not flight_condition(landed).holds
    assert "of this day" in flight_list(landed.desk, PLAN)[2]


def test_after_a_flight_without_a_release_the_whole_list_is_walked(landed):
    flown(landed, 300)
    walk(landed, "turn-around", ABOUT)

    assert "without a release" in flight_list(landed.desk, PLAN)[2]
    assert not flight_condition(landed).holds
