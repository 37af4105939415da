"""How much may be loaded today: the largest load that keeps the limit, and what else binds it."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import timedelta

import pytest

from flightlog.errors import NotEnoughDataError, UsageError
from flightlog.operations import energy_need, load_binds
from flightlog.operations.load_answer import FAILS, HOLDS, UNKNOWN, Bind
from flightlog.operations.load_asked import LESS_WIND, MORE_WIND, WARMER
from flightlog.operations.load_sheet import worked_out
from flightlog.operations.load_today import load_answer
from flightlog.operations.plan import Plan
from flightlog.operations.sorties import debrief_of, sorties
from flightlog.prediction.lap_energy import LapFlown, fit_lap_energy
from tests.operations.conftest import farm, farm_place
from tests.operations.flown import apart, flown, united
from tests.operations.loads import other_laptop, rewritten, sheeted
from tests.operations.logs import weather as measured_by_anybody
from tests.operations.released import charged, weighed, wind
from tests.operations.takeoff_days import (
    PLAN,
    TODAY,
    flew,
    head_m_s,
    in_the_morning,
    law_m,
    season_farm,
    season_place,
)

__all__ = ["farm", "farm_place", "season_farm", "season_place"]  # fixtures

THRUST = """
[thrust]
static_n = 38.0
b = 0.70
c = 0.010
MEASURED
[polar]
cd0 = 0.040
k = 0.050
cl_ground = 0.50
cd_ground = 0.055
rolling_friction = 0.05

