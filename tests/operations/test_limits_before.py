"""Limits that are judged before a flight."""

from __future__ import annotations

from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import RefusedError, UsageError
from flightlog.operations.expected import draft_expectation
from flightlog.operations.limits_before import (
    _shown,
    expected_figures,
    figure_of,
    limit_conditions,
)
from flightlog.operations.plan import Condition, Plan
from tests.logbook.made import public_of
from tests.operations.made import FILES, SAMPLES
from tests.operations.released import PLAN, expected, loaded, weighed, wind


@pytest.fixture
def planned(farm):
    """A farm with a load sheet and weather."""
    weighed(farm)
    loaded(farm)
    wind(farm)
    return farm


def judged(farm, limit, plan=PLAN):
    farm.desk.refresh()
    return next(c for c in limit_conditions(farm.desk, plan) if c.says.startswith(f"{limit}: "))


def with_limit(farm, text):
    rules = FILES["rules", "club-trial-2027"].read_text(encoding="utf-8")
    head, cut, tail = rules.partition("# --- declared")
    farm.enter("rules", "club-trial-2027", f"{head}{text}\n{cut}{tail}".encode())


# P(N(38, s) <= 40) is 0.95 where s is two metres over the normal distribution's 95 % point.
EDGE_STD_M = 2.0 / NormalDist().inv_cdf(0.95)


@pytest.mark.parametrize(
    ("std", "holds"), [(f"{EDGE_STD_M - 1e-7:.9f}", True), (f"{EDGE_STD_M + 1e-7:.9f}", False)]
)
def test_an_expected_figure_is_compared_unrounded(planned, std, holds):
    entry = expected(planned, value="38.0", std=std)
    condition = judged(planned, "takeoff-roll")

    assert holds == condition.holds
    assert (entry,) == condition.rests_on
    assert f"probability {'0.950' if holds else '0.94999'}" in condition.says


@given(st.floats(0.0005, 0.9995), st.floats(0.5, 0.999))
def test_a_probability_is_never_written_over_the_one_needed(probability, needed):
    text = _shown(probability, needed)
    if text.startswith("over"):
        assert probability > 0.999
    elif text.startswith("under"):
        assert probability < 0.0011
    else:
        assert (float(text) >= needed) == (probability >= needed)


def test_without_what_is_expected_it_says_what_to_type(planned):
    condition = judged(planned, "takeoff-roll")

    assert not condition.holds
    assert "flightlog release expect takeoff.ground_roll VALUE --std S" in condition.clear


def test_limits_that_are_judged_afterwards_are_left_out(planned):
    names = {c.says.partition(":")[0] for c in limit_conditions(planned.desk, PLAN)}

    assert {"takeoff-roll", "takeoff-mass", "battery-energy"} == names


def test_without_a_rule_book_it_says_so(planned):
    (condition,) = limit_conditions(planned.desk, Plan("pannier", "pack-a"))

    assert condition.holds
    assert "no rule book" in condition.says


def test_limits_of_aircraft_and_pack_count_too(planned):
    limit = '"{}" = {{ at_most = {}, unit = "{}", enforced = "before_flight" }}\n'
    text = (SAMPLES / "pannier.toml").read_text(encoding="utf-8")
    text = text.replace("[limits]\n", "[limits]\n" + limit.format("mass.takeoff", 6.0, "kg"))
    planned.enter("aircraft", "pannier", text.encode())
    text = (SAMPLES / "pack_a.toml").read_text(encoding="utf-8")
    energy = limit.format("battery.nominal_energy", 80, "Wh")
    text = text.replace("[limits]\n", f"[limits]\n{energy}")
    planned.enter("pack", "pack-a", text.encode())

    assert not judged(planned, "mass.takeoff").holds
    assert not judged(planned, "battery.nominal_energy").holds


@pytest.mark.parametrize(
    ("figure", "bound", "holds"),
    [
        ("payload.units", "at_most = 4", True),
        ("payload.units", "at_least = 5", False),
        # Four units of 0.300 kg, 5 g each: 1.200 kg, 20 g.
        ("payload.mass", 'unit = "kg"\nat_most = 1.240', True),
        ("payload.mass", 'unit = "kg"\nat_most = 1.230', False),
    ],
)
def test_declared_figures_come_from_the_load_sheet(planned, figure, bound, holds):
    body = f'[[limit]]\nid = "mine"\nfigure = "{figure}"\n{bound}\nenforced = "both"\n'
    with_limit(planned, body)

    assert holds == judged(planned, "mine").holds


def test_a_pack_that_does_not_say_its_energy_is_held(planned):
    text = (SAMPLES / "pack_a.toml").read_text(encoding="utf-8")
    planned.enter("pack", "pack-a", text.replace("nominal_wh = 88.8\n", "").encode())
    condition = judged(planned, "battery-energy")

    assert not condition.holds
    assert "nominal_wh" in condition.clear


