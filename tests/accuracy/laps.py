"""Lap times beside the truth of simulated flights, with the gate given and with it found.

    python tests/accuracy/laps.py [FOLDER ...]

Without a folder, those of the environment variable FLIGHTLOG_CORPUS. Every log with a
``NAME.truth.json`` beside it is read; take-off and touchdown are taken from the truth, so that
only the laps are judged. Printed per file: laps, of how many, median and rms error of their
times, intervals that hold the truth; the error of the mean lap and of the energy per lap; the
wind. Then the same over all files.
"""

from __future__ import annotations

import json
import os
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

import flightlog
from flightlog.analyses import laps, wind
from flightlog.analyses.phases import Sortie
from flightlog.estimation.path import FlightPath, estimate_path
from flightlog.figures import Answer
from flightlog.inputs import GivenGate, Inputs, Site
from flightlog.recording import Recording
from flightlog.uncertain import Quantity


def sortie_of(truth: dict[str, Any], recording: Recording) -> Sortie:
    """The sortie with its true event times."""
    landing = truth.get("landing")
    start = truth["t_start_roll"]
    end = landing["t_stop"] if landing else float(recording["gps"]["time_s"].iloc[-1])
    return Sortie(
        1,
        "runway",
        "rest",
        "standstill" if landing else "air",
        start,
        truth["t_liftoff"],
        landing["t_final_touch"] if landing else None,
        end,
        (start - 10.0, truth["t_liftoff"] + 10.0),
    )


def given(truth: dict[str, Any]) -> Inputs:
    """The true gate as a site file would give it."""
    gate = truth["gate"]
    ends = GivenGate(tuple(gate["left_end_latlon"]), tuple(gate["right_end_latlon"]))
    return Inputs(site=Site("truth", "", gate=ends))


def matched(
    found: tuple[laps.Lap, ...], truth: dict[str, Any]
) -> Iterator[tuple[laps.Lap, dict[str, Any]]]:
    """Laps of one flight beside the true laps that begin within 5 s of them."""
    for lap in found:
        near = [t for t in truth["laps"] if abs(t["t_start"] - lap.start_s) < 5]
        if near and abs(near[0]["t_end"] - lap.end_s) < 5:
            yield lap, near[0]


def holds(quantity: Quantity, truth: float) -> bool:
    low, high = quantity.interval()
    return low <= truth <= high


def of_figure(answer: Answer, name: str, truth: float | None) -> str:
    """Value, error, and whether the interval holds the truth."""
    if name not in answer.figures:
        return f"{name} withheld"
    q = answer.figures[name].quantity
    if truth is None:
        return f"{name} {q.value:.2f} (± {1.96 * q.std:.2f})"
    word = "holds" if holds(q, truth) else "MISSES"
    return f"{name} {q.value:.2f} {q.value - truth:+.2f} (± {1.96 * q.std:.2f}) {word}"


def wind_truth(truth: dict[str, Any]) -> float | None:
    """Mean wind of the flight; None where the truth is that of the roll and wind grew aloft."""
    if "wind10" in truth.get("params", {}):
        return None
    north, east = truth["wind_ef_recorded_mean_ne"]
    return float(np.hypot(north, east))


