"""How the next flight stands with what is chosen: released, ready or held."""

from __future__ import annotations

from dataclasses import replace

import pytest

from flightlog.errors import UsageError
from flightlog.operations.next_flight import HELD, READY, RELEASED, next_flight
from tests.operations.released import PLAN, ready_farm, ready_place, released  # noqa: F401


def names(now):
    return {reason.name for reason in now.reasons}


def test_where_everything_holds_it_is_ready_and_nobody_signed(ready_farm):  # noqa: F811
    now = next_flight(ready_farm.desk, PLAN)

    assert READY == now.word
    assert () == now.reasons
    assert not now.is_open


def test_what_does_not_hold_is_a_reason(ready_farm):  # noqa: F811
    ready_farm.clock.later(hours=2)  # the weather holds for one
    ready_farm.desk.refresh()

    now = next_flight(ready_farm.desk, PLAN)

    assert HELD == now.word
    assert {"weather"} == names(now)


def test_a_release_for_what_is_chosen_is_a_release(ready_farm):  # noqa: F811
    entry = released(ready_farm)

    now = next_flight(ready_farm.desk, PLAN)

    assert RELEASED == now.word
    assert now.is_open
    assert entry == now.last.release


@pytest.mark.parametrize("other", [{"rules": ""}, {"site": ""}, {"pack": "pack-b"}])
def test_a_release_for_something_else_stands_in_the_way(ready_farm, other):  # noqa: F811
    released(ready_farm)

    now = next_flight(ready_farm.desk, replace(PLAN, **other))

    assert HELD == now.word
    assert "no-open-release" in names(now)


def test_the_number_of_landings_is_no_other_choice(ready_farm):  # noqa: F811
    released(ready_farm, replace(PLAN, landings=2, purpose="pattern work"))

    assert RELEASED == next_flight(ready_farm.desk, PLAN).word


def test_a_release_whose_ground_fell_away_is_held_with_the_reasons_of_the_release(ready_farm):  # noqa: F811
    released(ready_farm)
    ready_farm.add("event", {"event": "rain", "aircraft": "pannier"}, ("pilot", "reported"))

    now = next_flight(ready_farm.desk, PLAN)

    assert HELD == now.word
    assert any("rain" in reason.says for reason in now.reasons)


def test_an_aircraft_that_the_record_has_not_is_refused(ready_farm):  # noqa: F811
    with pytest.raises(UsageError, match="no aircraft file"):
        next_flight(ready_farm.desk, replace(PLAN, aircraft="paniers"))
