"""What became of the points of a card."""

from __future__ import annotations

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.entry import CITES
from flightlog.operations.card_points import done_of, draft_done, is_card, points_of
from tests.logbook.made import public_of
from tests.operations.carded import (
    POINTS,
    carded,
    flown_after,
    planned,  # noqa: F401
    released_by_card,
)
from tests.operations.flown import second_aircraft

BOTH = {"roll": ("flown", ""), "climb": ("to-repeat", "gust at the turn")}


@pytest.fixture
def flown(planned):  # noqa: F811
    """A farm, a card with two points, and the flight that was flown by it."""
    card = carded(planned, points=POINTS)
    released_by_card(planned)
    return planned, card, flown_after(planned)


def drafted(flown, points, **more):
    farm, card, flight = flown
    return draft_done(farm.desk, card, flight, points, public_of("pilot"), **more)


def test_each_point_is_told_beside_what_was_planned(flown):
    farm, card, flight = flown
    done = farm.sign(drafted(flown, BOTH, text="calm"), "pilot")

    assert {card.hash, flight.entry.hash} == set(done.body.related(CITES))
    assert "calm" == done.body.content["text"]
    assert [("roll", "flown", ""), ("climb", "to-repeat", "gust at the turn")] == [
        (p.name, p.result, p.text) for p in points_of(farm.desk, card)
    ]
    assert "below 1 m/s" == points_of(farm.desk, card)[1].stop
    assert done == done_of(farm.desk, card, flight)


def test_what_was_said_last_counts(flown):
    farm, card, _ = flown
    farm.sign(drafted(flown, BOTH), "pilot")
    farm.sign(drafted(flown, {**BOTH, "climb": ("dropped", "")}), "pilot")

    assert "dropped" == points_of(farm.desk, card)[1].result


@pytest.mark.parametrize(
    ("points", "why"),
    [
        ({"roll": ("flown", "")}, "nothing is said of climb"),
        ({**BOTH, "clim": ("flown", "")}, "Did you mean 'climb'"),
        ({**BOTH, "climb": ("done", "")}, "none of flown, to-repeat, dropped"),
    ],
)
def test_slips_are_told(flown, points, why):
    with pytest.raises(UsageError) as caught:
        drafted(flown, points)

    assert why in caught.value.sentence()


def test_a_flight_of_another_aircraft_is_refused(planned):  # noqa: F811
    card = carded(planned, points=POINTS)
    second_aircraft(planned)
    released_by_card(planned, aircraft="drover")
    entry = planned.add(
        "sortie",
        {
            "aircraft": "drover", "number": 1, "source": "hand", "landings": 1, "attempts": 0,
            "paired": "by hand",
        },
        ("pilot", "stated"),
    )  # fmt: skip
    from flightlog.operations.sorties import sortie_of

    flight = sortie_of(planned.desk, entry)
    with pytest.raises(RefusedError, match="is a flight of drover"):
        draft_done(planned.desk, card, flight, BOTH, public_of("pilot"))


def test_a_flight_that_was_there_before_the_card_is_refused(flown):
    farm, _, flight = flown
    later = carded(farm, points=POINTS)
    with pytest.raises(RefusedError, match="was in the record before the card"):
        draft_done(farm.desk, later, flight, BOTH, public_of("pilot"))


def test_what_is_no_card_is_none(flown):
    with pytest.raises(UsageError, match="is a sortie, no flight card"):
        is_card(flown[2].entry)
