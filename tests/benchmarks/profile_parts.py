"""What import and debrief of a log spend their time on.

Run: ``python tests/benchmarks/profile_parts.py [--runs N] [LOG ...]`` (default: the simulated
runway flight in the folder that FLIGHTLOG_CORPUS names). Each log is read, kept, debriefed and
written as JSON in this process, once to warm it and N times (5) timed. A part is charged for the
time in its own functions: what it hands on to another part of the table counts there. Times are of
the processor, not of the clock on the wall, as medians; the parts are medians of their own, so that
they add up to the total only nearly.
"""

from __future__ import annotations

import argparse
import functools
import importlib
import os
import statistics
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

PARTS = (
    ("read: messages of the file", "flightlog.importers.dataflash", "decode_file"),
    ("read: tables and receipt", "flightlog.importers", "read"),
    ("keep the decoded tables", "flightlog.decoded.files", "write"),
    ("phases", "flightlog.analyses.phases", "find_sorties"),
    ("take-off: track", "flightlog.estimation.roll", "estimate_roll"),
    ("take-off: instant of lift-off", "flightlog.estimation.liftoff", "locate_liftoff"),
    ("take-off: the rest", "flightlog.analyses.takeoff", "measure_takeoff"),
    ("path: smoother", "flightlog.estimation.smoother", "smooth_motion"),
    ("path: slow errors", "flightlog.estimation.drift", "anchored_to_velocity"),
    ("path: the rest", "flightlog.estimation.path", "estimate_path"),
    ("landing: instant of touchdown", "flightlog.estimation.touchdown", "locate_touchdown"),
    ("landing: the rest", "flightlog.analyses.landing", "measure_landing"),
    ("laps", "flightlog.analyses.laps", "answer"),
    ("energy", "flightlog.analyses.energy", "answer"),
    ("climb", "flightlog.analyses.climb", "answer"),
    ("envelope", "flightlog.analyses.envelope", "answer"),
    ("wind", "flightlog.analyses.wind", "answer"),
    ("wind", "flightlog.analyses.wind", "liftoff_airspeed"),
    ("wind", "flightlog.analyses.wind", "headwind_in_roll"),
    ("reference roll", "flightlog.analyses.reference", "answer"),
    ("battery: resistance", "flightlog.estimation.resistance", "fit_resistance"),
    ("battery: the rest", "flightlog.analyses.battery_health", "answer"),
    ("wear: surfaces", "flightlog.analyses.surfaces", "answer"),
    ("wear: link", "flightlog.analyses.link", "answer"),
    ("wear: vibration", "flightlog.analyses.vibration", "answer"),
    ("wear: motor", "flightlog.analyses.motor", "answer"),
    ("screening: log", "flightlog.screening", "screen_log"),
    ("screening: sensors", "flightlog.screening", "screen_sensors"),
    ("screening: flight", "flightlog.screening", "screen_flight"),
    ("limits and score", "flightlog.debriefing", "_judge"),
    ("debrief: the rest", "flightlog.debriefing", "debrief"),
    ("debrief as JSON", "flightlog.contract", "dumps"),
)
"""Part, module, function. A function that others imported by name is replaced there as well."""


class Parts:
    """Time of each part, without that of the parts within it."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = defaultdict(float)
        self._inner = [0.0]

    @contextmanager
    def within(self, part: str) -> Iterator[None]:
        """Charge a part for what happens inside, other parts left out."""
        start = time.process_time()
        self._inner.append(0.0)
        try:
            yield
        finally:
            took = time.process_time() - start
            self.seconds[part] += took - self._inner.pop()
            self._inner[-1] += took

    def timed(self, part: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """The same function, charged to a part."""

        @functools.wraps(function)
        def charged(*arguments: Any, **options: Any) -> Any:
            with self.within(part):
                return function(*arguments, **options)

        return charged


def put_clocks(parts: Parts) -> None:
    """Replace each function of `PARTS` wherever a module of ours holds it."""
    for part, module, name in PARTS:
        plain = getattr(importlib.import_module(module), name)
        charged = parts.timed(part, plain)
        for place in [m for n, m in sys.modules.items() if n.partition(".")[0] == "flightlog"]:
            for key, value in list(vars(place).items()):
                if value is plain:
                    setattr(place, key, charged)


def go(log: Path, folder: Path) -> None:
    """All that an import does with one log, but for its entry."""
    from flightlog import contract, debriefing, importers
    from flightlog.decoded import files

    recording = importers.read(log)
    files.write(recording, folder)
    contract.dumps(debriefing.debrief(recording))


def measure(log: Path, runs: int, parts: Parts) -> None:
    """Time a log and print its table, the most expensive part first."""
    every: list[dict[str, float]] = []
    for run in range(runs + 1):
        parts.seconds.clear()
        with tempfile.TemporaryDirectory() as folder:
            go(log, Path(folder))
        if run:
            every.append(dict(parts.seconds))
    names = {name for one in every for name in one}
    typical = {n: statistics.median(one.get(n, 0.0) for one in every) for n in names}
    total = statistics.median(sum(one.values()) for one in every)
    print(f"\n{log.name}, {log.stat().st_size / 1e6:.1f} MB: medians of {runs} runs")
    for name, seconds in sorted(typical.items(), key=lambda one: -one[1]):
        print(f"  {name:<32}{seconds * 1e3:9.1f} ms{seconds / total:8.1%}")
    print(f"  {'all':<32}{total * 1e3:9.1f} ms")
    before = ("read", "keep", "debrief as")
    whole = statistics.median(
        sum(s for n, s in one.items() if not n.startswith(before)) for one in every
    )
    print(f"  {'of which debrief':<32}{whole * 1e3:9.1f} ms{whole / total:8.1%}", flush=True)


def main(arguments: list[str]) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("logs", nargs="*", type=Path, metavar="LOG")
    given = parser.parse_args(arguments)
    logs = given.logs
    if not logs and (root := os.environ.get("FLIGHTLOG_CORPUS")):
        logs = [Path(root, "dataflash", "runway_simulated.bin")]
    if not logs:
        print("Name a log, or set FLIGHTLOG_CORPUS.", file=sys.stderr)
        return 2
    # Once before the clocks are put in: by then every module that is needed has been loaded.
    with tempfile.TemporaryDirectory() as folder:
        go(logs[0], Path(folder))
    parts = Parts()
    put_clocks(parts)
    for log in logs:
        measure(log, max(1, given.runs), parts)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
