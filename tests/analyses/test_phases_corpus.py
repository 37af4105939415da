"""The real logs: every flight found once, to about a second, and nothing else."""

from __future__ import annotations

import json
import os
from functools import cache
from pathlib import Path

import pytest

import flightlog
from flightlog.analyses.phases import find_sorties

_ROOT = os.environ.get("FLIGHTLOG_CORPUS")
pytestmark = pytest.mark.skipif(not _ROOT, reason="FLIGHTLOG_CORPUS names no folder of real logs")

RUNWAY = [f"j{n}" for n in range(31, 41)] + [f"r{n}" for n in range(25, 31)]


@cache
def phases(name: str):
    return find_sorties(flightlog.read(Path(_ROOT or "") / name))


def truth(name: str):
    return json.loads((Path(_ROOT or "") / name).read_text(encoding="utf-8"))


@pytest.mark.parametrize("log", RUNWAY)
def test_simulated_take_off(log):
    (sortie,), attempts, findings = phases(f"runway/{log}.bin")
    true = truth(f"runway/{log}.truth.json")
    assert (sortie.launch, sortie.starts, sortie.ends) == ("runway", "rest", "air")
    assert sortie.start_s == pytest.approx(true["t_start_roll"], abs=1.0)
    assert sortie.liftoff_s == pytest.approx(true["t_liftoff"], abs=1.0)
    assert sortie.search_s[0] <= true["t_start_roll"] - 5.0
    assert sortie.search_s[1] >= true["clear"]["5"]["t"] + 4.0
    assert attempts == ()
    assert [f.code for f in findings] == ["ends-in-air"]


@pytest.mark.parametrize(
    "log", ["dataflash/runway_simulated.bin", "telemetry/runway_simulated.tlog"]
)
def test_whole_simulated_flight(log):
    (sortie,), attempts, findings = phases(log)
    true = truth(log.rsplit(".", 1)[0] + ".truth.json")
    assert (sortie.launch, sortie.starts, sortie.ends) == ("runway", "rest", "standstill")
    assert sortie.start_s == pytest.approx(true["t_start_roll"], abs=1.0)
    assert sortie.liftoff_s == pytest.approx(true["t_liftoff"], abs=1.0)
    assert sortie.touchdown_s == pytest.approx(true["landing"]["t_final_touch"], abs=1.0)
    assert sortie.end_s == pytest.approx(true["landing"]["t_stop"], abs=1.0)
    assert (attempts, findings) == ((), ())


def test_real_hand_launch_after_four_minutes_of_drift():
    (sortie,), attempts, findings = phases("dataflash/electric_hand_launch_2013.bin")
    assert (sortie.launch, sortie.ends) == ("hand", "standstill")
    assert sortie.liftoff_s == pytest.approx(262.5, abs=1.0)
    assert sortie.touchdown_s == pytest.approx(583.0, abs=1.5)
    assert sortie.end_s == pytest.approx(584.0, abs=1.0)
    assert attempts == ()
    assert [f.code for f in findings] == ["hand-launch"]


def test_multicopter_log_that_starts_in_the_air():
    (sortie,), attempts, findings = phases("dataflash/copter_starts_in_air.bin")
    assert (sortie.launch, sortie.starts, sortie.ends) == ("air", "air", "standstill")
    assert sortie.end_s < 453.6
    assert attempts == ()
    assert [f.code for f in findings] == ["starts-in-air"]


@pytest.mark.parametrize(
    "log",
    [
        "dataflash/plane_ground_only_a.bin",
        "dataflash/plane_ground_only_b.bin",
        "telemetry/plane_bench_cut_mid_record.tlog",
    ],
)
def test_logs_from_the_ground(log):
    sorties, attempts, findings = phases(log)
    assert (sorties, attempts) == ((), ())
    assert [f.code for f in findings] == ["no-flight"]


def test_telemetry_that_starts_and_ends_in_the_air():
    (sortie,), attempts, findings = phases("telemetry/electric_engine_cut_2018.tlog")
    assert (sortie.starts, sortie.ends) == ("air", "air")
    assert attempts == ()
    assert [f.code for f in findings] == ["starts-in-air", "ends-in-air"]


def test_seven_arm_cycles_hold_five_flights():
    sorties, attempts, _ = phases("telemetry/copter_seven_flights_reboot.tlog")
    # the third and fourth arm cycle last 5 s, with the motors idling
    lasted = [round(s.end_s - s.start_s) for s in sorties]
    assert len(lasted) == 5
    for seconds, armed in zip(lasted, (112, 142, 63, 29, 72), strict=True):
        assert armed - 20 < seconds <= armed + 1
    assert {s.launch for s in sorties} == {"unknown"}
    assert attempts == ()
