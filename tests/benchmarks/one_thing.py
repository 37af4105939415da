"""Does things with one log in a process of its own; says how long they took and what they held.

Run by `measured` as ``python -m tests.benchmarks.one_thing LOG ROUNDS THING...``. A sample flight
is read and debriefed first, so that what Python loads is not counted. The things are done in turn,
so that a machine that is busy for a while hits all of them. Where the system allows it (Linux) the
peak of memory is counted for each by itself.
"""

from __future__ import annotations

import gc
import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.benchmarks.lines import ROOT, SAMPLES, one_thread

WARM = SAMPLES / "calm.bin"
ONCE = ("pymavlink",)
"""Things that take so long that they are done once, half way."""


@dataclass(frozen=True)
class Measured:
    """What one thing took.

    Attributes
    ----------
    processor_s, wall_s : float
        Of the thing alone. [s]
    own_s : float
        Of the processor, without what the system does for it. [s]
    before_bytes : int
        Resident memory just before it. [bytes]
    peak_bytes : int
        Most resident memory of the process during it and what it needs. [bytes]
    """

    processor_s: float
    wall_s: float
    own_s: float
    before_bytes: int
    peak_bytes: int


@dataclass(frozen=True)
class Runs:
    """All runs of one thing."""

    each: tuple[Measured, ...]

    @property
    def processor_s(self) -> float:
        """Median [s]."""
        return statistics.median(m.processor_s for m in self.each)

    @property
    def best_s(self) -> float:
        """Least time of the processor [s]: what other work on the machine adds to the least."""
        return min(m.processor_s for m in self.each)

    @property
    def own_s(self) -> float:
        """Least time of the program itself [s]: the system takes ten times as long at one time as
        at another to give out the same memory, and most for much of it."""
        return min(m.own_s for m in self.each)

    @property
    def wall_s(self) -> float:
        """Median [s]."""
        return statistics.median(m.wall_s for m in self.each)

    @property
    def peak_bytes(self) -> int:
        """Largest [bytes]."""
        return max(m.peak_bytes for m in self.each)

    @property
    def grown_bytes(self) -> int:
        """Largest peak above what the process held before [bytes]."""
        return max(m.peak_bytes - m.before_bytes for m in self.each)


def measured(log: Path, *things: str, rounds: int = 1) -> dict[str, Runs]:
    """Do things with a log, in turn, in a new process of one thread.

    Parameters
    ----------
    log : Path
        The log.
    *things : str
        Of `_things`; ``debrief`` reads first, which is in its memory and not in its time.
    rounds : int
        How often.
    """
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.one_thing", str(log), str(rounds), *things],
        check=True,
        stdout=subprocess.PIPE,
        encoding="utf-8",
        cwd=ROOT,
        env=one_thread(),
    )
    said = json.loads(done.stdout)
    return {thing: Runs(tuple(Measured(**m) for m in said[thing])) for thing in things}


def _things(log: Path) -> dict[str, Callable[[], Callable[[], object]]]:
    """By name, what prepares a thing and gives what is timed."""
    from flightlog.debriefing import debrief
    from flightlog.importers import read
    from flightlog.importers.common import sha256_of_file
    from tests.benchmarks.decode_dataflash import ours, theirs

    def debriefed() -> Callable[[], object]:
        recording = read(log)
        return lambda: debrief(recording)

    return {
        "decode": lambda: lambda: ours(log),
        "pymavlink": lambda: lambda: theirs(log),
        "sha256": lambda: lambda: sha256_of_file(log),
        "read": lambda: lambda: read(log),
        "debrief": debriefed,
        "whole": lambda: lambda: debrief(read(log)),
    }


def _measure(prepare: Callable[[], Callable[[], object]]) -> Measured:
    import psutil

    gc.collect()
    before = int(psutil.Process().memory_info().rss)
    if sys.platform == "linux":  # the peak is counted from here on
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    thing = prepare()
    wall, processor, own = time.perf_counter(), time.process_time(), _own_s()
    thing()
    processor, wall = time.process_time() - processor, time.perf_counter() - wall
    return Measured(processor, wall, _own_s() - own, before, _peak_bytes())


def _own_s() -> float:
    """Time of the processor in this program's own code so far [s]."""
    if sys.platform == "win32":
        return os.times().user
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_utime


def _peak_bytes() -> int:
    if sys.platform == "linux":
        # What getrusage tells holds the peak of the process that started this one.
        status = Path("/proc/self/status").read_text(encoding="utf-8")
        return int(status.split("VmHWM:")[1].split()[0]) * 1024
    if sys.platform == "win32":
        import psutil

        return int(psutil.Process().memory_info().peak_wset)
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def main(arguments: list[str]) -> None:
    """Do the things and print the numbers."""
    from flightlog.debriefing import debrief
    from flightlog.importers import read

    log, rounds, names = Path(arguments[0]), int(arguments[1]), arguments[2:]
    debrief(read(WARM))
    things = _things(log)
    found: dict[str, list[Measured]] = {name: [] for name in names}
    for number in range(rounds):
        for name in names:
            if name not in ONCE or number == rounds // 2:
                found[name].append(_measure(things[name]))
    print(json.dumps({name: [asdict(m) for m in runs] for name, runs in found.items()}))


if __name__ == "__main__":
    main(sys.argv[1:])
