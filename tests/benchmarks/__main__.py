"""All speeds and sizes in one table, each with its target.

Run: ``python -m tests.benchmarks [--only NAME]... [--quick] [--demo DEMO] [LOG]``. LOG is a
DataFlash log of a flight with laps (default: the simulated runway flight in the folder that
FLIGHTLOG_CORPUS names), and everything large is made out of it, in a temporary folder that is
removed afterwards. Targets are ratios within one run, or times of the processor, since machines
are busy. Ends with 1 where a target is missed. How far it is stands on standard error; what was
measured before an interruption is printed.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.benchmarks import parts_faces, parts_import, parts_log, parts_pool
from tests.benchmarks.lines import Bench, Line

PARTS: dict[str, Callable[[Bench], Iterator[Line]]] = {
    "decoding": parts_log.decoding,
    "debrief": parts_log.debriefing,
    "processes": parts_pool.gain,
    "season": parts_import.season,
    "interruption": parts_import.interruption,
    "growth": parts_log.growth,
    "pages": parts_faces.pages,
    "commands": parts_faces.commands,
    "asking": parts_faces.asking,
}


def main(arguments: list[str]) -> int:
    """Measure and print; 1 where a target is missed, 2 without a log, 130 when interrupted."""
    asked = _asked(arguments)
    root = os.environ.get("FLIGHTLOG_CORPUS")
    log = asked.log or (root and Path(root, "dataflash", "runway_simulated.bin"))
    if not log or not log.is_file():
        print("Name a DataFlash log, or set FLIGHTLOG_CORPUS.", file=sys.stderr)
        return 2
    lines: list[Line] = []
    interrupted = False
    with tempfile.TemporaryDirectory(dir=asked.scratch) as scratch:
        bench = Bench(log.absolute(), Path(scratch), asked.quick, asked.demo)
        try:
            for name in asked.only or PARTS:
                for line in PARTS[name](bench):
                    lines.append(line)
                    print(f"  {line.what}: {line.measured}", file=sys.stderr, flush=True)
        except KeyboardInterrupt:
            interrupted = True
            print("interrupted", file=sys.stderr)
    _print(lines)
    if interrupted:
        return 130
    return int(any(line.met is False for line in lines))


def _asked(arguments: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks")
    parser.add_argument("log", nargs="?", type=Path, metavar="LOG")
    parser.add_argument("--only", action="append", choices=list(PARTS), help="repeatable")
    parser.add_argument("--quick", action="store_true", help="smaller logs, fewer rounds")
    parser.add_argument("--demo", type=Path, help="a folder that flightlog demo made")
    parser.add_argument("--scratch", type=Path, help="where the temporary folder is made")
    return parser.parse_args(arguments)


def _print(lines: list[Line]) -> None:
    """Print the table, and under what it was measured."""
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(
        f"{os.cpu_count()} processors{load}, Python {platform.python_version()}, "
        f"{platform.system()}"
    )
    rows = [_cells(line) for line in lines]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        print("  ".join(t.ljust(w) for t, w in zip(row, widths, strict=True)).rstrip())


def _cells(line: Line) -> tuple[str, str, str, str]:
    met = {True: "met", False: "MISSED", None: ""}[line.met]
    return line.what, line.measured, line.target, met


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
