"""Kill a process that signs and merges, at random moments; nothing acknowledged may be lost.

::

    python -m tests.logbook.kill --kills 1000 --seed 1

A child process signs remarks on one laptop, takes them over on another one by merging, with
attachments on the way, and says each hash once the call has returned. It is killed after a random
time. Then both records have to be whole, and each hash that was said has to be in the record that
it was said of.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from flightlog.logbook.checking import check
from flightlog.logbook.merge import merge
from tests.logbook.teams import Laptop, remark, signed

_LONGEST_S = 0.25
"""A killed child has worked for at most so long [s]."""
_ROUNDS = 20
"""After so many kills a new team is founded, so that checks stay short."""


@dataclass
class Said:
    """Hashes that the children acknowledged, by laptop."""

    here: list[str] = field(default_factory=list)
    there: list[str] = field(default_factory=list)


@dataclass
class Kills:
    """What came of the kills."""

    killed: int = 0
    acknowledged: int = 0
    while_merging: int = 0
    chains: int = 0
    failures: list[str] = field(default_factory=list)


def laptops(root: Path) -> tuple[Laptop, Laptop]:
    """The laptop that signs and the one that merges."""
    return Laptop(root / "signs"), Laptop(root / "merges")


def child(root: Path) -> None:
    """Sign and merge until killed."""
    signs, merges = laptops(root)
    with signs.open() as book, merges.open() as other:
        print("ready", flush=True)
        number = 0
        while True:
            for _ in range(3):
                number += 1
                file = root / "photo.jpg"
                file.write_bytes(f"{time.monotonic_ns()}".encode() * 50)
                draft = remark(f"remark {number}", "mechanic", attachments=[book.attach(file)])
                print("here", signed(book, draft, ["mechanic"]).hash, flush=True)
            print("merging", flush=True)
            brought = merge(other, signs.logbook)
            for entry in brought.added:
                print("there", entry.hash, flush=True)


def kill_once(root: Path, after_s: float, said: Said, kills: Kills) -> None:
    """Start a child, kill it some time after it began, and note what it had acknowledged."""
    with subprocess.Popen(
        [sys.executable, "-m", "tests.logbook.kill", "--child", str(root)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    ) as process:
        output = process.stdout
        if output is None or output.readline().strip() != "ready":
            process.kill()
            kills.failures.append("the child did not start")
            return
        time.sleep(after_s)
        process.kill()
        lines = output.read().splitlines()
    kills.killed += 1
    kills.while_merging += bool(lines) and lines[-1].startswith(("merging", "there"))
    for line in lines:
        where, _, digest = line.partition(" ")
        if len(digest) == 64:  # the last line may be cut
            {"here": said.here, "there": said.there}[where].append(digest)
            kills.acknowledged += 1


def look(root: Path, said: Said, kills: Kills) -> None:
    """Check both records, and look for all that was acknowledged."""
    for laptop, digests in zip(laptops(root), (said.here, said.there), strict=True):
        report = check(laptop.logbook)
        if not report.ok:
            kills.failures.append(f"{laptop.root.name}: {report.first_break}")
        with laptop.open(read_only=True) as book:
            lost = [digest for digest in digests if digest not in book.order]
            kills.chains = max(kills.chains, len(book.order.devices()))
        kills.failures += [f"{laptop.root.name} lost {digest}" for digest in lost]


def run(count: int, seed: int, root: Path) -> Kills:
    """Kill ``count`` children."""
    rng = random.Random(seed)
    kills = Kills()
    said = Said()
    place = root
    for number in range(count):
        if number % _ROUNDS == 0:
            place, said = root / f"team-{number}", Said()
            signs, merges = laptops(place)
            signs.found().close()
            merges.copy_from(signs)
        kill_once(place, rng.uniform(0, _LONGEST_S), said, kills)
        look(place, said, kills)
    return kills


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--child", type=Path)
    given = parser.parse_args()
    if given.child:
        child(given.child)
    with tempfile.TemporaryDirectory() as folder:
        kills = run(given.kills, given.seed, Path(folder))
    print(
        f"{kills.killed} kills ({kills.while_merging} while merging), "
        f"{kills.acknowledged} acknowledged entries, at most {kills.chains} chains in a record, "
        f"{len(kills.failures)} failures"
    )
    for failure in kills.failures[:20]:
        print(failure)
    return 1 if kills.failures else 0


if __name__ == "__main__":
    sys.exit(main())
