"""A flight card judges the limit on the roll before the flight, and is not believed blindly."""

from __future__ import annotations

from statistics import NormalDist
from types import SimpleNamespace

import pytest

from flightlog.operations import flown_takeoffs
from flightlog.operations.card_numbers import written
from flightlog.operations.release import draft_release
from flightlog.prediction.quantiles import LEVELS
from tests.logbook.made import public_of
from tests.operations.carded import (
    ENGINEER,
    PILOT,
    answer,
    carded,
    flown_after,
    foreign_card,
    planned,  # noqa: F401
    released_by_card,
)
from tests.operations.flown import apart, united
from tests.operations.loads import rewritten
from tests.operations.released import PLAN, expected, loaded, ready_farm, ready_place, wind  # noqa: F401
from tests.operations.test_limits_before import judged

# P(N(m, 2) <= 40) is 0.95 where m is 40 less twice the normal distribution's 95 % point.
EDGE_M = 40.0 - 2.0 * NormalDist().inv_cdf(0.95)


def rolls(mean_m, std_m=2.0):
    """Write quantiles of a normal distribution, as another program may."""
    normal = NormalDist(mean_m, std_m)
    return {
        "quantiles": " ".join(f"{p}={written(normal.inv_cdf(p))}" for p in LEVELS),
        **{
            key: {"value": written(normal.inv_cdf(p)), "unit": "m"}
            for key, p in (
                ("roll", 0.5),
                ("roll_low", 0.025),
                ("roll_high", 0.975),
                ("bound", 0.95),
            )
        },
    }


def limit(probability, at_most="40.0", name="takeoff-roll"):
    return [
        {
            "limit": name,
            "at_most": {"value": at_most, "unit": "m"},
            "required": {"value": "0.95", "unit": ""},
            "probability": {"value": probability, "unit": ""},
        }
    ]


@pytest.mark.parametrize(("mean_m", "holds"), [(EDGE_M - 2e-6, True), (EDGE_M + 1e-6, False)])
def test_a_card_is_compared_unrounded(planned, mean_m, holds):  # noqa: F811
    card = carded(planned, answer(planned, mean_m))
    condition = judged(planned, "takeoff-roll")

    assert holds == condition.holds
    assert (card,) == condition.rests_on
    assert f"probability {'0.950' if holds else '0.94999'}" in condition.says
    assert f"flight card {card.body.number}." in condition.says


def test_a_release_can_rest_on_a_card_alone(ready_farm):  # noqa: F811
    loaded(ready_farm)
    card = carded(ready_farm)
    draft = draft_release(ready_farm.desk, PLAN, public_of("pilot"), public_of("mechanic"))

    assert card.hash in {r.entry for r in draft.relations}


@pytest.mark.parametrize(
    ("said", "why"),
    [
        # The quantiles have 40 m between 94.9 and 95 %; what is typed beside them is a promise.
        (rolls(EDGE_M + 0.01) | {"limits": limit("0.95")}, "and 0.95 is needed"),
        (
            rolls(EDGE_M + 0.01) | {"limits": limit("0.99")},
            "probability 0.99 for takeoff-roll does",
        ),
        (rolls(45.0) | {"limits": limit("0.96")}, "does not fit its quantiles"),
        (rolls(45.0), "does not fit its quantiles"),
        ({"roll": {"value": "29", "unit": "m"}}, "its roll does not fit"),
        ({"bound": {"value": "33.0", "unit": "m"}}, "its bound does not fit"),
        ({"roll_low": {"value": "27", "unit": "m"}}, "its roll low does not fit"),
        ({"needed": {"value": "0.99", "unit": ""}}, "its bound does not fit"),
        ({"needed": {"value": "0.93", "unit": ""}}, "leave out 0.93"),
        ({"needed": {"value": "1.5", "unit": ""}}, "none between 0 and 1"),
        ({"quantiles": "0.5=30"}, "levels and 1 values"),
        ({"quantiles": "a b c"}, "can't be read"),
        ({"limits": []}, "does not name this limit"),
        ({"limits": limit("0.9999997", "41.0")}, "does not name this limit"),
        ({"limits": limit("0.9999997", name="other")}, "does not name this limit"),
        ({"pack": "pack-b"}, "was made for pack-b"),
    ],
)
def test_a_card_of_another_program_is_not_believed(planned, said, why):  # noqa: F811
    foreign_card(planned, **said)
    condition = judged(planned, "takeoff-roll")

    assert not condition.holds
    assert why in condition.says
    assert condition.clear


def test_as_it_is_that_card_would_do(planned):  # noqa: F811
    foreign_card(planned)

    assert judged(planned, "takeoff-roll").holds


@pytest.mark.parametrize(("longer_m", "holds"), [(0.0, True), (0.5, False)])
def test_what_a_judge_reads_longer_brings_the_limit_nearer(planned, longer_m, holds):  # noqa: F811
    card = carded(planned, answer(planned, EDGE_M - 0.2, judged_longer_m=longer_m))

    assert (longer_m > 0) == ("judged_longer" in card.body.content)
    assert holds == judged(planned, "takeoff-roll").holds


