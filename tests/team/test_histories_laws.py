"""Laws of versions: who has to sign for a limit, and what later entries can't bring about."""

from __future__ import annotations

import tempfile
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.logbook.entry import Entry
from flightlog.team.differences import differences
from flightlog.team_files.reading import table_of
from tests.team.made_files import LAPTOP, ONE, TABLET, TWO, Shelf, toml

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_flights"
FILES = {
    "aircraft": SAMPLES / "pannier.toml",
    "pack": SAMPLES / "pack_a.toml",
    "component": SAMPLES / "propeller_1.toml",
    "rules": ROOT / "checklists" / "club_trial_2027.toml",
    "checklist": ROOT / "checklists" / "turn-around.toml",
}
# What a second person has to agree to, written down apart from the program's own table.
LIMITS = {
    "aircraft": ("limits", "balance", "weather", "life", "task", "mass"),
    "pack": ("limits", "life", "task", "nominal_wh", "cells"),
    "component": ("life", "task", "group"),
    "rules": ("limit", "screen"),
    "checklist": ("item",),
}
READING_ONLY = {"title", "source", "section", "hint"}


def table_in(kind: str) -> dict[str, Any]:
    path = FILES[kind]
    table = table_of(path.read_bytes(), kind, path)
    return {**table, "limits": table.get("limits", {})} if kind == "pack" else table


