import json
import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.analyses import energy
from flightlog.analyses.packs import CURRENT_SCALE_STD, VOLTAGE_SCALE_STD
from flightlog.analyses.power import Flow, find_zero
from flightlog.figures import Answer, Figure
from flightlog.uncertain import Uncertain

from .made import battery, path, recording, sortie

T = np.arange(0.0, 220.0, 0.1)
PARKED = (T < 18) | (T > 205)
RIPPLE = 0.3 * np.sin(T)


def flight_amps(level=20.0, parked=0.4):
    return np.where(PARKED, parked + 0.02 * np.sin(9 * T), level + RIPPLE)


def flight(**more):
    return recording(battery=battery(T, 23.0, flight_amps(), **more))


def codes(answer):
    return {f.code for f in answer.findings}


def test_trapezoid_of_the_worked_example():
    # METHODS, E4c: five samples of 0.5 s, 1502.75 J = 0.4174305556 Wh, 18.26388889 mAh.
    t = np.array([0, 0.5, 1.0, 1.5, 2.0])
    volts = np.array([23.1, 22.8, 22.7, 22.9, 23.0])
    amps = np.array([30.0, 34.0, 35.0, 32.0, 31.0])
    for rate, expected in ((volts * amps, 1502.75), (amps, 65.75)):
        total = np.concatenate([[0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(t))])
        flow = Flow(t, rate, total, np.empty(0), np.empty(0))
        assert flow.integral(0.0, 2.0).value == pytest.approx(expected, rel=1e-12)


def test_constant_power_is_exact():
    answer = energy.answer(flight(), sortie(20, 200))
    # 20 A and the ripple's integral 0.3 (cos 20 - cos 200), at 23 V.
    coulomb = 20 * 180 + 0.3 * (np.cos(20) - np.cos(200))
    used, charge = answer.figures["energy.used"], answer.figures["charge.used"]
    assert used.quantity.value == pytest.approx(coulomb * 23 / 3600, rel=2e-5)
    assert charge.quantity.value == pytest.approx(coulomb / 3600, rel=2e-5)
    assert used.sources == ("battery",)
    assert not answer.findings


def test_interval_holds_scale_and_zero():
    quantity = energy.energy_between(flight(), 20, 200)
    wh = quantity.value
    assert quantity.sources["current scale"] == pytest.approx(CURRENT_SCALE_STD * wh)
    assert quantity.sources["voltage scale"] == pytest.approx(VOLTAGE_SCALE_STD * wh)
    # 0.15 A at 23 V for 180 s.
    assert quantity.sources["current offset"] == pytest.approx(0.15 * 23 * 180 / 3600, rel=1e-6)


def test_shared_errors_cancel_between_laps():
    log = flight()
    one, two = energy.energy_between(log, 40, 80), energy.energy_between(log, 80, 120)
    difference = one - two
    assert abs(difference.sources["current scale"]) < 0.01 * one.sources["current scale"]
    assert difference.sources["current offset"] == pytest.approx(0, abs=1e-9)
    assert difference.std < 0.1 * one.std


@settings(max_examples=40, deadline=None)
@given(st.floats(5, 70), st.floats(75, 140), st.floats(141, 210), st.integers(0, 2**16))
def test_energy_of_adjoining_windows_adds_up(a, b, c, seed):
    rng = np.random.default_rng(seed)
    amps = flight_amps() + rng.normal(0, 2, T.size)
    keep = np.ones(T.size, dtype=bool)
    keep[1000:1012] = False  # a hole of 1.3 s
    log = recording(battery=battery(T[keep], 23.0, amps[keep]))
    whole = energy.energy_between(log, a, c)
    parts = energy.energy_between(log, a, b) + energy.energy_between(log, b, c)
    assert parts.value == pytest.approx(whole.value, rel=1e-9)
    for source in ("current scale", "voltage scale", "current offset"):
        assert parts.sources[source] == pytest.approx(whole.sources[source], rel=1e-9)


