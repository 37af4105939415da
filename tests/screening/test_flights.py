"""How many flights, what came before them, what is missing, and how a log ends."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from flightlog.inputs import Aircraft, Inputs
from flightlog.screening.flights import find_gaps, voltage_at_end
from tests.screening.made import (
    as_format,
    changed,
    debrief,
    flown,
    half_width,
    sample,
    story,
    told,
    withheld_by,
)
from tests.synthetic import Story

# --- several flights, attempts first


def test_two_flights_are_told_with_their_times():
    recording = sample("two_flights.bin")
    (finding,) = told(recording, "several-sorties")

    assert finding.severity == "note"
    assert finding.evidence["sorties"] == 2
    assert "1 from 50 s, 2 from 252 s" in finding.message
    assert not told(flown(), "several-sorties")


def test_attempts_before_a_take_off_are_told_with_it():
    made = Story().rest(20).roll(7.0).stop().rest(20).roll(8.0).stop().rest(20)
    made.flight().rest(15)
    recording = made.recording()
    done = debrief(recording)
    (finding,) = told(recording, "attempts-first")

    assert len(done.attempts) == 2
    assert finding.evidence["attempts"] == 2
    assert "that of try 3" in finding.message
    assert finding in done.sorties[0].findings
    assert "takeoff.ground_roll" in done.sorties[0].figures


def test_each_take_off_has_its_own_attempts():
    made = Story().rest(20).flight().rest(30).roll(7.0).stop().rest(20).flight().rest(15)
    first, second = debrief(made.recording()).sorties

    assert [f.code for f in first.findings].count("attempts-first") == 0
    assert [f.code for f in second.findings].count("attempts-first") == 1


# --- the beginning and the end of a log


def test_a_log_that_starts_in_the_roll_withholds_the_roll():
    made = story()
    recording = made.recording(window=(made.events["roll"] + 2.0, made.now))
    done = debrief(recording)

    assert told(recording, "starts-rolling")
    assert {"takeoff.ground_roll", "climb.height_at_60s"} <= withheld_by(done, "starts-rolling")
    assert "flight.max_ground_speed" in done.sorties[0].figures


def cut_in_flight(voltage=None):
    made = story()
    end = made.events["liftoff"] + 60.0
    recording = made.recording(window=(made.start_s, end))
    if voltage is None:
        return recording
    battery = recording["battery"]
    left = end - battery["time_s"]
    return changed(recording, battery=battery.assign(voltage_v=voltage(battery["voltage_v"], left)))


def test_a_log_that_ends_in_the_air_withholds_the_landing_and_blames_no_battery():
    recording = cut_in_flight()
    done = debrief(recording)

    assert withheld_by(done, "ends-in-air") >= {"flight.duration", "flight.distance"}
    assert "takeoff.ground_roll" in done.sorties[0].figures
    assert not told(recording, "power-lost")


def test_a_voltage_that_breaks_down_before_the_end():
    """From 24 V to 12 V within the last two seconds, 40 m up."""
    recording = cut_in_flight(lambda v, left: np.where(left < 2.0, 12.0 + 6.0 * left, v))
    (finding,) = told(recording, "power-lost")

    assert finding.severity == "note"
    assert finding.evidence["lowest_v"] == pytest.approx(12.0, abs=0.7)
    assert finding.evidence["before_v"] == pytest.approx(24.0, abs=0.6)
    assert f"{finding.evidence['lowest_v']:.2f} V" in finding.message
    assert "m up" in finding.message
    assert "flight.duration" in withheld_by(debrief(recording), "ends-in-air")


def test_empty_cells_before_the_end():
    recording = cut_in_flight(lambda v, left: v - 7.0)
    aircraft = Aircraft("pannier", "0" * 64, cells=6)
    (finding,) = told(recording, "power-lost", Inputs(aircraft=aircraft))

    assert "V a cell" in finding.message
    assert not told(recording, "power-lost")


def test_sag_under_full_power_is_no_brown_out():
    t = np.arange(0.0, 100.0, 0.1)
    volts = np.where(t > 97.0, 22.0, 24.0)

    end = voltage_at_end(t, volts, 100.0)
    assert (end.lowest_v, end.before_v) == (22.0, 24.0)
    assert end.lowest_v > 0.85 * end.before_v


# --- gaps


def silent(table: str, start_s: float, end_s: float, recording=None):
    recording = recording or flown()
    rows = recording[table]
    quiet = (rows["time_s"] > start_s) & (rows["time_s"] < end_s)
    return changed(recording, **{table: rows[~quiet].reset_index(drop=True)})


AT = story().events["liftoff"]


def test_fixes_that_fall_silent_are_told_with_their_share_and_widen():
    recording = silent("gps", AT + 40.0, AT + 43.0)
    (finding,) = told(recording, "log-gap")

    assert finding.severity == "degrade"
    assert finding.evidence["stream"] == "gps"
    assert finding.evidence["longest_s"] == pytest.approx(3.2, abs=0.25)
    assert f"{finding.evidence['longest_s']:.1f} s" in finding.message
    assert f"{100 * finding.evidence['missing_share']:.0f} %" in finding.message
    assert (finding.start_s, finding.end_s) == (
        pytest.approx(AT + 40.0, abs=0.21),
        pytest.approx(AT + 43.0, abs=0.21),
    )
    assert half_width(debrief(recording), "flight.distance") > 1.05 * half_width(
        debrief(flown()), "flight.distance"
    )


def test_an_imu_that_misses_a_third_of_the_flight_withholds_its_extremes():
    recording = silent("imu", AT + 30.0, AT + 80.0)
    (finding,) = told(recording, "log-gap")

    assert finding.severity == "stop"
    assert finding.evidence["missing_share"] > 0.2
    assert withheld_by(debrief(recording), "log-gap") == {
        "flight.max_load_factor", "flight.min_load_factor", "flight.min_stall_margin",
    }  # fmt: skip


def test_a_silence_of_everything_is_told_once():
    recording = flown()
    for table in ("gps", "baro", "imu", "battery", "outputs"):
        recording = silent(table, AT + 40.0, AT + 44.0, recording)
    (finding,) = told(recording, "log-gap")

    assert "Nothing at all" in finding.message
    assert finding.evidence["longest_s"] == pytest.approx(4.0, abs=0.3)
    assert finding.severity == "degrade"
    assert half_width(debrief(recording), "flight.distance") > 1.05 * half_width(
        debrief(flown()), "flight.distance"
    )


@pytest.mark.parametrize(("after_s", "is_told"), [(57.0, True), (5.0, False)])
def test_a_log_that_goes_on_without_its_sensors(after_s, is_told):
    """The last sensor row is that of the IMU; one arming row comes so long after it."""
    recording = flown()
    last = max(float(recording[n]["time_s"].iloc[-1]) for n in recording)
    arming = pd.DataFrame({"time_s": [last + after_s], "armed": [False]})
    late = changed(recording, arming=arming)
    found = told(late, "log-gap")

    assert bool(found) == is_told
    if is_told:
        (finding,) = found
        assert (finding.severity, finding.affects) == ("note", ())
        assert finding.evidence["silent_s"] == pytest.approx(57.0, abs=1e-6)
        assert "57.0 s with arming alone" in finding.message
        assert set(debrief(late).sorties[0].figures) == set(debrief(recording).sorties[0].figures)


def test_slow_and_jittery_streams_have_no_gaps():
    rng = np.random.default_rng(6)
    slow = np.cumsum(rng.uniform(0.7, 1.4, 300))
    assert find_gaps(slow, slow[0], slow[-1]) is None
    assert find_gaps(np.arange(0.0, 50.0, 0.01), 0.0, 50.0) is None
    assert find_gaps(np.array([0.0, 1.0]), 0.0, 1.0) is None
    assert not told(flown(), "log-gap")


def test_the_share_that_is_missing_by_hand():
    """Ten samples a second for 100 s, without those of 10 s: 9.9 s of 100 (a step is no gap)."""
    t = np.arange(0.0, 100.0, 0.1)
    t = t[(t < 40.0) | (t > 49.95)]
    gaps = find_gaps(t, 0.0, 100.0)

    assert gaps.longest_s == pytest.approx(10.1, abs=0.01)
    assert gaps.missing_share == pytest.approx(0.10, abs=0.001)


# --- copies of the radio link


def test_a_transmitters_log_is_a_radio_copy():
    slow = Story().rest(30).flight().rest(10).recording(
        sensors="gps baro battery", gps_hz=1.0, slow_hz=2.0
    )  # fmt: skip
    (finding,) = told(as_format(slow, "transmitter"), "radio-copy")

    assert finding.evidence["gps_hz"] == pytest.approx(1.0, rel=0.01)
    assert finding.evidence["battery_hz"] == pytest.approx(2.0, rel=0.01)
    assert "battery monitor 2 Hz" in finding.message
    assert not told(as_format(slow, "dataflash"), "radio-copy")
    assert not told(as_format(flown(), "transmitter"), "radio-copy")
