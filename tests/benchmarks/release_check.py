"""How long the answer "released or held" takes on a record of a season.

Run: ``python -m tests.benchmarks.release_check [ENTRIES]``. The record is made through the rooms'
own functions: days with all lists, a release and a flight each. Whole commands are run as
processes of their own, as a person would. Times are those of the processor, so that a busy machine
does not matter.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from flightlog.logbook.book import Logbook
from flightlog.operations.desk import Desk
from flightlog.operations.release import conditions, release_state
from tests.operations.flown import flown
from tests.operations.made import HillFarm
from tests.operations.released import PLAN, ready, ready_today, released, stated_fit, upkept

RUNS = 5


def season(root: Path, entries: int) -> HillFarm:
    """Make a record of so many entries, at its end all is ready and a release is signed."""
    farm = HillFarm(root)
    farm.enter_files()
    ready(farm)
    while True:
        release = released(farm)
        if len(farm.book.order) >= entries:
            return farm
        flown(farm, 300, relations=[("spends", release)])
        farm.clock.later(hours=20)
        upkept(farm)
        stated_fit(farm)
        ready_today(farm)


def median_of(task: Callable[[], object]) -> float:
    """Give the median time of the processor that some runs take, their children's too [s]."""
    times = []
    for _ in range(RUNS):
        begin = os.times()
        task()
        end = os.times()
        times.append(end.user - begin.user + end.children_user - begin.children_user)
    return statistics.median(times)


def main(arguments: list[str]) -> int:
    """Measure and print."""
    count = int(arguments[0]) if arguments else 1000
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        farm = season(root, count)
        print(f"{len(farm.book.order)} entries")
        folder, now, names = farm.folder, farm.clock.now, farm.desk.names
        farm.close()

        def desk() -> Desk:
            book = Logbook.open(
                folder.logbook, profile=root / "profile", clock=lambda: (now, "bench")
            )
            return Desk(folder, book, names)

        print(f"opening the record      {median_of(lambda: desk().ledger):6.2f} s")
        print(f"opening, all conditions {median_of(lambda: conditions(desk(), PLAN)):6.2f} s")
        print(
            f"opening, release state  {median_of(lambda: release_state(desk(), 'pannier')):6.2f} s"
        )
        environment = {
            **os.environ,
            "FLIGHTLOG_TEAM": str(folder.path),
            "FLIGHTLOG_PROFILE": str(root / "profile"),
        }
        for words in (
            ("release", "check", "--aircraft", "pannier", "--pack", "pack-a"),
            ("release", "state", "--aircraft", "pannier"),
        ):
            command = [sys.executable, "-m", "flightlog", *words]

            def whole(command: list[str] = command) -> None:
                subprocess.run(command, env=environment, capture_output=True, check=False)

            print(f"{' '.join(words[:2]):24}{median_of(whole):6.2f} s, the whole command")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
