"""Records that were damaged at random, and what the program makes of them.

python -m tests.logbook.mutated FIRST LAST

tries the seeds from FIRST to before LAST, each in a process of its own with a limit of time, and
tells what ended otherwise than in a result or in words.
"""

from __future__ import annotations

import multiprocessing
import random
import shutil
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from flightlog.errors import FlightlogError
from flightlog.logbook.book import Logbook
from flightlog.logbook.checking import check
from flightlog.logbook.codes import read_head
from flightlog.logbook.export import export
from flightlog.logbook.layout import RECORD
from flightlog.logbook.merge import merge
from tests.logbook.made_logbook import made_logbook, stored

LIMIT_S = 5.0
"""Longest time for one step [s]."""
_PAGE = 4096
_JOURNAL_MAGIC = bytes.fromhex("d9d505f920a163d7")
_FIELDS = (b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"\0\0\0\2")


def mutated(whole: bytes, rng: random.Random) -> bytes:
    """Change some bytes, fields or pages of a SQLite file, or cut it off."""
    data = bytearray(whole)
    pages = len(data) // _PAGE

    def page() -> int:
        return rng.randrange(pages) * _PAGE

    def put(at: int, value: bytes) -> None:
        data[at : at + len(value)] = value

    ways: tuple[Callable[[], None], ...] = (
        lambda: put(rng.randrange(len(data)), rng.randbytes(1)),
        lambda: put(page() + rng.randrange(16), rng.choice([b"\0", b"\2", b"\5", b"\r", b"\xff"])),
        lambda: put(rng.randrange(100), rng.randbytes(1)),
        lambda: put(page(), bytes(data[(start := page()) : start + _PAGE])),
        lambda: put(page() + 8 + rng.randrange(60), rng.randbytes(2)),
        lambda: put(page() + rng.randrange(_PAGE - 4), rng.choice(_FIELDS)),
    )
    if rng.random() < 0.1:
        return bytes(data[: rng.randrange(1, len(data))])
    way = rng.choice(ways)
    for _ in range(rng.choice([1, 1, 2, 5, 30, 300])):
        way()
    return bytes(data)


class Trials:
    """A whole record to be damaged, and a copy with fewer entries into which it is merged."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.whole = stored(root / "whole")
        self.fewer = stored(root / "fewer", made_logbook()[:5])

    def folder(self, seed: int) -> Path:
        """Make the logbook's folder that goes with a seed."""
        rng = random.Random(seed)
        folder = self.root / f"mutated-{seed}"
        shutil.copytree(self.whole, folder)
        record = folder / RECORD
        record.write_bytes(mutated(record.read_bytes(), rng))
        if rng.random() < 0.2:
            made_up = rng.choice([rng.randbytes(600), _JOURNAL_MAGIC + rng.randbytes(2000)])
            (folder / f"{RECORD}-journal").write_bytes(made_up)
        return folder

    def steps(self, seed: int) -> dict[str, Callable[[], object]]:
        """What is tried with a seed, each by its name."""
        folder = self.folder(seed)
        ours = self.root / f"ours-{seed}"
        shutil.copytree(self.fewer, ours)

        def merged() -> object:
            profile = self.root / f"profile-{seed}"
            with Logbook.open(ours, profile=profile) as book:
                before = [entry.hash for entry in book.order]
                try:
                    return len(merge(book, folder).added)
                finally:
                    after = [entry.hash for entry in book.order]
                    assert set(before) <= set(after), "entries were lost"
                    assert check(ours).first_break is None or before == after

        return {
            "merge": merged,
            "check": lambda: check(folder, [read_head("ab" * 32)]).ok,
            "export": lambda: export(folder, self.root / f"export-{seed}").entries,
        }

    def clear(self, seed: int) -> None:
        """Remove what was made for a seed."""
        for path in self.root.glob(f"*-{seed}"):
            shutil.rmtree(path)


def outcome(step: Callable[[], object]) -> str:
    """What a step ends in; anything but a result or our own error is raised."""
    try:
        step()
    except FlightlogError as error:
        return type(error).__name__
    return "a result"


def _told(step: Callable[[], object], queue: multiprocessing.Queue[str]) -> None:
    try:
        queue.put(outcome(step))
    except Exception:
        queue.put("CRASH " + traceback.format_exc()[-600:])


def main(first: int, last: int) -> int:
    """Try seeds; give how many steps ended badly."""
    context = multiprocessing.get_context("fork")
    counted: Counter[tuple[str, str]] = Counter()
    bad = 0
    with tempfile.TemporaryDirectory() as root:
        trials = Trials(Path(root))
        for seed in range(first, last):
            for name, step in trials.steps(seed).items():
                queue: multiprocessing.Queue[str] = context.Queue()
                process = context.Process(target=_told, args=(step, queue))
                process.start()
                try:
                    end = queue.get(timeout=LIMIT_S)
                except Exception:
                    end = f"NO END within {LIMIT_S} s"
                process.join(1.0)
                if process.is_alive():
                    process.kill()
                if end.startswith(("CRASH", "NO END")):
                    bad += 1
                    print(seed, name, end)
                counted[name, end[:40]] += 1
            trials.clear(seed)
    for (name, end), times in sorted(counted.items()):
        print(f"{times:5d} {name}: {end}")
    return bad


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]), int(sys.argv[2]))))
