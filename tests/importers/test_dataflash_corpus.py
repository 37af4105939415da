"""Real DataFlash logs: the values of an independent decoder, and tables that make sense.

The complete comparison is ``python tests/accuracy/compare_decoder.py``.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

import pytest

from flightlog.importers import read
from flightlog.recording import Recording
from tests.accuracy.compare_decoder import differences

CORPUS = os.environ.get("FLIGHTLOG_CORPUS", "")
pytestmark = pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS names no folder of logs")


@cache
def recording(name: str) -> Recording:
    return read(Path(CORPUS, name))


@pytest.mark.parametrize(
    "name",
    [
        "copter_starts_in_air",
        "plane_ground_only_a",
        "plane_ground_only_b",
        "electric_hand_launch_2013",
    ],
)
def test_every_value_is_the_one_of_the_other_decoder(name):
    found, messages, values = differences(Path(CORPUS, "dataflash", f"{name}.bin"))

    assert found == []
    assert messages > 10_000
    assert values > 100_000


def test_the_flight_of_2013():
    log = recording("dataflash/electric_hand_launch_2013.bin")

    assert log["gps"]["time_s"].iloc[0] == pytest.approx(13.3, abs=0.1)
    assert log.receipt.duration_s == pytest.approx(613, abs=1)
    assert log["battery"]["current_a"].isna().all()
    assert log["battery"]["voltage_v"].isna().sum() == 1, "the last one reads 0 V"
    assert {"current-not-measured", "values-missing"} <= {f.code for f in log.findings}
    assert log["airspeed"]["airspeed_m_s"].max() > 20
    assert set(log["modes"]["mode"]) == {"MANUAL", "RTL", "FBWA", "AUTO"}
    assert "outputs" not in log


def test_the_simulated_flight():
    log = recording("dataflash/runway_simulated.bin")

    assert set(log) >= {"gps", "baro", "airspeed", "imu", "attitude", "battery", "outputs"}
    assert log.receipt.firmware.startswith("ArduPlane V4.7")
    assert log["arming"]["armed"].tolist() == [1.0, 0.0]
    assert log.receipt.chosen_instances["imu"] == 0
    assert log.one("imu")["accel_z_m_s2"].median() == pytest.approx(-9.8, abs=0.1)
    assert log["rotation"]["speed_rad_s"].max() == pytest.approx(733, abs=5)


def test_a_log_that_starts_in_the_air():
    log = recording("dataflash/copter_starts_in_air.bin")

    assert log["gps"]["time_s"].iloc[0] > 400
    assert log.receipt.chosen_instances["imu"] in (0, 1)
    assert log["modes"]["mode"].tolist() == ["RTL"]


@pytest.mark.parametrize("number", range(31, 41))
def test_modelled_flights_have_no_damage(number):
    log = recording(f"runway/j{number}.bin")

    assert log.findings == ()
    assert log["gps"]["fix"].min() >= 3
    assert log["battery"]["current_a"].max() > 30
