"""Two processes: what they gain at debriefing, beside what the machine gives at pure arithmetic."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.benchmarks.lines import THREADS, Bench, Line, at_least, environment, say
from tests.benchmarks.long_logs import source_of, write_season
from tests.benchmarks.one_thing import WARM

JOBS = 4
"""Logs in a turn: an even number, so that two processes end together."""


def read_and_debrief(log: Path) -> int:
    """Read a log and debrief it; gives the number of its flights."""
    from flightlog.debriefing import debrief
    from flightlog.importers import read

    return len(debrief(read(log)).sorties)


def arithmetic(steps: int) -> int:
    """Calculate with whole numbers, which needs no memory and no other processor."""
    value = 1
    for n in range(steps):
        value = (value * 6_364_136_223_846_793_005 + n) & 0xFFFF_FFFF
    return value


WORK: Callable[[Path], int] = read_and_debrief


def gain(bench: Bench) -> Iterator[Line]:
    """Debriefs per minute on one and two processes, in turn with the arithmetic."""
    logs = _logs(bench)
    rounds = 3 if bench.quick else 10
    names = ("arithmetic 1", "debrief 1", "arithmetic 2", "debrief 2")
    took: dict[str, list[float]] = {name: [] for name in names}
    with environment(**dict.fromkeys(THREADS, "1")), _Pool(1) as one, _Pool(2) as two:
        steps = _steps_like(one, logs[0])
        tasks: dict[str, tuple[_Pool, Callable[[Any], int], list[Any]]] = {
            "arithmetic 1": (one, arithmetic, [steps] * JOBS),
            "debrief 1": (one, WORK, logs),
            "arithmetic 2": (two, arithmetic, [steps] * JOBS),
            "debrief 2": (two, WORK, logs),
        }
        for number in range(rounds):
            say(f"one and two processes: round {number + 1} of {rounds}")
            for name, (pool, work, given) in tasks.items():
                took[name].append(pool.seconds(work, given))
    typical = {name: statistics.median(times) for name, times in took.items()}
    machine = typical["arithmetic 1"] / typical["arithmetic 2"]
    ours = typical["debrief 1"] / typical["debrief 2"]
    size = logs[0].stat().st_size / 1e6
    for count in (1, 2):
        per_minute = 60 * JOBS / typical[f"debrief {count}"]
        processes = "one process" if count == 1 else "two processes"
        yield Line(f"debriefs of {size:.0f} MB, {processes}", f"{per_minute:.0f} a minute")
    yield at_least(
        "gain of two processes, of the machine's own",
        100 * ours / machine,
        85,
        "%",
        f" ({ours:.2f} times, arithmetic {machine:.2f} times)",
    )


def _logs(bench: Bench) -> list[Path]:
    folder = bench.scratch / "few"
    folder.mkdir(exist_ok=True)
    last = datetime(2027, 3, 15, 10, tzinfo=UTC)
    return list(write_season(folder, source_of(bench.log), JOBS, 10_000_000, last))


class _Pool:
    """Processes as an import has them, warm."""

    def __init__(self, count: int) -> None:
        from flightlog.workers.processes import Processes

        self._workers = Processes(count)
        self._count = count

    def __enter__(self) -> _Pool:
        for _ in range(2):  # a process that is ready early may take two of the first round
            self.seconds(read_and_debrief, [WARM] * 2 * self._count)
        return self

    def __exit__(self, *_: object) -> None:
        self._workers.close()

    def seconds(self, work: Callable[[Any], int], given: list[Any]) -> float:
        """Do the work for each, and give the time of all [s]."""
        start = time.perf_counter()
        for done in self._workers.each(work, given):
            done.get()
        return time.perf_counter() - start


def _steps_like(pool: _Pool, log: Path) -> int:
    """How much arithmetic takes as long as a debrief."""
    pool.seconds(WORK, [log])
    wanted, steps = pool.seconds(WORK, [log]), 1_000_000
    return max(round(steps * wanted / pool.seconds(arithmetic, [steps])), 1)
