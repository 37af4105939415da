"""Drafting a flight card: what it says, and when there is none."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from statistics import NormalDist

import pytest

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.entry import CITES
from flightlog.operations.card_numbers import numbers_of
from flightlog.operations.cards import draft_card
from flightlog.operations.energy_need import EnergyNeed
from flightlog.operations.load_answer import FAILS, Bind
from flightlog.operations.point_files import PlannedPoint, PointFile
from flightlog.operations.weather import latest_weather
from tests.logbook.made import public_of
from tests.operations.carded import POINTS, answer, carded, planned  # noqa: F401
from tests.operations.flown import apart, united
from tests.operations.released import loaded, wind


def draft(farm, given, units=4, points=None, by="observer", accepted="pilot"):
    return draft_card(
        farm.desk,
        given,
        units,
        points,
        computed_by=public_of(by),
        accepted_by=public_of(accepted),
    )


def test_a_card_says_what_is_expected_and_what_it_rests_on(planned):  # noqa: F811
    card = carded(planned, points=POINTS)
    said = card.body.content
    sheet = planned.desk.ledger.last("load-sheet")

    assert {sheet.hash, latest_weather(planned.desk, "top-field").hash} == set(
        card.body.related(CITES)
    )
    assert ("pannier", "pack-a", "club-trial-2027", "top-field", 4) == tuple(
        said[key] for key in ("aircraft", "pack", "rules", "site", "units")
    )
    assert sheet.body.content["mass"] == said["mass"]
    assert ("3.298", "1.2247") == (said["headwind"]["value"], said["density"]["value"])
    assert "30.000000" == said["roll"]["value"]
    assert "log-linear roll 1, from 8 flights, 1 given up" == said["model"]
    assert {"value": "33.2", "unit": "m"} == said["abort"]
    assert ["roll", "climb"] == [p["point"] for p in said["points"]]
    assert said["test_card"].startswith("build-up, SHA-256 abab")
    assert ["takeoff-roll"] == [one["limit"] for one in said["limits"]]


def test_its_numbers_are_those_of_the_prediction_and_never_too_short(planned):  # noqa: F811
    normal = NormalDist(30, 2)
    numbers = numbers_of(carded(planned))

    for level, value in zip(numbers.quantiles.levels, numbers.quantiles.values, strict=True):
        assert 0 <= value - normal.inv_cdf(level) <= 1.01e-6
    assert 0 <= numbers.bound_m - normal.inv_cdf(0.95) <= 1.01e-6
    (limit,) = numbers.limits
    assert (40.0, 0.95) == (limit.at_most_m, limit.required)
    assert 0 <= normal.cdf(40.0) - limit.probability < 1e-9


def test_a_bound_at_another_probability_is_among_the_quantiles(planned):  # noqa: F811
    numbers = numbers_of(carded(planned, answer(planned, needed=0.93)))

    assert 0.93 in numbers.quantiles.levels
    assert NormalDist(30, 2).inv_cdf(0.93) == pytest.approx(numbers.bound_m, abs=2e-6)


def test_a_prediction_that_was_withheld_makes_no_card(planned):  # noqa: F811
    with pytest.raises(RefusedError, match="the technique is another one since today"):
        draft(planned, answer(planned, withheld="the technique is another one since today"))


def test_units_that_were_not_predicted_make_no_card(planned):  # noqa: F811
    with pytest.raises(RefusedError, match="nothing was predicted for 5 units"):
        draft(planned, answer(planned), 5)


def test_abort_point_and_energy_are_left_out_where_they_are_of_another_load(planned):  # noqa: F811
    need = EnergyNeed(6, 30.4, 34.12, 70.0, 3.5, 0.2, 0.99, 9, "says")
    with_them = draft(planned, answer(planned, energy=need)).content
    without = draft(planned, answer(planned, energy=need, most=3)).content

    assert (6, "30.40", "34.12") == (
        with_them["laps"],
        with_them["energy"]["value"],
        with_them["energy_bound"]["value"],
    )
    assert not {"abort", "laps", "energy", "energy_bound"} & set(without)


def test_the_load_sheet_in_force_has_to_be_of_this_load(planned):  # noqa: F811
    given = answer(planned)
    loaded(planned, units=5)
    with pytest.raises(RefusedError, match="is for 5 units with pack-a"):
        draft(planned, given)
    loaded(planned)
    heavier = replace(given.choices[0], mass_kg=given.choices[0].mass_kg + 0.0011)
    with pytest.raises(RefusedError, match="kg, and the roll was predicted for"):
        draft(planned, replace(given, choices=(heavier,)))
    assert draft(planned, given)


def test_two_load_sheets_made_apart_make_no_card(planned, tmp_path):  # noqa: F811
    given, other = answer(planned), apart(planned, tmp_path / "other")
    loaded(other)
    loaded(planned)
    united(planned, other)
    with pytest.raises(RefusedError, match="made apart from each other"):
        draft(planned, given)


def test_weather_that_is_measured_again_asks_for_another_answer(planned):  # noqa: F811
    given = answer(planned)
    wind(planned)
    with pytest.raises(RefusedError, match="measured again"):
        draft(planned, given)


def test_two_persons_sign(planned):  # noqa: F811
    with pytest.raises(UsageError, match="one person"):
        draft(planned, answer(planned), by="pilot")


def test_more_points_than_a_flight_has_room_for(planned):  # noqa: F811
    many = PointFile("m", "M", "ab" * 32, (PlannedPoint("p", "a", "b", "c"),) * 41)
    with pytest.raises(UsageError, match="41 test points"):
        draft(planned, answer(planned), points=many)


def test_what_was_not_flown_yet_is_on_the_card(planned):  # noqa: F811
    given = answer(planned)
    new = replace(given.choices[0], beyond_flown="8.4 kg is more than was flown")
    said = draft(planned, replace(given, choices=(new,))).content

    assert "8.4 kg is more than was flown" == said["beyond"]
    assert "beyond" not in draft(planned, given).content


def test_every_number_is_decimal_text(planned):  # noqa: F811
    said = draft(planned, answer(planned)).content
    for key in ("roll", "roll_low", "roll_high", "bound", "needed", "headwind", "density"):
        assert Decimal(said[key]["value"]).is_finite()


def failing(planned, name):  # noqa: F811
    made = answer(planned, pack_says="25.1 V at rest")
    (choice,) = made.choices
    bind = Bind(name, FAILS, "too much of it", 0.1)
    return replace(made, choices=(replace(choice, binds=(bind,)),))


def test_what_fails_stands_on_the_card(planned):  # noqa: F811
    said = carded(planned, failing(planned, "energy")).body.content

    assert [{"what": "energy", "says": "too much of it"}] == said["fails"]
    assert "25.1 V at rest" == said["pack_state"]


@pytest.mark.parametrize("name", ["mass", "balance"])
def test_a_load_that_never_fits_gets_no_card(planned, name):  # noqa: F811
    with pytest.raises(RefusedError, match=f"{name} does not hold with 4 units"):
        carded(planned, failing(planned, name))