def test_a_hole_is_taken_from_the_counter():
    amps = flight_amps().copy()
    burst = (T > 100) & (T < 110)
    amps[burst] = 60.0
    joules = np.concatenate([[0], np.cumsum(23 * 0.5 * (amps[1:] + amps[:-1]) * 0.1)])
    hole = (T > 99) & (T < 111)
    table = battery(T, 23.0, amps, energy_used_j=joules, charge_used_coulomb=joules / 23)
    answer = energy.answer(recording(battery=table[~hole]), sortie())
    full = energy.answer(recording(battery=table), sortie())
    expected = full.figures["energy.used"].quantity.value
    assert answer.figures["energy.used"].quantity.value == pytest.approx(expected, rel=1e-3)
    gap = next(f for f in answer.findings if f.code == "battery-gap")
    assert gap.evidence["counted_s"] == pytest.approx(12, abs=0.3)
    assert gap.evidence["bridged_s"] == 0


def test_a_small_hole_without_counter_widens_and_says_so():
    hole = (T > 100) & (T < 105)
    table = battery(T, 23.0, flight_amps())
    answer = energy.answer(recording(battery=table[~hole]), sortie())
    whole = energy.answer(recording(battery=table), sortie())
    assert codes(answer) == {"battery-gap"}
    assert (
        answer.figures["energy.used"].quantity.std
        > 1.002 * whole.figures["energy.used"].quantity.std
    )


def test_a_large_hole_without_counter_withholds():
    hole = (T > 100) & (T < 130)
    answer = energy.answer(recording(battery=battery(T, 23.0, flight_amps())[~hole]), sortie())
    assert "energy.used" not in answer.figures
    assert "30.0 s of 180.0 s" in answer.withheld["energy.used"]
    assert "log the battery" in answer.withheld["energy.used"]


def test_a_counter_that_fell_back_is_not_believed():
    joules = 460.0 * T
    joules[1500:] -= joules[1500]
    hole = (T > 140) & (T < 160)
    table = battery(T, 23.0, flight_amps(), energy_used_j=joules)[~hole]
    answer = energy.answer(recording(battery=table), sortie())
    assert "energy.used" in answer.withheld


def test_voltage_alone_withholds_energy_and_keeps_voltage():
    answer = energy.answer(recording(battery=battery(T, 23.0, 0.0)), sortie())
    assert "fit a current sensor" in answer.withheld["energy.used"]
    assert "battery.max_power" in answer.withheld
    assert answer.figures["battery.min_voltage"].quantity.value == pytest.approx(23.0)
    assert codes(answer) == {"current-not-measured"}


def test_missing_current_column_is_no_current():
    table = battery(T, 23.0, 0.0).drop(columns="current_a")
    answer = energy.answer(recording(battery=table), sortie())
    assert "fit a current sensor" in answer.withheld["charge.used"]
    assert energy.energy_between(recording(battery=table), 20, 30) is None


def test_no_battery_at_all():
    answer = energy.answer(recording(), sortie())
    assert "no battery data" in answer.withheld["battery.min_voltage"]
    assert not answer.figures


@pytest.mark.parametrize("parked", [0.1, 0.4, 0.75])
def test_the_avionics_own_draw_is_not_an_offset(parked):
    zero = find_zero(T, flight_amps(parked=parked), PARKED)
    assert zero.subtract_a == 0
    assert zero.parked_a == pytest.approx(parked, abs=0.03)


def test_an_offset_is_taken_off_and_said():
    # METHODS, E5b: an offset counts for offset x time; 0.35 A for 420 s is 0.04083 Ah.
    assert 0.35 * 420 / 3600 == pytest.approx(0.04083333333333333)
    amps = flight_amps() + 2.0
    arming = pd.DataFrame({"time_s": [0.0, 18.0, 205.0], "armed": [0, 1, 0]})
    shifted = energy.answer(recording(battery=battery(T, 23.0, amps), arming=arming), sortie())
    true = energy.answer(flight(), sortie())
    assert codes(shifted) == {"current-offset"}
    finding = shifted.findings[0]
    assert finding.evidence["parked_a"] == pytest.approx(2.4, abs=0.03)
    low, high = shifted.figures["charge.used"].quantity.interval()
    assert low < true.figures["charge.used"].quantity.value < high
    assert shifted.figures["charge.used"].quantity.value == pytest.approx(
        true.figures["charge.used"].quantity.value, abs=0.05 * 180 / 3600
    )


