"""Clocks: other units and zeros, shifts, late fixes."""

from __future__ import annotations

import json

import numpy as np
import pytest

from flightlog.resources import data_path
from flightlog.screening.clocks import Span, misfit
from flightlog.screening.series import _correlations, find_lag
from tests.screening.made import (
    debrief,
    delayed,
    flown,
    sample,
    scaled,
    story,
    told,
    withheld_by,
)

ENERGY = {"energy.used", "charge.used", "energy.per_km", "energy.per_lap"}


# --- mixed clocks: another unit, another zero


@pytest.mark.parametrize(("factor", "said"), [(1e3, "1000 times"), (1e-3, "0.001 times")])
def test_stamps_in_another_unit_withhold_what_needs_the_stream(factor, said):
    recording = scaled(flown(), "battery", "time_s", factor)
    done = debrief(recording)
    (finding,) = told(recording, "mixed-clocks")
    length = float(np.ptp(flown()["battery"]["time_s"]))

    assert finding.severity == "stop"
    assert finding.evidence["stream"] == "battery"
    assert finding.evidence["span_s"] == pytest.approx(length * factor, rel=1e-9)
    assert said in finding.message
    assert withheld_by(done, "mixed-clocks") >= {"energy.used", "charge.used"}
    assert "takeoff.ground_roll" in done.sorties[0].figures


def test_stamps_that_count_from_another_zero():
    recording = delayed(flown(), "battery", 1.7e9)
    (finding,) = told(recording, "mixed-clocks")

    assert "1.7e+09 s away" in finding.message
    assert withheld_by(debrief(recording), "mixed-clocks") >= {"energy.used"}


def test_a_stream_that_starts_late_or_stops_early_is_no_other_clock():
    whole = Span(0.0, 600.0, 6000)

    assert misfit(Span(200.0, 600.0, 400), whole) == ""
    assert misfit(Span(0.0, 30.0, 300), whole) == ""
    assert misfit(Span(0.0, 0.0, 20), whole) == ""
    assert misfit(Span(0.0, 0.6, 6000), whole) != ""


# --- mixed clocks: shifted


@pytest.mark.parametrize("shift_s", [-2.0, 1.5, 4.0])
def test_current_that_answers_another_throttle_withholds_energy(shift_s):
    recording = delayed(flown(), "battery", shift_s)
    done = debrief(recording)
    (finding,) = told(recording, "mixed-clocks")

    assert finding.evidence["lag_s"] == pytest.approx(shift_s, abs=0.1)
    assert f"{abs(finding.evidence['lag_s']):.2f} s" in finding.message
    assert withheld_by(done, "mixed-clocks") == ENERGY
    assert "takeoff.ground_roll" in done.sorties[0].figures


def test_fixes_that_come_seconds_after_the_barometer_withhold_take_off_and_climb():
    recording = delayed(flown(), "gps", 2.0)
    done = debrief(recording)
    found = [f for f in told(recording, "mixed-clocks") if f.evidence["second"] == "gps"]

    assert found[0].evidence["lag_s"] == pytest.approx(2.0, abs=0.2)
    assert withheld_by(done, "mixed-clocks") >= {"takeoff.ground_roll", "climb.best_rate"}


def test_fixes_that_come_seconds_after_the_heading():
    recording = delayed(sample("calm.bin"), "attitude", -3.0)
    pairs = {(f.evidence["first"], f.evidence["second"]) for f in told(recording, "mixed-clocks")}

    assert pairs == {("attitude", "gps")}


@pytest.mark.parametrize("shift_s", [0.0, -0.2, 0.4])
def test_what_filters_and_receivers_do_is_no_other_clock(shift_s):
    assert not told(delayed(flown(), "battery", shift_s), "mixed-clocks")


def test_the_uncertainty_of_a_lag_covers_it():
    """Steps of a known lag under noise: the error is within three of its standard deviations."""
    rng = np.random.default_rng(3)
    off = []
    for lag_s in np.linspace(-1.9, 1.9, 30):
        t = np.arange(0.0, 200.0, 0.1)
        step = np.searchsorted([20.0, 60.0, 110.0, 170.0], t) % 2
        later = np.searchsorted(np.array([20.0, 60.0, 110.0, 170.0]) + lag_s, t) % 2
        noise = rng.normal(size=(2, len(t))) * 0.1
        lag = find_lag((t, step + noise[0]), (t, 5.0 * later + noise[1]), (-0.3, 0.6))
        off.append((lag.value_s - lag_s) / lag.std_s)

    assert np.max(np.abs(off)) < 3.0


