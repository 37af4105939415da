"""A stored debrief that is not of the shape counts as damaged, and takes no page down."""

from __future__ import annotations

import copy
from datetime import UTC, datetime

import pytest

from flightlog.contract import to_json
from flightlog.operations.debrief_shape import is_sound
from flightlog.operations.season_table import season_rows
from flightlog.operations.sorties import debrief_of, sorties
from flightlog.reports.flight_sheet import NO_DEBRIEF, flight_sheet
from tests.made_debriefs import made
from tests.operations.flown import flown
from tests.operations.logs import recording, stored_debrief

NINE = datetime(2027, 3, 15, 9, 0, tzinfo=UTC)
ROLL = {"figures": {"takeoff.ground_roll": {"value": 28.1, "low": 26.7, "high": 29.5}}}
ROLLED = {"value": 12.0, "unit": "m", "low": 11.0, "high": 13.0}
PLACES = [
    (("sorties",), {}),
    (("sorties", 0), None),
    (("sorties", 0, "number"), "1"),
    (("sorties", 0, "start_s"), "soon"),
    (("sorties", 0, "figures", "takeoff.ground_roll"), 28.1),
    (("sorties", 0, "figures", "takeoff.ground_roll", "value"), "28.1"),
    (("sorties", 0, "figures", "takeoff.ground_roll", "high"), 10**400),
    (("sorties", 0, "figures", "takeoff.ground_roll", "low"), float("nan")),
    (("sorties", 0, "outcomes"), [{"limit": "roll", "outcome": "met"}]),
    (("sorties", 0, "findings"), ["all is well"]),
    (("sorties", 0, "gate"), {"origin": "given", "left": 1.0, "right": 2.0}),
    (("sorties", 0, "laps"), [None]),
    (("inputs", "weather"), {"wind_speed": {"value": 3.0, "low": None, "high": 4.0}}),
    (("log",), "a.bin"),
    (("attempts",), [{"start_s": 40.0}]),
    (("attempts", 0, "distance"), 12.0),
    (("attempts", 0, "distance", "low"), "0"),
    (("attempts", 0, "distance", "unit"), "ft"),
    (("findings",), None),
]


def broken(place, value):
    body = copy.deepcopy(stored_debrief(NINE, each=ROLL, attempts=1))
    body["attempts"][0]["distance"] = copy.copy(ROLLED)
    at = body
    for step in place[:-1]:
        at = at[step]
    at[place[-1]] = value
    return body


def test_what_this_program_writes_is_of_the_shape():
    assert is_sound(to_json(made()))
    assert is_sound(stored_debrief(NINE, each=ROLL))
    assert is_sound(stored_debrief(NINE) | {"of a newer program": [1, {}]})


def test_a_debrief_stored_before_attempts_had_a_distance_is_still_of_the_shape():
    old = stored_debrief(NINE, attempts=1)
    assert "distance" not in old["attempts"][0]
    assert is_sound(old)
    assert is_sound(broken(("attempts", 0, "distance"), ROLLED))
    assert is_sound(broken(("attempts", 0, "distance"), None))


@pytest.mark.parametrize(("place", "value"), PLACES)
def test_what_is_of_another_shape_is_not_believed(place, value):
    assert not is_sound(broken(place, value))


@pytest.mark.parametrize(("place", "value"), PLACES[3:6])
def test_season_and_sheet_say_that_the_debrief_is_damaged(farm, place, value):
    flown(farm, recording=recording(farm, broken(place, value)))

    (flight,) = sorties(farm.desk)
    assert debrief_of(farm.desk, flight) is None
    (row,) = season_rows(farm.desk)
    assert "missing or damaged" in row.why_lacking("takeoff.ground_roll")
    assert NO_DEBRIEF == flight_sheet(farm.desk, flight).headline