def test_a_judge_never_brings_the_limit_farther_away(planned):  # noqa: F811
    foreign_card(planned, judged_longer={"value": "-0.5", "unit": "m"})

    assert "farther away" in judged(planned, "takeoff-roll").says


@pytest.mark.parametrize(
    ("signers", "why"),
    [
        ((("observer", "computed", "inspector"), PILOT), "role 'engineer'"),
        ((ENGINEER, ("pilot", "accepted", "inspector")), "role 'pilot'"),
        ((ENGINEER, ("mechanic", "computed", "engineer")), "'accepted'"),
    ],
)
def test_engineer_and_pilot_have_to_sign(planned, signers, why):  # noqa: F811
    foreign_card(planned, *signers)
    condition = judged(planned, "takeoff-roll")

    assert not condition.holds
    assert why in condition.says


def test_it_holds_for_twelve_hours(planned):  # noqa: F811
    carded(planned)
    planned.clock.later(hours=12)
    assert judged(planned, "takeoff-roll").holds
    planned.clock.later(seconds=1)

    assert "older than 12 h" in judged(planned, "takeoff-roll").says


def test_one_of_a_clock_that_runs_ahead_is_none(planned):  # noqa: F811
    planned.clock.later(minutes=11)
    carded(planned)
    planned.clock.later(minutes=-12)

    assert "still to come" in judged(planned, "takeoff-roll").says


@pytest.mark.parametrize(("change", "what"), [(loaded, "load-sheet"), (wind, "weather")])
def test_another_load_or_other_weather_asks_for_another_card(planned, change, what):  # noqa: F811
    carded(planned)
    change(planned)
    condition = judged(planned, "takeoff-roll")

    assert not condition.holds
    assert f"made without {what}" in condition.says
    assert "flightlog card sign" in condition.clear


def test_a_card_that_knows_load_and_weather_and_does_not_rest_on_them_is_none(planned):  # noqa: F811
    foreign = foreign_card(planned)
    content = dict(foreign.body.content)
    other = planned.add("remark", {"text": "something else"})
    planned.add("flight-card", content, ENGINEER, PILOT, cites=[other])

    assert "does not rest on load-sheet" in judged(planned, "takeoff-roll").says


def test_a_card_is_for_one_flight(planned):  # noqa: F811
    carded(planned)
    released_by_card(planned)
    flight = flown_after(planned)
    condition = judged(planned, "takeoff-roll")

    assert not condition.holds
    assert f"made without sortie {flight.entry.body.number}." in condition.says


def test_a_card_that_does_not_know_a_new_part_is_none(planned):  # noqa: F811
    carded(planned)
    assert judged(planned, "takeoff-roll").holds
    planned.add(
        "fitting",
        {"component": "prop-2", "aircraft": "pannier", "position": "nose", "done": "fitted"},
        ("mechanic", "performed", "mechanic"),
    )

    assert "was made without fitting" in judged(planned, "takeoff-roll").says


@pytest.mark.parametrize(
    ("kind", "id_", "old", "new"),
    [
        ("aircraft", "pannier", "PN-01", "PN-02"),
        ("pack", "pack-a", "capacity_ah = 4.0", "capacity_ah = 3.9"),
    ],
)
def test_a_card_that_does_not_know_a_new_file_is_none(planned, kind, id_, old, new):  # noqa: F811
    carded(planned)
    rewritten(planned, old, new, kind, id_)

    assert "was made without file-version" in judged(planned, "takeoff-roll").says


def test_what_the_record_knows_of_judges_counts(planned, monkeypatch):  # noqa: F811
    carded(planned, answer(planned, EDGE_M - 0.2))
    assert judged(planned, "takeoff-roll").holds
    read = SimpleNamespace(offset_m=0.5)
    monkeypatch.setattr(flown_takeoffs, "flown_takeoffs", lambda *_: read)

    assert not judged(planned, "takeoff-roll").holds


def test_of_a_card_and_an_expected_figure_the_newer_one_counts(planned):  # noqa: F811
    carded(planned)
    expected(planned, value="45.0")
    assert not judged(planned, "takeoff-roll").holds
    carded(planned)
    assert judged(planned, "takeoff-roll").holds
    carded(planned, answer(planned, 45.0))
    assert not judged(planned, "takeoff-roll").holds
    expected(planned)
    assert judged(planned, "takeoff-roll").holds


@pytest.mark.parametrize(("mean_m", "holds"), [(30.0, True), (45.0, False)])
def test_of_two_made_apart_both_have_to_hold(planned, tmp_path, mean_m, holds):  # noqa: F811
    other = apart(planned, tmp_path / "other")
    expected(other)
    carded(planned, answer(planned, mean_m))
    united(planned, other)

    assert holds == judged(planned, "takeoff-roll").holds


def test_without_either_it_says_how_to_get_one(planned):  # noqa: F811
    condition = judged(planned, "takeoff-roll")

    assert "flightlog card sign --aircraft pannier" in condition.clear
    assert "flightlog release expect takeoff.ground_roll" in condition.clear


def test_a_card_of_another_aircraft_does_not_count(planned):  # noqa: F811
    foreign_card(planned, aircraft="drover")

    assert "nobody said" in judged(planned, "takeoff-roll").says
