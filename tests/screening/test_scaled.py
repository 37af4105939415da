"""Voltage and current by tens, and columns whose values can't be in their unit."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.inputs import Aircraft, Inputs, Mass
from flightlog.screening.out_of_range import SUSPECTS, units_that_fit
from flightlog.screening.scaled import cell_scale, counter_scale, lift_scale, nominal_scale
from tests.screening.made import (
    changed,
    debrief,
    flown,
    imported,
    sample,
    scaled,
    told,
    withheld_by,
)

PANNIER = Aircraft("pannier", "0" * 64, cells=6, battery_nominal_wh=60.0, reference_kg=8.0)
GIVEN = Inputs(aircraft=PANNIER)


# --- what the importer left out


@pytest.mark.parametrize(
    ("factor", "name"), [(1e3, "thousandths"), (1e2, "hundredths"), (10.0, "tenths")]
)
def test_a_voltage_in_integers_is_told_with_its_scale(factor, name):
    recording = imported(scaled(flown(), "battery", "voltage_v", factor), "battery")
    (finding,) = told(recording, "scaled-integers")

    assert recording["battery"]["voltage_v"].isna().all()
    assert finding.severity == "stop"
    assert finding.evidence["column"] == "battery.voltage_v"
    assert finding.evidence["middle"] == pytest.approx(24.5 * factor, rel=0.05)
    assert name in finding.message
    assert withheld_by(debrief(recording), "scaled-integers") >= {
        "energy.used", "battery.min_voltage", "battery.max_power",
    }  # fmt: skip


def test_a_current_in_milliamperes_leaves_only_the_idle_one():
    recording = imported(scaled(flown(), "battery", "current_a", 1e3), "battery")
    (finding,) = told(recording, "scaled-integers")
    done = debrief(recording)

    assert "thousandths" in finding.message
    assert withheld_by(done, "scaled-integers") >= {
        "energy.used", "charge.used", "battery.max_current",
    }  # fmt: skip
    assert "battery.min_voltage" in done.sorties[0].figures


def test_single_values_outside_are_damage():
    battery = flown()["battery"].copy()
    battery.loc[battery.index[::100], "voltage_v"] = 3e4
    recording = imported(changed(flown(), battery=battery), "battery")

    assert told(recording, "values-out-of-range")
    assert not told(recording, "scaled-integers")
    assert "energy.used" in debrief(recording).sorties[0].figures


def test_a_pressure_in_hectopascals_is_a_note():
    recording = imported(scaled(flown(), "baro", "pressure_pa", 0.01), "baro")
    (finding,) = told(recording, "scaled-integers")

    assert (finding.severity, finding.affects) == ("note", ())
    assert "hPa" in finding.message


def test_millimetres_of_height():
    recording = imported(scaled(flown(), "baro", "height_m", 1000.0), "baro")
    found = told(recording, "height-unit")

    assert any("millimetres" in f.message for f in found)
    assert "climb.best_rate" in withheld_by(debrief(recording), "height-unit")


def test_units_that_fit_are_those_of_a_flight():
    """25,200 can only be millivolts; 3,700 may be one cell, or ten."""
    volts = SUSPECTS["battery", "voltage_v"]

    assert units_that_fit(25_200, volts) == ["thousandths (25.2)"]
    assert units_that_fit(3_700, volts) == ["thousandths (3.7)", "hundredths (37)"]
    assert units_that_fit(9e9, volts) == []


# --- what cells, battery and climb allow


@pytest.mark.parametrize("factor", [0.1, 0.01])
def test_a_voltage_too_small_for_the_cells(factor):
    recording = scaled(flown(), "battery", "voltage_v", factor)
    (finding,) = told(recording, "scaled-integers", GIVEN)

    assert finding.evidence["scale"] == pytest.approx(1 / factor)
    assert "6 cells" in finding.message
    assert withheld_by(debrief(recording, GIVEN), "scaled-integers") >= {"energy.used"}


def test_a_voltage_under_any_cell_needs_no_aircraft_file():
    recording = scaled(flown(), "battery", "voltage_v", 0.05)

    assert told(recording, "scaled-integers")


@pytest.mark.parametrize("factor", [0.1, 10.0])
def test_a_current_that_lifting_and_the_battery_do_not_allow(factor):
    """The made flight takes 18 Wh of 60, and 5 times the energy of its climb."""
    recording = scaled(flown(), "battery", "current_a", factor)
    (finding,) = told(recording, "scaled-integers", GIVEN)
    done = debrief(recording, GIVEN)

    assert finding.evidence["scale"] == pytest.approx(1 / factor)
    assert withheld_by(done, "scaled-integers") >= {"energy.used", "battery.max_current"}
    assert "takeoff.ground_roll" in done.sorties[0].figures


def test_a_counter_in_other_units_than_its_current():
    recording = flown()
    battery = recording["battery"]
    t, amps = (battery[c].to_numpy() for c in ("time_s", "current_a"))
    counted = np.concatenate([[0.0], np.cumsum(np.diff(t) * amps[1:])])
    right = changed(recording, battery=battery.assign(charge_used_coulomb=counted))
    wrong = changed(recording, battery=battery.assign(charge_used_coulomb=counted * 100))
    (finding,) = told(wrong, "scaled-integers")

    assert not told(right, "scaled-integers")
    assert finding.evidence["scale"] == pytest.approx(100.0)
    assert withheld_by(debrief(wrong), "scaled-integers") >= {"charge.used"}


def test_the_bounds_by_hand():
    # 6 cells: 25.2 V and even 12 V (half the cells) are no scale, 2.52 V is a tenth
    assert cell_scale(25.2, 6) is None
    assert cell_scale(12.0, 6) is None
    assert cell_scale(2.52, 6) == 10.0
    assert cell_scale(252.0, 6) == pytest.approx(0.1)
    # 60 Wh: 90 may be a wrong file, 300 is a tenth
    assert nominal_scale(90 * 3600, 60 * 3600) is None
    assert nominal_scale(300 * 3600, 60 * 3600) == pytest.approx(0.1)
    # 8 kg up 40 m is 3138 J: 10 kJ is usual, 500 J can't be
    assert lift_scale(10e3, 3138.0) is None
    assert lift_scale(1e3, 3138.0) == 10.0
    assert lift_scale(2e6, 3138.0) == pytest.approx(0.01)
    # 1 mAh is 3.6 C
    assert counter_scale(1000.0, 3600.0) == pytest.approx(1 / 3.6)
    assert counter_scale(3500.0, 3600.0) is None


def test_a_sound_battery_is_not_doubted():
    given = Inputs(aircraft=PANNIER, mass=Mass(8.0, 0.02, "option"))
    for recording in (flown(), sample("calm.bin"), sample("two_flights.bin")):
        assert not told(recording, "scaled-integers", given)
