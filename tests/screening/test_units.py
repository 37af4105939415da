"""Units of speed, height and angle: what must be told, by how much, and what is withheld."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flightlog.screening.series import Fixes, read_fixes, symmetric_slope
from flightlog.screening.units import height_ratio, rises, speed_ratio
from tests.screening.made import (
    as_format,
    changed,
    debrief,
    findings,
    flown,
    imported,
    sample,
    scaled,
    story,
    told,
    withheld_by,
)
from tests.synthetic import Story

# --- speed

SPEEDS = [
    (3.6, "km/h"),
    (3600 / 1852, "knots"),
    (1 / 0.44704, "mph"),
    (1 / 0.3048, "ft/s"),
    (1 / 3.6, "m/s that were taken for km/h"),
    (1852 / 3600, "m/s that were taken for knots"),
]


@pytest.mark.parametrize(("factor", "name"), SPEEDS)
def test_a_ground_speed_in_another_unit_is_named_and_withheld(factor, name):
    recording = scaled(flown(), "gps", "ground_speed_m_s", factor)
    (finding,) = told(recording, "speed-unit")

    assert finding.severity == "stop"
    assert finding.evidence["ratio"] == pytest.approx(factor, rel=0.015)
    assert f"looks like {name}" in finding.message
    assert f"{finding.evidence['ratio']:.3g}" in finding.message
    for sortie in debrief(recording).sorties:
        assert "takeoff.ground_roll" not in sortie.figures
        assert "flight.max_ground_speed" not in sortie.figures


def test_km_h_withholds_roll_and_distance_in_the_debrief():
    done = debrief(scaled(flown(), "gps", "ground_speed_m_s", 3.6))

    assert withheld_by(done, "speed-unit") >= {
        "takeoff.ground_roll", "flight.max_ground_speed", "flight.distance", "laps.mean_time",
        "wind.speed", "energy.per_km",
    }  # fmt: skip
    assert "battery.min_voltage" in done.sorties[0].figures


def test_centimetres_a_second_that_the_importer_left_out():
    recording = imported(scaled(flown(), "gps", "ground_speed_m_s", 100.0), "gps")
    found = told(recording, "speed-unit")

    assert any("cm/s" in f.message for f in found)
    assert all(f.severity == "stop" for f in found)


@pytest.mark.parametrize("noise", [0.1, 0.5])
@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0])
def test_the_ratio_is_one_where_the_unit_is_right(noise, rate_hz):
    recording = story().recording(sensors="gps", gps_hz=rate_hz, speed_noise=noise, drift_m=2.0)
    ratio = speed_ratio(read_fixes(recording))

    assert abs(ratio.value - 1) < 0.03
    assert not told(recording, "speed-unit")


def test_a_speed_that_fits_no_unit_is_still_told():
    (finding,) = told(scaled(flown(), "gps", "ground_speed_m_s", 1.5), "speed-unit")

    assert "no usual unit" in finding.message
    assert finding.severity == "stop"


def test_a_parked_receiver_proves_nothing():
    parked = Story().rest(300).recording(sensors="gps", drift_m=5.0, rest_noise=1.0)
    assert speed_ratio(read_fixes(parked)) is None


def circle(radius_m: float, speed_m_s: float, rate_hz: float) -> Fixes:
    t = np.arange(0.0, 200.0, 1 / rate_hz)
    angle = speed_m_s / radius_m * t
    nothing = np.full(len(t), np.nan)
    return Fixes(
        t, radius_m * np.sin(angle), radius_m * np.cos(angle), np.full(len(t), speed_m_s),
        np.degrees(math.pi / 2 + angle) % 360, nothing, nothing, nothing,
    )  # fmt: skip


def test_chords_of_a_turn_shorten_the_way_by_the_sinc_of_half_the_angle():
    """15 m/s on a radius of 30 m: half an arc of a second is 0.25 rad, sin(x)/x = 0.98962."""
    ratio = speed_ratio(circle(30.0, 15.0, 10.0))

    assert ratio.value == pytest.approx(1 / 0.98962, rel=1e-4)


# --- airspeed


@pytest.mark.parametrize(("factor", "name"), [(3.6, "km/h"), (3600 / 1852, "knots")])
def test_an_airspeed_in_another_unit(factor, name):
    recording = scaled(sample("calm.bin"), "airspeed", "airspeed_m_s", factor)
    (finding,) = told(recording, "speed-unit")
    done = debrief(recording)

    assert finding.evidence["ratio"] == pytest.approx(factor, rel=0.05)
    assert name in finding.message
    assert withheld_by(done, "speed-unit") >= {"flight.max_airspeed", "wind.speed"}
    assert "takeoff.ground_roll" in done.sorties[0].figures


# --- height


@pytest.mark.parametrize(
    ("factor", "name"),
    [(1 / 0.3048, "feet"), (0.3048, "taken for feet"), (100.0, "centimetres"), (0.01, "taken for")],
)
def test_a_height_that_contradicts_its_pressure(factor, name):
    recording = scaled(flown(), "baro", "height_m", factor)
    found = [f for f in told(recording, "height-unit") if f.evidence["column"] == "baro.height_m"]
    done = debrief(recording)

    assert found[0].severity == "stop"
    assert found[0].evidence["ratio"] == pytest.approx(factor, rel=0.02)
    assert name in found[0].message
    for sortie in done.sorties:
        assert not {"climb.best_rate", "flight.max_height", "takeoff.ground_roll"} & set(
            sortie.figures
        )


def test_a_height_in_feet_withholds_climb_and_roll_and_leaves_energy():
    done = debrief(scaled(flown(), "baro", "height_m", 1 / 0.3048))

    assert withheld_by(done, "height-unit") >= {
        "climb.best_rate", "climb.height_at_60s", "flight.max_height", "takeoff.ground_roll",
    }  # fmt: skip
    assert "energy.used" in done.sorties[0].figures


@pytest.mark.parametrize("column", ["baro.height_m", "gps.altitude_msl_m", "gps.climb_m_s"])
def test_without_pressure_two_heights_outvote_the_third(column):
    table, name = column.split(".")
    recording = changed(flown(), baro=flown()["baro"].drop(columns="pressure_pa"))
    found = told(scaled(recording, table, name, 1 / 0.3048), "height-unit")

    assert [f.evidence["column"] for f in found] == [column]
    assert found[0].evidence["ratio"] == pytest.approx(1 / 0.3048, rel=0.1)


def test_an_altitude_in_feet_beside_a_barometer_is_only_a_note():
    recording = scaled(flown(), "gps", "altitude_msl_m", 1 / 0.3048)
    (finding,) = told(recording, "height-unit")

    assert (finding.severity, finding.affects) == ("note", ())
    assert "climb.best_rate" in debrief(recording).sorties[0].figures


def test_a_climb_rate_with_down_positive():
    recording = scaled(flown(), "gps", "climb_m_s", -1.0)
    (finding,) = told(recording, "height-unit")

    assert finding.evidence["ratio"] == pytest.approx(-1.0, abs=0.1)
    assert "sign" in finding.message
    assert finding.severity == "degrade"
    assert "climb.best_rate" in debrief(recording).sorties[0].figures


@pytest.mark.parametrize("factor", [-1.0, 60 / 0.3048, 0.01])
def test_a_wrong_climb_rate_has_no_say_in_any_figure(factor):
    """Every figure is the one of a log that has no climb rate at all."""
    spoilt = debrief(scaled(flown(), "gps", "climb_m_s", factor)).sorties[0]
    without = debrief(scaled(flown(), "gps", "climb_m_s", np.nan)).sorties[0]

    assert {"climb.best_rate", "flight.max_height", "takeoff.ground_roll"} <= set(spoilt.figures)
    assert numbers(spoilt) == numbers(without)


def numbers(sortie) -> dict[str, tuple[float, float]]:
    """Value and standard uncertainty of every figure."""
    return {id_: (f.quantity.value, f.quantity.std) for id_, f in sortie.figures.items()}


def test_two_heights_that_disagree_and_no_third_withhold_what_comes_from_either():
    """Barometer and climb rate alone: nobody knows which of them is in feet."""
    recording = scaled(flown(), "gps", "altitude_msl_m", np.nan)
    recording = changed(recording, baro=recording["baro"].drop(columns="pressure_pa"))
    done = debrief(scaled(recording, "gps", "climb_m_s", 1 / 0.3048))
    (finding,) = (f for f in findings(done) if f.code == "height-unit")

    assert finding.severity == "stop"
    assert withheld_by(done, "height-unit") >= {"climb.best_rate", "flight.max_height"}


@pytest.mark.parametrize("kelvin", [258.15, 288.15, 313.15])
def test_the_air_may_be_as_cold_or_hot_as_it_likes(kelvin):
    """At 25 K off the standard a height is 9 to 11 % off, which is no unit."""
    recording = scaled(flown(), "baro", "height_m", kelvin / 288.15)
    moved = rises(recording)
    ratio = height_ratio(moved.pressure, moved.baro)

    assert ratio.value == pytest.approx(kelvin / 288.15, rel=1e-3)
    assert not told(recording, "height-unit")


# --- how it is told


def test_a_log_with_columns_is_confirmed_in_a_column_map():
    wrong = scaled(flown(), "gps", "ground_speed_m_s", 3.6)
    by_card = told(as_format(wrong, "transmitter"), "speed-unit")[0].remedy
    by_map = told(as_format(wrong, "delimited"), "speed-unit")[0].remedy
    by_logger = told(as_format(wrong, "dataflash"), "speed-unit")[0].remedy

    assert "--map FILE" in by_card
    assert "--columns FILE" in by_card
    assert "correct the unit in the column map" in by_map
    assert "--columns" not in by_logger
    assert "setting of the logger" in by_logger


def test_nothing_is_converted():
    wrong = scaled(flown(), "gps", "ground_speed_m_s", 3.6)
    before = wrong["gps"]["ground_speed_m_s"].copy()
    debrief(wrong)

    assert wrong["gps"]["ground_speed_m_s"].equals(before)


def test_a_clean_log_has_no_odd_unit():
    for recording in (flown(), sample("calm.bin")):
        assert not told(recording, "speed-unit")
        assert not told(recording, "height-unit")
        assert not told(recording, "angle-unit")


def test_the_slope_of_two_noisy_series_is_the_same_both_ways():
    rng = np.random.default_rng(2)
    x = rng.normal(size=400)
    y = 3.0 * (x + 0.2 * rng.normal(size=400))
    x = x + 0.2 * rng.normal(size=400)
    one, other = symmetric_slope(x, y, least_r=0.8), symmetric_slope(y, x, least_r=0.8)

    assert one.value == pytest.approx(1 / other.value)
    assert abs(one.value - 3.0) < 3 * one.std
    assert symmetric_slope(x, rng.normal(size=400), least_r=0.8) is None