[balance]
"""


def asked(farm, plan=PLAN, **more):
    return load_answer(farm.desk, plan, **more)


def bind(choice, name):
    (one,) = (b for b in choice.binds if b.name == name)
    return one


def with_limit(farm, metres, plan_at=0.95):
    """Change the limit of the rule book on the roll."""
    text = farm.desk.version("rules", "club-trial-2027").path.read_text("utf-8")
    old = re.search(
        r'figure = "takeoff.ground_roll"\nat_most = [0-9.]+\n(plan_at = [0-9.]+\n)?', text
    )[0]
    new = f'figure = "takeoff.ground_roll"\nat_most = {metres!r}\nplan_at = {plan_at}\n'
    farm.enter("rules", "club-trial-2027", text.replace(old, new).encode())


def with_aircraft_limit(farm, line):
    rewritten(farm, "[limits]\n", f"[limits]\n{line}\n")


# --- the number


def test_each_choice_is_predicted_for_the_mass_of_its_load_sheet(season_farm):
    answer = asked(season_farm)

    assert head_m_s(2.0) == pytest.approx(answer.headwind_m_s)
    for choice in answer.choices:
        load, _ = worked_out(season_farm.desk, "pannier", "pack-a", choice.units)
        assert load.verdict.loaded.mass.value == choice.mass_kg
    # Six flights that follow a law within 2 % each teach it within 5 %, where they were flown.
    for choice in (c for c in answer.choices if 6.8 <= c.mass_kg <= 8.0):
        assert law_m(choice.mass_kg, answer.headwind_m_s) == pytest.approx(
            choice.roll.median_m, rel=0.05
        )


def test_the_answer_is_the_largest_load_that_keeps_the_limit(season_farm):
    with_limit(season_farm, 32.0)

    answer = asked(season_farm)
    assert answer.most is not None
    assert answer.most == answer.most_by_roll
    last, next_one = answer.choice(answer.most), answer.choice(answer.most + 1)
    assert last.probability >= 0.95 > next_one.probability
    assert last.roll.at_most(32.0) == last.probability
    assert last.roll.quantile(0.95) <= 32.0 < next_one.roll.quantile(0.95)
    assert "" == answer.withheld


@pytest.mark.parametrize(("by", "more"), [(-1e-7, 0), (1e-7, 1)])
def test_the_limit_is_compared_unrounded(season_farm, by, more):
    bound = asked(season_farm).choice(8).roll.quantile(0.95)
    with_limit(season_farm, bound + by)

    assert 7 + more == asked(season_farm).most


def test_the_rule_book_says_how_sure_it_wants_to_be(season_farm):
    with_limit(season_farm, 32.0, 0.95)
    usual = asked(season_farm).most
    with_limit(season_farm, 32.0, 0.999)

    answer = asked(season_farm)
    assert 0.999 == answer.needed
    assert answer.most < usual


def test_the_limit_of_the_aircraft_has_to_hold_as_well(season_farm):
    with_limit(season_farm, 32.0)
    by_rules = asked(season_farm).most
    with_aircraft_limit(season_farm, '"takeoff.ground_roll" = { at_most = 28.0, unit = "m" }')

    answer = asked(season_farm)
    assert ("aircraft", 28.0) == (answer.limit.kind, answer.limit.bound.value)
    assert answer.most < by_rules
    other = bind(answer.choice(answer.most), "take-off roll")
    assert (HOLDS, "at most 32 m (clause 4.2)") == (other.word, other.says[-25:])


def test_no_more_units_are_looked_at_than_asked(season_farm):
    answer = asked(season_farm, most_units=3)

    assert [0, 1, 2, 3] == [c.units for c in answer.choices]
    assert 3 == answer.most == answer.looked_at
    assert asked(season_farm).looked_at is None, "what fails ends the list"


def test_asking_adds_nothing_to_the_record(season_farm):
    before = len(season_farm.book.order)
    asked(season_farm, laps=4)

    assert before == len(season_farm.book.order)


def test_where_a_judge_reads_longer_than_the_log_the_limit_is_nearer(season_farm):
    with_limit(season_farm, 32.0)
    bare = asked(season_farm)
    for flight in sorties(season_farm.desk, "pannier"):
        longer = debrief_of(season_farm.desk, flight)["figures"]["takeoff.ground_roll"]["value"] + 1
        content = {"figure": "takeoff.ground_roll", "method": "judge"}
        content["value"] = {"value": f"{longer:.3f}", "unit": "m"}
        content["std"] = {"value": "0.1", "unit": "m"}
        season_farm.add("measurement", content, ("observer", "measured"), cites=[flight.entry])

    answer = asked(season_farm)
    choice = answer.choice(bare.most)
    # Six differences of a metre, each known to 0.79 m, against none known to 1 m: 0.91 m.
    assert choice.roll.at_most(32.0 - 0.906) == pytest.approx(choice.probability, abs=0.001)
    assert any("longer than the log" in text for text in answer.said)
    assert 32.0 - 0.906 == pytest.approx(answer.kept_up_to_m, abs=0.001)


# --- what would change it


def test_more_wind_allows_more_and_warmer_air_less(season_farm):
    with_limit(season_farm, 32.0)

    answer = asked(season_farm)
    changed = {one.name: one for one in answer.what_ifs}
    now = answer.choice(answer.most).roll.quantile(0.95)
    assert changed[MORE_WIND].bound_m < now < changed[LESS_WIND].bound_m
    assert changed[MORE_WIND].units > answer.most > changed[LESS_WIND].units
    # 5 of 284.65 K and more vapour take 1.9 % off the density, 2.35 times so much goes on the roll,
    # and 0.3 %, as the wind is a smaller share of a higher lift-off speed.
    assert 1.047 == pytest.approx(changed[WARMER].bound_m / now, abs=0.003)


def test_what_lies_beyond_what_was_flown_is_marked(season_farm):
    answer = asked(season_farm)

    marked = [c.mass_kg for c in answer.choices if c.beyond_flown]
    assert 8.0 * 1.05 < min(marked) < 8.0 * 1.05 + 0.3
    season_farm.clock.later(minutes=5)
    wind(season_farm, wind_mean="4.5", wind_gust="5.0")
    assert all("headwind of 4.5 m/s" in c.beyond_flown for c in asked(season_farm).choices)


# --- withheld


def test_old_weather_withholds_the_number_and_not_the_table(season_farm):
    season_farm.clock.later(minutes=61)
    season_farm.desk.refresh()

    answer = asked(season_farm)
    assert "holds for 60 min" in answer.withheld
    assert (None, None, None) == (answer.most, answer.most_by_roll, answer.safest)
    assert answer.abort_m is None
    assert [None] * 3 == [one.units for one in answer.what_ifs]
    assert len(answer.choices) > 5


def test_weather_from_ahead_of_the_clock_withholds_it(season_farm):
    season_farm.clock.later(minutes=-30)
    season_farm.desk.refresh()

    assert "lies ahead of this laptop's clock" in asked(season_farm).withheld


def test_weather_of_two_laptops_withholds_it_until_somebody_measures_again(season_farm, tmp_path):
    season_farm.clock.later(minutes=2)
    other = apart(season_farm, tmp_path / "other")
    wind(season_farm, wind_mean="0.5", wind_gust="0.8")
    wind(other, wind_mean="3.4", wind_gust="4.0")
    united(season_farm, other)

    answer = asked(season_farm)
    assert "(0.5 m/s) and " in answer.withheld or "(3.4 m/s) and " in answer.withheld
    assert "entered apart from each other: measure it once more" in answer.withheld
    wind(season_farm, wind_mean="2.0", wind_gust="2.6")
    assert "" == asked(season_farm).withheld


def test_weather_that_no_engineer_measured_withholds_it(season_farm):
    season_farm.clock.later(minutes=5)
    measured_by_anybody(season_farm, "3.3")

    assert "was not measured in the role 'engineer'" in asked(season_farm).withheld


def test_a_pack_that_was_not_charged_since_it_flew_withholds_it(season_farm):
    flown(season_farm, start=TODAY + timedelta(minutes=5), seconds=60)
    answer = asked(season_farm)

    assert "no rest voltage of pack-a is in the record since its last flight" in answer.withheld
    typed = asked(season_farm, pack_voltage=24.9)
    assert "" == typed.withheld
    assert 24.9 / 25.2 == pytest.approx(typed.pack_ratio)


def test_a_lower_voltage_makes_the_roll_longer(season_farm):
    full, less = (
        asked(season_farm, pack_voltage=volts).choice(4).roll.median_m for volts in (25.2, 24.0)
    )

    # The roll goes with the voltage to the power of -2.7.
    assert (25.2 / 24.0) ** 2.7 == pytest.approx(less / full, rel=0.01)


def test_without_a_limit_on_the_roll_there_is_no_number(season_farm):
    answer = asked(season_farm, Plan("pannier", "pack-a", "", "top-field"))

    assert "no limit on the ground roll is in force" in answer.withheld
    assert (None, None) == (answer.limit, answer.most)
    assert {None} == {c.probability for c in answer.choices}


def test_a_pilot_who_lifts_off_faster_today_withholds_it(season_farm):
    at = TODAY + timedelta(hours=1)
    flew(season_farm, at, 7.4, "2.0", faster=1.10, roll_m=1.25 * law_m(7.4, head_m_s(2.0)))
    in_the_morning(season_farm, at + timedelta(minutes=20))

    answer = asked(season_farm)
    assert "10.0 % faster than on the days before" in answer.withheld
    assert answer.most is None


@pytest.mark.parametrize(
    ("plan", "says"),
    [
        (Plan("pannier", "pack-a", "club-trial-2027", ""), "no site is chosen"),
        (Plan("pannier", "pack-a", "club-trial-2027", "top-field"), "nobody measured the weather"),
    ],
)
def test_without_wind_nothing_can_be_said(farm, plan, says):
    with pytest.raises(NotEnoughDataError, match=says):
        asked(farm, plan)


def test_without_flights_thrust_and_polar_nothing_can_be_said(farm):
    weighed(farm)
    in_the_morning(farm)

    with pytest.raises(NotEnoughDataError, match="0 flights with a ground roll"):
        asked(farm)


def test_without_a_weighing_nothing_can_be_said(season_farm, farm):
    in_the_morning(farm)
    rewritten(farm, "\n[balance]\n", THRUST.replace("MEASURED\n", ""))

    with pytest.raises(NotEnoughDataError, match="no weighing to start from"):
        asked(farm)


def test_numbers_that_cannot_be_meant_are_refused(season_farm):
    with pytest.raises(UsageError, match="0 laps"):
        asked(season_farm, laps=0)
    with pytest.raises(UsageError, match="-1 units"):
        asked(season_farm, most_units=-1)


def test_numbers_that_the_score_does_not_ask_for_are_refused(season_farm):
    with pytest.raises(UsageError, match="no number 'field_beast'") as caught:
        asked(season_farm, entered={"field_beast": 40.0})
    assert "It asks for field_best." == caught.value.fix
    with pytest.raises(UsageError, match="no number 'field_best'"):
        asked(season_farm, Plan("pannier", "pack-a", "", "top-field"), entered={"field_best": 4.0})


# --- before any flight


def test_without_flights_thrust_and_polar_answer_and_a_stand_narrows_it(farm):
    weighed(farm)
    in_the_morning(farm)
    rewritten(farm, "\n[balance]\n", THRUST.replace("MEASURED\n", ""))
    told = asked(farm)

    assert 0 == told.model.flights
    assert all("nothing was flown yet" in c.beyond_flown for c in told.choices)
    rewritten(farm, "c = 0.010\n", "c = 0.010\nmeasured = true\n")
    measured = asked(farm)
    assert measured.choice(4).roll.median_m == pytest.approx(told.choice(4).roll.median_m)
    wide, narrow = (_width(one.choice(4)) for one in (told, measured))
    assert narrow < 0.75 * wide
    assert "stand" in measured.model.prior.source


def _width(choice):
    low, high = choice.roll.interval()
    return math.log(high / low)


# --- what else binds


def test_the_take_off_mass_binds_by_the_load_sheet(season_farm):
    with_aircraft_limit(season_farm, '"mass.takeoff" = { at_most = 7.5, unit = "kg" }')

    answer = asked(season_farm)
    last = answer.choice(answer.most)
    assert last.mass_kg <= 7.5 < answer.choice(answer.most + 1).mass_kg
    assert FAILS == bind(answer.choice(answer.most + 1), "mass").word
    assert answer.most < answer.most_by_roll


def test_the_envelope_binds(season_farm):
    rewritten(season_farm, "[10.0, 44.0], [10.0, 32.0], ", "[8.2, 44.0], [8.2, 32.0], ")

    answer = asked(season_farm)
    assert answer.choice(answer.most).mass_kg <= 8.2
    assert FAILS == bind(answer.choice(answer.most + 1), "balance").word


def test_a_balance_that_only_comes_in_with_some_units_forbids_none_of_them(season_farm):
    # Without payload it lies at 33 %.
    rewritten(season_farm, "[4.8, 30.0], [4.8, 45.0]", "[4.8, 39.0], [4.8, 45.0]")
    rewritten(season_farm, "[8.0, 30.0]]", "[8.0, 35.0]]")

    answer = asked(season_farm)
    assert FAILS == bind(answer.choices[0], "balance").word
    assert answer.most is not None
    assert answer.choice(answer.most).allowed


def test_the_current_of_earlier_flights_binds(season_farm):
    # 45.7 A on each of the six flights, within half an ampere.
    assert HOLDS == bind(asked(season_farm).choice(6), "current").word
    with_aircraft_limit(season_farm, '"battery.max_current" = { at_most = 46.0, unit = "A" }')

    answer = asked(season_farm)
    assert {FAILS} == {bind(c, "current").word for c in answer.choices}
    assert answer.most is None
    assert answer.most_by_roll is not None


def test_the_climb_gradient_is_carried_to_the_mass_of_the_choice(season_farm):
    unasked = bind(asked(season_farm).choice(6), "climb gradient")
    assert (UNKNOWN, True) == (unasked.word, 'Write "climb.gradient"' in unasked.says)
    with_aircraft_limit(season_farm, '"climb.gradient" = { at_least = 0.12, unit = "" }')

    answer = asked(season_farm)
    for choice in answer.choices:
        # All flights here climb with (1.74 kg / mass) less a drag of 0.1 of the weight.
        said = bind(choice, "climb gradient").says
        assert f"{1.74 / choice.mass_kg - 0.1:.3f} (" in said
    words = [bind(c, "climb gradient").word for c in answer.choices]
    assert HOLDS == words[0]
    assert words == sorted(words, reverse=True)  # "holds" before "does not hold"


def test_the_energy_is_asked_for_with_laps(season_farm):
    answer = asked(season_farm)
    assert (None, "no laps are planned: give --laps N") == (answer.energy, answer.no_energy)
    assert "--laps N" in bind(answer.choice(4), "energy").says

    # These flights have no laps to learn from.
    without = asked(season_farm, laps=4)
    assert UNKNOWN == bind(without.choice(4), "energy").word
    assert without.no_energy


@pytest.mark.parametrize(("volts", "full"), [(24.82, False), (24.83, True)])
def test_the_energy_of_a_pack_that_is_not_full_is_not_known(season_farm, monkeypatch, volts, full):
    one = fit_lap_energy([LapFlown("f", "2027-03-16", 3.47, 0.1, 3, 1.0, 8.0, 17.0, 17.2)], 8.0)
    monkeypatch.setattr(energy_need, "lap_model", lambda desk, aircraft: one)

    answer = asked(season_farm, laps=3, pack_voltage=volts)
    energy = bind(answer.choice(4), "energy")
    assert (HOLDS if full else UNKNOWN) == energy.word
    assert full == (answer.energy is not None)
    for text in (energy.says, answer.no_energy):
        assert full != ("pack-a is not full (24.82 V at rest, as typed" in text)
        assert full != ("Charge it" in text)


def with_length(farm, metres):
    rewritten(farm, "length_m = 350.0", f"length_m = {metres}", "site", "top-field")


def test_without_a_length_no_point_to_give_up_is_named(season_farm):
    rewritten(season_farm, "length_m = 350.0", "", "site", "top-field")

    answer = asked(season_farm)
    assert answer.abort_m is None
    assert "write length_m" in answer.no_abort
    assert UNKNOWN == bind(answer.choice(4), "room to stop").word


def test_on_a_long_runway_it_is_given_up_where_95_of_100_are_airborne(season_farm):
    with_length(season_farm, 1000)

    answer = asked(season_farm)
    assert answer.choice(answer.most).roll.quantile(0.95) == pytest.approx(answer.abort_m)
    assert HOLDS == bind(answer.choice(answer.most), "room to stop").word


def test_on_a_short_runway_the_room_to_stop_binds(season_farm):
    with_length(season_farm, 1000)
    most, stop = asked(season_farm).most, {}
    for choice in asked(season_farm).choices:
        stop[choice.units] = float(bind(choice, "room to stop").says.partition(" m to stop")[0])
    # Just enough for the fourth, and no more.
    length = stop[4] + asked(season_farm).choice(4).roll.quantile(0.95)
    rewritten(season_farm, "length_m = 1000", f"length_m = {length + 1.5:.1f}", "site", "top-field")

    answer = asked(season_farm)
    assert 4 == answer.most < most
    assert FAILS == bind(answer.choice(5), "room to stop").word
    assert answer.abort_m == pytest.approx(answer.choice(4).roll.quantile(0.95))
    # From 13 m/s with 0.04 of friction, 0.004 uphill, and a second: 13 + 13² / (2 · 0.044 g).
    ground = 13.5 * math.sqrt(answer.choice(4).mass_kg / 7.4) - head_m_s(2.0)
    assert ground + ground**2 / (2 * 0.044 * 9.80665) == pytest.approx(stop[4], rel=0.15)


def test_the_room_to_stop_is_never_certain_and_needs_a_point_on_the_runway(
    season_farm,
):
    with_length(season_farm, 1000)
    assert "over 99.9 of 100" in bind(asked(season_farm).choice(0), "room to stop").says
    rewritten(season_farm, "length_m = 1000", "length_m = 60", "site", "top-field")

    room = bind(asked(season_farm).choice(0), "room to stop")
    assert FAILS == room.word
    assert "it does not stop on the runway wherever it is given up" in room.says
    assert "from the start line" not in room.says


@pytest.mark.parametrize(
    ("probability", "needed", "text"),
    [
        (1.0, 0.95, "over 99.9"),
        (0.99996, 0.9999, "99.996"),
        (1.0, 0.9999, "over 99.99"),
        (0.949996, 0.95, "94.9996"),
        (0.5, 0.95, "50.0"),
        (0.0, 0.95, "under 0.1"),
    ],
)
def test_a_probability_is_never_all_of_100(probability, needed, text):
    assert text == load_binds.of_hundred(probability, needed)


# --- the weather


def test_the_limits_of_the_weather_bind_all_choices(season_farm):
    held = bind(asked(season_farm).choice(0), "weather")
    assert (HOLDS, True) == (held.word, "mean wind 2.0 m/s, at most" in held.says)
    wind(season_farm, wind_mean="2.0", wind_gust="11.5")

    answer = asked(season_farm)
    words = {(b.word, "gusts 11.5 m/s, at most 11 m/s" in b.says) for b in weathers(answer)}
    assert {(FAILS, True)} == words
    assert (None, True) == (answer.most, answer.most_by_roll is not None)


def test_what_forbids_the_release_by_its_weather_forbids_the_loads(season_farm, tmp_path):
    with other_laptop(season_farm, tmp_path / "other") as other:
        wind(other, wind_mean="2.0", wind_gust="11.5")
        season_farm.clock.later(minutes=1)
        wind(season_farm, wind_mean="2.0", wind_gust="2.6")

    answer = asked(season_farm)
    assert answer.weather.body.content["wind_gust"]["value"] == "2.6"
    assert {FAILS} == {b.word for b in weathers(answer)}
    assert answer.most is None


def test_a_file_without_limits_of_the_weather_leaves_it_open(season_farm):
    text = season_farm.desk.version("aircraft", "pannier").path.read_text("utf-8")
    rewritten(season_farm, text[text.index("[weather]") : text.index("[[task]]")], "")

    answer = asked(season_farm)
    assert {UNKNOWN} == {b.word for b in weathers(answer)}
    assert "Add [weather]" in weathers(answer)[0].says
    assert answer.most is not None


def weathers(answer):
    return [bind(choice, "weather") for choice in answer.choices]


# --- what a program may load by


def test_what_misses_anything_may_not_be_loaded(season_farm):
    with_limit(season_farm, 32.0)
    answer = asked(season_farm)
    assert [c.units <= answer.most for c in answer.choices] == [
        answer.may_be_loaded(c) for c in answer.choices
    ]
    low = answer.choices[1]
    assert not replace(answer, withheld="old").may_be_loaded(low)
    failing = replace(low, binds=(Bind("balance", FAILS, "too far aft"),))
    assert not answer.may_be_loaded(failing)
    smaller = replace(answer, choices=(replace(answer.choices[0], probability=0.9), low))
    assert not smaller.may_be_loaded(low)


# --- score


def test_the_score_of_the_choices(season_farm):
    with_limit(season_farm, 32.0)

    answer = asked(season_farm, laps=4, entered={"field_best": 40.0})
    last = answer.choice(answer.most)
    # The rule book scores 100 · units · laps / best, and what misses the limit nothing.
    assert 100 * answer.most * 4 / 40 * last.probability == pytest.approx(last.score.expected)
    assert answer.safest == answer.most
    best = answer.choice(answer.best_expected)
    assert best.score.expected == max(c.score.expected for c in answer.choices if c.allowed)
    slopes = dict(answer.score_slopes)
    after = answer.choice(answer.most + 1).score.expected
    assert after - last.score.expected == pytest.approx(slopes["one unit more"])
    assert slopes["1 m/s more headwind"] > 0
    assert last.score.expected / 4 == pytest.approx(slopes["one lap more"])


def test_without_the_numbers_that_it_asks_for_there_is_no_score(season_farm):
    answer = asked(season_farm, laps=4)

    assert {None} == {c.score for c in answer.choices}
    assert "--entered field_best=VALUE" in answer.choices[0].no_score
    assert (None, None) == (answer.best_expected, answer.safest)


# --- what is on board besides


def test_what_the_load_sheet_in_force_has_on_board_is_on_board(season_farm):
    bare = asked(season_farm).choice(3).mass_kg
    sheeted(season_farm, 3, items=("camera,0.25,payload",))

    answer = asked(season_farm)
    assert bare + 0.25 == pytest.approx(answer.choice(3).mass_kg)
    assert any("camera,0.25" in text for text in answer.said)


def test_a_charge_today_is_told(season_farm):
    charged(season_farm)

    assert any("25.1 V at rest by charge" in text for text in asked(season_farm).said)
