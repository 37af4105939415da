"""The import of a season: its peak of memory, and what an interruption costs."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psutil

from tests.benchmarks.lines import ROOT, Bench, Line, at_most, lacks_room, one_thread, say
from tests.benchmarks.long_logs import source_of, write_season

LOGS, QUICK_LOGS = 200, 10
LOG_BYTES = 10_000_000
INTERRUPTED_LOGS = 12
KILLED_AFTER = 4
"""Logs that are begun, or entered, when the import is killed."""
PEAK_GB = 1.5
ROOM_TIMES = 3.0
"""Disk that an import needs, in sizes of the logs: they, their copies and their tables."""
EVERY_S = 0.2
LONGEST_S = 3600.0

COUNTING = """
import os
import flightlog.debriefing, flightlog.importers

def noted(what, function, name_of):
    def call(first, *more, **named):
        with open(os.environ["FLIGHTLOG_COUNTED"], "a", encoding="utf-8") as file:
            file.write(f"{what} {name_of(first)}\\n")
        return function(first, *more, **named)
    return call

flightlog.importers.read = noted("read", flightlog.importers.read, lambda path: path.name)
flightlog.debriefing.debrief = noted(
    "debrief", flightlog.debriefing.debrief, lambda recording: recording.receipt.file
)
"""
"""Loaded by every process at its start (``sitecustomize``): notes each log as its work begins."""


@dataclass(frozen=True)
class Team:
    """A made team folder, and the device's own folder."""

    path: Path
    profile: Path


def made_team(root: Path) -> Team:
    """Make a team folder with its files in force, an hour before now."""
    from tests.operations.made import HillFarm

    farm = HillFarm(root, datetime.now(UTC) - timedelta(hours=1))
    farm.enter_files()
    farm.close()
    return Team(farm.folder.path, root / "profile")


@contextmanager
def importing(
    team: Team, folder: Path, environment: Mapping[str, str] | None = None
) -> Iterator[psutil.Popen]:
    """Start the import of a folder; it and its processes are gone afterwards."""
    command = [sys.executable, "-m", "flightlog", "import", str(folder), "--aircraft", "pannier"]
    with (team.profile.parent / "said.txt").open("ab") as said:
        process = psutil.Popen(
            [*command, "--team", str(team.path)],
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=said,
            cwd=ROOT,
            env={**one_thread(), **(environment or {}), "FLIGHTLOG_PROFILE": str(team.profile)},
        )
        try:
            yield process
        finally:
            killed(process)


def killed(process: psutil.Popen) -> None:
    """End a process and those that it started, at once, and wait for that."""
    try:
        family = [process, *process.children(recursive=True)]
    except psutil.NoSuchProcess:
        return
    for one in family:
        try:
            one.kill()
        except psutil.NoSuchProcess:
            continue
    psutil.wait_procs(family, timeout=30)


def held_bytes(process: psutil.Popen) -> int:
    """Memory of a process and those that it started [bytes].

    What they share is counted once where the system says it (Linux), else for each.
    """
    total = 0
    try:
        for one in (process, *process.children(recursive=True)):
            try:
                found = one.memory_full_info()
            except psutil.Error:
                continue
            total += getattr(found, "pss", found.rss)
    except psutil.NoSuchProcess:
        return total
    return total


def season(bench: Bench) -> Iterator[Line]:
    """Import many logs into a new team folder, and sample the memory meanwhile."""
    count = QUICK_LOGS if bench.quick else LOGS
    what = f"import of {count} logs of 10 MB"
    lacking = lacks_room(bench.scratch, int(ROOM_TIMES * count * LOG_BYTES))
    if lacking:
        yield Line(what, lacking)
        return
    folder, team = _logs(bench, count), made_team(bench.scratch / "season-team")
    start, told, peak = time.monotonic(), 0.0, 0
    with importing(team, folder) as process:
        while process.poll() is None and time.monotonic() - start < LONGEST_S:
            peak = max(peak, held_bytes(process))
            if time.monotonic() - told > 20:
                told = time.monotonic()
                say(f"import: {len(entered(team))} of {count} entered, peak {peak / 1e9:.2f} GB")
            time.sleep(EVERY_S)
        code = process.poll()
    took, there = time.monotonic() - start, len(entered(team))
    shutil.rmtree(folder)
    shutil.rmtree(team.path)
    yield Line(
        what,
        f"{there} entered in {took:.0f} s, {60 * there / took:.0f} a minute (ended with {code})",
        f"{count} entered",
        there == count,
    )
    yield at_most(f"{what}: peak of memory", peak / 1e9, PEAK_GB, "GB")


def interruption(bench: Bench) -> Iterator[Line]:
    """Kill an import while it reads, and again while it enters; count what was done twice."""
    from flightlog.workers.processes import cores

    folder, team = _logs(bench, INTERRUPTED_LOGS), made_team(bench.scratch / "cut-team")
    counted = bench.scratch / "counted.txt"
    counted.touch()
    site = bench.scratch / "site"
    site.mkdir()
    (site / "sitecustomize.py").write_text(COUNTING, encoding="utf-8")
    environment = {"PYTHONPATH": str(site), "FLIGHTLOG_COUNTED": str(counted)}

    def begun(what: str) -> int:
        return sum(
            line.startswith(what) for line in counted.read_text(encoding="utf-8").splitlines()
        )

    ends: tuple[tuple[str, Callable[[], bool]], ...] = (
        ("killed while it reads", lambda: begun("read") >= KILLED_AFTER),
        ("killed while it enters", lambda: len(entered(team)) >= KILLED_AFTER),
        ("to the end", lambda: False),
    )
    for text, reached in ends:
        say(f"import, {text}")
        with importing(team, folder, environment) as process:
            _until(process, reached)
        say(f"{begun('read')} read, {begun('debrief')} debriefed, {len(entered(team))} entered")
    after, workers = entered(team), cores()
    shutil.rmtree(folder)
    yield Line(
        f"import of {INTERRUPTED_LOGS} logs, killed twice",
        f"{len(set(after))} in the record",
        f"{INTERRUPTED_LOGS}, each once",
        len(after) == len(set(after)) == INTERRUPTED_LOGS,
    )
    for what in ("read", "debrief"):
        twice = begun(what) - INTERRUPTED_LOGS
        yield at_most(f"begun twice: {what}", twice, workers, "logs", " (one for each process)")


def entered(team: Team) -> list[str]:
    """SHA-256 of the logs that are in the record, one for each entry."""
    from flightlog.logbook.entry import read_body
    from flightlog.logbook.layout import RECORD
    from flightlog.logbook.store import Store

    with Store(team.path / "logbook" / RECORD, read_only=True) as store:
        bodies = [read_body(row.data) for row in store.rows()]
    return [str(b.content["sha256"]) for b in bodies if b.kind == "recording"]


def _until(process: psutil.Popen, reached: Callable[[], bool]) -> None:
    """Wait until something is so, or the process ends."""
    end = time.monotonic() + LONGEST_S
    while process.poll() is None and time.monotonic() < end:
        if reached():
            return
        time.sleep(EVERY_S)


def _logs(bench: Bench, count: int) -> Path:
    folder = bench.scratch / f"season-{count}"
    folder.mkdir(exist_ok=True)
    last = datetime.now(UTC) - timedelta(days=1)
    for number, _ in enumerate(write_season(folder, source_of(bench.log), count, LOG_BYTES, last)):
        if number % 50 == 49:
            say(f"logs of a season: {number + 1} of {count} made")
    return folder
