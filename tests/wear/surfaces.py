"""Reach of what is told of surfaces: play and reversed panels found, and false alarms.

    python -m tests.wear.surfaces [seed [most]]

Reads simulated flights from the cache that ``python -m tests.wear.flights`` fills. Limits and
tables of the analysis were chosen on seed 1; the reach is that on another seed.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from flightlog.analyses import surfaces
from flightlog.analyses.phases import find_sorties
from flightlog.analyses.takeoff import Takeoff
from flightlog.figures import Answer
from flightlog.findings import Finding
from flightlog.inputs import Inputs
from flightlog.screening.context import FlightView
from flightlog.screening.surfaces import surface_sense
from tests.wear.flights import aircraft_of, load, recording_of

OURS = (
    *("surface-play", "surface-sense", "surface-slow", "surface-saturated", "trim-shifted"),
    *("limit-cycle", "servo-supply-low", "not-excluded"),
)


@dataclass
class Tally:
    """What was found in the flights of one kind."""

    flights: int = 0
    alarms: Counter[str] = field(default_factory=Counter)
    widths: list[tuple[float, float, float]] = field(default_factory=list)
    seconds: float = 0.0


def looked_at(tables: Any, truth: Any) -> tuple[Answer, list[Finding]]:
    """The answer of the analysis and what the screening says of senses, for one flight."""
    recording, inputs = recording_of(tables), Inputs(aircraft=aircraft_of(truth))
    (sortie, *_), _, _ = find_sorties(recording)
    answer = surfaces.answer(recording, sortie, None, inputs)
    view = FlightView(recording, sortie, inputs, Takeoff(Answer()), None, {})
    return answer, [*answer.findings, *surface_sense(view)]


def tally(flights: Iterator[tuple[Any, Any]], most: int) -> Tally:
    """Count findings, and gather elevator play: median and interval [deg]."""
    result = Tally()
    begun = time.process_time()
    for (tables, truth), _ in zip(flights, range(most), strict=False):
        answer, found = looked_at(tables, truth)
        result.flights += 1
        told = {f"{f.code} {f.evidence.get('channel', '')}".strip() for f in found}
        result.alarms.update(t for t in told if t.split()[0] in OURS)
        figure = answer.figures.get("surface.elevator.play")
        if figure is not None:
            low, high = figure.quantity.interval()
            result.widths.append((figure.quantity.value, low, high))
    result.seconds = time.process_time() - begun
    return result


CASES = (
    *(("play", 2.0), ("none", 0.0), ("reversed-panel", 1.0), ("none-v", 0.0)),
    *(("play", 1.0), ("play", 3.0), ("reversed-panel", 0.5), ("reversed-panel", 1.5)),
)


def main(seed: int, most: int) -> None:
    """Print the counts for every kind of flight in the cache."""
    for fault, size in CASES:
        result = tally(iter(load(fault, size, seed=seed)), most)
        if not result.flights:
            continue
        print(f"{fault} {size:g}: {result.flights} flights, {result.seconds:.0f} s", flush=True)
        for word, count in sorted(result.alarms.items()):
            print(f"    {word}: {count}")
        if result.widths:
            inside = sum(low - 0.05 <= (size if fault == "play" else 0) <= high + 0.05
                         for _, low, high in result.widths)  # fmt: skip
            middle = sorted(width for width, _, _ in result.widths)
            print(f"    elevator play: {len(middle)} told, {inside} intervals hold the truth,"
                  f" median {middle[len(middle) // 2]:.2f},"
                  f" from {middle[0]:.2f} to {middle[-1]:.2f} deg")  # fmt: skip


if __name__ == "__main__":
    words = [int(w) for w in sys.argv[1:]]
    main(words[0] if words else 2, words[1] if len(words) > 1 else 10_000)