def test_negative_reading_at_rest_is_an_offset():
    zero = find_zero(T, flight_amps(parked=-0.5), PARKED)
    assert zero.subtract_a == pytest.approx(-0.9, abs=0.03)


def test_a_drifting_zero_widens():
    amps = flight_amps() + np.where(T > 200, 0.35, 0.0)
    arming = pd.DataFrame({"time_s": [0.0, 18.0, 205.0], "armed": [0, 1, 0]})
    answer = energy.answer(recording(battery=battery(T, 23.0, amps), arming=arming), sortie())
    assert "current-zero-drift" in codes(answer)


def test_motor_never_stopped_leaves_the_zero_unknown():
    log = recording(battery=battery(T, 23.0, 20 + RIPPLE))
    answer = energy.answer(log, sortie(starts="air", liftoff=None, launch="air"))
    assert "current-zero-unknown" in codes(answer)
    assert "starts in the air" in answer.withheld["energy.used"]
    quantity = energy.energy_between(log, 50, 100)
    assert quantity.sources["current offset"] == pytest.approx(0.3 * 23 * 50 / 3600)


def test_a_sensor_that_reads_amperes_with_the_motor_off_is_not_used():
    arming = pd.DataFrame({"time_s": [0.0, 18.0], "armed": [0, 1]})
    log = recording(battery=battery(T, 23.0, flight_amps(parked=12.0)), arming=arming)
    assert "12.0 A with the motor off" in energy.answer(log, sortie()).withheld["energy.used"]


def test_clipped_current():
    rng = np.random.default_rng(4)
    amps = flight_amps(level=40.0) + rng.normal(0, 0.5, T.size)
    top = (T > 30) & (T < 34)
    amps[top] = 90.0
    volts = np.where(top, 21.0 - 0.1 * (T - 30), 23.0)
    answer = energy.answer(recording(battery=battery(T, volts, amps)), sortie())
    assert "current-clipped" in codes(answer)
    assert "limit of 90.0 A" in answer.withheld["battery.max_current"]
    source = next(s for s in answer.figures["energy.used"].quantity.sources if "clipping" in s)
    assert source
    long = (T > 30) & (T < 60)
    amps[long] = 90.0
    volts = np.where(long, 21.0 - 0.1 * (T - 30), 23.0)
    answer = energy.answer(recording(battery=battery(T, volts, amps)), sortie())
    assert "limit of 90.0 A" in answer.withheld["energy.used"]


def two_packs(volts, amps):
    tables = [battery(T, volts[i], amps[i], instance=i) for i in range(2)]
    return recording(battery=pd.concat(tables).sort_values("time_s", kind="stable"))


def test_parallel_packs_add_charge_and_energy():
    log = two_packs((23.0, 23.0), (flight_amps(20.0), flight_amps(12.0)))
    answer = energy.answer(log, sortie())
    assert codes(answer) == {"several-packs"}
    assert answer.figures["charge.used"].quantity.value == pytest.approx(32 * 180 / 3600, rel=1e-3)
    assert answer.figures["energy.used"].quantity.value == pytest.approx(
        32 * 23 * 180 / 3600, rel=1e-3
    )
    assert answer.figures["battery.max_current"].quantity.value == pytest.approx(32.6, abs=0.1)


def test_series_packs_add_energy_but_not_charge():
    log = two_packs((23.0, 11.5), (flight_amps(), flight_amps()))
    answer = energy.answer(log, sortie())
    assert answer.figures["charge.used"].quantity.value == pytest.approx(20 * 180 / 3600, rel=1e-3)
    assert answer.figures["energy.used"].quantity.value == pytest.approx(
        20 * 34.5 * 180 / 3600, rel=1e-3
    )
    assert answer.figures["battery.max_current"].quantity.value == pytest.approx(20.3, abs=0.1)


