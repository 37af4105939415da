"""Angles in degrees where radians are wanted, and the other way round."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flightlog.screening.angles import attitude_ratio, turning
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

ANGLES = ("roll_rad", "pitch_rad", "yaw_rad")


def turned(factor: float):
    recording = sample("calm.bin")
    attitude = recording["attitude"]
    return changed(recording, attitude=attitude.assign(**{a: attitude[a] * factor for a in ANGLES}))


def test_attitude_in_degrees_withholds_bank_and_take_off():
    recording = turned(180 / math.pi)
    found = told(recording, "angle-unit")
    by_gyro = [f for f in found if "gyro" in f.message]

    assert by_gyro[0].evidence["ratio"] == pytest.approx(180 / math.pi, rel=0.05)
    assert "looks like degrees" in by_gyro[0].message
    assert all(f.severity == "stop" for f in found)
    assert withheld_by(debrief(recording), "angle-unit") >= {
        "flight.max_bank",
        "takeoff.ground_roll",
    }


def test_attitude_in_degrees_after_the_importer_left_out_what_it_could():
    recording = imported(turned(180 / math.pi), "attitude")
    found = told(recording, "angle-unit")

    assert any("degrees" in f.message for f in found)
    assert "flight.max_bank" in withheld_by(debrief(recording), "angle-unit")


def test_attitude_in_hundredths_of_a_degree_without_a_gyro():
    recording = changed(turned(18_000 / math.pi), imu=None)
    found = told(recording, "angle-unit")

    assert any("hundredths of a degree" in f.message for f in found)


def test_course_in_radians():
    recording = scaled(flown(), "gps", "course_deg", math.pi / 180)
    (finding,) = told(recording, "angle-unit")

    assert finding.evidence["column"] == "gps.course_deg"
    assert "only as radians" in finding.message
    assert withheld_by(debrief(recording), "angle-unit") >= {
        "takeoff.ground_roll", "laps.mean_time", "wind.speed", "flight.distance",
    }  # fmt: skip


def test_course_in_hundredths_of_a_degree():
    recording = scaled(flown(), "gps", "course_deg", 100.0)

    assert any("hundredths" in f.message for f in told(recording, "angle-unit"))
    assert any("hundredths" in f.message for f in told(imported(recording, "gps"), "angle-unit"))


def test_positions_in_radians():
    recording = flown()
    gps = recording["gps"]
    places = {c: np.radians(gps[c]) for c in ("latitude_deg", "longitude_deg")}
    (finding,) = told(changed(recording, gps=gps.assign(**places)), "angle-unit")

    assert finding.evidence["ratio"] == pytest.approx(180 / math.pi, rel=0.02)
    assert "radians" in finding.message
    assert finding.severity == "stop"


def test_positions_as_ten_millionths_of_a_degree():
    recording = flown()
    gps = recording["gps"]
    # 48.1 N, 11.5 E, as integers
    places = {
        "latitude_deg": (48.1 + gps["latitude_deg"]) * 1e7,
        "longitude_deg": (11.5 + gps["longitude_deg"]) * 1e7,
    }
    found = told(imported(changed(recording, gps=gps.assign(**places)), "gps"), "angle-unit")

    assert {f.evidence["column"] for f in found} == {"gps.latitude_deg", "gps.longitude_deg"}
    assert all("ten-millionths of a degree" in f.message for f in found)


def test_the_gyro_agrees_with_the_attitude_where_units_are_right():
    ratio = attitude_ratio(sample("calm.bin"))

    assert ratio.value == pytest.approx(1.0, abs=0.05)
    assert not told(sample("calm.bin"), "angle-unit")


def test_a_straight_flight_proves_nothing_about_its_course():
    straight = np.full(200, 1.0)

    assert turning(straight, straight, 1.0, {0.1: "tenths"}) is None


def test_a_side_wind_is_no_other_unit():
    """A heading that stands 20° off the course all the way round agrees with it entirely."""
    motion = np.linspace(0.0, 4 * math.pi, 400)
    found = turning(motion, motion + 0.35, 1.0, {math.pi / 180: "degrees"})

    assert found.as_stated == pytest.approx(1.0)
    assert found.as_other < 0.3
