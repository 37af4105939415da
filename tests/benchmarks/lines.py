"""What all parts of the benchmarks share: lines of the table, the place, how far it is."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_flights"
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


@dataclass(frozen=True)
class Line:
    """One line of the table.

    Attributes
    ----------
    what, measured, target : str
        As printed; the target empty where there is none.
    met : bool or None
        None where nothing is asked for, or where it could not be measured.
    """

    what: str
    measured: str
    target: str = ""
    met: bool | None = None


@dataclass(frozen=True)
class Bench:
    """What is measured with.

    Attributes
    ----------
    log : Path
        The large flight.
    scratch : Path
        Folder for what is made; removed afterwards.
    quick : bool
        Fewer and smaller.
    demo : Path or None
        A folder that ``flightlog demo`` made.
    """

    log: Path
    scratch: Path
    quick: bool
    demo: Path | None = None


def at_most(what: str, value: float, target: float, unit: str, said: str = "") -> Line:
    """Make a line of a value that may not be larger."""
    return Line(
        what, f"{_number(value)} {unit}{said}", f"at most {target:g} {unit}", value <= target
    )


def at_least(what: str, value: float, target: float, unit: str, said: str = "") -> Line:
    """Make a line of a value that may not be smaller."""
    return Line(
        what, f"{_number(value)} {unit}{said}", f"at least {target:g} {unit}", value >= target
    )


def _number(value: float) -> str:
    plain = isinstance(value, int) or abs(value) >= 100
    return f"{value:.0f}" if plain else f"{value:#.3g}"


def say(text: str) -> None:
    """Say on standard error how far it is."""
    print(f"  {text}", file=sys.stderr, flush=True)


def one_thread() -> dict[str, str]:
    """Environment of a process whose libraries use one thread, so that its time can be compared."""
    return {**os.environ, **dict.fromkeys(THREADS, "1")}


@contextmanager
def environment(**values: str) -> Iterator[None]:
    """Set variables of this process, and of those that it starts, for a while."""
    before = {name: os.environ.get(name) for name in values}
    os.environ.update(values)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def lacks_room(folder: Path, needed: int) -> str:
    """Say that a folder has not so many bytes free; "" where it has."""
    free = shutil.disk_usage(folder).free
    if free >= needed:
        return ""
    return f"not measured: {needed / 1e9:.1f} GB are needed, {free / 1e9:.1f} GB are free"
