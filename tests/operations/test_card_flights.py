"""Which card goes with which flight, and prediction against outcome."""

from __future__ import annotations

from datetime import timedelta
from statistics import NormalDist

import pytest

from flightlog.operations.card_flights import card_of, outcome_of
from flightlog.operations.card_season import calibration
from flightlog.operations.energy_need import EnergyNeed
from flightlog.operations.positions import named
from flightlog.operations.sorties import sorties
from tests.operations.carded import (
    POINTS,
    answer,
    carded,
    flown_after,
    foreign_card,
    planned,  # noqa: F401
    released_by_card,
)
from tests.operations.flown import apart, united
from tests.operations.released import loaded, wind

NORMAL = NormalDist(30, 2)


def only(farm):
    farm.desk.refresh()
    (flight,) = sorties(farm.desk, "pannier")
    return flight


def test_the_card_that_the_release_knows_is_the_prediction(planned):  # noqa: F811
    carded(planned)
    card = carded(planned)
    released_by_card(planned)
    flown_after(planned)

    assert (card, "") == card_of(planned.desk, only(planned))


def test_prediction_against_outcome(planned):  # noqa: F811
    need = EnergyNeed(3, 12.0, 14.0, 70.0, 3.5, 0.2, 0.99, 9, "says")
    carded(planned, answer(planned, energy=need), points=POINTS)
    released_by_card(planned)
    flown_after(planned, roll_m=33.0, **{"energy.used": 14.5, "laps.count": 3.0})
    found = outcome_of(planned.desk, only(planned))

    assert "" == found.why
    assert 33.0 == found.roll_m
    assert found.score is not None
    assert found.score.inside
    assert not found.score.over
    assert NORMAL.cdf(33.0) == pytest.approx(found.score.pit, abs=1e-6)
    (energy,) = found.others
    assert ("energy.used", 12.0, 14.0, 14.5) == (
        energy.figure,
        energy.expected,
        energy.high,
        energy.measured,
    )
    assert energy.inside is False
    assert [("roll", ""), ("climb", "")] == [(p.name, p.result) for p in found.points]


def test_other_laps_than_planned_are_not_compared(planned):  # noqa: F811
    need = EnergyNeed(3, 12.0, 14.0, 70.0, 3.5, 0.2, 0.99, 9, "says")
    carded(planned, answer(planned, energy=need))
    released_by_card(planned)
    flown_after(planned, **{"energy.used": 9.0, "laps.count": 2.0})
    (energy,) = outcome_of(planned.desk, only(planned)).others

    assert energy.inside is None
    assert "3 laps were planned, and 2 were flown" == energy.why


def test_a_card_expects_a_climb_once_three_flights_have_one(planned):  # noqa: F811
    for n, climb in enumerate((3.0, 3.2, 3.1)):
        carded(planned)
        released_by_card(planned)
        flown_after(planned, n, **{"climb.best_rate": climb})
    planned.clock.later(minutes=5)
    card = carded(planned)
    released_by_card(planned)
    flight = flown_after(planned, 3, **{"climb.best_rate": 1.0})
    (climb,) = outcome_of(planned.desk, flight).others

    assert 3.1 == pytest.approx(float(card.body.content["climb"]["value"]), abs=0.05)
    assert climb.low < 3.1 < climb.high
    assert climb.inside is False


def test_without_any_card_it_says_so(planned):  # noqa: F811
    released_by_card(planned)
    flown_after(planned)

    assert (None, "no flight card of this aircraft was signed") == card_of(
        planned.desk, only(planned)
    )


def test_a_card_that_came_after_the_release_is_no_prediction(planned):  # noqa: F811
    released_by_card(planned)
    card = carded(planned)
    flown_after(planned)
    found, why = card_of(planned.desk, only(planned))

    assert card == found
    assert "that is no prediction" in why
    assert outcome_of(planned.desk, only(planned)).score is None


def test_a_card_signed_after_landing_is_no_prediction(planned):  # noqa: F811
    released_by_card(planned)
    flown_after(planned, roll_m=30.0)
    carded(planned)

    assert "that is no prediction" in card_of(planned.desk, only(planned))[1]