def leaves(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to each value that is neither a table nor a list of tables."""
    if isinstance(value, dict):
        return [leaf for k, v in value.items() for leaf in leaves(v, (*path, k))]
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [leaf for i, v in enumerate(value) for leaf in leaves(v, (*path, i))]
    return [path]


LEAVES = {
    kind: [
        leaf
        for leaf in leaves(table_in(kind))
        if leaf[0] in LIMITS[kind] and not READING_ONLY & set(leaf)
    ]
    for kind in FILES
}


def other(value: Any) -> Any:
    """Another value of the same form."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, (int, float)):
        return value + 1
    if isinstance(value, str):
        return value + "x"
    return value[1:] if value else ["x"]


def changed(table: dict[str, Any], leaf: tuple[Any, ...], how: str) -> dict[str, Any]:
    """Change, take away or rename one limit, or take away the whole table that it stands in."""
    found = deepcopy(table)
    inner: Any = found
    for step in leaf[:-1]:
        inner = inner[step]
    if how == "another value":
        inner[leaf[-1]] = other(inner[leaf[-1]])
    elif how == "left out":
        del inner[leaf[-1]]
    elif how == "renamed":
        inner[f"{leaf[-1]}_of_old"] = inner.pop(leaf[-1])
    else:
        found.pop(leaf[0])
    return found


CHANGES = st.sampled_from(sorted(FILES)).flatmap(
    lambda kind: st.tuples(
        st.just(kind),
        st.sampled_from(LEAVES[kind]),
        st.sampled_from(["another value", "left out", "renamed", "all left out"]),
    )
)


@settings(max_examples=60, deadline=None)
@given(change=CHANGES, flag=st.booleans(), telling=st.sampled_from([ONE, TWO]))
def test_no_limit_changes_without_a_second_signature_whatever_the_entry_says(change, flag, telling):
    kind, leaf, how = change
    before = table_in(kind)
    after = changed(before, leaf, how)
    with tempfile.TemporaryDirectory() as root:
        shelf = Shelf(Path(root), kind, before["id"])
        first = shelf.enter(before, TWO)
        assert first == shelf.in_force()
        second = shelf.enter(after, telling, before=first, flag=flag)

        agreed = telling == TWO and flag
        assert (second if agreed else first) == shelf.in_force()
        assert first == shelf.versions().by_hash(first.body.content["sha256"]).entry


@pytest.mark.parametrize("kind", ["aircraft", "pack", "component", "rules", "checklist"])
def test_a_key_that_nobody_knows_counts_as_a_limit(kind):
    table = table_in(kind)

    (found,) = differences(kind, table, {**table, "future_limit": 3})
    assert found.limit


# --- any crew, any order, any lies

TABLES = [
    {"limits": {"flight.max_airspeed": {"at_most": most, "unit": "m/s"}}, "serial": serial}
    for most in (22.0, 24.0, 26.0)
    for serial in ("PN-01", "PN-02")
]
PEOPLE = ("pilot", "mechanic", "safety", "stranger")


@st.composite
def deeds(draw: st.DrawFn) -> tuple[Any, ...]:
    """What somebody does next, on one of two laptops that hear of each other or not."""
    device = draw(st.sampled_from([LAPTOP, TABLET]))
    hears = draw(st.booleans())
    if draw(st.integers(0, 7)) == 0:
        return ("revoke", device, hears, draw(st.sampled_from(PEOPLE[1:3])))
    table = draw(st.sampled_from(TABLES))
    if draw(st.booleans()):  # as the rules ask
        two = draw(st.permutations(PEOPLE[:3]))[:2]
        return ("enter", device, hears, table, two, "known", True)
    who = draw(st.lists(st.sampled_from(PEOPLE), min_size=1, max_size=2, unique=True))
    which = draw(st.sampled_from(["known", "none", 0, 1, 2, 3]))
    return ("enter", device, hears, table, who, which, draw(st.booleans()))


PLANS = st.lists(deeds(), min_size=2, max_size=9)


def done(shelf: Shelf, plan: list[tuple[Any, ...]]) -> None:
    start = shelf.crew.tips()
    shelf.crew.add(TABLET, "chain-start", {"reason": "a tablet"}, seen=start)
    made = [shelf.enter(TABLES[2], TWO)]
    known = {LAPTOP: made[0], TABLET: None}
    for what, device, hears, *rest in plan:
        last = shelf.crew.last[device]
        seen = [tip for tip in shelf.crew.tips() if tip is not last] if hears else []
        if hears:
            known[device] = made[-1]
        if what == "revoke":
            shelf.crew.revoke(rest[0], "pilot", device=device, seen=seen)
            continue
        table, who, which, flag = rest
        signers = tuple(zip(who, ("entered", "agreed"), strict=False))
        by_word = {"known": known[device], "none": None}
        before = by_word[which] if which in by_word else made[which % len(made)]
        entry = shelf.enter(table, signers, before=before, flag=flag, device=device, seen=seen)
        made.append(entry)
        known[device] = entry


def limit_of(shelf: Shelf, entry: Entry) -> object:
    path = shelf.path(entry)
    return table_of(path.read_bytes(), "aircraft", path)["limits"]


@settings(max_examples=60, deadline=None)
@given(plan=PLANS)
def test_who_signs_alone_changes_no_limit_of_what_was_in_force_to_them(plan):
    with tempfile.TemporaryDirectory() as root:
        shelf = Shelf(Path(root))
        done(shelf, plan)
        name, order, people = ("aircraft", "pannier"), shelf.crew.order, shelf.crew.people
        for version in shelf.versions().history(*name):
            entry = version.entry
            judged = people.judged(entry)
            assert all(one.counts for one in judged)
            if len({one.person_id for one in judged}) > 1:
                continue
            past = shelf.versions(e for e in order if order.has_seen(entry, e))
            newest = [*past.conflict(*name), past.in_force(*name)]
            limits = [limit_of(shelf, v.entry) for v in newest[:2] if v is not None]
            assert limits
            assert all(limit_of(shelf, entry) == one for one in limits)


@settings(max_examples=60, deadline=None)
@given(plan=PLANS)
def test_every_limit_that_ever_counted_was_agreed_by_two_whose_signatures_count(plan):
    with tempfile.TemporaryDirectory() as root:
        shelf = Shelf(Path(root))
        done(shelf, plan)
        people = shelf.crew.people
        good = [v.entry for v in shelf.versions().history("aircraft", "pannier")]
        signers = {e.hash: {j.person_id for j in people.judged(e) if j.counts} for e in good}
        agreed = [limit_of(shelf, e) for e in good if len(signers[e.hash]) > 1]
        assert all(limit_of(shelf, entry) in agreed for entry in good)


@settings(max_examples=60, deadline=None)
@given(plan=PLANS)
def test_what_is_added_never_makes_a_version_good_that_was_there_and_was_not(plan):
    with tempfile.TemporaryDirectory() as root:
        shelf = Shelf(Path(root))
        done(shelf, plan)
        entries = shelf.crew.entries  # each after all that it has seen
        refused: set[str] = set()
        for end in range(1, len(entries) + 1):
            part = entries[:end]
            good = {v.entry.hash for v in shelf.versions(part).history("aircraft", "pannier")}
            assert not refused & good
            refused = {e.hash for e in part} - good


@settings(max_examples=40, deadline=None)
@given(plan=PLANS, seed=st.randoms())
def test_the_order_in_which_entries_were_received_plays_no_part(plan, seed):
    with tempfile.TemporaryDirectory() as root:
        shelf = Shelf(Path(root))
        done(shelf, plan)
        mixed = list(shelf.crew.entries)
        seed.shuffle(mixed)
        here, there = shelf.versions(), shelf.versions(mixed)

        name = ("aircraft", "pannier")
        assert here.in_force(*name) == there.in_force(*name)
        assert here.conflict(*name) == there.conflict(*name)
        assert here.refused == there.refused


def test_a_table_is_written_as_it_was_read():
    for kind in FILES:
        table = table_in(kind)
        assert table == table_of(toml(table, kind), kind, Path("x"))
