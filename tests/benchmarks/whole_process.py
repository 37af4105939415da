"""How long the commands take as people feel it: from Enter to the prompt.

Run: ``python tests/benchmarks/whole_process.py [LOG]`` (default: the simulated runway flight
in the folder that FLIGHTLOG_CORPUS names). Each command is a process of its own, timed from
outside. One run before the timed ones warms the disk cache.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path


def seconds(arguments: list[str]) -> float:
    """Wall time of one command [s].

    Raises
    ------
    subprocess.CalledProcessError
        If it does not end with code 0.
    """
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "flightlog", *arguments], check=True, stdout=subprocess.DEVNULL
    )
    return time.perf_counter() - start


def measure(title: str, arguments: list[str], runs: int) -> None:
    """Time a command and print the best run and the median."""
    seconds(arguments)
    times = [seconds(arguments) for _ in range(runs)]
    print(
        f"{title:<28} best {min(times):7.3f} s   median {statistics.median(times):7.3f} s"
        f"   of {runs}",
        flush=True,
    )


def main(arguments: list[str]) -> int:
    """Measure and print."""
    if arguments:
        log = Path(arguments[0])
    elif root := os.environ.get("FLIGHTLOG_CORPUS"):
        log = Path(root, "dataflash", "runway_simulated.bin")
    else:
        print("Name a log, or set FLIGHTLOG_CORPUS.", file=sys.stderr)
        return 2
    measure("flightlog --help", ["--help"], 10)
    size = log.stat().st_size / 1e6
    measure(f"flightlog explain {size:.0f} MB", ["explain", str(log)], 5)
    measure(f"flightlog debrief {size:.0f} MB", ["debrief", str(log)], 5)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
