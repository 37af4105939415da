"""Feed mutated files to every importer and watch for crashes, hangs and memory.

    python -m tests.fuzz.run --inputs 100000 --full 500 --seed 1 [FOLDER ...]

Sources are the sample flights, small files made here, and every file below the folders given
(where none is, below the folder that FLIGHTLOG_CORPUS names). Each input goes to the importer
of the format that it was cut from, each seventh to the detector first. An input fails if

* anything but a `FlightlogError` is raised, or a recording breaks a promise (time falls);
* it takes longer than 10 s;
* memory rises by more than ten times the input plus 300 MB over the process's baseline.

With ``--debrief`` each recording is also debriefed and told in words and JSON. Failures are written
to ``--keep DIR`` with the trace, and the exit code is 1. With the same seed and sources the inputs
are the same. Peaks of memory are the kernel's on Linux, else sampled every few milliseconds (needs
psutil).
"""

from __future__ import annotations

import argparse
import multiprocessing as mp
import os
import queue
import sys
import tempfile
import threading
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.fuzz.inputs import GUESS, TABLE, Source, full_input, small_input, sources_of
from tests.fuzz.made import made_sources

LONGEST_S = 10.0
MEMORY_TIMES, MEMORY_PLUS = 10, 300 * 1024 * 1024


class Peak:
    """Peak of this process's memory since `reset` [bytes]."""

    def __init__(self) -> None:
        self._status = Path("/proc/self/status")
        self._kernel = self._status.exists() and self._reset_kernel()
        self._sampled = 0
        if not self._kernel:
            threading.Thread(target=self._sample, daemon=True).start()

    def _reset_kernel(self) -> bool:
        try:
            Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
        except OSError:
            return False
        return True

    def _sample(self) -> None:
        import psutil

        process = psutil.Process()
        while True:
            self._sampled = max(self._sampled, process.memory_info().rss)
            time.sleep(0.003)

    def reset(self) -> None:
        if self._kernel:
            self._reset_kernel()
        self._sampled = 0

    def bytes(self) -> int:
        if not self._kernel:
            return self._sampled
        for line in self._status.read_text(encoding="ascii").splitlines():
            if line.startswith("VmHWM"):
                return int(line.split()[1]) * 1024
        return 0


def feed(
    format: str, content: bytes, path: Path, *, detected: bool, debriefed: bool = False
) -> str:
    """Read one input as a user would; give what came of it: "recording" or the error's name.

    With ``debriefed`` the recording goes all the way to the words and the JSON.

    Raises
    ------
    Exception
        Whatever is raised that should not be.
    """
    from flightlog.errors import FlightlogError
    from flightlog.importers import IMPORTERS, read
    from tests.fuzz.made import table_map

    path.write_bytes(content)
    try:
        if format == TABLE:
            recording = read(path, columns=table_map(path.parent))
        elif format == GUESS:
            recording = read(path, columns=guessed_map(path))
        elif detected or not content:
            recording = read(path)
        else:
            importer = next(i for i in IMPORTERS if i.format == format)
            recording = importer.load(path, None)
    except FlightlogError as error:
        return type(error).__name__
    check(recording)
    if debriefed:
        from flightlog.contract import dumps
        from flightlog.debriefing import debrief
        from flightlog.reports.words import debrief_lines

        result = debrief(recording)
        debrief_lines(result)
        dumps(result)
    return "recording"


def guessed_map(path: Path) -> Path:
    """Write the column map that is guessed for a table."""
    from flightlog.importers.delimited_first_map import map_text
    from flightlog.importers.delimited_guess import guess_columns

    place = path.with_suffix(".columns.toml")
    place.write_text(map_text(guess_columns(path)), encoding="utf-8", newline="\n")
    return place


def check(recording: Any) -> None:
    """Whether the tables keep their promises."""
    import numpy as np

    for name in recording:
        time_s = recording[name]["time_s"].to_numpy()
        if not np.isfinite(time_s).all() or (np.diff(time_s) < 0).any():
            raise RuntimeError(f"time_s of {name} falls or is not finite")
    repr(recording)


def _work(
    me: int,
    sources: list[Source],
    seed: int,
    debriefed: bool,
    jobs: Any,
    told: Any,
    begun: Any,
    number: Any,
) -> None:
    warnings.simplefilter("error")
    peak = Peak()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.log"
        for format, content in (small_input(sources, seed, n) for n in range(40)):
            _quietly(format, content, path)  # caches and libraries are the baseline
        peak.reset()
        baseline = peak.bytes()
        while True:
            job = jobs.get()
            if job is None:
                return
            full, n = job
            make = full_input if full else small_input
            format, content = make(sources, seed, n)
            peak.reset()
            number[me], begun[me] = (-n - 1 if full else n), time.monotonic()
            failure = ""
            try:
                came = feed(format, content, path, detected=n % 7 == 0, debriefed=debriefed)
            except Exception:
                came, failure = "crash", traceback.format_exc()
            taken, begun[me] = time.monotonic() - begun[me], 0.0
            rise = max(0, peak.bytes() - baseline)
            if not failure and taken > LONGEST_S:
                came, failure = "slow", f"took {taken:.1f} s"
            if not failure and rise > MEMORY_TIMES * len(content) + MEMORY_PLUS:
                came, failure = "memory", f"rose by {rise} bytes for {len(content)}"
            told.put((full, n, format, len(content), came, failure, taken, rise))


