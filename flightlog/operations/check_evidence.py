"""What somebody who doubts the lists looks at: never a block, always shown.

Seconds per item, numbers that repeat, and how much ever failed: lists that were walked through
with the pen leave a trace in these.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import CHECK, FAIL, LIST_BEGUN
from flightlog.operations.desk import Desk

QUICK_S = 2.0
"""Less than this is no look at anything [s]."""
LEAST_REPEATS = 3
"""So many equal numbers in a row are worth a word."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the lists of an aircraft look like.

    Attributes
    ----------
    checks, fails : int
        How many results there are, and how many of them are fails.
    median_s : float or None
        Time per item [s]; None where none is known.
    quick : int
        Results in less than two seconds.
    repeats : tuple of (item, value, times)
        Numbers that came again and again in a row.
    transcribed : int
        Results that were written on paper first.
    """

    checks: int
    fails: int
    median_s: float | None
    quick: int
    repeats: tuple[tuple[str, str, int], ...]
    transcribed: int

    @property
    def lines(self) -> list[str]:
        """It in words."""
        said = [f"{self.checks} results, {self.fails} of them fails"]
        if self.checks and not self.fails:
            said.append("nothing ever failed, which is rare")
        if self.median_s is not None:
            said.append(
                f"median {self.median_s:.0f} s per item, {self.quick} under {QUICK_S:.0f} s"
            )
        said += [f"{item}: {value} came {n} times in a row" for item, value, n in self.repeats]
        if self.transcribed:
            said.append(f"{self.transcribed} results were entered from paper")
        return said


def evidence(desk: Desk, aircraft: str) -> Evidence:
    """Look at all results for an aircraft.

    Times come from what the screen measured, else from one result to the next of one person in
    one list, in whole seconds.
    """
    found: list[tuple[Entry, Entry]] = []
    for check in desk.ledger.of(CHECK):
        begun = desk.ledger.named(check, CITES, LIST_BEGUN)
        if begun and begun[0].body.content.get("aircraft") == aircraft:
            found.append((begun[0], check))
    seconds = _seconds(found)
    return Evidence(
        checks=len(found),
        fails=sum(c.body.content["result"] == FAIL for _, c in found),
        median_s=median(seconds) if seconds else None,
        quick=sum(s < QUICK_S for s in seconds),
        repeats=_repeats([c for _, c in found]),
        transcribed=sum(b.body.content["source"] == "paper" for b, _ in found),
    )


def _seconds(found: list[tuple[Entry, Entry]]) -> list[float]:
    seconds = []
    turns: defaultdict[tuple[str, str], list[Entry]] = defaultdict(list)
    for begun, check in found:
        said = check.body.content.get("seconds")
        if said is not None:
            seconds.append(float(said["value"]))
        elif begun.body.content["source"] == "screen":
            turns[begun.hash, check.body.signers[0].key].append(check)
    for checks in turns.values():
        seconds += [
            (later.body.time.utc - one.body.time.utc).total_seconds()
            for one, later in pairwise(checks)
        ]
    return seconds


def _repeats(checks: list[Entry]) -> tuple[tuple[str, str, int], ...]:
    values: defaultdict[str, list[str]] = defaultdict(list)
    for check in checks:
        value = check.body.content.get("value")
        if value is not None:
            values[check.body.content["item"]].append(f"{value['value']} {value['unit']}".strip())
    longest: Counter[tuple[str, str]] = Counter()
    for item, said in values.items():
        run = 0
        for before, value in pairwise(["", *said]):
            run = run + 1 if value == before else 1
            longest[item, value] = max(longest[item, value], run)
    return tuple((i, v, n) for (i, v), n in longest.most_common() if n >= LEAST_REPEATS)
