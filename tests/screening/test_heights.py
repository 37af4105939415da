"""The static port, a barometer that warms up, and which altitude a file holds."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from flightlog.analyses.baro_errors import port_error, warming
from flightlog.analyses.phases import find_sorties
from flightlog.analyses.takeoff import measure_takeoff, refined
from flightlog.inputs import Inputs, Site, load_site
from flightlog.resources import data_path
from tests.screening.made import (
    changed,
    debrief,
    flown,
    half_width,
    sample,
    story,
    told,
)
from tests.synthetic import Story

G = 9.80665

# --- static port


def with_port(coefficient: float):
    """The made flight whose static port reads so much of the dynamic pressure too high."""
    recording = flown()
    baro, truth = recording["baro"], story().truth()
    speed = np.interp(baro["time_s"], truth["time"], truth["speed"])
    # the made barometer has -0.3 m at 13 m/s already
    error = 0.3 * (speed / 13.0) ** 2 - coefficient * speed**2 / (2 * G)
    return changed(recording, baro=baro.assign(height_m=baro["height_m"] + error))


@pytest.mark.parametrize("coefficient", [0.12, -0.12])
def test_a_height_that_goes_with_the_speed_in_the_roll(coefficient):
    recording = with_port(coefficient)
    (finding,) = told(recording, "static-pressure-error")
    error_m = -coefficient * 13.0**2 / (2 * G)

    assert finding.severity == "degrade"
    assert finding.evidence["coefficient"] == pytest.approx(
        coefficient, abs=2 * finding.evidence["coefficient_std"]
    )
    assert finding.evidence["error_m"] == pytest.approx(error_m, abs=0.25)
    assert f"{finding.evidence['error_m']:+.2f} m" in finding.message
    clean = debrief(with_port(0.0))
    assert half_width(debrief(recording), "climb.height_at_60s") > 1.2 * half_width(
        clean, "climb.height_at_60s"
    )


def test_the_port_of_a_sound_aircraft_is_not_told():
    """0.035 is within what every height allows for, and 0.3 m within what a slope may be."""
    assert not told(with_port(0.035), "static-pressure-error")
    assert not told(flown(), "static-pressure-error")
    assert not told(sample("calm.bin"), "static-pressure-error")


def test_a_runway_that_climbs_is_no_port_error():
    """3 % over 28 m is 0.84 m; the site file says so."""
    recording = flown()
    baro, truth = recording["baro"], story().truth()
    way = np.cumsum(truth["speed"]) * 0.02
    rolled = np.minimum(np.interp(baro["time_s"], truth["time"], way), 28.2)
    uphill = changed(recording, baro=baro.assign(height_m=baro["height_m"] + 0.04 * rolled))
    site = load_site(data_path("sample_flights", "site.toml"))
    steep = replace(site, runway=replace(site.runway, slope=0.04))

    assert told(uphill, "static-pressure-error")
    assert not told(uphill, "static-pressure-error", Inputs(site=steep))


SAMPLES = (
    "calm.bin", "headwind.bin", "marginal.bin", "two_flights.bin", "radio_copy.tlog",
    "attempt_then_takeoff.bin", "gusty_crosswind.bin",
)  # fmt: skip


@pytest.mark.parametrize("name", SAMPLES)
def test_the_port_is_that_of_the_simulation(name):
    """Its truth tells the share of the dynamic pressure, and more of it near the ground."""
    stem = name.partition(".")[0]
    truth = json.loads(
        data_path("sample_flights", f"{stem}.truth.json").read_text(encoding="utf-8")
    )
    port = _port(truth)
    recording = sample(name)
    (sortie, *_), _, _ = find_sorties(recording)
    sortie = refined(sortie, measure_takeoff(recording, sortie, Inputs()))
    error = port_error(recording, sortie)

    true = port["pressure_share"] + port["ground_share"]
    assert abs(-error.coefficient - true) < 2.0 * error.std


def _port(truth):
    if isinstance(truth, dict):
        if "pressure_share" in truth:
            return truth
        return next((v for v in map(_port, truth.values()) if v is not None), None)
    return None


# --- warming


def long_rest(rest_s: float = 300.0):
    made = Story().rest(rest_s).event("roll").roll().event("liftoff").climb(40.0)
    return made.cruise(60, turn_deg=360.0).descend().event("touchdown").stop().rest(20)


def warmed(per_kelvin_m: float, kelvin: float = 6.0, rest_s: float = 300.0):
    """A sensor that warms up with a time constant of two minutes."""
    recording = long_rest(rest_s).recording()
    baro = recording["baro"]
    t = baro["time_s"] - baro["time_s"].iloc[0]
    rise = kelvin * (1 - np.exp(-t / 120.0))
    shown = baro["height_m"] + per_kelvin_m * rise
    return changed(recording, baro=baro.assign(height_m=shown, temperature_k=295.0 + rise))


def test_a_barometer_that_warms_up_at_rest():
    recording = warmed(-0.8)
    (finding,) = told(recording, "baro-warming")

    assert finding.severity == "degrade"
    assert finding.evidence["per_kelvin_m"] == pytest.approx(-0.8, abs=0.03)
    # 300 s are 2.5 time constants: 5.5 K of 6
    assert finding.evidence["warmed_k"] == pytest.approx(6 * (1 - np.exp(-2.5)), abs=0.3)
    assert f"{finding.evidence['move_m']:+.1f} m" in finding.message
    # after 4.5 min, -4.8 m / 120 s * exp(-2.25)
    assert finding.evidence["rate_m_s"] == pytest.approx(-0.04 * np.exp(-2.25), abs=0.001)


def test_warming_widens_heights_until_the_zero_is_seen_again():
    """Two minutes of rest leave -4.8 m (exp(-1) - exp(-1.5)) = -0.69 m for the minute after."""
    spoilt = warmed(-0.8, rest_s=120.0)
    end = long_rest(120.0).events["liftoff"] + 70.0
    clean, spoilt = (
        changed(one, **{n: one[n][one[n]["time_s"] < end] for n in one})
        for one in (long_rest(120.0).recording(), spoilt)
    )
    low, high = debrief(spoilt).sorties[0].figures["climb.height_at_60s"].quantity.interval(0.95)

    assert half_width(debrief(spoilt), "climb.height_at_60s") > 1.3 * half_width(
        debrief(clean), "climb.height_at_60s"
    )
    assert low < 40.0 < high


@pytest.mark.parametrize(("per_kelvin_m", "kelvin"), [(0.0, 8.0), (0.05, 8.0), (-0.8, 0.5)])
def test_a_warm_sensor_that_keeps_its_zero_and_a_cold_one_are_not_told(per_kelvin_m, kelvin):
    assert not told(warmed(per_kelvin_m, kelvin), "baro-warming")


def test_weather_without_warming_is_not_told():
    recording = long_rest().recording(baro_drift_m=4.0)
    baro = recording["baro"]
    steady = 295.0 + 0.3 * np.sin(baro["time_s"] / 20.0)
    recording = changed(recording, baro=baro.assign(temperature_k=steady))
    (sortie,), _, _ = find_sorties(recording)

    assert warming(recording, sortie) is None


# --- drift


def test_a_drift_that_was_taken_out_leaves_the_middle_less_sure():
    clean, drifted = story().recording(), story().recording(baro_drift_m=5.0)
    (finding,) = told(drifted, "baro-drift")

    assert finding.severity == "degrade"
    assert half_width(debrief(drifted), "climb.height_at_60s") > 1.1 * half_width(
        debrief(clean), "climb.height_at_60s"
    )
    assert not told(clean, "baro-drift")


# --- altitude


def test_heights_without_a_barometer_are_told_and_wider():
    recording = changed(flown(), baro=None)
    (finding,) = told(recording, "altitude-reference")

    assert finding.severity == "degrade"
    assert finding.evidence["drift_95_m"] > 3.0
    assert f"{finding.evidence['drift_95_m']:.1f} m" in finding.message
    assert half_width(debrief(recording), "climb.height_at_60s") > 1.5 * half_width(
        debrief(flown()), "climb.height_at_60s"
    )
    assert not told(flown(), "altitude-reference")


@pytest.mark.parametrize(("elevation_m", "said"), [(253.0, True), (295.0, False)])
def test_an_altitude_far_from_that_of_the_site(elevation_m, said):
    """The made receiver stands at 300 m."""
    site = Site("strip-2", "0" * 64, elevation_m=elevation_m)
    found = told(flown(), "altitude-reference", Inputs(site=site))

    assert bool(found) == said
    for finding in found:
        assert (finding.severity, finding.affects) == ("note", ())
        assert finding.evidence["off_m"] == pytest.approx(47.0, abs=1.0)
        assert "+47 m" in finding.message
