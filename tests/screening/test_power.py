"""Current and voltage that mislead: what is found, and what it does to the figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from flightlog.analyses.power import Flow
from flightlog.debriefing import debrief
from flightlog.inputs import Inputs
from flightlog.recording import Recording
from flightlog.screening.cells import possible_cells
from flightlog.screening.power import charge_scale, drop_resistance
from tests.screening.flights import (
    PANNIER,
    added_share,
    changed,
    clean,
    found,
    is_withheld_for,
    only,
    sortie,
    std,
    until,
    value,
)
from tests.screening.made import sample

CALM = Inputs(aircraft=PANNIER)


def flow(time_s: np.ndarray, rate: np.ndarray) -> Flow:
    none = np.empty(0)
    return Flow(time_s, rate, np.zeros_like(rate), none, none)


# --- current-offset, current-clipped, several-packs: found by the analyses


def test_a_current_that_reads_three_amperes_with_the_motor_off_is_put_right_and_widened():
    shifted = changed(sample(), "battery", lambda t: t.assign(current_a=t["current_a"] + 3.0))
    result = debrief(shifted, CALM)

    finding = only(result, "current-offset")
    # The avionics of the sample draw 0.45 A; its sensor's own zero is -0.1 to 0.1 A.
    assert finding.evidence["parked_a"] == pytest.approx(3.4, abs=0.15)
    # The zero is judged to 0.15 A: over the sortie that alone is so much charge.
    one = sortie(result)
    seconds = one.sortie.end_s - one.sortie.start_s
    assert std(result, "charge.used") >= 0.15 * seconds / 3600
    assert value(result, "charge.used") == pytest.approx(
        value(clean(), "charge.used"), abs=2 * 0.15 * seconds / 3600
    )
    assert not found(clean(), "current-offset")


def test_a_current_at_its_limit_withholds_the_peaks_and_widens_the_energy():
    def clip(table: pd.DataFrame) -> pd.DataFrame:
        return table.assign(current_a=table["current_a"].clip(upper=41.0))

    result = debrief(changed(sample(), "battery", clip), CALM)

    assert only(result, "current-clipped").evidence["limit_a"] == pytest.approx(41.0)
    assert "battery.max_current" in sortie(result).withheld
    assert "41.0 A" in sortie(result).withheld["battery.max_current"]
    assert std(result, "energy.used") > std(clean(), "energy.used")
    assert not found(clean(), "current-clipped")


def two_monitors(volts: float, amps: float, skew: float = 0.0) -> Recording:
    """Shares of voltage and current at two monitors."""

    def split(table: pd.DataFrame) -> pd.DataFrame:
        table = table[["time_s", "instance", "voltage_v", "current_a"]]
        parts = [
            table.assign(
                instance=k,
                voltage_v=table["voltage_v"] * volts * (1 + sign * skew * (volts < 1)),
                current_a=table["current_a"] * amps * (1 + sign * skew * (amps < 1)),
            )
            for k, sign in enumerate((1, -1))
        ]
        return pd.concat(parts).sort_values("time_s", kind="stable").reset_index(drop=True)

    return changed(sample(), "battery", split)


def test_packs_in_parallel_add_their_charges_and_not_their_voltages():
    result = debrief(two_monitors(1.0, 0.5, skew=0.1), CALM)

    assert "charges add" in only(result, "several-packs").message
    assert value(result, "charge.used") == pytest.approx(value(clean(), "charge.used"), rel=1e-3)
    assert value(result, "battery.min_voltage") == pytest.approx(
        value(clean(), "battery.min_voltage"), rel=1e-6
    )
    assert not found(clean(), "several-packs")


def test_packs_in_series_carry_one_charge_and_add_their_energies_and_cells():
    result = debrief(two_monitors(0.5, 1.0, skew=0.1), CALM)

    assert "the same charge" in only(result, "several-packs").message
    assert value(result, "charge.used") == pytest.approx(value(clean(), "charge.used"), rel=1e-3)
    assert value(result, "energy.used") == pytest.approx(value(clean(), "energy.used"), rel=1e-3)
    assert not found(result, "cell-count")  # 11 and 13.4 V in series are 6 cells


# --- cell-count


@pytest.mark.parametrize(
    ("volts", "cells"),
    # 24.0 V: 6 at 4.00 or 7 at 3.43; 22.0 V only 6 at 3.67; 5 V is no such battery.
    [(24.0, [6, 7]), (22.0, [6]), (11.1, [3]), (4.2, [1]), (5.0, [])],
)
def test_a_rested_voltage_tells_which_numbers_of_cells_are_possible(volts, cells):
    assert list(possible_cells(volts)) == cells


def test_a_contradicted_number_of_cells_withholds_the_battery():
    result = debrief(sample(), Inputs(aircraft=replace(PANNIER, cells=4)))

    finding = only(result, "cell-count")
    # 24.47 V at rest by the log's first rows: 6.12 V for each of four cells.
    assert "24.47 V" in finding.message
    assert finding.evidence["volts_per_cell"] == pytest.approx(6.12, abs=0.01)
    for figure in ("battery.min_voltage", "battery.max_current", "battery.nominal_energy"):
        assert is_withheld_for(result, figure, "cell-count")
    assert "energy.used" in sortie(result).figures


def test_the_right_number_of_cells_is_not_spoken_of():
    assert not found(clean(), "cell-count")


def test_an_ambiguous_voltage_without_a_stated_number_is_told():
    unsaid = Inputs(aircraft=replace(PANNIER, cells=None))
    finding = only(debrief(sample(), unsaid), "cell-count")

    assert finding.severity == "note"
    assert finding.evidence["possible"] == "6, 7"
    assert not found(debrief(sample()), "cell-count"), "no file: nothing depends on it"


def test_a_voltage_of_no_number_of_cells_is_told_whatever_is_given():
    def low(table: pd.DataFrame) -> pd.DataFrame:
        return table.assign(voltage_v=table["voltage_v"] * 5.0 / 24.47)

    finding = only(debrief(changed(sample(), "battery", low)), "cell-count")

    assert (finding.severity, finding.evidence["possible"]) == ("note", "")


def test_full_cells_of_the_high_voltage_kind_are_told_and_withhold_nothing():
    # 6 cells of 4.33 V.
    def full(table: pd.DataFrame) -> pd.DataFrame:
        return table.assign(voltage_v=table["voltage_v"] * 6 * 4.33 / 24.47)

    result = debrief(changed(sample(), "battery", full), CALM)

    assert only(result, "cell-count").severity == "note"
    assert "battery.min_voltage" in sortie(result).figures


# --- current-scale


def counted_c() -> float:
    """Charge of the whole calm log by the sum of its samples, 0.2 s apart."""
    return float(sample()["battery"]["current_a"].sum()) * 0.2


def test_the_scale_from_one_charge_is_that_of_a_hand_calculation():
    # 3.12 Ah * 0.995 / 3.0 Ah = 1.0348; 2 % / sqrt 3 and 0.003 / 0.995 are 1.19 % together.
    scale = charge_scale(3.0 * 3600, 0.0, 3.12 * 3600)

    assert scale.value == pytest.approx(1.0348, abs=1e-6)
    assert scale.std / scale.value == pytest.approx(0.01194, abs=2e-5)


def test_a_log_that_counts_93_percent_of_the_charger_proposes_a_scale_and_applies_none():
    result = debrief(sample(), replace(CALM, charged_coulomb=counted_c() / 0.93))

    finding = only(result, "current-scale")
    assert "93 % of the" in finding.message
    assert "scale of 1.07" in finding.message
    assert "5 charges" in finding.message
    assert finding.evidence["scale"] == pytest.approx(0.995 / 0.93, abs=1e-3)
    for figure in ("energy.used", "charge.used", "battery.max_current", "battery.max_power"):
        assert value(result, figure) == value(clean(), figure)
        assert added_share(clean(), result, figure) == pytest.approx(0.0699, abs=1e-3)
    assert "current-scale" in sortie(result).figures["energy.used"].method


def test_the_energy_of_every_lap_is_widened_as_that_of_the_flight():
    result = debrief(sample(), replace(CALM, charged_coulomb=counted_c() / 0.93))
    pairs = list(zip(sortie(clean()).laps, sortie(result).laps, strict=True))

    assert pairs
    for before, after in pairs:
        assert before.energy is not None
        assert after.energy is not None
        assert after.energy.std > before.energy.std


def test_a_charger_that_agrees_is_a_note_that_widens_nothing():
    result = debrief(sample(), replace(CALM, charged_coulomb=counted_c() / 0.995))

    finding = only(result, "current-scale")
    assert "they agree within" in finding.message
    assert (finding.severity, finding.affects) == ("note", ())
    assert std(result, "energy.used") == std(clean(), "energy.used")


@pytest.mark.parametrize("factor", [10.0, 0.1])
def test_a_charge_ten_times_off_is_a_slip_of_the_pen_and_no_scale(factor):
    result = debrief(sample(), replace(CALM, charged_coulomb=counted_c() * factor))

    finding = only(result, "current-scale")
    assert "not of this log or not in Ah" in finding.message
    assert (finding.severity, finding.affects) == ("note", ())
    assert std(result, "energy.used") == std(clean(), "energy.used")


def counter_from(start_c: float) -> Recording:
    return changed(
        sample(),
        "battery",
        lambda t: t.assign(charge_used_coulomb=t["charge_used_coulomb"] + start_c),
    )


@pytest.mark.parametrize(
    ("recording", "why"),
    [
        (until(sample(), 150.0), "standstill"),
        (counter_from(1000.0), "counter starts at 0.278 Ah"),
        (sample().without("battery"), "no battery data"),
    ],
)
def test_a_log_of_half_a_discharge_is_not_compared_and_says_why(recording, why):
    result = debrief(recording, replace(CALM, charged_coulomb=3600.0))
    finding = only(result, "current-scale")

    assert finding.severity == "note"
    assert why in finding.message


def test_a_battery_that_was_changed_between_two_flights_is_not_compared():
    log = sample("two_flights.bin")
    given = replace(CALM, charged_coulomb=3600.0)

    def fresh(table: pd.DataFrame) -> pd.DataFrame:
        # Between the two flights, at 200 s: half a volt more than the first one started with.
        return table.assign(voltage_v=table["voltage_v"] + 1.5 * (table["time_s"] > 200))

    told = only(debrief(changed(log, "battery", fresh), given), "current-scale")
    untouched = only(debrief(log, given), "current-scale")

    assert "changed or charged" in told.message
    assert untouched.severity == "degrade"


# --- wiring-resistance


def test_the_resistance_of_steps_is_that_of_ohms_law():
    time_s = np.arange(0, 120, 0.1)
    amps = 20 + 15 * np.sign(np.sin(time_s / 3))
    volts = 25.0 - 0.001 * time_s - 0.041 * amps
    seen = drop_resistance(flow(time_s, amps), flow(time_s, volts), 0, 120)

    assert seen is not None
    # The drift of a millivolt a second is in each step, and has nothing to do with current.
    assert seen.value == pytest.approx(0.041, abs=5e-5)


def test_a_current_that_never_steps_tells_no_resistance():
    time_s = np.arange(0, 120, 0.1)

    assert drop_resistance(flow(time_s, 0 * time_s + 20), flow(time_s, 0 * time_s), 0, 120) is None


def test_wiring_between_battery_and_sensor_is_found_and_widens_the_least_voltage():
    aircraft = replace(PANNIER, battery_resistance_ohm=0.019)  # as the sample was simulated

    def through_wires(table: pd.DataFrame) -> pd.DataFrame:
        return table.assign(voltage_v=table["voltage_v"] - 0.030 * table["current_a"])

    wired = changed(sample(), "battery", through_wires)
    result = debrief(wired, Inputs(aircraft=aircraft))
    without = debrief(wired, CALM)

    finding = only(result, "wiring-resistance")
    # The battery's slow part answers within a second too: up to 2 milliohm of 0.55 * 19.
    assert finding.evidence["wiring_ohm"] == pytest.approx(0.031, abs=0.0015)
    amps = float(sample()["battery"]["current_a"].max())
    least = value(without, "battery.min_voltage")
    assert added_share(without, result, "battery.min_voltage") == pytest.approx(
        0.031 * amps / least, rel=0.1
    )


def test_the_batterys_own_resistance_is_not_taken_for_wiring():
    aircraft = replace(PANNIER, battery_resistance_ohm=0.019)

    assert not found(debrief(sample(), Inputs(aircraft=aircraft)), "wiring-resistance")
