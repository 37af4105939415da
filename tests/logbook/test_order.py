from __future__ import annotations

import random
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.errors import LogbookError
from flightlog.logbook import order as order_module
from flightlog.logbook.entry import MOST_SEEN, Entry
from flightlog.logbook.order import Order, count_strands
from tests.logbook.made import Maker, public_of

DEVICES = ("laptop", "tablet", "desk")
QUICK = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def ways(entries: list[Entry], start: Entry) -> set[str]:
    """Hashes to which a way leads from an entry, by following its parents."""
    by_hash = {entry.hash: entry for entry in entries}
    found: set[str] = set()
    waiting = list(start.parents)
    while waiting:
        digest = waiting.pop()
        if digest not in found and digest in by_hash:
            found.add(digest)
            waiting += by_hash[digest].parents
    return found


steps = st.lists(
    st.tuples(
        st.sampled_from(DEVICES),
        st.integers(0, 4),  # mostly after the device's last entry, sometimes after an older one
        st.lists(st.integers(0, 30), max_size=3),
        st.integers(0, 500),
    ),
    max_size=14,
)


def made(
    plan: list[tuple[str, int, list[int], int]], *, clock: random.Random | None = None
) -> list[Entry]:
    maker = Maker()
    for device, back, seen, minutes in plan:
        own = [e for e in maker.entries if e.body.device == public_of(device)]
        after = own[-back] if 1 < back <= len(own) else None
        others = (
            {
                maker.entries[i % len(maker.entries)].hash: maker.entries[i % len(maker.entries)]
                for i in seen
            }
            if maker.entries
            else {}
        )
        before = after or maker.last.get(device)
        if before is not None:
            others.pop(before.hash, None)
        maker.add(
            device,
            "remark",
            {"text": f"step {len(maker.entries)}"},  # two branches alike would be one entry
            seen=others.values(),
            after=after,
            minutes=minutes if clock is None else clock.randrange(10**6),
        )
    return maker.entries


@QUICK
@given(steps)
def test_seeing_is_what_a_graph_search_finds_with_forks_and_several_devices(plan):
    entries = made(plan)
    order = Order(entries)

    expected = {e.hash: ways(entries, e) for e in entries}
    actual = {e.hash: {o.hash for o in entries if order.has_seen(e, o)} for e in entries}
    assert expected == actual


@QUICK
@given(steps)
def test_two_entries_are_concurrent_when_no_way_leads_from_either(plan):
    entries = made(plan)
    order = Order(entries)
    seen = {e.hash: ways(entries, e) | {e.hash} for e in entries}

    for one in entries:
        for other in entries:
            apart = other.hash not in seen[one.hash] and one.hash not in seen[other.hash]
            assert apart == order.concurrent(one, other)


@QUICK
@given(steps, st.integers(0, 10**6))
def test_marks_are_gathered_from_all_that_was_seen_and_all_that_came_later(plan, seed):
    entries = made(plan)
    order = Order(entries)
    chosen = [e for e in entries if random.Random(seed + len(e.data)).random() < 0.6]
    marks = {e.hash: 1 << i for i, e in enumerate(chosen)}
    seen, later = order.gathered(marks), order.gathered_later(marks)
    by_way = {e.hash: ways(entries, e) for e in entries}

    for entry in entries:
        before = sum(marks[c.hash] for c in chosen if c.hash in by_way[entry.hash])
        after = sum(marks[c.hash] for c in chosen if entry.hash in by_way[c.hash])
        assert (before, after) == (seen[entry.hash], later[entry.hash])


@QUICK
@given(steps, st.randoms(use_true_random=False))
def test_the_sorting_does_not_depend_on_the_order_in_which_entries_are_given(plan, rng):
    entries = made(plan)
    mixed = entries * 2
    rng.shuffle(mixed)

    assert [e.hash for e in Order(entries)] == [e.hash for e in Order(mixed)]


@QUICK
@given(steps)
def test_each_entry_is_sorted_after_all_that_it_has_seen(plan):
    entries = made(plan)
    place = {e.hash: i for i, e in enumerate(Order(entries))}

    for entry in entries:
        assert all(place[digest] < place[entry.hash] for digest in ways(entries, entry))


@QUICK
@given(steps, st.integers(0, 10**6))
def test_clocks_play_no_part_in_what_has_been_seen(plan, seed):
    right, wrong = made(plan), made(plan, clock=random.Random(seed))
    orders = Order(right), Order(wrong)

    for i in range(len(right)):
        for k in range(len(right)):
            assert orders[0].has_seen(right[i], right[k]) == orders[1].has_seen(wrong[i], wrong[k])


