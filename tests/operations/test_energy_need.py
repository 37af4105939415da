"""Whether the planned laps fit the pack, from what the record says of flights, wind and pack."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from flightlog.errors import NotEnoughDataError
from flightlog.estimation.wind import at_height
from flightlog.operations.energy_need import PLAN_AT, energy_need, lap_energy
from flightlog.operations.flight_numbers import flight_numbers
from flightlog.operations.laps_flown import lap_model, laps_flown
from flightlog.operations.positions import named
from flightlog.operations.usable_energy import CAPACITY_ITEM, RESERVE_SHARE, usable_energy
from tests.operations.loads import PLAN, rewritten
from tests.operations.logs import imported, weather

MORNING = datetime(2027, 3, 15, 9, tzinfo=UTC)
BATTERY = ("pilot", "performed", "battery")


def number(value, spread, unit):
    return {"value": value, "unit": unit, "low": value - spread, "high": value + spread}


def figures(lap=3.47, wind=1.0, mass=8.0, used=17.2, laps=3.0, **more):
    found = {
        "energy.per_lap": number(lap, 0.2, "Wh"),
        "energy.used": number(used, 0.8, "Wh"),
        "laps.count": number(laps, 0.0, ""),
        "wind.speed": number(wind, 0.3, "m/s"),
        "mass.takeoff": number(mass, 0.04, "kg"),
        "flight.distance": number(3830.0, 30.0, "m"),
        "flight.duration": number(226.0, 2.0, "s"),
    } | more
    return {"figures": {id_: said for id_, said in found.items() if said is not None}}


def fly(farm, *flights):
    """Import flights of days after each other."""
    for n, each in enumerate(flights):
        imported(farm, MORNING + timedelta(days=n), each=each, file=f"made-{n}.bin")


def on_the_bench(farm, percent, *, pack="pack-a", item=CAPACITY_ITEM, unit="%", result="pass"):
    farm.clock.later(minutes=1)
    version = farm.desk.version("checklist", "periodic").sha256
    content = {"list": "periodic", "checklist": version, "pack": pack, "source": "screen"}
    begun = farm.add("list-begun", content)
    said = {"item": item, "result": result, "value": {"value": percent, "unit": unit}}
    return farm.add("check", said, BATTERY, cites=[begun])


@pytest.fixture
def flown(farm):
    """A farm with three flights of laps and today's wind, measured 2 m above ground."""
    fly(farm, figures(), figures(lap=3.9, used=18.9, mass=8.9), figures(lap=4.0, wind=4.8))
    weather(farm, "3.0")
    return farm


def test_flights_are_those_of_the_stored_debriefs(flown):
    first, second, third = laps_flown(flight_numbers(flown.desk, "pannier"))
    assert (3.47, 3, 1.0, 8.0, 17.2) == (
        first.energy_wh, first.laps, first.wind_m_s, first.mass_kg, first.used_wh,
    )  # fmt: skip
    assert 0.102 == pytest.approx(first.energy_std_wh, abs=0.001)
    assert 3830.0 / 226.0 == pytest.approx(first.ground_speed_m_s)
    assert ["2027-03-15", "2027-03-16", "2027-03-17"] == [f.day for f in (first, second, third)]


def test_planned_laps_are_weighed_against_what_may_be_used(flown):
    few = energy_need(flown.desk, PLAN, 3, 3.0, 8.0)
    # Three laps of 3.9 Wh in this wind, and about 6.8 Wh beside them.
    assert 18.5 == pytest.approx(few.expected_wh, abs=1.2)
    assert few.expected_wh < few.q95_wh < 1.25 * few.expected_wh
    assert 88.8 * (1 - RESERVE_SHARE) == pytest.approx(few.usable_wh)
    assert few.probability > 0.999
    assert f"{few.q95_wh:.1f} Wh" in few.says
    assert "our own choice" in few.says
    assert "never measured" in few.says


