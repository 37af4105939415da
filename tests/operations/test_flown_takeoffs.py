"""What the take-off model is taught is what the record says, and what is left out is said."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest

from flightlog.operations.flown_takeoffs import flown_takeoffs
from tests.operations.flown import flown
from tests.operations.loads import rewritten
from tests.operations.logs import imported, release
from tests.operations.takeoff_days import (
    FIRST,
    MASSES_KG,
    OFF_BY,
    TODAY,
    WINDS,
    figures,
    flew,
    head_m_s,
    law_m,
    number,
    season_farm,
    season_place,
)
from tests.operations.test_season_table import weather

__all__ = ["season_farm", "season_place"]  # fixtures


def reasons(found):
    return [one.why for one in found.left_out]


def test_each_flight_is_taught_as_it_was_measured_beside_the_strip(season_farm):
    found = flown_takeoffs(season_farm.desk, "pannier")

    assert list(MASSES_KG) == pytest.approx([t.mass_kg for t in found.takeoffs])
    heads = [head_m_s(float(w)) for w in WINDS]
    assert heads == pytest.approx([t.headwind_m_s for t in found.takeoffs])
    flown_with = zip(MASSES_KG, heads, OFF_BY, strict=True)
    rolls = [law_m(mass, wind) * math.exp(off) for mass, wind, off in flown_with]
    assert rolls == pytest.approx([t.roll_m for t in found.takeoffs])
    first = found.takeoffs[0]
    assert 0.6 == pytest.approx(first.roll_std_m)
    assert (0.004, "mown grass") == (first.slope, first.surface)
    # 1004 hPa, 11.5 °C, 62 %: dry air 1.2287, less the vapour.
    assert 1.2252 == pytest.approx(first.density_kg_m3, abs=0.0005)
    assert 25.1 / 25.2 == pytest.approx(first.pack_ratio)
    days = ["2027-03-16"] * 2 + ["2027-03-17"] * 2 + ["2027-03-18"] * 2
    assert days == [t.day for t in found.takeoffs]
    assert (1.0, 1.3) == (found.winds[0].mean_m_s, found.winds[0].gust_m_s)
    assert ((), 0, 0) == (found.left_out, found.other_configuration, found.packs_not_known)


def test_a_flight_without_a_release_is_left_out_and_says_so(season_farm):
    imported(season_farm, TODAY + timedelta(hours=1), file="no-release.bin")

    found = flown_takeoffs(season_farm.desk, "pannier")
    assert 6 == len(found.takeoffs)
    assert ["flown without a release, which would cite load and weather"] == reasons(found)


def test_a_release_without_weather_is_left_out_and_says_so(season_farm):
    release(season_farm, TODAY + timedelta(minutes=50))
    imported(season_farm, TODAY + timedelta(hours=1), file="no-weather.bin")

    assert ["its release cites no weather"] == reasons(flown_takeoffs(season_farm.desk, "pannier"))


def test_a_flight_without_a_roll_says_what_its_debrief_says(season_farm):
    said = {
        "figures": figures(7.4, None, 12.0),
        "withheld": {"takeoff.ground_roll": "hand launch, so there is no ground roll"},
    }
    flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0", said=said)

    found = flown_takeoffs(season_farm.desk, "pannier")
    assert ["hand launch, so there is no ground roll"] == reasons(found)
    # Its current is there to be learnt from all the same.
    assert 7 == len(found.flights)


@pytest.mark.parametrize(("std", "taught"), [(0.32, 0.32), (0.02, 0.1)])
def test_the_sensors_airspeed_at_liftoff_is_taught_and_never_as_too_sure(season_farm, std, taught):
    said = {"figures": figures(7.4, 24.0, 12.4) | {"takeoff.liftoff_airspeed": number(13.6, std)}}
    flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0", said=said)

    *others, last = flown_takeoffs(season_farm.desk, "pannier").takeoffs
    assert (13.6, 12.4) == (last.liftoff_airspeed_m_s, last.liftoff_ground_speed_m_s)
    assert taught == pytest.approx(last.liftoff_airspeed_std_m_s)
    # Debriefs that have none teach none.
    assert {None} == {t.liftoff_airspeed_m_s for t in others}


def test_a_flight_by_hand_is_left_out(season_farm):
    season_farm.clock.later(hours=1)
    flown(season_farm, source="hand")

    assert "without a release" in reasons(flown_takeoffs(season_farm.desk, "pannier"))[0]


def test_weather_that_was_put_right_counts_as_it_was_put_right(season_farm):
    at = TODAY + timedelta(hours=2)
    flew(season_farm, at, 7.4, "1.0")
    wrong = max(season_farm.desk.ledger.of("weather"), key=season_farm.desk.ledger.when)
    right = weather(season_farm, wind_mean="2.2", wind_gust="3.0")
    content = dict(right.body.content)
    relations = [("corrects", wrong)]
    season_farm.add("weather", content, ("observer", "measured"), relations=relations)

    found = flown_takeoffs(season_farm.desk, "pannier")
    assert head_m_s(2.2) == pytest.approx(found.takeoffs[-1].headwind_m_s)


# --- configurations


def test_another_configuration_starts_anew(season_farm):
    rewritten(season_farm, 'configuration = "cargo-2"', 'configuration = "cargo-3"')

    found = flown_takeoffs(season_farm.desk, "pannier")
    assert ((), 6) == (found.takeoffs, found.other_configuration)


def propeller(farm, id_, title, done="fitted"):
    if farm.desk.versions.in_force("component", id_) is None:
        text = farm.desk.version("component", "propeller-1").path.read_text("utf-8")
        text = text.replace('id = "propeller-1"', f'id = "{id_}"').replace("16 x 8", title)
        farm.enter("component", id_, text.encode())
    content = {"component": id_, "aircraft": "pannier", "position": "nose", "done": done}
    farm.add("fitting", content, ("mechanic", "performed", "mechanic"))


@pytest.mark.parametrize(("title", "others"), [("17 x 10", 1), ("16 x 8", 0)])
def test_another_propeller_starts_anew_and_a_spare_one_does_not(season_farm, title, others):
    propeller(season_farm, "propeller-1", "16 x 8")
    flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0")
    propeller(season_farm, "propeller-1", "16 x 8", "removed")
    propeller(season_farm, "propeller-2", title)

    # Of the six flights before nobody noted which one was fitted.
    found = flown_takeoffs(season_farm.desk, "pannier")
    assert (7 - others, others) == (len(found.takeoffs), found.other_configuration)


# --- rolls that were given up


def test_a_roll_that_was_given_up_is_taught_before_its_flight(season_farm):
    far = {"distance": {"value": 21.0, "unit": "m", "low": 20.0, "high": 22.0}}
    flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0", attempts=(far,))

    *_, given_up, lifted = flown_takeoffs(season_farm.desk, "pannier").takeoffs
    assert (True, 21.0, 7.4) == (given_up.given_up, given_up.roll_m, given_up.mass_kg)
    assert (False, lifted.headwind_m_s) == (lifted.given_up, given_up.headwind_m_s)


def test_a_roll_without_a_distance_is_left_out_and_says_so(season_farm):
    flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0", attempts=({"distance": None},))

    found = flown_takeoffs(season_farm.desk, "pannier")
    assert ["its log does not tell how far it went"] == reasons(found)
    assert not any(t.given_up for t in found.takeoffs)


@pytest.mark.parametrize("metres", [-20.0, 0.01, 5000.0, 1e300])
def test_a_distance_that_can_not_be_is_left_out_and_says_so(season_farm, metres):
    far = {"distance": {"value": metres, "unit": "m", "low": metres, "high": metres}}
    flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0", attempts=(far,))

    found = flown_takeoffs(season_farm.desk, "pannier")
    assert [f"its log tells a distance that can't be: {metres} m"] == reasons(found)
    assert not any(t.given_up for t in found.takeoffs)


@pytest.mark.parametrize("metres", [-3.0, 1e-300, 2001.0, 1e300])
def test_a_roll_that_can_not_be_is_left_out_and_says_so(season_farm, metres):
    flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0", roll_m=metres)

    found = flown_takeoffs(season_farm.desk, "pannier")
    assert [f"its debrief has a ground roll that can't be: {metres} m"] == reasons(found)
    assert len(WINDS) == len(found.takeoffs)


@pytest.mark.parametrize("kg", [-8.0, 0.001, 1e300])
def test_a_mass_that_can_not_be_gives_way_to_the_load_sheet(season_farm, kg):
    said = {"figures": figures(kg, 22.0, 13.0)}
    flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0", said=said)

    assert 7.4 == pytest.approx(flown_takeoffs(season_farm.desk, "pannier").takeoffs[-1].mass_kg)


def test_a_log_of_nothing_but_a_roll_is_named(season_farm):
    content = {"file": "a.bin", "sha256": "ab" * 32, "format": "dataflash", "analyses": 2}
    content |= {"sorties": 0, "attempts": 1, "aircraft": "pannier"}
    season_farm.add("recording", content)

    (one,) = flown_takeoffs(season_farm.desk, "pannier").left_out
    assert "1 given up in a.bin" == one.name


# --- tapes


def tape(farm, flight, metres, std="0.3"):
    content = {
        "figure": "takeoff.ground_roll",
        "value": {"value": metres, "unit": "m"},
        "std": {"value": std, "unit": "m"},
        "method": "tape",
    }
    farm.add("measurement", content, ("observer", "measured"), cites=[flight.entry])


def test_a_tape_moves_the_roll_towards_itself(season_farm):
    flight = flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0", roll_m=24.0)
    tape(season_farm, flight, "25.0")

    found = flown_takeoffs(season_farm.desk, "pannier")
    last = found.takeoffs[-1]
    assert 24.0 < last.roll_m < 25.0
    assert last.roll_std_m < 0.6
    assert found.offset_m > 0
    assert "longer than the log" in found.tape_says


def test_a_tape_stands_alone_where_the_log_has_no_roll(season_farm):
    said = {"figures": figures(7.4, None, 12.0)}
    flight = flew(season_farm, TODAY + timedelta(hours=2), 7.4, "1.0", said=said)
    tape(season_farm, flight, "24.5")

    found = flown_takeoffs(season_farm.desk, "pannier")
    assert () == found.left_out
    assert 24.5 == pytest.approx(found.takeoffs[-1].roll_m)
    # Its own 0.3, 0.5 of who sees the wheels leave, and 1.0 of the offset that nobody knows yet.
    assert 1.158 == pytest.approx(found.takeoffs[-1].roll_std_m, abs=0.001)


def test_the_first_day_is_that_of_the_first_flight(season_farm):
    assert FIRST.date().isoformat() == flown_takeoffs(season_farm.desk, "pannier").takeoffs[0].day
