"""How good is the take-off? Coverage, bias, width and error against known truth.

    python -m tests.accuracy.takeoff --tables 2000 --files 300 --seed 20270302 --corpus

Simulated take-offs come from ``sample_flights.generator``, which shares no code and no
constants with the estimator. ``--corpus`` adds the runway take-offs with truth of the folder
that FLIGHTLOG_CORPUS names. The plain method, for comparison, is the one a stopwatch user
would script: from the first fix at or above 1 m/s to the first whose climb exceeds 0.3 m/s.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import tempfile
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from flightlog.analyses.phases import find_sorties
from flightlog.analyses.takeoff import measure_takeoff
from flightlog.estimation.frames import LocalFrame
from flightlog.inputs import Inputs
from flightlog.recording import Receipt, Recording

CHUNK = 25


@dataclass(frozen=True)
class Result:
    """One take-off, estimated and true. ``value`` is None when it was withheld."""

    name: str
    stratum: dict[str, Any]
    truth: float
    truth_first: float
    value: float | None = None
    low: float = math.nan
    high: float = math.nan
    first_low: float = math.nan
    first_high: float = math.nan
    liftoff_error: float = math.nan
    plain: float | None = None
    reason: str = ""
    marks: list[str] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        return self.low <= self.truth <= self.high

    @property
    def half_width(self) -> float:
        return (self.high - self.low) / 2


def plain_roll(recording: Recording) -> float | None:
    """First fix at or above 1 m/s to first fix whose climb exceeds 0.3 m/s."""
    gps = recording.one("gps")
    if gps is None:
        return None
    speed = gps["ground_speed_m_s"].to_numpy()
    climb = gps["climb_m_s"].to_numpy()
    moving = np.flatnonzero(speed >= 1.0)
    if not moving.size:
        return None
    rising = np.flatnonzero((climb > 0.3) & (np.arange(len(climb)) > moving[0]))
    if not rising.size:
        return None
    a, b = moving[0], rising[0]
    lat, lon = gps["latitude_deg"].to_numpy(), gps["longitude_deg"].to_numpy()
    east, north = LocalFrame(lat[a], lon[a]).east_north(lat[b], lon[b])
    return float(math.hypot(east, north))


def measure(recording: Recording, truth: dict[str, Any], name: str) -> Result:
    """Run the analysis as a debrief does and compare."""
    base = Result(
        name,
        truth.get("stratum", {}),
        truth["ground_roll_m"],
        truth.get("first_airborne_dist_m", truth["ground_roll_m"]),
        plain=plain_roll(recording),
    )
    sorties, _, _ = find_sorties(recording)
    rolls = [s for s in sorties if s.launch == "runway"]
    if not rolls:
        kinds = [s.launch for s in sorties]
        return _with(base, reason=f"no runway sortie found ({kinds})")
    takeoff = measure_takeoff(recording, rolls[0], Inputs())
    figures = takeoff.answer.figures
    if "takeoff.ground_roll" not in figures:
        return _with(base, reason=takeoff.answer.withheld["takeoff.ground_roll"])
    roll = figures["takeoff.ground_roll"].quantity
    first = figures["takeoff.first_clear_distance"].quantity.interval()
    low, high = roll.interval()
    return _with(
        base,
        value=roll.value,
        low=low,
        high=high,
        first_low=first[0],
        first_high=first[1],
        liftoff_error=(takeoff.liftoff_s or math.nan) - truth["t_liftoff"],
        marks=[f.code for f in takeoff.answer.findings],
    )


def _with(base: Result, **changes: Any) -> Result:
    return Result(**{**base.__dict__, **changes})


def tables_chunk(job: tuple[int, int]) -> list[Result]:
    """Simulate and measure one chunk at sensor-table level."""
    from sample_flights.generator.takeoffs import simulate_takeoffs

    n, seed = job
    out = []
    for k, (tables, truth) in enumerate(simulate_takeoffs(n, seed)):
        recording = Recording(tables, Receipt(f"{seed}-{k}", 0, "", "simulated", 1))
        out.append(measure(recording, truth, f"{seed}-{k}"))
    return out


def files_chunk(job: tuple[int, int]) -> list[Result]:
    """Simulate, write and read files, and measure one chunk."""
    import flightlog
    from sample_flights.generator.flights import write_takeoff_files

    n, seed = job
    out = []
    with tempfile.TemporaryDirectory() as folder:
        write_takeoff_files(n, seed, Path(folder))
        for log in sorted(Path(folder).glob("*.bin")):
            truth = json.loads(log.with_suffix(".truth.json").read_text(encoding="utf-8"))
            out.append(measure(flightlog.read(log), truth, f"{seed}-{log.stem}"))
    return out


def corpus() -> list[Result]:
    """Measure the take-offs of the corpus that have truth beside them."""
    import flightlog

    root = Path(os.environ["FLIGHTLOG_CORPUS"])
    logs = [*sorted(root.glob("runway/*.bin")), *sorted(root.glob("*/runway_simulated.*log"))]
    logs += sorted(root.glob("*/runway_simulated.bin"))
    out = []
    for log in logs:
        truth = json.loads((log.parent / f"{log.stem}.truth.json").read_text(encoding="utf-8"))
        out.append(measure(flightlog.read(log), truth, f"{log.parent.name}/{log.name}"))
    return out


def run(
    chunk: Callable[[tuple[int, int]], list[Result]], n: int, seed: int, workers: int
) -> list[Result]:
    """Run chunks on all cores; the seed of a chunk follows from the seed and its number."""
    jobs = [(min(CHUNK, n - k), seed + k) for k in range(0, n, CHUNK)]
    out: list[Result] = []
    with ProcessPoolExecutor(workers) as pool:
        for done, results in enumerate(pool.map(chunk, jobs), start=1):
            out.extend(results)
            print(f"\r{done}/{len(jobs)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return out


def groups(results: list[Result]) -> Iterable[tuple[str, list[Result]]]:
    """Split by stratum, one at a time."""
    yield "all", results
    for key in ("gps_hz", "imu", "surface", "air", "liftoff"):
        for value in sorted({str(r.stratum.get(key)) for r in results}):
            yield f"{key} {value}", [r for r in results if str(r.stratum.get(key)) == value]
    clean = [r for r in results if r.stratum.get("liftoff") == "clean"]
    yield "clean", clean
    good = [r for r in clean if r.stratum.get("imu") == "100-400" and r.stratum.get("gps_hz") == 5]
    for low, high in ((0.0, 0.5), (0.5, 2.5)):
        yield (
            f"clean, 5 Hz, IMU >= 100 Hz, vibration {low}-{high}",
            [r for r in good if low <= r.stratum.get("vibration_logged", 9) <= high],
        )


def row(label: str, results: list[Result]) -> str:
    """One line of the table."""
    done = [r for r in results if r.value is not None]
    if not done:
        return f"| {label} | {len(results)} | 0 | | | | | | |"
    error = np.array([r.value - r.truth for r in done if r.value is not None])
    plain = np.array([r.plain - r.truth for r in done if r.plain is not None])
    first = np.mean([r.first_low <= r.truth_first <= r.first_high for r in done])
    return (
        f"| {label} | {len(results)} | {len(done)} | {100 * np.mean([r.holds for r in done]):.1f} |"
        f" {error.mean():+.2f} | {np.sqrt(np.mean(error**2)):.2f} |"
        f" {np.sqrt(np.mean(plain**2)) if len(plain) else math.nan:.2f} |"
        f" {np.median([r.half_width for r in done]):.2f} | {100 * first:.1f} |"
    )


HEAD = (
    "| stratum | take-offs | answered | holds truth % | bias m | rms m | plain rms m"
    " | median half-width m | first clear holds % |\n|---|---|---|---|---|---|---|---|---|"
)


def table(results: list[Result]) -> str:
    """The whole table as Markdown."""
    return "\n".join([HEAD, *(row(label, rs) for label, rs in groups(results) if rs)])


def main() -> None:
    """Run what was asked for and print Markdown."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tables", type=int, default=0, help="take-offs at sensor-table level")
    parser.add_argument("--files", type=int, default=0, help="take-offs through files")
    parser.add_argument("--corpus", action="store_true", help="the logs with truth")
    parser.add_argument("--seed", type=int, default=20270302)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--misses", action="store_true", help="list what missed the truth")
    given = parser.parse_args()
    for title, chunk, n in (
        ("Sensor tables", tables_chunk, given.tables),
        ("Through files", files_chunk, given.files),
    ):
        if n:
            results = run(chunk, n, given.seed, given.workers)
            print(f"\n### {title}, seed {given.seed}\n\n{table(results)}")
            for r in results if given.misses else []:
                if r.value is None or not r.holds:
                    print(r)
    if given.corpus:
        results = corpus()
        print(f"\n### Logs with independent truth\n\n{HEAD}\n{row('all', results)}\n")
        for r in results:
            value = "withheld: " + r.reason if r.value is None else f"{r.value:.1f}"
            print(
                f"- {r.name}: true {r.truth:.1f} m, {value} ({r.low:.1f} to {r.high:.1f})"
                f"{'' if r.holds else '  MISSES'} {' '.join(r.marks)}"
            )


if __name__ == "__main__":
    main()
