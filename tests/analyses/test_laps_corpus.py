"""Laps and wind of simulated flights beside their truth."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flightlog
from flightlog.analyses import laps, wind
from flightlog.estimation.path import estimate_path
from flightlog.inputs import Inputs
from tests.accuracy.laps import given, holds, matched, sortie_of, wind_truth

SAMPLES = Path(flightlog.__file__).parent.parent / "sample_flights"
CORPUS = os.environ.get("FLIGHTLOG_CORPUS")


def measured(log: Path) -> tuple[dict[str, Any], Any, Any, Any]:
    """The truth; laps with the gate given; laps without; the wind."""
    truth = json.loads(log.with_name(log.stem + ".truth.json").read_text(encoding="utf-8"))
    recording = flightlog.read(log)
    sortie = sortie_of(truth, recording)
    path = estimate_path(recording, sortie.start_s - 10, sortie.end_s)
    return (
        truth,
        laps.answer(recording, sortie, path, given(truth), None),
        laps.answer(recording, sortie, path, Inputs(), truth["gate"]["runway_heading_deg"]),
        wind.answer(recording, sortie, path),
    )


def check(log: Path, median_s: float = 0.08) -> None:
    truth, (answer, _, found), (_, gate, alone), blown = measured(log)
    assert answer.figures["laps.count"].quantity.value == len(truth["laps"])
    errors = [lap.time.value - t["time_s"] for lap, t in matched(found, truth)]
    assert len(errors) == len(truth["laps"])
    assert np.median(np.abs(errors)) <= median_s
    assert max(np.abs(errors)) <= 0.3
    assert gate is not None
    assert len(alone) == len(truth["laps"])
    speed = wind_truth(truth)
    assert speed is None or holds(blown.figures["wind.speed"].quantity, speed)


@pytest.mark.parametrize(
    ("name", "median_s"),
    # At 1 Hz the slow error of position can be told from the motion less well.
    [("headwind", 0.08), ("gusty_crosswind", 0.08), ("position_1hz_only", 0.15)],
)
def test_laps_of_the_samples(name: str, median_s: float) -> None:
    check(SAMPLES / f"{name}.bin", median_s)


@pytest.mark.skipif(not CORPUS, reason="FLIGHTLOG_CORPUS is not set")
@pytest.mark.parametrize(
    "name", ["runway/j36.bin", "runway/r28.bin", "telemetry/runway_simulated.tlog"]
)
def test_laps_of_flights_simulated_by_others(name: str) -> None:
    check(Path(CORPUS or "") / name)
