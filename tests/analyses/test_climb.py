import numpy as np
import pandas as pd
import pytest

from flightlog.analyses import climb
from flightlog.analyses.extremes import largest, smallest
from flightlog.analyses.heights import temperature_factor, wheel_heights
from flightlog.figures import Answer, Figure
from flightlog.uncertain import Uncertain

from .made import baro, path, recording, sortie

T = np.arange(0.0, 210.0, 0.1)


def after_start(t):
    """METHODS, E3f: 18 s on the ground, then a steady 3.1 m/s; start of roll at 20 s."""
    return np.where(t < 38, 0.0, np.minimum(3.1 * (t - 38), 200.0))


def with_baro(height=after_start):
    return recording(baro=baro(T, height))


def in_the_air(**more):
    return sortie(ends="air", touchdown=None, **more)


def test_height_after_a_minute_of_the_worked_example():
    track = path(T, after_start, lambda t: 15.0 * t)
    answer = climb.answer(with_baro(), in_the_air(), track)
    assert answer.figures["climb.height_at_60s"].quantity.value == pytest.approx(130.2, abs=1e-6)
    assert answer.figures["climb.best_rate"].quantity.value == pytest.approx(3.1, abs=0.02)
    gradient = answer.figures["climb.gradient"].quantity
    assert gradient.value == pytest.approx(3.1 / 15, rel=0.01)
    assert gradient.std > 0.02 * gradient.value


def test_interval_of_the_height_names_its_parts():
    track = path(T, after_start, lambda t: 15.0 * t, height_std=0.2)
    start = Figure("takeoff.start_time", Uncertain.of(20.0, 0.1, "s", source="t"), "", ("gps",))
    answer = climb.answer(with_baro(), in_the_air(), track, Answer({"takeoff.start_time": start}))
    sources = answer.figures["climb.height_at_60s"].quantity.sources
    assert sources["air temperature"] == pytest.approx(0.02 * 130.2)
    assert sources["start of roll"] == pytest.approx(0.1 * 3.1)
    assert sources["height noise"] == pytest.approx(0.2)
    assert sources["height drift"] == pytest.approx(0.2)  # 0.2 m in a minute
    # Cp of 0.035 at 15 m/s.
    assert sources["static pressure"] == pytest.approx(0.035 * 15**2 / 2 / 9.80665)


@pytest.mark.parametrize(
    ("flight", "reason"),
    [
        (sortie(20, 70, touchdown=61.0), "the flight ended 41 s after the start of roll"),
        (sortie(20, 70, touchdown=None, ends="air"), "the log ended 50 s after"),
        (sortie(launch="hand"), "launched by hand"),
        (sortie(starts="rolling", launch="unknown"), "start logging at rest"),
    ],
)
def test_height_after_a_minute_is_withheld(flight, reason):
    answer = climb.answer(with_baro(), flight, path(T, after_start))
    assert reason in answer.withheld["climb.height_at_60s"]
    assert "climb.height_at_60s" not in answer.figures


@pytest.mark.parametrize("track", [None, path(T)])
def test_without_heights_all_is_withheld(track):
    answer = climb.answer(recording(), sortie(), track)
    assert set(answer.withheld) == {"climb.best_rate", "climb.height_at_60s", "climb.gradient"}
    assert all("log a barometer" in reason for reason in answer.withheld.values())


def test_a_hole_in_the_barometer_is_not_measured():
    holed = with_baro()["baro"]
    holed = holed[(holed["time_s"] < 70) | (holed["time_s"] > 90)]
    answer = climb.answer(recording(baro=holed), in_the_air(), path(T, after_start))
    assert "no height 60 s after" in answer.withheld["climb.height_at_60s"]
    assert answer.figures["climb.best_rate"].quantity.value == pytest.approx(3.1, abs=0.02)


def test_gps_heights_have_wider_intervals_and_no_temperature():
    track = path(T, after_start, lambda t: 15.0 * t)
    gps = climb.answer(recording(), in_the_air(), track).figures["climb.best_rate"]
    assert gps.sources == ("gps",)
    assert set(gps.quantity.sources) == {"height noise", "height drift"}
    assert gps.quantity.std > 0.1


