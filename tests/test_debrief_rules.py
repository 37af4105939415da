"""What a debrief takes from the rule book and from the aircraft besides the figures."""

from __future__ import annotations

from pathlib import Path

import pytest

from flightlog.debriefing import Debrief, debrief
from flightlog.importers import read
from flightlog.inputs import Aircraft, Inputs
from flightlog.rules.book import Limit, RuleBook
from flightlog.rules.outcomes import Bound
from tests.synthetic import as_recording

SAMPLES = Path(__file__).parents[1] / "sample_flights"


def mass_limit(id_: str, **more: str) -> Limit:
    return Limit(id_, "rule", "mass.takeoff", Bound("<=", 12.0, "kg"), **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def flown() -> Debrief:
    book = RuleBook(
        "field-day",
        "1",
        "00",
        limits=(mass_limit("planned", enforced="before_flight"), mass_limit("flown")),
        screen_height_m=2.0,
    )
    aircraft = Aircraft(
        "a", "11", limits={"flight.max_ground_speed": {"at_most": 100.0, "unit": "km/h"}}
    )
    return debrief(read(SAMPLES / "position_1hz_only.bin"), Inputs(aircraft=aircraft), book)


def test_limits_of_the_plan_alone_are_not_judged_after_the_flight(flown):
    judged = [(o.kind, o.limit) for o in flown.sorties[0].outcomes]

    assert [("rule", "flown"), ("aircraft", "flight.max_ground_speed")] == judged


def test_the_debrief_names_the_book(flown):
    assert {"id": "field-day", "version": "1", "sha256": "00"} == flown.rules


def test_the_books_screen_height_is_used_unless_the_caller_gives_one(flown):
    book = RuleBook("field-day", "1", "00", screen_height_m=2.0)
    nothing = as_recording({})

    assert 2.0 == flown.inputs.screen_height_m
    assert 10.0 == debrief(nothing, Inputs(screen_height_m=10.0), book).inputs.screen_height_m
    assert debrief(nothing).inputs.screen_height_m is None
