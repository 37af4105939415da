"""Random take-offs: their tables, their truth, their strata."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pymavlink import DFReader

from flightlog.columns import TABLES
from sample_flights.generator.flights import write_takeoff
from sample_flights.generator.takeoffs import Tables, Truth, simulate_takeoffs

Both = tuple[Tables, Truth]


@pytest.fixture(scope="module")
def some() -> list[Both]:
    return simulate_takeoffs(12, 99, after_s=5.0)


def test_columns_are_those_of_the_dictionary(some: list[Both]) -> None:
    for tables, _ in some:
        assert {"gps", "battery", "outputs", "arming"} <= set(tables)
        for name, table in tables.items():
            assert set(table.columns) <= {column.name for column in TABLES[name]}
            assert table["time_s"].is_monotonic_increasing
            numbers = table.to_numpy(dtype=float)
            assert np.isfinite(numbers).all()


def test_same_seed_gives_the_same_take_offs(some: list[Both]) -> None:
    (again_tables, again), *_ = simulate_takeoffs(1, 99, after_s=5.0)
    tables, known = some[0]
    assert again["ground_roll_m"] == pytest.approx(known["ground_roll_m"], abs=1e-6)
    assert set(again_tables) == set(tables)
    assert np.allclose(again_tables["gps"]["latitude_deg"], tables["gps"]["latitude_deg"])


def test_events_come_in_order_and_distances_agree(some: list[Both]) -> None:
    for _, known in some:
        assert known["t_start_roll"] < known["t_first_airborne"] <= known["t_liftoff"]
        assert known["t_liftoff"] < known["clear"]["2"]["t"] < known["clear"]["5"]["t"]
        assert known["first_airborne_dist_m"] <= known["ground_roll_m"] + 1e-9
        assert known["ground_roll_m"] <= known["ground_roll_path_m"] + 1e-6
        assert 8.0 < known["ground_roll_m"] < 110.0
        assert 8.0 < known["liftoff_groundspeed"] < 19.0
        late = known["t_liftoff"] - known["t_first_airborne"]
        assert (known["stratum"]["liftoff"] == "skipping") == (late > 0.05)
        if late > 0.05:
            assert known["contacts_before_2m"] >= 2


def test_strata_are_what_was_asked_for() -> None:
    wanted: dict[str, Any] = {
        "gps_hz": 10,
        "imu": "100-400",
        "surface": "rough",
        "air": "calm",
        "liftoff": "skipping",
        "vibration": (0.2, 0.3),
    }
    for tables, known in simulate_takeoffs(2, 4, after_s=4.0, **wanted):
        stratum = known["stratum"]
        assert {k: stratum[k] for k in wanted if k != "vibration"} == {
            k: v for k, v in wanted.items() if k != "vibration"
        }
        assert 0.2 <= stratum["vibration"] <= 0.3
        rate = 1.0 / tables["imu"]["time_s"].diff().median()
        assert 99.0 < rate < 401.0
        assert tables["gps"]["time_s"].diff().median() == pytest.approx(0.1, abs=0.01)
        assert known["contacts_before_2m"] >= 2


def test_position_tells_the_true_roll_within_the_receivers_own_error(some: list[Both]) -> None:
    miss = []
    for tables, known in some:
        gps = tables["gps"]
        when = gps["time_s"] - known["latency_s"]
        lat, lon = (
            np.interp([known["t_start_roll"], known["t_liftoff"]], when, gps[k])
            for k in ("latitude_deg", "longitude_deg")
        )
        roll = np.hypot(*(np.diff(v)[0] * 111_000.0 for v in (lat, lon)))
        miss.append(roll - known["ground_roll_m"])
    assert np.median(np.abs(miss)) < 1.5
    assert np.abs(miss).max() < 9.0  # 1 Hz cuts the corner at lift-off


def test_accelerometer_shows_gravity_at_rest(some: list[Both]) -> None:
    for tables, known in some:
        if "imu" not in tables:
            continue
        imu = tables["imu"]
        rest = imu[imu["time_s"] < known["t_throttle_up"] - 0.5]
        assert abs(rest["accel_z_m_s2"].mean() + 9.80665) < 0.75
        assert rest["accel_z_m_s2"].std() < 0.25


def test_files_hold_what_the_tables_held(some: list[Both], tmp_path: Path) -> None:
    tables, known = next(one for one in some if one[1]["stratum"]["imu"] == "25-50")
    path = tmp_path / "takeoff.bin"
    write_takeoff(path, tables, known)
    log = DFReader.DFReader_binary(str(path))
    rows: dict[str, list[Any]] = {"GPS": [], "IMU": [], "RCOU": []}
    while (message := log.recv_match(type=list(rows))) is not None:
        rows[message.get_type()].append(message)
    log.close()
    assert len(rows["GPS"]) == len(tables["gps"])
    assert len(rows["IMU"]) == len(tables["imu"])
    assert len(rows["RCOU"]) * 4 == len(tables["outputs"])
    for message, row in zip(rows["GPS"], tables["gps"].itertuples(), strict=True):
        assert message.TimeUS == pytest.approx(row.time_s * 1e6, abs=1.0)
        assert message.Lat == pytest.approx(row.latitude_deg, abs=6e-8)
        assert message.VZ == pytest.approx(-row.climb_m_s, abs=1e-5)
    for message, row in zip(rows["IMU"], tables["imu"].itertuples(), strict=True):
        assert message.AccZ == pytest.approx(row.accel_z_m_s2, abs=1e-5)
    written = json.loads(path.with_suffix(".truth.json").read_text(encoding="utf-8"))
    assert written["clear"] == known["clear"]
    assert set(written) == set(known)
