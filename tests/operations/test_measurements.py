from __future__ import annotations

import pytest

from flightlog.errors import UsageError
from flightlog.operations.measurements import beside, draft_measurement
from flightlog.operations.sorties import debrief_of, sorties
from tests.logbook.made import public_of
from tests.operations.logs import imported
from tests.operations.made import MORNING

ROLL = "takeoff.ground_roll"
OBSERVER = public_of("observer")


@pytest.fixture
def flight(farm):
    figure = {"value": 28.1, "unit": "m", "low": 26.7, "high": 29.5}
    lap = {"number": 2, "time": {"value": 50.40, "low": 50.35, "high": 50.45}, "energy": None}
    each = {"figures": {ROLL: figure}, "withheld": {"wind.speed": "no laps"}, "laps": [lap]}
    return imported(farm, MORNING, each=each)[0]


def measured(farm, flight, figure=ROLL, value="28.4", unit="m", method="tape", **more):
    draft = draft_measurement(flight, figure, value, unit, method, OBSERVER, **more)
    entry = farm.sign(draft, "observer")
    (known,) = sorties(farm.desk)
    assert entry in known.measurements
    return beside(entry, debrief_of(farm.desk, known))


@pytest.mark.parametrize(
    ("value", "std", "agree"),
    [
        # The log's interval ends at 29.5; 1.96 times 0.5 is 0.98, so that 30.4 still reaches it.
        ("29.5", "", True), ("29.6", "", False), ("30.4", "0.5", True), ("30.5", "0.5", False),
        ("26.6", "", False), ("26.7", "", True),
    ],
)  # fmt: skip
def test_the_intervals_agree_where_they_have_a_number_in_common(farm, flight, value, std, agree):
    one = measured(farm, flight, value=value, std=std)

    assert agree == one.agree
    assert 28.1 - float(value) == pytest.approx(one.difference)


def test_an_official_time_stands_beside_that_of_its_lap(farm, flight):
    one = measured(farm, flight, "lap.time", "50.9", "s", "official", std="0.1", lap=2)

    assert "lap.time of lap 2" == one.figure
    assert -0.5 == pytest.approx(one.difference)
    assert not one.agree


@pytest.mark.parametrize(
    ("figure", "unit", "lap", "why"),
    [
        ("wind.speed", "m/s", None, "no laps"),
        ("energy.used", "Wh", None, "the debrief does not have it"),
        ("lap.time", "s", 7, "the log has no such lap"),
        ("lap.energy", "Wh", 2, "the log does not give it"),
    ],
)
def test_what_the_log_does_not_have_is_said_with_the_reason(farm, flight, figure, unit, lap, why):
    one = measured(farm, flight, figure, "3", unit, "judge", lap=lap)

    assert (None, None, why) == (one.difference, one.agree, one.why)


def test_without_a_log_there_is_nothing_to_stand_beside(farm, flight):
    one = beside(measured(farm, flight).entry, None)

    assert (None, "there is no log of this flight") == (one.agree, one.why)


@pytest.mark.parametrize(
    ("figure", "value", "unit", "more", "found"),
    [
        (ROLL, "28,4", "m", {}, "is not a number"),
        (ROLL, "28.4", "ft", {}, "is in m, not in ft"),
        ("takeoff.roll", "28.4", "m", {}, "no such figure"),
        ("lap.time", "50", "s", {}, "is of one lap"),
        (ROLL, "28.4", "m", {"lap": 1}, "no figure of a lap"),
        (ROLL, "28.4", "m", {"std": "0"}, "not above 0"),
        (ROLL, "28.4", "m", {"method": "guess"}, "none of tape, judge, official"),
    ],
)
def test_what_is_no_measurement_is_refused(flight, figure, value, unit, more, found):
    method = more.pop("method", "tape")
    with pytest.raises(UsageError, match=found):
        draft_measurement(flight, figure, value, unit, method, OBSERVER, **more)
