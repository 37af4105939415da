"""Random histories of a crew, with devices that know more or less of each other."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st

from flightlog.logbook.entry import Entry
from tests.logbook.crew import Crew, founded

DEVICES = ("laptop", "tablet", "desk")
PERSONS = ("pilot", "mechanic", "safety", "loader", "extra")
SPARES = ("pilot-2", "spare", "extra")
KEYS = (*PERSONS, "pilot-2", "spare")
SIGNERS = ("pilot", "mechanic", "safety", "loader", "pilot", "mechanic", "pilot-2", "spare")
"""Those who may sign more often than others."""
KINDS = (
    "revoke",
    "withdraw",
    "grant",
    "grant",
    "enrol",
    "change",
    "replace",
    "recover",
    "recover",
    "remark",
)
Step = tuple[str, str, tuple[bool, bool, bool], tuple[int, int, int, int]]
Plan = tuple[bool, list[Step]]

plans = st.tuples(
    st.booleans(),
    st.lists(
        st.tuples(
            st.sampled_from(DEVICES),
            st.sampled_from(KINDS),
            st.tuples(st.booleans(), st.booleans(), st.booleans()),
            st.tuples(*[st.integers(0, 7)] * 4),
        ),
        min_size=1,
        max_size=10,
    ),
)


def grown(plan: Plan, *, clock: random.Random | None = None) -> Crew:
    """Found a crew of four, two or three of them with ``authorise``; let the plan happen."""
    three, steps = plan
    crew = founded()
    crew.enrol("safety")
    crew.enrol("loader", by="mechanic")
    if three:
        crew.grant("safety", ["authorise", "pilot"])
    crew.grant("loader", ["pilot"])
    base = crew.entries[-1]
    for device, kind, sees, numbers in steps:
        seen = seen_by(crew, device, sees, base)
        minutes = None if clock is None else clock.randrange(10**6)
        _step(crew, kind, numbers, device=device, seen=seen, minutes=minutes)
    return crew


def _step(crew: Crew, kind: str, numbers: tuple[int, int, int, int], **place: Any) -> None:
    a, b, c, d = numbers
    person, spare = PERSONS[a % len(PERSONS)], SPARES[d % len(SPARES)]
    by, other = SIGNERS[b], SIGNERS[c] if SIGNERS[c] != SIGNERS[b] else SIGNERS[(b + 1) % 4]
    own = person if d < 6 else by
    if kind == "revoke":
        crew.revoke(KEYS[a % len(KEYS)], by, **place)
    elif kind == "withdraw":
        crew.withdraw(person, [("authorise", "pilot")[c % 2]], by, **place)
    elif kind == "grant":
        crew.grant(person, [("authorise", "pilot")[d % 2]], [by, other], **place)
    elif kind == "enrol" and spare != by:
        crew.enrol(spare, by, **place)
    elif kind == "change" and spare != own:
        crew.change(person, own, spare, **place)
    elif kind == "replace" and spare != by:
        crew.replace(person, own, spare, by, **place)
    elif kind == "recover":
        crew.recover([person], [by, other], **place)
    elif kind == "remark":
        crew.remark(by, role=("", "authorise", "pilot")[c % 3], **place)


def seen_by(crew: Crew, device: str, sees: tuple[bool, bool, bool], base: Entry) -> list[Entry]:
    """Last entries of the other devices, where the plan says that this one saw them."""
    seen = [
        crew.last[other]
        for other, does in zip(DEVICES, sees, strict=True)
        if does and other != device and other in crew.last
    ]
    return seen if device in crew.last or seen else [base]


def some_of(entries: Sequence[Entry], rng: random.Random) -> list[Entry]:
    """Some entries together with all that they have seen: a record that could have been."""
    by_hash = {entry.hash: entry for entry in entries}
    waiting = [entry.hash for entry in entries if rng.random() < 0.4]
    kept = {entries[0].hash}
    while waiting:
        digest = waiting.pop()
        if digest not in kept:
            kept.add(digest)
            waiting += by_hash[digest].parents
    return [entry for entry in entries if entry.hash in kept]


def long_plan(rng: random.Random) -> Plan:
    """A plan with more happening at once than those that shrink well."""
    steps = [
        (
            rng.choice(DEVICES),
            rng.choice(KINDS),
            (rng.random() < 0.4, rng.random() < 0.4, rng.random() < 0.4),
            (rng.randrange(8), rng.randrange(8), rng.randrange(8), rng.randrange(8)),
        )
        for _ in range(rng.randrange(6, 20))
    ]
    return rng.random() < 0.5, steps
