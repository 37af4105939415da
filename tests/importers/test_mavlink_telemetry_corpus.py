"""Real telemetry files: the same messages and values as pymavlink's own reading."""

from __future__ import annotations

import os
from collections import Counter, defaultdict
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pymavlink import mavutil
from pymavlink.dialects.v20 import all as dialect

from flightlog.importers.mavlink_telemetry import load, sniff
from flightlog.importers.registry import Match
from flightlog.recording import Recording

CORPUS = os.environ.get("FLIGHTLOG_CORPUS", "")
pytestmark = pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS names no folder of logs")

UNDAMAGED = ["copter_seven_flights_reboot", "plane_bench_cut_mid_record", "runway_simulated"]
ALL = [*UNDAMAGED, "electric_engine_cut_2018"]


def place(name: str) -> Path:
    return Path(CORPUS) / "telemetry" / f"{name}.tlog"


@cache
def ours(name: str) -> Recording:
    return load(place(name))


@cache
def theirs(name: str) -> dict[tuple[int, int, str], list[Any]]:
    """Messages by sender and name, as pymavlink iterates over them, with all definitions."""
    log = mavutil.mavlogfile(str(place(name)))
    log.mav = dialect.MAVLink(log)
    log.mav.robust_parsing = True
    log.auto_mavlink_version = lambda buffer: None
    found: dict[tuple[int, int, str], list[Any]] = defaultdict(list)
    while (message := log.recv_msg()) is not None:
        kind = message.get_type()
        if kind != "BAD_DATA" and not kind.startswith("UNKNOWN"):
            found[message.get_srcSystem(), message.get_srcComponent(), kind].append(message)
    log.close()
    return dict(found)


def key(system: int, component: int, name: str) -> str:
    return name if (system, component) == (1, 1) else f"SYS{system}:{component}/{name}"


@pytest.mark.parametrize("name", UNDAMAGED)
def test_counts_are_those_of_pymavlink(name: str) -> None:
    want = {key(*sender): len(messages) for sender, messages in theirs(name).items()}
    assert dict(ours(name).receipt.message_counts) == want


@pytest.mark.parametrize("name", UNDAMAGED)
def test_values_are_those_of_pymavlink(name: str) -> None:
    raw = ours(name).raw
    for sender, messages in theirs(name).items():
        table = raw[key(*sender)]
        assert list(table.columns) == messages[0].get_fieldnames()
        for field in table.columns:
            want = [getattr(m, field) for m in messages]
            if isinstance(want[0], str):
                assert table[field].tolist() == [w.rstrip("\0") for w in want]
            else:
                np.testing.assert_array_equal(table[field], np.array(want), err_msg=field)


def test_damage_costs_less_than_in_pymavlink() -> None:
    """Frames of an early draft swallow what follows them there; here it is found again."""
    name = "electric_engine_cut_2018"
    raw = ours(name).raw
    more = Counter[str]()
    for sender, messages in theirs(name).items():
        table = raw[key(*sender)]
        more[key(*sender)] = len(table) - len(messages)
        if "time_boot_ms" in table.columns:
            mine = Counter(table["time_boot_ms"].tolist())
            assert not Counter(m.time_boot_ms for m in messages) - mine
    assert min(more.values()) >= 0
    assert sum(more.values()) == 138


@pytest.mark.parametrize("name", ALL)
def test_sniffed(name: str) -> None:
    assert sniff(place(name).read_bytes()[:65536]) is Match.YES


def test_restart_seven_arm_cycles_and_three_senders() -> None:
    recording = ours("copter_seven_flights_reboot")
    codes = {f.code: f for f in recording.findings}
    assert codes["damaged-bytes"].evidence["runs"] == 1314
    assert codes["clock-restart"].evidence["before_s"] == pytest.approx(279, abs=1)
    assert codes["clock-restart"].evidence["after_s"] == pytest.approx(19, abs=1)
    assert codes["several-systems"].evidence["senders"] == 3
    assert len(recording.receipt.seams) == 1
    assert (recording["arming"]["armed"] == 1).sum() == 7
    assert recording["battery"]["current_a"].max() > 15
    assert recording["link"]["rssi_raw"].notna().sum() == 1370
    for name in recording:
        assert (np.diff(recording[name]["time_s"]) >= 0).all()


def test_sentinels_of_a_flight_without_a_power_sensor() -> None:
    recording = ours("electric_engine_cut_2018")
    codes = {f.code for f in recording.findings}
    assert {"current-not-measured", "values-missing", "several-systems"} <= codes
    assert "battery" not in recording
    assert recording["modes"]["mode"].tolist() == ["GUIDED"]
    assert recording["airspeed"]["airspeed_m_s"].between(5, 25).all()


def test_bench_file_is_cut_and_has_no_position() -> None:
    recording = ours("plane_bench_cut_mid_record")
    assert "truncated" in {f.code for f in recording.findings}
    assert recording["gps"]["latitude_deg"].isna().all()
    assert len(recording["parameters"]) == 228
    assert "FORMAT_VERSION" in set(recording["parameters"]["name"])


def test_simulated_flight_agrees_with_its_truth() -> None:
    import json

    truth = json.loads(place("runway_simulated").with_suffix(".truth.json").read_text("utf-8"))
    recording = ours("runway_simulated")
    gps = recording["gps"]
    start = (gps["time_s"] > truth["t_start_roll"] - 5) & (gps["time_s"] < truth["t_start_roll"])
    here = gps.loc[start, ["latitude_deg", "longitude_deg"]].mean()
    assert here.tolist() == pytest.approx(truth["start_latlon"], abs=3e-5)
    at = np.interp(truth["t_liftoff"], gps["time_s"], gps["ground_speed_m_s"])
    assert at == pytest.approx(truth["liftoff_groundspeed"], abs=1.5)
    missing = next(f for f in recording.findings if f.code == "missing-fixes")
    assert missing.evidence["missing"] / (len(gps) + missing.evidence["missing"]) == pytest.approx(
        0.2, abs=0.02
    )
    utc = recording.receipt.utc
    assert utc.offset_s is not None
    assert utc.source.startswith("SYSTEM_TIME")
    assert any("clock" in line and "differ by" in line for line in recording.receipt.notes)