def test_a_card_that_says_it_was_signed_after_lift_off_is_none(planned):  # noqa: F811
    # The flight's log has it ten minutes before; the record alone would have the card first.
    start = planned.clock.now - timedelta(minutes=10)
    carded(planned)
    released_by_card(planned)
    planned.clock.now = start - timedelta(minutes=5)
    flown_after(planned)
    flight = only(planned)
    if flight.release is None:
        pytest.fail("the flight has to be paired for this test to say anything")

    assert "after lift-off at" in card_of(planned.desk, flight)[1]


@pytest.mark.parametrize(("change", "word"), [(loaded, "load sheet"), (wind, "weather")])
def test_another_load_or_weather_than_released_is_no_prediction(planned, change, word):  # noqa: F811
    carded(planned)
    change(planned)
    released_by_card(planned)
    flown_after(planned)

    assert f"it was made for another {word} than" in card_of(planned.desk, only(planned))[1]


def test_a_card_is_the_prediction_of_one_flight(planned):  # noqa: F811
    carded(planned)
    released_by_card(planned)
    first = flown_after(planned, 1)
    released_by_card(planned)
    second = flown_after(planned, 2)

    assert "" == card_of(planned.desk, first)[1]
    why = card_of(planned.desk, second)[1]
    assert f"it was for the flight {named(first.entry)} before it" in why


def test_cards_made_apart_are_none(planned, tmp_path):  # noqa: F811
    other = apart(planned, tmp_path / "other")
    carded(other)
    carded(planned)
    united(planned, other)
    released_by_card(planned)
    flown_after(planned)
    card, why = card_of(planned.desk, only(planned))

    assert card is None
    assert "made apart from each other" in why


def test_a_flight_without_a_release_has_no_prediction(planned):  # noqa: F811
    carded(planned)
    flown_after(planned)

    assert "without a release" in card_of(planned.desk, only(planned))[1]


def test_a_card_whose_numbers_do_not_fit_is_no_prediction(planned):  # noqa: F811
    foreign_card(planned, roll={"value": "29", "unit": "m"})
    released_by_card(planned)
    flown_after(planned)
    found = outcome_of(planned.desk, only(planned))

    assert "its roll does not fit its quantiles" in found.why
    assert (None, None) == (found.numbers, found.score)


def test_a_roll_that_was_not_measured_says_why(planned):  # noqa: F811
    carded(planned)
    released_by_card(planned)
    flown_after(planned)
    flight = only(planned)
    path = next(
        planned.book.attachments.path(a.sha256)
        for a in flight.recording.body.attachments
        if a.name.endswith(".debrief.json")
    )
    path.chmod(0o644)
    path.write_bytes(b"damaged")
    planned.desk.lasting.clear()
    planned.desk.refresh()
    found = outcome_of(planned.desk, only(planned))

    assert found.roll_m is None
    assert found.no_roll
    assert found.score is None
    assert "" == found.why


# --- the season


def test_a_season_is_judged_flight_by_flight(planned):  # noqa: F811
    rolls = (29.0, 31.0, 35.0, 30.0)
    for n, roll in enumerate(rolls):
        wind(planned)
        if n:
            carded(planned)
        released_by_card(planned)
        flown_after(planned, n, roll)
    planned.desk.refresh()
    found = calibration(planned.desk, "pannier")
    card, last, line = found.season.methods

    assert list(rolls) == pytest.approx([row.takeoff.roll_m for row in found.season.rows])
    # N(30, 2) up to 33.92 holds the second and the fourth of them.
    assert (3, 2, 1) == (card.flights, card.inside, card.over)
    assert (1, 0) == (last.flights, line.flights)
    assert 3 == len(found.cards)
    assert found.season.rows[0].why["card"] == "no flight card was signed before its release"


def test_a_tape_goes_into_what_a_prediction_is_judged_by(planned):  # noqa: F811
    carded(planned)
    released_by_card(planned)
    flight = flown_after(planned, roll_m=30.0)
    before = outcome_of(planned.desk, flight).roll_m
    content = {
        "figure": "takeoff.ground_roll",
        "value": {"value": "32.0", "unit": "m"},
        "std": {"value": "0.1", "unit": "m"},
        "method": "tape",
    }
    planned.add("measurement", content, ("mechanic", "measured"), cites=[flight.entry])
    after = outcome_of(planned.desk, only(planned)).roll_m

    assert 30.0 == before
    assert 30.1 < after < 32.0
    assert "The tape reads" in calibration(planned.desk, "pannier").tape_says
