"""How often the vibration of simulated flights tells a propeller out of balance.

    python -m tests.wear.vibration --tune 1 --measure 2 --sizes 2 3 4

The baseline is that of the sound flights of the first seed; alarms are counted on the flights of
the second. What can be simulated is in `tests.wear.flights`; what is not there is left out.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from flightlog.analyses import vibration
from flightlog.analyses.phases import Sortie
from flightlog.analyses.takeoff import Takeoff
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer
from flightlog.inputs import Baseline, Inputs
from flightlog.recording import Recording
from tests.wear.flights import aircraft_of, load, prepared, recording_of

FIRST, PEAK = "vibration.first_order", "vibration.structure_peak"

Flight = tuple[Sortie, FlightPath | None, Takeoff]


@dataclass
class Seen:
    """One flight as the analysis had it, and the truth."""

    answer: Answer
    truth: dict[str, Any]
    logged: bool


class Situations:
    """Phases and path of each flight, found once: faults of the propeller leave them alone."""

    def __init__(self) -> None:
        self._known: dict[tuple[int, int], Flight] = {}

    def of(self, seed: int, number: int, recording: Recording, inputs: Inputs) -> Flight:
        """Find them, as a debrief does."""
        key = seed, number
        if key not in self._known:
            flight = prepared(recording, inputs)
            self._known[key] = flight.sortie, flight.path, flight.takeoff
        return self._known[key]


def thinned(recording: Recording, rate_hz: float | None) -> Recording:
    """Keep so few samples of the IMU a second, as a slower logger would, without a filter."""
    imu = recording.get("imu")
    if rate_hz is None or imu is None:
        return recording
    step = float(np.median(np.diff(imu["time_s"])))
    tables = {name: recording[name] for name in recording}
    tables["imu"] = imu.iloc[:: max(1, round(1 / step / rate_hz))].reset_index(drop=True)
    return Recording(tables, recording.receipt)


def flights(
    situations: Situations,
    fault: str,
    size: float,
    seed: int,
    baseline: Baseline | None,
    *,
    rate_hz: float | None = None,
    logged: bool = True,
    count: int = 10_000,
) -> Iterator[Seen]:
    """Analyse what is there of one fault."""
    for number, (tables, truth) in enumerate(load(fault, size, seed, count)):
        changes = {"baseline": {FIRST: baseline}} if baseline is not None else {}
        inputs = Inputs(aircraft=aircraft_of(truth, **changes))
        recording = recording_of(tables)
        sortie, path, takeoff = situations.of(seed, number, recording, inputs)
        recording = thinned(recording, rate_hz)
        if not logged:
            recording = recording.without("rotation")
        yield Seen(
            vibration.answer(recording, sortie, path, inputs, takeoff),
            truth,
            "rotation" in recording,
        )


def true_first_order(truth: dict[str, Any]) -> float:
    """First order at the reference speed, from what it was at the cruise's own. [m/s²]

    As logged: an IMU that logs means over its 200 Hz weakens it by sinc(f / rate).
    """
    known = truth["vibration"]
    there = float(np.linalg.norm(known["first_order_cruise_xyz"]))
    shown = np.sinc(known["cruise_rev_s"] / 200.0) if known["averaged"] else 1.0
    return float(there * shown * (100.0 / known["cruise_rev_s"]) ** 2)


def told(seen: list[Seen], name: str) -> None:
    """Print what was found."""
    if not seen:
        print(f"{name}: no flights")
        return
    codes = Counter(f.code for s in seen for f in {f.code: f for f in s.answer.findings}.values())
    with_figure = [s for s in seen if FIRST in s.answer.figures]
    print(f"{name}: {len(seen)} flights, first order in {len(with_figure)}; {dict(codes)}")
    if with_figure:
        value = np.array([s.answer.figures[FIRST].quantity.value for s in with_figure])
        std = np.array([s.answer.figures[FIRST].quantity.std for s in with_figure])
        true = np.array([true_first_order(s.truth) for s in with_figure])
        ratio = value / true
        inside = np.abs(value - true) <= 1.96 * std
        print(
            f"   over the truth {np.median(ratio):.3f} ± {np.std(ratio):.3f}, "
            f"truth in the 95 % interval {inside.mean():.2f}"
        )
    for logged in (True, False):
        part = [s for s in seen if s.logged == logged]
        if part:
            alarms = sum(
                any(f.code == "propeller-vibration" for f in s.answer.findings) for s in part
            )
            blind = sum(any(f.code == "not-excluded" for f in s.answer.findings) for s in part)
            how = "logged" if logged else "from the spectrum"
            print(f"   speed {how}: {len(part)}, alarms {alarms / len(part):.3f}, blind {blind}")
    peaks = [s for s in seen if PEAK in s.answer.figures]
    if peaks:
        off = np.array(
            [
                s.answer.figures[PEAK].quantity.value - s.truth["vibration"]["structure_hz"]
                for s in peaks
            ]
        )
        std = np.array([s.answer.figures[PEAK].quantity.std for s in peaks])
        print(
            f"   structure peak in {len(peaks)}: off by {np.median(off):+.2f} Hz, "
            f"worst {np.abs(off).max():.2f}, within 1.96 u {np.mean(np.abs(off) < 1.96 * std):.2f}"
        )


def main() -> None:
    """Read the options and count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tune", type=int, default=1)
    parser.add_argument("--measure", type=int, default=2)
    parser.add_argument("--sizes", type=float, nargs="*", default=[2, 3, 4])
    parser.add_argument("--rates", type=float, nargs="*", default=[], metavar="HZ")
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--spectrum", action="store_true", help="leave the logged speed out")
    given = parser.parse_args()
    situations = Situations()
    more: dict[str, Any] = {"logged": not given.spectrum, "count": given.count}
    for rate in [None, *given.rates]:
        more["rate_hz"] = rate
        sound = list(flights(situations, "none", 0, given.tune, None, **more))
        value = [s.answer.figures[FIRST].quantity.value for s in sound if FIRST in s.answer.figures]
        print(f"IMU {'as logged' if rate is None else f'{rate:g} Hz'}")
        told(sound, f" sound, seed {given.tune}")
        if len(value) < 2:
            print(" no baseline")
            continue
        baseline = Baseline(float(np.mean(value)), float(np.std(value, ddof=1)))
        print(f" baseline {baseline.value:.3f}, spread {baseline.spread:.3f} m/s²")
        for size in (0, *given.sizes):
            fault = "propeller" if size else "none"
            seen = list(flights(situations, fault, size, given.measure, baseline, **more))
            told(seen, f" {fault} {size:g}, seed {given.measure}")


if __name__ == "__main__":
    main()