def _quietly(format: str, content: bytes, path: Path) -> None:
    try:
        feed(format, content, path, detected=False)
    except Exception:
        return  # met again when it is counted


def run(
    sources: list[Source],
    *,
    inputs: int,
    full: int,
    seed: int,
    processes: int,
    keep: Path | None,
    debriefed: bool = False,
) -> Counter[tuple[str, str]]:
    """Run all inputs; give how often each (format, outcome) came, and print failures."""
    context = mp.get_context("spawn")
    jobs, told = context.Queue(maxsize=1000), context.Queue()
    begun, number = context.Array("d", processes), context.Array("q", processes)
    args = [(me, sources, seed, debriefed, jobs, told, begun, number) for me in range(processes)]
    workers = [context.Process(target=_work, args=a, daemon=True) for a in args]
    for worker in workers:
        worker.start()
    todo = iter([*((True, n) for n in range(full)), *((False, n) for n in range(inputs))])
    counts: Counter[tuple[str, str]] = Counter()
    longest: dict[str, float] = {}
    highest: dict[str, int] = {}
    done, waiting, total = 0, 0, inputs + full
    last = time.monotonic()
    while done < total:
        while waiting < 200 and (job := next(todo, None)) is not None:
            jobs.put(job)
            waiting += 1
        try:
            whole, n, format, _size, came, failure, taken, rise = told.get(timeout=1.0)
        except queue.Empty:
            for me, worker in enumerate(workers):
                hung = begun[me] and time.monotonic() - begun[me] > LONGEST_S
                if not hung and worker.is_alive():
                    continue
                worker.kill()
                n = number[me]
                kind = "hang" if hung else "killed"
                _report(sources, seed, n < 0, -n - 1 if n < 0 else n, kind, kind, keep)
                counts["?", kind] += 1
                done, waiting, begun[me] = done + 1, waiting - 1, 0.0
                workers[me] = context.Process(target=_work, args=args[me], daemon=True)
                workers[me].start()
            continue
        done, waiting = done + 1, waiting - 1
        counts[format, came] += 1
        longest[format] = max(longest.get(format, 0.0), taken)
        highest[format] = max(highest.get(format, 0), rise)
        if failure:
            _report(sources, seed, whole, n, came, failure, keep)
        if time.monotonic() - last > 30:
            last = time.monotonic()
            print(f"  {done} of {total}", file=sys.stderr, flush=True)
    for _ in workers:
        jobs.put(None)
    for format in sorted(longest):
        peak_mb = highest[format] / 1e6
        print(f"{format:<20} longest {longest[format]:6.2f} s   highest {peak_mb:7.0f} MB")
    return counts


def _report(
    sources: list[Source], seed: int, full: bool, n: int, came: str, why: str, keep: Path | None
) -> None:
    lines = why.strip().splitlines()
    print(f"FAILED {came} {'full' if full else 'small'} {n}: {lines[-1]}", flush=True)
    if keep is None:
        return
    keep.mkdir(parents=True, exist_ok=True)
    format, content = (full_input if full else small_input)(sources, seed, n)
    stem = f"{came}-{format}-{'full' if full else 'small'}-{n}"
    (keep / f"{stem}.log").write_bytes(content)
    (keep / f"{stem}.txt").write_text(why, encoding="utf-8")


def files_below(folders: list[Path]) -> Iterator[Path]:
    for folder in folders:
        yield from sorted(p for p in folder.rglob("*") if p.is_file())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--full", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", help="one format")
    parser.add_argument("--debrief", action="store_true", help="debrief what was read, too")
    parser.add_argument("--keep", type=Path, help="folder for inputs that failed")
    given = parser.parse_args()
    corpus = os.environ.get("FLIGHTLOG_CORPUS")
    folders = given.folders or ([Path(corpus)] if corpus else [])
    from flightlog.resources import data_path

    sources = [*made_sources(), *sources_of(list(files_below([data_path("sample_flights")])))]
    sources += sources_of(list(files_below(folders)))
    if given.only:
        sources = [s for s in sources if s.format == given.only]
    print(f"{len(sources)} sources: {dict(Counter(s.format for s in sources))}", flush=True)
    began = time.monotonic()
    counts = run(
        sources,
        inputs=given.inputs,
        full=given.full,
        seed=given.seed,
        processes=given.processes,
        keep=given.keep,
        debriefed=given.debrief,
    )
    for (format, came), count in sorted(counts.items()):
        print(f"{format:<20} {came:<22} {count}")
    bad = sum(c for (_, came), c in counts.items() if came in FAILURES)
    print(f"{sum(counts.values())} inputs, {bad} failed, {time.monotonic() - began:.0f} s")
    return 1 if bad else 0


FAILURES = ("crash", "slow", "memory", "hang", "killed")

if __name__ == "__main__":
    sys.exit(main())