def test_drift_is_taken_out_and_said():
    def drifting(t):
        return np.interp(t, [20, 60, 160, 190, 200], [0, 40, 40, 0, 0]) + 3 * np.clip(
            (t - 20) / 180, 0, 1
        )

    still = path(T, drifting, lambda t: 15.0 * np.clip(t - 20, 0, 170))
    answer = climb.answer(with_baro(drifting), sortie(), still)
    (finding,) = answer.findings
    assert finding.code == "baro-drift"
    assert finding.evidence["drift_m"] == pytest.approx(3.0, abs=0.02)
    assert answer.figures["climb.height_at_60s"].quantity.value == pytest.approx(40.0, abs=0.05)


def test_small_drift_is_left_alone():
    still = path(T, lambda t: np.full(t.size, 0.6), lambda t: 15.0 * np.clip(t - 20, 0, 170))
    heights = wheel_heights(with_baro(), sortie(), still)
    assert heights is not None
    assert not heights.findings
    assert heights.height_m[-1] == 0.6


def test_known_air_temperature_as_in_the_worked_example():
    # METHODS, E3c: 3.0 m/s indicated where the standard says 287.50 K, air at 303.15 K.
    h = np.linspace(90, 110, 200)
    pressure = 101325 * (1 - 0.0065 * h / 288.15) ** 5.2558797
    log = recording(
        baro=pd.DataFrame({"time_s": np.arange(200.0), "pressure_pa": pressure, "height_m": h})
    )
    factor = temperature_factor(log, 303.15)
    assert factor is not None
    assert 3.0 * factor == pytest.approx(3.1633043478260867, rel=1e-4)


def test_known_temperature_narrows_and_corrects():
    def pressure(h):
        return 101325 * np.exp(-9.80665 * h / (287.05287 * 303.15))

    table = with_baro()["baro"].assign(pressure_pa=pressure(1.05 * after_start(T)))
    track = path(T, after_start, lambda t: 15.0 * t)
    log = recording(baro=table)
    unknown = climb.answer(log, in_the_air(), track).figures["climb.best_rate"].quantity
    known = climb.answer(log, in_the_air(), track, None, 303.15).figures["climb.best_rate"].quantity
    assert known.value == pytest.approx(1.05 * 3.1, rel=0.01)
    assert known.std < 0.7 * unknown.std


def test_best_rate_is_not_the_luckiest_window():
    # A steady climb seen through noise: the largest window is biased, the figure must not be.
    rng = np.random.default_rng(8)
    errors, inside = [], 0
    for _ in range(40):
        noise = np.convolve(rng.normal(0, 0.5, T.size + 19), np.ones(20) / 20, "valid")
        std = float(np.std(noise))
        track = path(T, lambda t, n=noise: 3.0 * (t - 20) + n, lambda t: 15.0 * t, height_std=std)
        q = climb.answer(with_baro(), in_the_air(), track).figures["climb.best_rate"].quantity
        raw = (track.height_m[300:] - track.height_m[200:-100]).max() / 10
        assert q.value < raw
        errors.append(q.value - 3.0)
        noise_only = q.sources["height noise"]
        inside += abs(q.value - 3.0) < 1.96 * noise_only
    assert abs(np.mean(errors)) < 0.03
    assert inside >= 34


def test_extreme_of_a_clear_peak_is_unbiased():
    rng = np.random.default_rng(3)
    t = np.arange(0, 100, 0.5)
    hill = 10 * np.exp(-(((t - 50) / 3) ** 2))
    found = [largest(t, hill + rng.normal(0, 0.3, t.size), 0.3, 0.0) for _ in range(60)]
    assert np.mean([f.value for f in found]) == pytest.approx(10.0, abs=0.15)
    covered = [abs(f.value - 10.0) < 1.96 * f.std for f in found]
    # 60 draws of 95 %, less what a sharp peak loses to smoothing.
    assert np.mean(covered) > 0.85
    low = smallest(t, -hill, 0.0, 0.0)
    assert (low.value, low.std, low.time_s) == (-10.0, 0.0, 50.0)
