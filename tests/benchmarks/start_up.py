"""What it takes to start a command: help of every one, and the common ones at work.

Run: ``python -m tests.benchmarks.start_up [--runs N] [--heavy] [DEMO]``. DEMO is a folder that
``flightlog demo`` made; without it one is made in a temporary folder. Each command is a process of
its own, and the table gives the median. Times are those of the processor, where the system tells
that of a child, and the yardsticks, Python that does nothing and ``flightlog --help``, run again
after every ten, so that other work on the machine slows all alike. Modules are compiled before, as
in an installation. With ``--heavy`` it says which big libraries each common command loads.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from typer.main import get_command

from flightlog.cli.commands import application

PROGRAM = ["-m", "flightlog"]
YARDSTICKS = {"python -c pass": ["-c", "pass"], "flightlog --help": [*PROGRAM, "--help"]}
HEAVY = "numpy pandas scipy pyarrow pymavlink plotly typst pydantic cryptography streamlit".split()
_TELLING = (
    "import sys; from flightlog.cli.app import main; main(sys.argv[1:]); "
    f"print(*(name for name in {HEAVY!r} if name in sys.modules), file=sys.stderr)"
)


def words_of(group: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Give the words of every command, and of every group of them."""
    for name, command in group.commands.items():
        yield (*words, name)
        if hasattr(command, "commands"):
            yield from words_of(command, (*words, name))


def common(demo: Path) -> list[str]:
    """Name the commands of a flying day that change nothing or can be repeated."""
    on = f"--team {demo / 'team'}"
    aircraft = f"--aircraft pannier {on}"
    return [
        f"logbook check {on}",
        f"logbook show --last 5 {on}",
        f"team show {on}",
        f"team due {on}",
        f"fitness state {aircraft}",
        f"checks show pre-flight --pack pack-a {aircraft}",
        f"defect list {aircraft}",
        f"load --pack pack-a --laps 4 --entered field_best=100 {aircraft}",
        f"release state {aircraft}",
        f"release check --pack pack-a {aircraft}",
        f"sortie list {aircraft}",
        f"sortie show 2027-03-15 {on}",
        f"trends {aircraft}",
        f"import {demo / 'calm.bin'} {on}",
        f"explain {demo / 'calm.bin'}",
        f"debrief {demo / 'calm.bin'}",
    ]


def seconds(arguments: list[str]) -> float:
    """Time of the processor that a process takes [s]; its output and exit code don't matter."""
    start, begin = time.perf_counter(), os.times()
    subprocess.run([sys.executable, *arguments], capture_output=True, check=False)
    wall_s, end = time.perf_counter() - start, os.times()
    used_s = sum(end[2:4]) - sum(begin[2:4])
    return used_s if used_s > 0 else wall_s  # Windows does not tell that of children


def loaded(command: str) -> str:
    """Name the big libraries that a command has loaded at its end."""
    done = subprocess.run(
        [sys.executable, "-c", _TELLING, *command.split()],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    return (done.stderr.splitlines() or [""])[-1]


def measure(commands: dict[str, list[str]], runs: int) -> dict[str, float]:
    """Time commands and yardsticks in turn, and give the medians [s]; a first round is left out."""
    times: dict[str, list[float]] = {}
    for run in range(runs + 1):
        if run <= 1:
            times = {name: [] for name in (*YARDSTICKS, *commands)}
        for number, (name, arguments) in enumerate(commands.items()):
            if number % 10 == 0:
                for yardstick, its in YARDSTICKS.items():
                    times[yardstick].append(seconds(its))
            times[name].append(seconds(arguments))
    return {name: statistics.median(values) for name, values in times.items()}


def show(title: str, medians: dict[str, float], heavy: dict[str, str]) -> None:
    """Print a table with each time beside that of ``flightlog --help``."""
    unit = medians["flightlog --help"]
    print(f"\n{title:<44}      s  of --help", flush=True)
    for name, value in medians.items():
        print(f"{name:<44} {value:6.3f}  {value / unit:9.2f}  {heavy.get(name, '')}".rstrip())


def made_demo(folder: Path) -> Path:
    """Make the folder of the demo."""
    print("making the demo", flush=True)
    subprocess.run(
        [sys.executable, *PROGRAM, "demo", "--to", str(folder)],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return folder


def main(arguments: list[str]) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("demo", nargs="?", type=Path)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--heavy", action="store_true")
    asked = parser.parse_args(arguments)
    every = {
        f"flightlog {' '.join(words)} --help": [*PROGRAM, *words, "--help"]
        for words in words_of(get_command(application()))
    }
    with tempfile.TemporaryDirectory() as scratch:
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(Path(scratch, "compiled"))
        show("help", measure(every, asked.runs), {})
        demo = (asked.demo or made_demo(Path(scratch, "demo"))).absolute()
        os.environ["FLIGHTLOG_PROFILE"] = str(demo / "profile")
        words = {
            f"flightlog {command.split(' --')[0].replace(f'{demo}{os.sep}', '')}": command
            for command in common(demo)
        }
        heavy = {name: loaded(command) for name, command in words.items()} if asked.heavy else {}
        timed = {name: [*PROGRAM, *command.split()] for name, command in words.items()}
        show("on the record of the demo", measure(timed, asked.runs), heavy)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
