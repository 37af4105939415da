"""How often a debrief finds a fault of simulated flights, and how often it finds one in sound ones.

    python -m tests.wear.faults --tune 1 --measure 2 --processes 2

The flights are those of `tests.wear.flights`. The baseline of the vibration is that of sound
flights of the first seed; alarms are counted in flights of the second. A sound flight is debriefed
whole, and every finding of a fault counts as false; of a flight with a fault only what could find
it is worked out.
"""

from __future__ import annotations

import argparse
import pickle
from collections import Counter
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from flightlog.analyses import landing, link, surfaces, vibration
from flightlog.debriefing import debrief
from flightlog.figures import Answer
from flightlog.findings import Finding
from flightlog.inputs import Baseline, Inputs, Site
from flightlog.recording import Recording
from flightlog.screening import FlightView
from flightlog.screening.surfaces import surface_sense
from tests.wear.flights import Flight, aircraft_of, folder, prepared, recording_of

FIRST = "vibration.first_order"

FINDS = {
    "play": "surface-play",
    "reversed-panel": "surface-sense",
    "hard-touchdown": "hard-landing",
    "aerial-null": "weak-aspect",
    "propeller": "propeller-vibration",
}
"""Fault of a simulated flight -> what should find it."""

SIZES = {
    "play": (1.0, 2.0, 3.0),
    "reversed-panel": (0.5, 1.0, 1.5),
    "hard-touchdown": (1.6, 2.2, 2.8),
    "aerial-null": (6.0, 10.0, 15.0),
    "propeller": (2.0, 3.0, 4.0),
}
"""The middle one is the one that has to be found."""

FAULTS = (
    *("surface-sense", "surface-play", "surface-slow", "limit-cycle", "trim-shifted"),
    *("surface-saturated", "servo-supply-low", "hard-landing", "weak-aspect", "link-dropout"),
    *("link-current", "propeller-vibration", "structure-near-order", "structure-peak-shifted"),
    *("peak-grows-with-speed", "resistance-high", "cells-apart", "cell-low"),
)
"""Findings that name a fault of the aircraft."""

SHOWN_S = 10.0
"""So long a null has to face the station before the flight can be said to show it. [s]"""

Found = tuple[set[str], set[str], dict[str, float]]


def _sense(flight: Flight) -> Iterable[Finding]:
    return surface_sense(
        FlightView(flight.recording, flight.sortie, flight.inputs, flight.takeoff, flight.path, {})
    )


def _of(answer: Callable[[Flight], Answer]) -> Callable[[Flight], Iterable[Finding]]:
    return lambda flight: answer(flight).findings


LOOKS: dict[str, Callable[[Flight], Iterable[Finding]]] = {
    "play": _of(
        lambda f: surfaces.answer(f.recording, f.sortie, f.path, f.inputs, f.takeoff.answer)
    ),
    "reversed-panel": _sense,
    "hard-touchdown": _of(
        lambda f: landing.answer(f.recording, f.sortie, f.path, f.inputs, f.takeoff)
    ),
    "aerial-null": _of(
        lambda f: link.answer(f.recording, f.sortie, f.path, f.inputs, f.takeoff.answer)
    ),
    "propeller": _of(
        lambda f: vibration.answer(f.recording, f.sortie, f.path, f.inputs, f.takeoff)
    ),
}


def _held(path: Path, baseline: Baseline | None) -> tuple[Recording, Inputs, dict[str, Any]]:
    held = pickle.loads(path.read_bytes())
    known = {} if baseline is None else {"baseline": {FIRST: baseline}}
    station = tuple(held["truth"]["link"]["station_deg"])
    site = Site("strip", "", pilot_deg=(float(station[0]), float(station[1])))
    inputs = Inputs(site=site, aircraft=aircraft_of(held["truth"], **known))
    return recording_of(held["tables"]), inputs, held["truth"]


def looked_at(job: tuple[Path, str, Baseline | None]) -> Found:
    """Codes of the findings, faults that are not excluded, and what is true of the flight."""
    path, fault, baseline = job
    recording, inputs, truth = _held(path, baseline)
    if fault == "none":
        sorties = debrief(recording, inputs).sorties
        findings: list[Finding] = [f for sortie in sorties for f in sortie.findings]
    else:
        findings = list(LOOKS[fault](prepared(recording, inputs)))
    open_ = {str(f.evidence.get("fault")) for f in findings if f.code == "not-excluded"}
    return {f.code for f in findings}, open_, {"shown_s": _shown_s(truth)}


