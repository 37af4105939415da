"""A flight card in words: what was expected, what came of it, and nothing that was not."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from flightlog.operations.card_flights import outcome_of
from flightlog.operations.card_points import draft_done
from flightlog.operations.card_season import calibration
from flightlog.operations.card_view import card_view
from flightlog.operations.energy_need import EnergyNeed
from flightlog.operations.flight_view import stored_view
from flightlog.operations.load_answer import FAILS, Bind
from flightlog.reports.calibration_chart import calibration_chart
from flightlog.reports.calibration_words import (
    calibration_json,
    calibration_lines,
    calibration_texts,
)
from flightlog.reports.card_json import cards_json
from flightlog.reports.card_sheet import card_sheet
from flightlog.reports.card_words import (
    card_lines,
    fact_rows,
    flight_texts,
    list_lines,
    outcome_texts,
)
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.flight_sheet import flight_sheet
from tests.logbook.made import public_of
from tests.operations.carded import (
    POINTS,
    answer,
    carded,
    flown_after,
    foreign_card,
    planned,  # noqa: F401
    released_by_card,
)
from tests.operations.conftest import farm, farm_place  # noqa: F401
from tests.operations.released import wind

HOSTILE = "<img src=x onerror=alert(1)>"


@pytest.fixture
def flown(planned):  # noqa: F811
    """A farm with a card, the flight that it predicted, and what became of its points."""
    need = EnergyNeed(3, 12.0, 14.0, 70.0, 3.5, 0.2, 0.99, 9, "says")
    card = carded(planned, answer(planned, energy=need), points=POINTS)
    released_by_card(planned)
    flight = flown_after(planned, roll_m=33.4, **{"energy.used": 12.5, "laps.count": 3.0})
    points = {"roll": ("flown", ""), "climb": ("to-repeat", "gusts")}
    planned.sign(draft_done(planned.desk, card, flight, points, public_of("pilot")), "pilot")
    return planned, card, flight


def test_a_card_says_what_is_expected(planned):  # noqa: F811
    facts = dict(fact_rows(carded(planned)))

    assert "30.0 m, 26.1 to 33.9 m in 95 of 100" == facts["ground roll"]
    assert "95 of 100 such take-offs stay below 33.3 m" == facts["bound"]
    assert facts["limit takeoff-roll"].startswith("at most 40 m: kept in over 99.9 of 100")
    assert "when not airborne 33.2 m from the start line" == facts["give up"]
    assert facts["best climb"].startswith("not predicted")
    assert "not on this card" in facts["energy"]


def test_what_fails_what_was_judged_longer_and_the_pack_are_told(planned):  # noqa: F811
    given = answer(planned, pack_says="25.1 V at rest", judged_longer_m=2.7)
    (choice,) = given.choices
    bind = Bind("energy", FAILS, "5 laps need too much", 0.1)
    card = carded(planned, replace(given, choices=(replace(choice, binds=(bind,)),)))
    facts = dict(fact_rows(card))

    assert "5 laps need too much" == facts["ENERGY DOES NOT HOLD"]
    assert "25.1 V at rest" == facts["pack"]
    assert "read 2.7 m longer" in facts["judged"]


def test_what_came_of_it_is_said_roll_first(flown):
    farm_, _card, flight = flown
    texts = flight_texts(farm_.desk, flight)

    assert (
        "expected a roll of 30.0 m, 26.1 to 33.9 m in 95 of 100; measured 33.4 ± 1.0 m: inside."
        in (texts[0])
    )
    assert "above the 33.3 m that 95 of 100 should stay below" in texts[1]
    assert (
        "12.0 Wh of energy used expected (at most 14.0 in 95 of 100); measured 12.5: inside."
        in (texts)
    )
    assert "Test points: 1 flown, 1 to repeat." == texts[-1]


@pytest.mark.parametrize(("roll_m", "word"), [(35.0, "LONGER"), (20.0, "SHORTER")])
def test_a_roll_outside_says_on_which_side(planned, roll_m, word):  # noqa: F811
    carded(planned)
    released_by_card(planned)
    flight = flown_after(planned, roll_m=roll_m)

    assert outcome_texts(outcome_of(planned.desk, flight))[0].endswith(f"{word}.")


def test_no_prediction_is_said_with_the_reason(planned):  # noqa: F811
    released_by_card(planned)
    flight = flown_after(planned)
    assert () == flight_texts(planned.desk, flight)
    carded(planned)

    (text,) = flight_texts(planned.desk, flight)
    assert text.startswith("No prediction: of the flight card")
    assert "that is no prediction" in text


def test_it_stands_on_the_sheet_of_the_flight(flown):
    farm_, _, flight = flown
    content = flight_sheet(farm_.desk, flight, stored_view(farm_.desk, flight))
    titles = [getattr(b, "title", "") for p in content.parts for band in p for c in band.columns
              for b in c]  # fmt: skip

    assert "Predicted before the flight" in titles


def test_a_card_at_the_terminal(flown):
    farm_, card, _flight = flown
    text = "\n".join(card_lines(farm_.desk, card_view(farm_.desk, card), width=300))

    assert "flown: it predicted the flight" in text
    assert "computed as engineer by observer" in text
    assert "climb: to repeat, gusts" in text
    assert "stop: below 1 m/s" in text
    assert CAUTIONS[0][:60] in text


def test_cards_in_a_list_say_how_they_stand(planned):  # noqa: F811
    assert "card sign" in list_lines([])[0]
    old, new = carded(planned), carded(planned)
    lines = list_lines([card_view(planned.desk, one) for one in (old, new)], width=200)
    text = " ".join(line.strip() for line in lines)

    assert "not in force: it is not the newest one" in text
    assert text.endswith("in force for the next flight")


def test_a_card_on_paper_takes_no_text_for_markup(planned):  # noqa: F811
    points = [{"point": HOSTILE, "setup": HOSTILE, "measure": HOSTILE, "stop": HOSTILE}]
    card = foreign_card(planned, points=points, beyond=HOSTILE, model=HOSTILE)
    page = card_sheet(planned.desk, card_view(planned.desk, card))

    assert "<img" not in page
    assert page.count("&lt;img src=x") >= 6
    assert "BEYOND WHAT WAS FLOWN" in page
    assert all(caution[:40] in page for caution in CAUTIONS)


def test_a_card_for_programs_is_finite_json(flown):
    farm_, card, _ = flown
    body = json.loads(json.dumps(cards_json([card_view(farm_.desk, card)]), allow_nan=False))
    (one,) = body["cards"]

    assert ("flown", True, True) == (
        one["state"], one["outcome"]["inside"], one["outcome"]["above_bound"]
    )  # fmt: skip
    assert ["flown", "to-repeat"] == [p["result"] for p in one["points"]]
    assert one["outcome"]["crps_m"] > 0


# --- the season


def test_few_flights_are_said_to_prove_nothing(flown):
    farm_, *_ = flown
    text = " ".join(calibration_texts(calibration(farm_.desk, "pannier")))

    # One of one: between 0.025 and 1 by the exact interval.
    assert "1 of 1 rolls lay within the 95 % interval of their card" in text
    assert "between 2 and 100 %" in text
    assert "it takes 59 in a row" in text
    assert "they can't be compared yet" in text


def test_the_chart_has_both_with_their_intervals(flown):
    farm_, *_ = flown
    chart = calibration_chart(calibration(farm_.desk, "pannier"))
    (panel,) = chart.panels
    expected, measured = panel.lines

    assert [30.0] == pytest.approx(expected.y, abs=1e-5)
    assert [26.080, 33.920] == pytest.approx([*expected.low, *expected.high], abs=1e-3)
    assert [33.4] == pytest.approx(measured.y)
    assert [32.4, 34.4] == pytest.approx([*measured.low, *measured.high], abs=1e-4)


def test_without_cards_there_is_nothing_to_draw(planned):  # noqa: F811
    assert calibration_chart(calibration(planned.desk, "pannier")).lacking


def test_once_all_three_predict_they_are_compared(planned):  # noqa: F811
    for n, roll in enumerate((29.0, 31.0, 30.0, 32.0, 28.0, 31.5)):
        wind(planned)
        carded(planned)
        released_by_card(planned)
        flown_after(planned, n, roll)
    planned.desk.refresh()
    found = calibration(planned.desk, "pannier")
    text = " ".join(calibration_texts(found))
    body = json.loads(json.dumps(calibration_json(found), allow_nan=False))

    assert "none come in 74 of 100 such seasons" in text
    assert "On the 1 flight that all three predict" in text
    assert 1 == body["common_flights"]
    assert {"card", "last roll", "straight line"} == set(body["flights"][5]["predictions"])
    lines = calibration_lines(found, width=200)
    assert any("26.1 to 33.9" in line for line in lines)
