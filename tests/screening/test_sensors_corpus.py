"""Which findings about power, outputs, sensors and entries real logs have: all of them true."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from flightlog.debriefing import debrief
from flightlog.importers import read
from flightlog.inputs import Aircraft, Inputs
from tests.corpus import debriefed
from tests.screening.made import findings

CORPUS = os.environ.get("FLIGHTLOG_CORPUS", "")
pytestmark = pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS names no folder of logs")

OURS = {
    *("cell-count", "current-scale", "wiring-resistance", "surface-sense", "pulse-unit"),
    *("throttle-channel", "accelerometer-unit", "accelerometer-clipped", "board-rotated"),
    *("vibration-folds", "wind-unknown", "airspeed-unusable", "mass-doubtful", "pack-doubtful"),
}

NOTHING: set[tuple[str, str]] = set()

TABLE = {
    # A multicopter at 25 Hz, whose vibration is there to be folded.
    "dataflash/copter_starts_in_air.bin": {("vibration-folds", "note")},
    "dataflash/electric_hand_launch_2013.bin": NOTHING,  # three cells
    "dataflash/plane_ground_only_a.bin": NOTHING,
    "dataflash/plane_ground_only_b.bin": NOTHING,
    "dataflash/runway_simulated.bin": NOTHING,
    **{f"runway/j{n}.bin": NOTHING for n in range(31, 41)},
    **{f"runway/r{n}.bin": NOTHING for n in range(25, 31)},
    "telemetry/copter_seven_flights_reboot.tlog": NOTHING,
    "telemetry/electric_engine_cut_2018.tlog": NOTHING,
    "telemetry/plane_bench_cut_mid_record.tlog": NOTHING,
    "telemetry/runway_simulated.tlog": NOTHING,
    "ulog/sample.ulg": NOTHING,
    # On the ground, with an airspeed of -3.6 to -1.1 m/s.
    "ulog/sample_log_small.ulg": {("airspeed-unusable", "note")},
    "ulog/sample_px4_events.ulg": NOTHING,
    "transmitter/four_sessions_2021-08-29.csv": NOTHING,
}


@pytest.mark.parametrize("name", TABLE)
def test_a_log_has_just_these_findings(name):
    given = {(f.code, f.severity) for f in findings(debriefed(name)) if f.code in OURS}

    assert given == TABLE[name]


@pytest.mark.parametrize("name", [n for n in TABLE if n.startswith("runway/")])
def test_no_runway_log_loses_its_roll(name):
    (sortie,) = debriefed(name).sorties

    assert "takeoff.ground_roll" in sortie.figures
    assert "flight.max_airspeed" in sortie.figures
    assert "energy.used" in sortie.figures


# Outputs of the autopilot's firmware in its own simulation, none of them reversed: by its
# documentation a longer pulse rolls right and pitches up, which are trailing edges up.
AUTOPILOT = Aircraft(
    "simulated",
    "",
    outputs={1: "aileron", 2: "elevator", 3: "motor", 4: "rudder"},
    senses={1: -1, 2: -1, 4: -1},
)


@pytest.mark.parametrize("name", [f"runway/r{n}.bin" for n in range(25, 31)])
@pytest.mark.parametrize("elevator", [-1, 1])
def test_the_elevator_of_the_firmwares_own_simulation_moves_as_documented(name, elevator):
    senses = {**AUTOPILOT.senses, 2: elevator}
    aircraft = Aircraft("simulated", "", outputs=AUTOPILOT.outputs, senses=senses)
    found = [
        f
        for f in findings(debrief(read(Path(CORPUS, name)), Inputs(aircraft=aircraft)))
        if f.code in {"surface-sense", "throttle-channel"}
    ]

    assert [f.evidence["channel"] for f in found] == ([] if elevator == -1 else [2])