def one(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath,
    truth: dict[str, Any],
    sums: dict[str, list[Any]],
) -> None:
    """Print one file and add it to the sums."""
    answer, _, found = laps.answer(recording, sortie, path, given(truth), None)
    _, gate, alone = laps.answer(
        recording, sortie, path, Inputs(), truth["gate"]["runway_heading_deg"]
    )
    pairs = list(matched(found, truth))
    errors = np.array([lap.time.value - t["time_s"] for lap, t in pairs])
    inside = [holds(lap.time, t["time_s"]) for lap, t in pairs]
    sums["error"] += list(errors)
    sums["std"] += [lap.time.std for lap, _ in pairs]
    sums["holds"] += inside
    sums["counted"].append(len(found) == len(truth["laps"]))
    sums["counted alone"].append(len(alone) == len(truth["laps"]))
    text = f"{len(found)} of {len(truth['laps'])} laps"
    if errors.size:
        text += (
            f"  median |error| {np.median(np.abs(errors)):.3f} s  rms "
            f"{np.sqrt(np.mean(errors**2)):.3f}  half-width "
            f"{1.96 * np.median([lap.time.std for lap, _ in pairs]):.3f}  "
            f"holds {sum(inside)}/{len(inside)}"
        )
    print(f"  given gate: {text}")
    print(f"  found gate: {len(alone)} laps" if gate else "  found gate: none")
    whole = [t["time_s"] for t in truth["laps"]]
    later = [t["energy_Wh"] for t in truth["laps"][1:] if "energy_Wh" in t]
    for name, value in (
        ("laps.mean_time", float(np.mean(whole)) if whole else None),
        ("laps.best_time", min(whole) if whole else None),
        ("energy.per_lap", float(np.mean(later)) if later else None),
    ):
        print(f"  {of_figure(answer, name, value)}")
    blown = wind.answer(recording, sortie, path)
    speed = wind_truth(truth)
    print(f"  {of_figure(blown, 'wind.speed', speed)}")
    if "wind.speed" in blown.figures and speed is not None:
        sums["wind holds"].append(holds(blown.figures["wind.speed"].quantity, speed))
    figure, _ = wind.headwind_in_roll(
        recording,
        sortie,
        truth["gate"]["runway_heading_deg"],
        truth["t_start_roll"],
        truth["t_liftoff"],
        path,
        Inputs(),
    )
    if figure is not None:
        true = truth["headwind_mean_roll_mps"]
        sums["headwind holds"].append(holds(figure.quantity, true))
        print(f"  {of_figure(Answer({figure.id: figure}), figure.id, true)}  {figure.method}")


def files(folders: list[str]) -> Iterator[Path]:
    for folder in folders:
        for note in sorted(Path(folder).rglob("*.truth.json")):
            stem = note.name.removesuffix(".truth.json")
            logs = [note.with_name(stem + end) for end in (".bin", ".tlog")]
            yield from (log for log in logs if log.exists())


def main(folders: list[str]) -> int:
    """Print every file and the sums."""
    sums: dict[str, list[Any]] = defaultdict(list)
    for log in files(folders):
        note = log.with_name(log.stem + ".truth.json")
        truth = json.loads(note.read_text(encoding="utf-8"))
        for part in truth.get("flights", [truth]):
            print(log.stem)
            if "gate" not in part or "laps" not in part:
                print("  the truth has no laps")
                continue
            recording = flightlog.read(log)
            sortie = sortie_of(part, recording)
            path = estimate_path(recording, sortie.start_s - 10, sortie.end_s)
            if path is None:
                print("  no path")
                continue
            one(recording, sortie, path, part, sums)
    errors = np.array(sums["error"])
    if not errors.size:
        return 1
    z = errors / np.array(sums["std"])
    print(
        f"\nall: {errors.size} laps  median |error| {np.median(np.abs(errors)):.3f} s  rms "
        f"{np.sqrt(np.mean(errors**2)):.3f} s  interval holds {sum(sums['holds'])} "
        f"({100 * np.mean(sums['holds']):.1f} %)  rms of error over std "
        f"{np.sqrt(np.mean(z**2)):.2f}"
    )
    for name in ("counted", "counted alone", "wind holds", "headwind holds"):
        print(f"{name}: {sum(sums[name])} of {len(sums[name])} files")
    return 0


if __name__ == "__main__":
    given_folders = sys.argv[1:] or [os.environ.get("FLIGHTLOG_CORPUS", "")]
    if not given_folders[0]:
        sys.exit(__doc__)
    sys.exit(main(given_folders))