def _shown_s(truth: dict[str, Any]) -> float:
    """How long the null faced the station. [s]"""
    known = truth["link"]
    course, null = known.get("course"), known.get("null_azimuth_deg")
    if course is None or null is None:
        return 0.0
    time_s = np.asarray(course["time_s"], dtype=float)
    off = (np.asarray(course["azimuth_deg"], dtype=float) - null + 180.0) % 360.0 - 180.0
    facing = (np.abs(off) <= 20.0) & np.isfinite(time_s)
    step = np.diff(time_s, append=time_s[-1]) if time_s.size else time_s
    return float(np.minimum(step, 2.0)[facing].sum())


def first_order(path: Path) -> float | None:
    """Vibration once a turn of one flight. [m/s²]"""
    recording, inputs, _ = _held(path, None)
    flight = prepared(recording, inputs)
    answer = vibration.answer(
        flight.recording, flight.sortie, flight.path, flight.inputs, flight.takeoff
    )
    return answer.figures[FIRST].quantity.value if FIRST in answer.figures else None


def baseline_of(seed: int, pool: ProcessPoolExecutor) -> Baseline:
    """Give what the vibration was on sound flights."""
    values = [v for v in pool.map(first_order, _paths("none", 0.0, seed)) if v is not None]
    return Baseline(float(np.mean(values)), float(np.std(values, ddof=1)))


def _paths(fault: str, size: float, seed: int, count: int = 10_000) -> list[Path]:
    return sorted(folder().glob(f"{fault}_{size:g}_{seed}_*.pkl"))[:count]


def _share(count: int, of: int) -> str:
    return f"{count} of {of} ({100 * count / of:.1f} %)" if of else "none there"


def sound(found: list[Found], name: str) -> None:
    """Print what was found in sound flights."""
    codes = Counter(code for seen, _, _ in found for code in seen if code in FAULTS)
    some = sum(bool(seen & set(FAULTS)) for seen, _, _ in found)
    print(f"{name}: any fault in {_share(some, len(found))}; {dict(codes)}", flush=True)
    print(f"   not excluded: {dict(Counter(word for _, open_, _ in found for word in open_))}")


def faulty(found: list[Found], fault: str, size: float) -> None:
    """Print how often a fault was found."""
    code = FINDS[fault]
    hits = sum(code in seen for seen, _, _ in found)
    unsure = sum(code not in seen and bool(open_) for seen, open_, _ in found)
    line = f"{fault} {size:g}: {code} in {_share(hits, len(found))}"
    line += f"; of the others {unsure} say that it cannot be excluded"
    if fault == "aerial-null":
        shown = [seen for seen, _, known in found if known["shown_s"] >= SHOWN_S]
        line += f"; of those that showed it {_share(sum(code in s for s in shown), len(shown))}"
    print(line, flush=True)


def main() -> None:
    """Read the options and count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tune", type=int, default=1)
    parser.add_argument("--measure", type=int, default=2)
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--faults", nargs="*", default=["none", *FINDS])
    given = parser.parse_args()
    with ProcessPoolExecutor(given.processes) as pool:
        baseline = baseline_of(given.tune, pool)
        print(f"vibration once a turn, sound: {baseline.value:.3f} ± {baseline.spread:.3f} m/s²")
        for fault in given.faults:
            if fault == "none":
                jobs = [(p, fault, baseline) for p in _paths("none", 0, given.measure, given.count)]
                sound(list(pool.map(looked_at, jobs, chunksize=4)), "sound")
                jobs = [
                    (p, "reversed-panel", baseline)
                    for p in _paths("none-v", 0, given.measure, given.count)
                ]
                sound(list(pool.map(looked_at, jobs, chunksize=4)), "sound, V tail")
                continue
            for size in sorted(SIZES[fault], key=lambda one: one != SIZES[fault][1]):
                jobs = [
                    (p, fault, baseline) for p in _paths(fault, size, given.measure, given.count)
                ]
                faulty(list(pool.map(looked_at, jobs, chunksize=4)), fault, size)


if __name__ == "__main__":
    main()