def test_a_limit_with_a_definition_of_its_own_wants_that_figure(planned):
    with_limit(
        planned,
        '[[limit]]\nid = "first-clear"\nfigure = "takeoff.ground_roll"\nat_most = 40\nunit = "m"\n'
        'enforced = "before_flight"\ndefinition = { liftoff = "first_clear" }\n',
    )
    expected(planned)

    assert judged(planned, "takeoff-roll").holds
    assert "expect takeoff.first_clear_distance" in judged(planned, "first-clear").clear
    expected(planned, figure="takeoff.first_clear_distance", value="29")
    assert judged(planned, "first-clear").holds


# --- what is expected has to be of today, of this load and of this air


def content(**other):
    given = {
        "aircraft": "pannier",
        "figure": "takeoff.ground_roll",
        "value": {"value": "30.0", "unit": "m"},
        "std": {"value": "2.0", "unit": "m"},
        "method": "flights before",
    }
    return {**given, **other}


ENGINEER = ("observer", "computed", "engineer")


@pytest.mark.parametrize(
    ("said", "signer", "why"),
    [
        ({}, ("observer", "computed", ""), "role 'engineer'"),
        ({}, ("observer", "computed", "inspector"), "role 'engineer'"),
        ({"std": {"value": "0", "unit": "m"}}, ENGINEER, "nothing that is expected is exact"),
        ({"std": {"value": "-1", "unit": "m"}}, ENGINEER, "nothing that is expected is exact"),
        ({"std": {"value": "2", "unit": "ft"}}, ENGINEER, "in another unit"),
        (
            {"value": {"value": "30", "unit": "ft"}, "std": {"value": "2", "unit": "ft"}},
            ENGINEER,
            "is in 'ft'",
        ),
    ],
)
def test_one_that_is_not_as_it_has_to_be_is_none(planned, said, signer, why):
    planned.add("expectation", content(**said), signer)
    condition = judged(planned, "takeoff-roll")

    assert not condition.holds
    assert why in condition.says
    assert "flightlog release expect" in condition.clear


def test_it_holds_for_twelve_hours(planned):
    expected(planned)
    planned.clock.later(hours=12)
    assert judged(planned, "takeoff-roll").holds
    planned.clock.later(seconds=1)

    assert "older than 12 h" in judged(planned, "takeoff-roll").says


def test_one_of_a_clock_that_runs_ahead_is_none(planned):
    planned.clock.later(minutes=11)
    expected(planned)
    planned.clock.later(minutes=-12)

    assert "still to come" in judged(planned, "takeoff-roll").says


@pytest.mark.parametrize(("change", "what"), [(loaded, "load-sheet"), (wind, "weather")])
def test_another_load_or_other_weather_asks_for_another_one(planned, change, what):
    expected(planned)
    change(planned)
    condition = judged(planned, "takeoff-roll")

    assert not condition.holds
    assert f"made without {what}" in condition.says
    expected(planned)
    assert judged(planned, "takeoff-roll").holds


def test_one_of_another_aircraft_does_not_count(planned):
    planned.add("expectation", content(aircraft="drover"), ENGINEER)

    assert "nobody said" in judged(planned, "takeoff-roll").says


# --- entering it


@pytest.mark.parametrize(
    ("figure", "value", "std", "said"),
    [
        ("takeoff.ground_rol", "30", "2", "'takeoff.ground_roll'"),
        ("mass.takeoff", "7", "0.1", "load sheet"),
        ("takeoff.ground_roll", "30,5", "2", "full stop"),
        ("takeoff.ground_roll", "30", "0", "above 0"),
        ("takeoff.ground_roll", "30", "-2", "above 0"),
        ("takeoff.ground_roll", "nan", "2", "not a number"),
    ],
)
def test_slips_are_told(planned, figure, value, std, said):
    with pytest.raises(UsageError) as caught:
        draft_expectation(
            planned.desk, "pannier", figure, value, std, "by eye", public_of("observer")
        )

    assert said in caught.value.sentence()


def test_without_load_or_weather_nothing_can_be_expected(farm):
    def draft():
        return draft_expectation(
            farm.desk,
            *("pannier", "takeoff.ground_roll", "30", "2", "by eye", public_of("observer")),
        )

    with pytest.raises(RefusedError, match="no load sheet"):
        draft()
    weighed(farm)
    loaded(farm)
    with pytest.raises(RefusedError, match="no weather"):
        draft()
    wind(farm)
    assert 2 == len(draft().relations)


def test_only_figures_that_nothing_declares_have_to_be_expected(farm):
    assert ("takeoff.ground_roll",) == expected_figures(farm.desk, PLAN)
    assert () == expected_figures(farm.desk, Plan("pannier", "pack-a"))


def test_each_limit_tells_its_figure_whether_it_holds_or_not(planned):
    found = {figure_of(c) for c in limit_conditions(planned.desk, PLAN)}

    assert {"takeoff.ground_roll", "mass.takeoff", "battery.nominal_energy"} <= found
    assert "" not in found


def test_what_is_no_limit_tells_no_figure():
    assert "" == figure_of(Condition("weather", False, "x: takeoff.ground_roll at most 1 m"))
    assert "" == figure_of(Condition("limits", True, "no rule book: no limit is judged"))