def test_noise_has_no_lag():
    rng = np.random.default_rng(4)
    t = np.arange(0.0, 300.0, 0.1)
    found = [find_lag((t, rng.normal(size=len(t))), (t, rng.normal(size=len(t))), (-0.3, 0.6))
             for _ in range(20)]  # fmt: skip

    assert all(lag.r < 0.3 for lag in found)


TIMES = [(1e3, "milliseconds"), (1e6, "microseconds"), (1e-3, "seconds that were taken for mill")]


@pytest.mark.parametrize(("factor", "said"), TIMES)
def test_a_whole_log_in_another_unit_of_time(factor, said):
    recording = flown()
    for table in list(recording):
        recording = scaled(recording, table, "time_s", factor)
    (finding,) = told(recording, "mixed-clocks")

    assert finding.severity == "stop"
    assert finding.evidence["factor"] == pytest.approx(1 / factor)
    assert said in finding.message
    assert all(withheld_by_all(done) for done in debrief(recording).sorties)


def withheld_by_all(sortie) -> bool:
    """Whether nothing that needs a clock is left of a sortie."""
    return not {"takeoff.ground_roll", "energy.used", "climb.best_rate"} & set(sortie.figures)


# --- restarts


def test_a_restart_in_flight_withholds_what_each_part_lacks():
    made = story()
    middle = made.events["liftoff"] + 40.0
    recording = made.recording(seams=(middle,))
    done = debrief(recording)

    assert done.sorties[0].sortie.ends == "air"
    assert "ends-in-air" in done.sorties[0].withheld["flight.duration"]
    assert "starts-in-air" in done.sorties[1].withheld["takeoff.ground_roll"]
    assert told(recording, "restart-in-flight")
    assert len(debrief(made.recording()).sorties) == 1


# --- late fixes

SAMPLES = ("gusty_crosswind", "headwind", "heavy_misses_limit", "attempt_then_takeoff")


@pytest.mark.parametrize("name", SAMPLES)
def test_the_age_of_fixes_is_that_of_the_simulation(name):
    truth = json.loads(
        data_path("sample_flights", f"{name}.truth.json").read_text(encoding="utf-8")
    )
    true_s = _latency(truth)
    finding = told(sample(f"{name}.bin"), "gps-late")[0]

    assert finding.severity == "note"
    assert abs(finding.evidence["latency_s"] - true_s) < 2.5 * finding.evidence["latency_std_s"]
    assert f"{finding.evidence['latency_s']:.2f} s" in finding.message


def _latency(truth) -> float:
    if isinstance(truth, dict):
        if "latency" in truth and "jitter" in truth:
            return truth["latency"]
        return next((v for v in map(_latency, truth.values()) if v is not None), None)
    return None


def test_an_age_that_nothing_shows_is_not_told():
    """Without an IMU only the prior is left: 0.15 s ± 0.14 s."""
    assert not told(sample("position_1hz_only.bin"), "gps-late")
    assert not told(flown(), "gps-late")


def test_a_clean_log_has_none_of_these():
    assert not told(flown(), "mixed-clocks")
    assert not told(flown(), "gps-late")


@pytest.mark.parametrize(("rows", "reach"), [(600, 200), (1000, 24), (1024, 341), (1025, 1)])
def test_correlations_are_the_plain_sums_without_what_wraps_around(rows, reach):
    rng = np.random.default_rng(rows)
    x, y = rng.normal(size=rows) + 3.0, rng.normal(size=rows) - 2.0
    plain = [
        x[: rows - k] @ y[k:] if k >= 0 else x[-k:] @ y[: rows + k]
        for k in range(-reach, reach + 1)
    ]
    assert _correlations(x, y, reach) == pytest.approx(np.array(plain), rel=1e-10)