def test_the_largest_number_of_laps_is_the_last_that_fits_often_enough(flown):
    most = energy_need(flown.desk, PLAN, 1, 3.0, 8.0).most_laps
    assert 8 < most < 20
    last, beyond = (energy_need(flown.desk, PLAN, n, 3.0, 8.0) for n in (most, most + 1))
    assert last.probability >= PLAN_AT > beyond.probability
    heavier = energy_need(flown.desk, PLAN, 1, 3.0, 9.5)
    assert heavier.most_laps < most
    assert energy_need(flown.desk, PLAN, 1, 0.0, 8.0).most_laps > most


def test_wind_at_the_meter_is_carried_up_to_where_laps_are_flown(flown):
    said = energy_need(flown.desk, PLAN, 3, 3.0, 8.0).says
    assert f"{at_height(3.0, 2.0, 40.0):.1f} ± " in said
    assert "3.0 m/s at the meter" in said


def test_without_weather_the_height_of_the_meter_is_not_known(farm):
    fly(farm, figures())
    with pytest.raises(NotEnoughDataError, match="no weather says how high"):
        energy_need(farm.desk, PLAN, 3, 3.0, 8.0)


def test_a_measured_capacity_counts_and_the_newest_one_does(flown):
    printed = usable_energy(flown.desk, "pack-a")
    on_the_bench(flown, "95")
    last = on_the_bench(flown, "82", result="fail")
    measured = usable_energy(flown.desk, "pack-a")
    assert 0.82 * printed.wh == pytest.approx(measured.wh)
    assert measured.std_wh / measured.wh < printed.std_wh / printed.wh
    assert f"82 % of what is printed ({named(last)}" in measured.says
    assert printed.wh == pytest.approx(usable_energy(flown.desk, "pack-b").wh)


@pytest.mark.parametrize(
    "other",
    [{"pack": "pack-b"}, {"item": "pack-resistance"}, {"unit": "Ah"}, {"result": "deferred"}],
)
def test_what_is_no_capacity_of_this_pack_changes_nothing(farm, other):
    before = usable_energy(farm.desk, "pack-a")
    on_the_bench(farm, "82", **other)
    assert before == usable_energy(farm.desk, "pack-a")


def test_the_packs_file_may_say_what_stays_in_it(farm):
    rewritten(farm, "nominal_wh = 88.8", "nominal_wh = 88.8\nreserve_share = 0.3", "pack", "pack-a")
    usable = usable_energy(farm.desk, "pack-a")
    assert 0.7 * 88.8 == pytest.approx(usable.wh)
    assert "30 % stays in it (as the pack's file says)" in usable.says


def test_a_pack_that_does_not_say_its_energy_is_not_guessed(farm):
    rewritten(farm, "nominal_wh = 88.8\n", "", "pack", "pack-a")
    with pytest.raises(NotEnoughDataError, match="does not say its energy") as caught:
        usable_energy(farm.desk, "pack-a")
    assert "nominal_wh" in caught.value.fix


def test_without_a_flight_of_laps_it_says_what_the_latest_one_lacks(farm):
    with pytest.raises(NotEnoughDataError, match="no earlier flight of pannier has laps"):
        lap_model(farm.desk, "pannier")
    without = figures(**{"wind.speed": None}) | {"withheld": {"wind.speed": "it flew no turns"}}
    fly(farm, without)
    with pytest.raises(NotEnoughDataError, match=r"has no wind.speed \(it flew no turns\)"):
        lap_model(farm.desk, "pannier")


def test_a_lap_that_took_no_energy_teaches_nothing_and_is_told(farm):
    fly(farm, figures(lap=0.0))
    with pytest.raises(NotEnoughDataError, match="one of them is not above 0"):
        lap_model(farm.desk, "pannier")


def test_all_loads_are_judged_by_what_was_gathered_once(flown):
    gathered = lap_energy(flown.desk, PLAN, 3.0)
    for mass in (7.0, 8.0, 9.5):
        need = energy_need(flown.desk, PLAN, 12, 3.0, mass)
        assert need == gathered.need(12, mass)
        assert (need.probability, need.says) == gathered.fits(12, mass)
