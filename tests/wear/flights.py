"""Simulated whole flights with faults for the analyses of wear, kept in a folder as pickles.

    python -m tests.wear.flights --seed 1 --count 48 --faults none play:2 propeller:3:20

simulates what is not there yet. Files are named ``FAULT_SIZE_SEED_NNN.pkl``; each holds
``{"tables": ..., "truth": ...}``, floats in 32 bits but for times, places and pulses. The fault
``none-v`` stands for sound flights with an inverted V tail. Flights of one seed and number are the
same in all faults that leave the path alone (see `whole_flights.IN_THE_AIR`).
"""

from __future__ import annotations

import argparse
import os
import pickle
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from flightlog.analyses.phases import Sortie, find_sorties
from flightlog.analyses.takeoff import Takeoff, measure_takeoff, refined
from flightlog.debriefing import flown_path
from flightlog.estimation.path import FlightPath
from flightlog.inputs import Aircraft, Gear, Inputs, LinkSetting
from flightlog.recording import Receipt, Recording
from sample_flights.generator import whole_flights as whole
from sample_flights.generator import whole_sensors
from sample_flights.generator.run import Flown, iterate_flown
from sample_flights.generator.takeoffs import Tables, Truth
from sample_flights.generator.whole_motion import WHOLE

IN_FULL = {"time_s", "time_utc", "latitude_deg", "longitude_deg"}
BATCH = 176


def folder() -> Path:
    """Where the pickles are: what FLIGHTLOG_WEAR_CACHE names, else among the temporary files."""
    named = os.environ.get("FLIGHTLOG_WEAR_CACHE")
    return Path(named) if named else Path(tempfile.gettempdir()) / "flightlog_wear"


def recording_of(tables: Tables, name: str = "simulated") -> Recording:
    """Make a recording of tables, floats in 64 bits as importers give them."""
    full = {}
    for key, frame in tables.items():
        narrow = [c for c in frame.columns if frame[c].dtype == np.float32]
        small = [c for c in frame.columns if frame[c].dtype in (np.int8, np.int16)]
        full[key] = frame.astype({c: np.float64 for c in narrow} | {c: np.int64 for c in small})
    start = min(float(f["time_s"].iloc[0]) for f in full.values())
    end = max(float(f["time_s"].iloc[-1]) for f in full.values())
    return Recording(full, Receipt(name, 0, "", "simulated", 1, duration_s=end - start))


@dataclass(frozen=True)
class Flight:
    """One simulated flight, up to its path."""

    recording: Recording
    inputs: Inputs
    sortie: Sortie
    takeoff: Takeoff
    path: FlightPath | None


def prepared(recording: Recording, inputs: Inputs) -> Flight:
    """Find phases and path, as a debrief does."""
    (sortie, *_), _, _ = find_sorties(recording)
    takeoff = measure_takeoff(recording, sortie, inputs)
    sortie = refined(sortie, takeoff)
    path = flown_path(recording, sortie, takeoff)
    return Flight(recording, inputs, sortie, takeoff, path)


def aircraft_of(truth: Truth, **changes: Any) -> Aircraft:
    """Say of the aircraft what its team would have written down; no baseline."""
    outputs = whole_sensors.OUTPUTS[truth["tail"]]
    linkages = {k: linkage for k, (_, linkage) in outputs.items() if linkage is not None}
    senses = {k: 1 if points[-1][1] > points[0][1] else -1 for k, points in linkages.items()}
    link = whole_sensors.Link
    known: dict[str, Any] = {
        "id": "pannier",
        "sha256": "",
        "empty_kg": 5.6,
        "reference_kg": 8.0,
        "payload_unit_kg": 0.30,
        "wing_area_m2": 0.55,
        "stall_speed_m_s": 12.5,
        "lever_m": tuple(truth["lever_m"]),
        "cells": 6,
        "battery_nominal_wh": 88.8,
        "outputs": {k: name for k, (name, _) in outputs.items()},
        "senses": senses,
        "linkages": linkages,
        "tail_dihedral_deg": -37.0 if truth["tail"] == "inverted v" else None,
        "gear": Gear(stroke_m=0.10, efficiency=0.6),
        "imu_lever_m": whole_sensors.IMU_FROM_AXLE,
        "link": LinkSetting(
            planned_distance_m=600.0,
            sensitivity_dbm=link.SENSITIVITY,
            raw_scale=link.RAW_SCALE if truth["link"]["raw"] else None,
            raw_offset_dbm=link.RAW_OFFSET if truth["link"]["raw"] else None,
            frequency_hz=868e6,
        ),
        "blades": 2,
        "pole_pairs": 7,
        "structure_hz": (whole.STRUCTURE_HZ,),
    }
    return Aircraft(**(known | changes))


def name_of(fault: str, size: float, seed: int, number: int) -> str:
    """File name of one flight."""
    return f"{fault}_{size:g}_{seed}_{number:03d}.pkl"


def load(fault: str, size: float, seed: int, count: int = 10_000) -> Iterator[tuple[Tables, Truth]]:
    """Read what is there of one fault, in the order of the numbers."""
    for path in sorted(folder().glob(f"{fault}_{size:g}_{seed}_*.pkl"))[:count]:
        held = pickle.loads(path.read_bytes())
        yield held["tables"], held["truth"]


