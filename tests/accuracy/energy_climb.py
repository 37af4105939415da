"""Energy, climb and envelope figures beside the truth of simulated flights.

    python tests/accuracy/energy_climb.py FOLDER [FOLDER ...]

Every ``NAME.bin`` with a ``NAME.truth.json`` beside it is read. The sortie's events are taken
from the truth, so that only the figures of this table are judged, not the search for events.
Each row: figure, computed, truth, error, interval, and whether the interval holds the truth.
Where the truth states the gain and offset of the simulated current sensor, the last column of
the energy row is the error against what such a sensor reads: the error of the arithmetic.
"""

from __future__ import annotations

import json
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

import flightlog
from flightlog.analyses import climb, energy, envelope
from flightlog.analyses.phases import Sortie
from flightlog.estimation.path import estimate_path
from flightlog.figures import Answer
from flightlog.inputs import Inputs
from flightlog.recording import Recording
from flightlog.uncertain import Quantity


def sortie_of(truth: dict[str, Any], recording: Recording) -> Sortie:
    """The sortie with its true event times."""
    landing = truth.get("landing")
    end = float(recording["battery"]["time_s"].iloc[-1])
    start = truth["t_start_roll"]
    return Sortie(
        1,
        "runway",
        "rest",
        "standstill" if landing else "air",
        start,
        truth["t_liftoff"],
        landing["t_final_touch"] if landing else None,
        landing["t_stop"] if landing else end,
        (start - 10.0, truth["t_liftoff"] + 10.0),
    )


def rows(name: Path) -> Iterator[tuple[str, Quantity, float, float | None]]:
    """Figure, computed, truth, and for energy what the simulated sensor would have counted."""
    truth = json.loads(name.with_suffix(".truth.json").read_text(encoding="utf-8"))
    recording = flightlog.read(name)
    sortie = sortie_of(truth, recording)
    path = estimate_path(recording, sortie.start_s, sortie.end_s)
    assert path is not None
    answers: list[Answer] = [
        energy.answer(recording, sortie, path),
        climb.answer(recording, sortie, path),
        envelope.answer(recording, sortie, path, Inputs()),
    ]
    figures = {k: f.quantity for a in answers for k, f in a.figures.items()}
    used = truth["energy"]["roll_to_end_J"] / 3600
    charge = truth["energy"]["charge_roll_to_end_mAh"] / 1000
    sensor = truth.get("params", {})
    seen = used * sensor.get("i_gain", 1.0)
    seen += sensor.get("i_off", 0.0) * used / charge * (sortie.end_s - sortie.start_s) / 3600
    best = truth["climb_best_10s"]["max_mean_rate_mps"]
    for id_, value, reading in (
        ("energy.used", used, seen),
        ("charge.used", charge, None),
        ("climb.height_at_60s", truth["alt_gain_60s_m"], None),
        ("climb.best_rate", best, None),
        ("flight.max_height", truth["max_hagl_m"], None),
        ("flight.max_ground_speed", truth["max_groundspeed"], None),
    ):
        yield id_, figures[id_], value, reading
    for lap in truth["laps"]:
        q = energy.energy_between(recording, lap["t_start"], lap["t_end"])
        if q is not None:
            yield "lap energy", q, lap["energy_Wh"], None


def main(folders: list[str]) -> int:
    """Print the table and the summary of each figure."""
    held: dict[str, list[bool]] = defaultdict(list)
    errors: dict[str, list[float]] = defaultdict(list)
    widths: dict[str, list[float]] = defaultdict(list)
    names = [p for f in folders for p in sorted(Path(f).glob("*.bin"))]
    for name in (p for p in names if p.with_suffix(".truth.json").exists()):
        for id_, q, truth, reading in rows(name):
            low, high = q.interval()
            inside = low <= truth <= high
            held[id_].append(inside)
            errors[id_].append(q.value - truth)
            widths[id_].append((high - low) / 2)
            sensor = "" if reading is None else f"  sensor {100 * (q.value / reading - 1):+.3f} %"
            print(
                f"{name.stem:>18} {id_:<24} {q.value:9.3f} {truth:9.3f} {q.value - truth:+8.3f} "
                f"({low:.3f} to {high:.3f}) {'holds' if inside else 'MISSES'}{sensor}"
            )
    print()
    for id_, inside_all in held.items():
        rms = float(np.sqrt(np.mean(np.square(errors[id_]))))
        bias = float(np.mean(errors[id_]))
        print(
            f"{id_:<24} n {len(inside_all):3d}  holds {sum(inside_all):3d}  bias {bias:+.3f}  "
            f"rms {rms:.3f}  median half-width {float(np.median(widths[id_])):.3f}"
        )
    return 0


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    sys.exit(main(sys.argv[1:]))