def test_twice_the_same_reading_is_not_summed():
    answer = energy.answer(two_packs((23.0, 23.0), (flight_amps(), flight_amps())), sortie())
    assert "one pack measured twice" in answer.withheld["energy.used"]


def test_extremes_are_of_one_second_means():
    rng = np.random.default_rng(1)
    amps = flight_amps() + rng.normal(0, 1.0, T.size)
    amps[(T > 100) & (T < 110)] += 20
    amps[500] = 100.0  # one sample
    volts = 23.0 + rng.normal(0, 0.02, T.size)
    volts[(T > 100) & (T < 110)] -= 2
    answer = energy.answer(recording(battery=battery(T, volts, amps)), sortie())
    current = answer.figures["battery.max_current"].quantity
    low, high = current.interval()
    assert low < 40.3 < high
    assert current.value == pytest.approx(40.3, abs=0.8)
    assert answer.figures["battery.min_voltage"].quantity.value == pytest.approx(21.0, abs=0.03)
    assert answer.figures["battery.max_power"].quantity.value == pytest.approx(40.3 * 21, rel=0.02)


def test_energy_per_km():
    track = path(np.arange(0, 220, 0.1), east=lambda t: 18.0 * t)
    answer = energy.answer(flight(), sortie(), track)
    # 460 W at 18 m/s: 25.56 J/m = 7.10 Wh/km.
    assert answer.figures["energy.per_km"].quantity.value == pytest.approx(
        20 * 23 / 18 / 3.6, rel=1e-3
    )
    assert "log GPS" in energy.answer(flight(), sortie()).withheld["energy.per_km"]


def test_measured_start_of_roll_is_used_and_widens():
    start = Figure("takeoff.start_time", Uncertain.of(30.0, 0.2, "s", source="t"), "", ("gps",))
    measured = Answer({"takeoff.start_time": start})
    answer = energy.answer(flight(), sortie(), None, measured)
    quantity = answer.figures["energy.used"].quantity
    assert quantity.value == pytest.approx(20 * 23 * 170 / 3600, rel=1e-3)
    assert quantity.sources["start of roll"] == pytest.approx(0.2 * 20 * 23 / 3600, rel=0.02)


def test_hostile_rows():
    amps = flight_amps().copy()
    volts = np.full(T.size, 23.0)
    amps[100:110] = [np.nan, np.inf, -np.inf, 1e30, -1e30, 1e9, np.nan, np.nan, np.nan, -1e9]
    volts[900] = 0.0
    answer = energy.answer(recording(battery=battery(T, volts, amps)), sortie())
    assert answer.figures["energy.used"].quantity.value == pytest.approx(
        20 * 23 * 180 / 3600, rel=1e-3
    )


def test_window_outside_the_log():
    log = flight()
    assert energy.energy_between(log, 500, 600) is None
    assert energy.energy_between(log, 50, 50) is None
    assert energy.energy_between(log, 60, 50) is None


CORPUS = os.environ.get("FLIGHTLOG_CORPUS")


@pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS is not set")
@pytest.mark.parametrize("name", ["r27", "r28", "j36"])
def test_energy_of_the_simulated_flights(name):
    import flightlog

    file = Path(CORPUS) / "runway" / f"{name}.bin"
    truth = json.loads(file.with_suffix(".truth.json").read_text(encoding="utf-8"))
    log = flightlog.read(file)
    end = float(log["battery"]["time_s"].iloc[-1])
    got = energy.energy_between(log, truth["t_start_roll"], end)
    expected = truth["energy"]["roll_to_end_J"] / 3600
    assert got.value == pytest.approx(expected, rel=0.01)
    low, high = got.interval()
    assert low < expected < high


def test_a_current_without_a_voltage_is_withheld_for_the_voltage():
    log = recording(battery=battery(np.arange(0.0, 100.0, 0.2), np.nan, 10.0))
    asked = energy.answer(log, sortie(20.0, 80.0), None, Answer())

    assert "no voltage" in asked.withheld["energy.used"]
