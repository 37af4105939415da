"""Mass, payload and battery as people entered them, against what the flight shows."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from flightlog.debriefing import Debrief, debrief
from flightlog.inputs import Aircraft, DragPolar, Inputs, Mass, Thrust
from flightlog.screening.excess_thrust import Climb, Drive, Roll, mass_in_climb, mass_in_roll
from tests.screening.flights import (
    FOLDER,
    PANNIER,
    added_share,
    clean,
    found,
    is_withheld_for,
    only,
    sortie,
    value,
)
from tests.screening.made import findings, sample

# The reference aircraft: thrust 38 - 0.70 V - 0.010 V² at sea level, polar 0.040 + 0.050 cl².
THRUST = Thrust(38.0, 0.70, 0.010)
POLAR = DragPolar(0.040, 0.050, 0.50, 0.055, 0.04)
DRIVE = Drive(THRUST, POLAR, 0.55, 1.225)
MODELLED = replace(PANNIER, thrust=THRUST, polar=replace(POLAR, rolling_friction=0.05))
SAMPLES = sorted(p.stem for p in FOLDER.iterdir() if p.suffix == ".bin")


def weighed(kg: float, aircraft: Aircraft | None = MODELLED, units: int | None = None) -> Inputs:
    return Inputs(aircraft=aircraft, mass=Mass(kg, 0.02, "option"), payload_units=units)


# --- the balance of forces


def test_the_climb_of_the_reference_aircraft_gives_its_mass():
    # At 15 m/s and 8 kg: T = 25.25 N, D = 7.092006 N, so that P_s = (T - D) V / W = 3.471750 m/s.
    time_s = np.linspace(0.0, 10.0, 101)
    climb = Climb(time_s, np.full(101, 15.0), 3.471750 * time_s, np.ones(101))

    # g is 9.80665 there and here; P_s is printed to 7 digits.
    assert mass_in_climb(climb, DRIVE) == pytest.approx(8.0, rel=1e-6)


def test_speed_gained_in_the_climb_counts_as_height():
    # The same power, all of it into speed: v² = 2 g P_s t, starting at 14 m/s; V is not constant,
    # so the force is integrated by hand in small steps.
    mass, time_s, dt = 8.0, np.linspace(0.0, 4.0, 40_001), 1e-4
    v = np.empty_like(time_s)
    v[0] = 14.0
    for k in range(1, v.size):
        q = 0.5 * 1.225 * v[k - 1] ** 2 * 0.55
        drag = q * (0.040 + 0.050 * (mass * 9.80665 / q) ** 2)
        thrust = 38.0 - 0.70 * v[k - 1] - 0.010 * v[k - 1] ** 2
        v[k] = v[k - 1] + dt * (thrust - drag) / mass

    assert mass_in_climb(
        Climb(time_s, v, np.full(v.size, 5.0), np.ones(v.size)), DRIVE
    ) == pytest.approx(mass, rel=1e-3)


@pytest.mark.parametrize(("wind", "slope"), [(0.0, 0.0), (3.0, 0.0), (0.0, 0.02)])
def test_a_roll_that_was_stepped_through_by_hand_gives_its_mass(wind, slope):
    mass, dt = 8.0, 1e-4
    v = [0.0]
    while v[-1] < 11.0:
        air = v[-1] + wind
        q = 0.5 * 1.225 * air**2 * 0.55
        weight = mass * 9.80665
        push = 38.0 - 0.70 * air - 0.010 * air**2 - 0.055 * q - 0.04 * (weight - 0.50 * q)
        v.append(v[-1] + dt * (push - weight * slope) / mass)
    time_s = dt * np.arange(len(v))

    fitted = mass_in_roll(Roll(time_s, np.array(v), wind, 1.0, slope), DRIVE)
    assert fitted == pytest.approx(mass, rel=1e-3)


def test_a_descent_fits_no_mass():
    time_s = np.linspace(0.0, 10.0, 11)
    sinking = Climb(time_s, np.full(11, 15.0), -time_s, np.ones(11))

    assert math.isnan(mass_in_climb(sinking, DRIVE))


# --- mass-doubtful


def true_mass(name: str) -> float:
    text = (FOLDER / f"{name}.truth.json").read_text(encoding="utf-8")
    return float(json.loads(text)["mass_kg"])


@pytest.mark.parametrize("name", SAMPLES)
def test_the_true_mass_is_believed_on_every_sample(name):
    # Their propeller gives 6 % more than the model's, at a voltage that gives more again.
    result = debrief(sample(f"{name}.bin"), weighed(true_mass(name)))

    assert not found(result, "mass-doubtful")


def doubted(kg: float) -> Debrief:
    # Thrust as the sample had it: 1.06 times the model's, at 1.02 of its full voltage.
    strong = replace(MODELLED, thrust=Thrust(38.0 * 1.1, 0.77, 0.011))
    return debrief(sample("heavy_misses_limit.bin"), weighed(kg, strong))


def test_a_mass_that_the_roll_contradicts_withholds_what_is_made_of_it():
    result = doubted(6.0)
    finding = only(result, "mass-doubtful")

    assert "Entered 6.00 kg" in finding.message
    assert f"fits {finding.evidence['fits_kg']:.1f}" in finding.message
    # 9.5 kg by the simulation.
    assert finding.evidence["fits_kg"] == pytest.approx(
        9.5, abs=2 * float(finding.evidence["fits_std_kg"])
    )
    for figure in (
        "takeoff.ground_roll_reference",
        "flight.min_stall_margin",
        "payload.mass",
    ):
        assert is_withheld_for(result, figure, "mass-doubtful")
    assert "takeoff.ground_roll" in sortie(result).figures


def test_the_right_mass_of_that_flight_is_believed():
    assert not found(doubted(9.5), "mass-doubtful")


@pytest.mark.parametrize(
    "inputs",
    [
        Inputs(aircraft=MODELLED),
        weighed(3.0, PANNIER),
        weighed(3.0, replace(MODELLED, outputs={})),
        weighed(3.0, None),
    ],
)
def test_without_mass_thrust_or_throttle_nothing_is_said(inputs):
    assert not found(debrief(sample(), inputs), "mass-doubtful")


# --- mass against payload


def test_mass_and_payload_units_that_contradict_each_other_withhold_both():
    # 5.6 kg empty and 11 units of 0.30 kg are 8.90 kg.
    result = debrief(sample(), weighed(8.0, PANNIER, 11))
    finding = only(result, "mass-doubtful")

    assert "Entered 8.00 kg" in finding.message
    assert "8.90" in finding.message
    for figure in ("payload.mass", "payload.units", "takeoff.ground_roll_reference"):
        assert is_withheld_for(result, figure, "mass-doubtful")


@pytest.mark.parametrize(("kg", "units"), [(8.0, 8), (8.05, 8), (9.5, 13), (5.6, 0)])
def test_mass_and_payload_units_that_agree_are_not_spoken_of(kg, units):
    assert not found(debrief(sample(), weighed(kg, PANNIER, units)), "mass-doubtful")


# --- pack-doubtful


def test_more_energy_than_the_battery_holds_is_told_and_widens():
    # The simulation took 61 880 J: 17.2 Wh.
    small = replace(PANNIER, battery_nominal_wh=12.0)
    result = debrief(sample(), Inputs(aircraft=small))
    finding = only(result, "pack-doubtful")

    assert finding.evidence["used_wh"] == pytest.approx(61_880 / 3600, rel=0.05)
    assert "12.0 Wh printed" in finding.message
    share = value(clean(), "energy.used") / 12.0 - 1
    assert added_share(clean(), result, "energy.used") == pytest.approx(share, rel=1e-6)


@pytest.mark.parametrize("printed", [17.0, 88.8, None])
def test_a_battery_that_may_hold_it_is_not_spoken_of(printed):
    result = debrief(sample(), Inputs(aircraft=replace(PANNIER, battery_nominal_wh=printed)))

    assert not found(result, "pack-doubtful")


def test_the_clean_flight_says_nothing_of_what_was_entered():
    assert not {f.code for f in findings(clean())} & {"mass-doubtful", "pack-doubtful"}