def save(path: Path, tables: Tables, truth: Truth) -> None:
    """Write one flight, small."""
    slim = {}
    for key, frame in tables.items():
        kinds: dict[str, Any] = {}
        for column in frame.columns:
            if column in ("instance", "channel", "fix", "armed"):
                kinds[column] = np.int8
            elif frame[column].dtype == np.float64 and column not in IN_FULL:
                kinds[column] = np.float32
        slim[key] = frame.astype(kinds)
    partial = path.with_suffix(".part")
    partial.write_bytes(pickle.dumps({"tables": slim, "truth": truth}, protocol=5))
    partial.rename(path)


def _parse(word: str, count: int) -> tuple[str, float, int]:
    fault, size, limit = (*word.split(":"), "", "")[:3]
    return fault, float(size or 0.0), int(limit or count)


def _path_key(fault: str, size: float) -> tuple[str, float]:
    """What flight a fault needs: faults that only sensors see share the sound one."""
    return (fault, size) if fault in whole.IN_THE_AIR else ("none", 0.0)


def _have(fault: str, size: float, seed: int) -> int:
    return len(list(folder().glob(f"{fault}_{size:g}_{seed}_*.pkl")))


def _reached(fault: str, size: float, seed: int) -> tuple[int, int]:
    """How many flights are there without a gap, and the number that is to be drawn next."""
    have = 0
    while (folder() / name_of(fault, size, seed, have)).exists():
        have += 1
    if not have:
        return 0, 0
    last = pickle.loads((folder() / name_of(fault, size, seed, have - 1)).read_bytes())
    return have, last["truth"]["config"]["number"] + 1


def fill(
    words: list[str], seed: int, count: int, *, batch: int = BATCH, again: bool = False
) -> None:
    """Simulate until there are ``count`` flights of each fault and seed.

    Flights of all faults lie in common batches, since a step costs much the same for one
    aircraft as for a hundred.
    """
    target = folder()
    target.mkdir(parents=True, exist_ok=True)
    wanted: dict[tuple[str, float], list[tuple[str, float]]] = {}
    limits: dict[tuple[str, float], int] = {}
    for word in words:
        fault, size, limit = _parse(word, count)
        limits[fault, size] = limit
        if again or _have(fault, size, seed) < limit:
            wanted.setdefault(_path_key(fault, size), []).append((fault, size))
    made, number = dict.fromkeys(wanted, 0), dict.fromkeys(wanted, 0)
    for key, ones in wanted.items():
        if not again:
            made[key], number[key] = min(_reached(*one, seed) for one in ones)
    most = {key: max(limits[one] for one in ones) for key, ones in wanted.items()}
    while open_keys := [k for k in wanted if made[k] < most[k]]:
        lack = [most[k] - made[k] for k in open_keys]
        share = [max(1, round(batch * v / sum(lack))) for v in lack]
        jobs: list[tuple[tuple[str, float], whole.Drawn]] = []
        for key, n, left in zip(open_keys, share, lack, strict=True):
            for _ in range(min(n, left + 2)):
                jobs.append((key, whole.draw(seed, number[key], *key)))
                number[key] += 1
        begun = time.time()
        settings = [one.setting for _, one in jobs]
        flights = iterate_flown(settings, whole.LONGEST, WHOLE)
        for (key, one), flown in zip(jobs, flights, strict=True):
            truth = whole.truth_of(one, flown, key[0]) if made[key] < most[key] else None
            if truth is not None:
                ones = [which for which in wanted[key] if made[key] < limits[which]]
                paths = {which: target / name_of(*which, seed, made[key]) for which in ones}
                _write(one, flown, truth, paths, again)
                made[key] += 1
        print(f"seed {seed}: {made}, {time.time() - begun:.0f} s for {len(jobs)}", flush=True)


def _write(
    one: whole.Drawn, flown: Flown, truth: Truth, paths: dict[tuple[str, float], Path], again: bool
) -> None:
    """Write one flight with each of the faults; what a fault leaves alone is made once."""
    first: Tables = {}
    for (fault, size), path in paths.items():
        if path.exists() and not again:
            continue
        kind, tail = ("none", "inverted v") if fault == "none-v" else (fault, None)
        changed = "outputs" if fault == "none-v" else whole.CHANGED.get(fault, "")
        known = dict(truth)
        kept = {k: v for k, v in first.items() if k != changed}
        tables = whole.tables_of(one, flown, known, kind, size, tail=tail, kept=kept)
        first = first or (tables if not changed else {})
        save(path, tables, known)


def main() -> None:
    """Read the options and simulate."""
    every = [f"{fault}:{size:g}" for fault, sizes in whole.FAULTS.items() for size in sizes]
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=48, help="flights of each fault and size")
    parser.add_argument("--batch", type=int, default=BATCH, help="flights side by side")
    parser.add_argument(
        "--faults", nargs="*", default=[*every, "none-v:0"], metavar="FAULT:SIZE[:COUNT]"
    )
    parser.add_argument("--again", action="store_true", help="write over what is there")
    given = parser.parse_args()
    fill(given.faults, given.seed, given.count, batch=given.batch, again=given.again)


if __name__ == "__main__":
    main()
