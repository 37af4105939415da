"""How long the figures of a whole season take as one table, the first time and after that.

Run: ``python -m tests.benchmarks.ask_season [FLIGHTS]``. The record is made up: as many recordings
with stored debriefs of some 70 figures, and a flight each, as imports leave them. Commands are
processes of their own, timed from outside; times of the processor stand beside those of the clock,
so that a busy machine can be told. Before the timed runs one run warms the disk's cache.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.operations.many_flights import ManyFlights, many_flights

RUNS = 5


def once(task: Callable[[], object]) -> tuple[float, float]:
    """Give how long a task takes, by the clock and of the processor, its children's too [s]."""
    begin, start = os.times(), time.perf_counter()
    task()
    end, wall_s = os.times(), time.perf_counter() - start
    busy_s = end.user - begin.user + end.system - begin.system
    busy_s += end.children_user - begin.children_user
    busy_s += end.children_system - begin.children_system
    return wall_s, busy_s


def row(
    title: str, task: Callable[[], object], before: Callable[[], object] = lambda: None
) -> None:
    """Print the medians of some runs; what is done before each is not timed."""
    before()
    task()
    runs = []
    for _ in range(RUNS):
        before()
        runs.append(once(task))
    wall_s, busy_s = (statistics.median(times) for times in zip(*runs, strict=True))
    print(f"{title:52}{wall_s:8.2f}{busy_s:12.2f}", flush=True)


def command(*words: str) -> Callable[[], object]:
    """Give a task that runs a command of ours as a process of its own."""
    whole = [sys.executable, "-m", "flightlog", *words]
    return lambda: subprocess.run(whole, check=True, stdout=subprocess.DEVNULL)


def main(arguments: list[str]) -> int:
    """Measure and print."""
    import flightlog

    flights = int(arguments[0]) if arguments else 1000
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        folder = many_flights(root, flights)
        os.environ["FLIGHTLOG_TEAM"] = str(folder.path)
        os.environ["FLIGHTLOG_PROFILE"] = str(root / "profile")
        made = ManyFlights(folder)
        more = iter(range(flights + 1, 2 * flights + 1))
        print(
            f"{flights} flights; medians of {RUNS} runs\n{'':52}{'clock s':>8}{'processor s':>12}"
        )

        def forget() -> None:
            shutil.rmtree(folder.tables, ignore_errors=True)

        table = command("trends", "--table")
        row("flightlog trends --table, nothing kept", table, forget)
        row("the same, one log imported since", table, lambda: made.fly((next(more),)))
        row("the same, nothing changed", table)
        row("trends --table --json", command("trends", "--table", "--json"))
        row("flightlog --version, for comparison", command("--version"))
        row("flightlog.season() in a process that stands", flightlog.season)
        row("flightlog.season_figures()", flightlog.season_figures)
        size = sum(path.stat().st_size for path in folder.tables.rglob("*.parquet"))
        print(f"tables on the disk: {size / 1e6:.1f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
