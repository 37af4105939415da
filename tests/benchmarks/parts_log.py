"""One log: decoding beside pymavlink and the hash, the debrief, its memory, growth with length."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from tests.benchmarks.lines import Bench, Line, at_least, at_most, lacks_room, say
from tests.benchmarks.long_logs import source_of, write_log
from tests.benchmarks.one_thing import Runs, measured

SIZES_MB = (10, 20, 50, 100, 200, 400)
QUICK_SIZES_MB = (50, 100, 200)
LINEAR = 1.15
"""An exponent up to this is called linear: what a busy machine does to it is about 0.1."""
SLOPE_FROM_MB = {"decode": 0, "read": 0, "debrief": 45}
"""Below, most of a thing's time is that which does not grow with the log. [MB]"""
MEMORY_FROM_MB = 45
"""Below, part of what is needed is left over from the start of the process. [MB]"""


def decoding(bench: Bench) -> Iterator[Line]:
    """Reading and touching every column, against two others that read the same file."""
    say(f"decoding {bench.log.name}")
    rounds = 5 if bench.quick else 15
    found = measured(bench.log, "decode", "sha256", "pymavlink", rounds=rounds)
    ours, hashed, theirs = found["decode"], found["sha256"], found["pymavlink"]
    size = bench.log.stat().st_size / 1e6
    yield Line(
        f"decoding {size:.0f} MB, every column",
        f"{ours.processor_s:.3f} s (pymavlink {theirs.processor_s:.1f} s, "
        f"SHA-256 {hashed.processor_s:.3f} s)",
    )
    yield at_least(
        "faster than pymavlink's iteration",
        theirs.processor_s / ours.processor_s,
        80,
        "times",
        f" (by the clock {theirs.wall_s / ours.wall_s:.0f})",
    )
    yield at_most(
        "against SHA-256 of the file",
        ours.processor_s / hashed.processor_s,
        8,
        "times",
        f" (by the clock {ours.wall_s / hashed.wall_s:.1f})",
    )


def debriefing(bench: Bench) -> Iterator[Line]:
    """Read and debrief in a warm process, without the decoding."""
    say(f"debriefing {bench.log.name}")
    found = measured(bench.log, "decode", "whole", rounds=3 if bench.quick else 7)
    decode, whole = found["decode"], found["whole"]
    yield at_most(
        "read and debrief, warm, without decoding",
        whole.processor_s - decode.processor_s,
        1.5,
        "s",
        f" (by the clock {whole.wall_s - decode.wall_s:.2f} s)",
    )


def growth(bench: Bench) -> Iterator[Line]:
    """Time and memory over the length of the log."""
    sizes = QUICK_SIZES_MB if bench.quick else SIZES_MB
    lacking = lacks_room(bench.scratch, int(1.2e6 * sizes[-1]))
    if lacking:
        yield Line("growth with length", lacking)
        return
    source = source_of(bench.log)
    things = ("decode", "read", "debrief")
    rows = []
    for size in sizes:
        log = bench.scratch / "long.bin"
        bytes_ = write_log(log, source, size * 1_000_000)
        say(f"growth: {bytes_ / 1e6:.0f} MB")
        rows.append((bytes_, {t: _fresh(log, t) for t in things}))
        log.unlink()
    for size, found in rows:
        texts = [
            f"{thing} {runs.best_s:.2f} s {runs.peak_bytes / 1e6:.0f} MB"
            for thing, runs in found.items()
        ]
        yield Line(f"log of {size / 1e6:.0f} MB", ", ".join(texts))
    for thing in things:
        own = slope([(size, found[thing].own_s) for size, found in rows], SLOPE_FROM_MB[thing])
        whole = slope([(size, found[thing].best_s) for size, found in rows], SLOPE_FROM_MB[thing])
        with_system = f" ({whole:.2f} with the system's work for memory)"
        yield at_most(
            f"{thing}: own time grows with length to the power", own, LINEAR, "", with_system
        )
    for thing in ("read", "debrief"):
        grown = [(size, float(found[thing].grown_bytes)) for size, found in rows]
        yield at_most(
            f"{thing}: memory grows with length to the power",
            slope(grown, MEMORY_FROM_MB),
            LINEAR,
            "",
            f" ({grown[-1][1] / grown[-1][0]:.1f} times the log)",
        )


def _fresh(log: Path, thing: str) -> Runs:
    """Do a thing in two new processes.

    One that did it before has memory left over from a short log, and not from a long one, so that
    the system's work for new memory would look like more than linear growth.
    """
    return Runs(tuple(measured(log, thing)[thing].each[0] for _ in range(2)))


def slope(points: list[tuple[int, float]], from_mb: int) -> float:
    """Fit the exponent of what grows with length, over logs from a size on."""
    long = [p for p in points if p[0] >= from_mb * 1e6]
    x, y = np.log(long).T
    return float(np.polyfit(x, y, 1)[0])