def test_an_entry_that_claims_an_earlier_time_is_still_sorted_after_what_it_saw():
    maker = Maker()
    late = maker.add("laptop", "remark", minutes=900)
    early = maker.add("tablet", "remark", seen=[late], minutes=1)

    assert [late, early] == list(Order([early, late]))


def test_among_those_free_to_come_next_the_earlier_claimed_time_comes_first():
    maker = Maker()
    second = maker.add("laptop", "remark", minutes=9)
    first = maker.add("tablet", "remark", minutes=1)

    assert datetime(2027, 3, 2, 12, 1, tzinfo=UTC) == first.body.time.utc
    assert [first, second] == list(Order([second, first]))


def test_tips_are_the_entries_that_none_has_seen():
    maker = Maker()
    first = maker.add("laptop", "remark")
    maker.add("laptop", "remark")
    fork = maker.add("laptop", "remark", after=first)
    other = maker.add("tablet", "remark", seen=[maker.entries[1]])

    assert {fork.hash, other.hash} == {e.hash for e in Order(maker.entries).tips()}


def test_two_entries_after_one_are_a_fork_and_so_are_two_first_entries():
    maker = Maker()
    first = maker.add("laptop", "remark")
    left = maker.add("laptop", "remark")
    right = maker.add("laptop", "remark", after=first, minutes=50)
    again = Maker().add("laptop", "remark", minutes=70)
    order = Order([*maker.entries, again])

    found = {(f.number, frozenset(e.hash for e in f.entries)) for f in order.forks()}
    assert found == {
        (1, frozenset({first.hash, again.hash})),
        (2, frozenset({left.hash, right.hash})),
    }


def test_chains_and_devices_are_given_in_order():
    maker = Maker()
    one = maker.add("laptop", "remark")
    two = maker.add("tablet", "remark", seen=[one])
    three = maker.add("laptop", "remark", seen=[two])
    order = Order(reversed(maker.entries))

    assert (one, three) == order.chain(public_of("laptop"))
    assert (public_of("laptop"), public_of("tablet")) == order.devices()
    assert 3 == len(order)
    assert one.hash in order
    assert "00" not in order
    assert order.get(two.hash) is two
    assert order.get("00") is None


def test_an_entry_that_follows_a_missing_one_is_refused():
    maker = Maker()
    first = maker.add("laptop", "remark")
    second = maker.add("laptop", "remark")

    with pytest.raises(
        LogbookError, match=rf"follows an entry that is not here \({first.hash[:12]}"
    ):
        Order([second])


def test_missing_entries_are_listed_where_that_is_asked_for():
    maker = Maker()
    first = maker.add("laptop", "remark")
    second = maker.add("laptop", "remark")
    other = maker.add("tablet", "remark", seen=[second])
    order = Order([second, other], strict=False)

    assert {first.hash: second.hash} == order.missing
    assert order.has_seen(other, second)


@QUICK
@given(steps)
def test_chains_and_branches_are_counted_as_the_order_makes_them(plan):
    entries = made(plan)

    assert len(Order(entries)._strands) == count_strands(entries)


def test_an_entry_can_have_seen_all_chains_that_can_be_read():
    assert order_module.MOST_STRANDS <= MOST_SEEN


def test_more_chains_than_a_team_has_are_refused(monkeypatch):
    monkeypatch.setattr(order_module, "MOST_STRANDS", 2)
    maker = Maker()
    for device in DEVICES:
        maker.add(device, "remark")

    with pytest.raises(LogbookError, match="more than 2 chains and branches"):
        Order(maker.entries)


@QUICK
@given(steps)
def test_an_order_that_grows_by_one_entry_is_the_order_made_anew(plan):
    entries = made(plan)
    grown = Order([])
    for entry in Order(entries):
        before = list(grown)
        longer = grown.followed_by(entry)
        assert before == list(grown)  # the shorter one stays as it was
        grown = longer
    whole = Order(entries)

    assert list(whole) == list(grown)
    assert whole.tips() == grown.tips()
    assert whole.forks() == grown.forks()
    assert all(whole.has_seen(a, b) == grown.has_seen(a, b) for a in entries for b in entries)


def test_an_entry_after_one_that_is_missing_is_refused_when_an_order_grows():
    maker = Maker()
    first = maker.found()
    maker.add("laptop", "remark")
    third = maker.add("laptop", "remark")

    with pytest.raises(LogbookError, match="not here"):
        Order([first]).followed_by(third)
