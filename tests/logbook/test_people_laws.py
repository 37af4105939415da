"""People: laws that hold for every history."""

from __future__ import annotations

import random
import sys
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.logbook.kinds import ABOUT_PEOPLE
from flightlog.logbook.order import Order
from flightlog.logbook.people import People
from tests.logbook.crew import Crew, counts, founded
from tests.logbook.crew_plans import KEYS, PERSONS, grown, long_plan, plans, some_of
from tests.logbook.made import public_of
from tests.logbook.slow_people import SlowPeople

SLOW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def assert_as_read_slowly(crew: Crew) -> None:
    people, slow = crew.people, SlowPeople(crew.entries)
    for entry in crew.entries:
        digest = entry.hash
        if entry.body.kind in ABOUT_PEOPLE:
            assert slow.stands(digest) == people.stands(entry)
            assert slow.counts(digest, slow.all) == (people.problem(entry) is None)
        expected = [slow.judged(signer, digest) for signer in entry.body.signers]
        actual = [j.person_id if j.counts else None for j in people.judged(entry)]
        assert expected == actual
        assert all(bool(j.why) != j.counts for j in people.judged(entry))


@SLOW
@given(plans)
def test_every_judgement_is_that_of_a_slow_reading_of_the_rules(plan):
    assert_as_read_slowly(grown(plan))


@pytest.mark.parametrize("seed", range(25))
def test_long_histories_are_judged_as_by_a_slow_reading_of_the_rules(seed):
    crew = grown(long_plan(random.Random(seed)))
    people = crew.people

    assert_as_read_slowly(crew)
    end = crew.remark()
    slow = SlowPeople(crew.entries)
    for name in PERSONS:
        for role in ("authorise", "pilot"):
            person = public_of(name)
            expected = slow.has(person, role, end.hash, [public_of(key) for key in KEYS])
            assert expected == people.holds(person, role)


@SLOW
@given(plans, st.randoms(use_true_random=False))
def test_adding_entries_never_makes_count_what_did_not(plan, rng):
    crew = grown(plan)
    some = some_of(crew.entries, rng)
    before, after = People.of(Order(some)), crew.people

    for entry in some:
        for early, late in zip(before.judged(entry), after.judged(entry), strict=True):
            assert early.counts or not late.counts
        assert before.problem(entry) is None or after.problem(entry) is not None
        assert before.stands(entry) == after.stands(entry)


@SLOW
@given(plans)
def test_reading_on_entry_by_entry_gives_the_same_people(plan):
    crew = grown(plan)
    for _ in range(3):  # these have seen all others, and are not about people
        crew.remark(*KEYS[:2])
    entries = list(Order(crew.entries))
    order = Order(entries[:1])
    people = People.of(order)
    for entry in entries[1:]:
        order = order.followed_by(entry)
        people = people.followed_by(order, entry)
    anew = People.of(Order(entries))

    assert anew.persons == people.persons
    for entry in entries:
        assert anew.judged(entry) == people.judged(entry)
        assert anew.problem(entry) == people.problem(entry)
        if entry.body.kind in ABOUT_PEOPLE:
            assert anew.stands(entry) == people.stands(entry)


@SLOW
@given(plans, st.randoms(use_true_random=False))
def test_the_order_in_which_entries_come_plays_no_part(plan, rng):
    crew = grown(plan)
    mixed = list(crew.entries)
    rng.shuffle(mixed)
    one, other = crew.people, People.of(Order(mixed))

    assert one.persons == other.persons
    assert one.recoveries == other.recoveries
    assert one.contradictions == other.contradictions
    for entry in mixed:
        assert one.judged(entry) == other.judged(entry)
        assert one.problem(entry) == other.problem(entry)


@SLOW
@given(plans, st.integers(0, 10**6))
def test_clocks_play_no_part(plan, seed):
    right, wrong = grown(plan), grown(plan, clock=random.Random(seed))
    one, other = right.people, wrong.people

    for early, late in zip(right.entries, wrong.entries, strict=True):
        assert [(j.person_id, j.counts) for j in one.judged(early)] == [
            (j.person_id, j.counts) for j in other.judged(late)
        ]
    assert {p.id: p.roles for p in one.persons} == {p.id: p.roles for p in other.persons}
    assert recoveries(right) == recoveries(wrong)


def recoveries(crew: Crew) -> dict[int, tuple[bool, str]]:
    """Place of each recovery among the entries as they were made -> what is said about it."""
    place = {entry.hash: i for i, entry in enumerate(crew.entries)}
    return {place[r.entry.hash]: (r.counts, r.note) for r in crew.people.recoveries}


@pytest.mark.parametrize("seed", range(25))
def test_clocks_play_no_part_in_long_histories(seed):
    plan = long_plan(random.Random(seed))

    assert recoveries(grown(plan)) == recoveries(grown(plan, clock=random.Random(seed)))


def test_a_chain_of_changes_longer_than_functions_can_call_each_other_is_judged():
    crew = founded()
    crew.enrol("safety")
    crew.grant("safety", ["authorise"])
    base = crew.last["laptop"]
    count = sys.getrecursionlimit() + 100
    keys = ["mechanic", *(f"mechanic-{i}" for i in range(count))]
    for old, new in pairwise(keys):
        crew.change("mechanic", old, new, seen=[])
    last = crew.remark(keys[-1], role="mechanic", seen=[])
    assert counts(crew, last)
    crew.revoke("mechanic", "safety", device="tablet", seen=[base])

    assert not counts(crew, last)
    person = crew.people.person(public_of("mechanic"))
    assert person is not None
    assert (None, (public_of("mechanic"),)) == (person.key, person.keys)


def test_entries_of_strangers_are_not_even_numbered():
    crew = founded()
    for i in range(5):
        crew.enrol(f"stranger-{i + 1}", by=f"stranger-{i}", device="tablet")
        crew.revoke("pilot", f"stranger-{i}", device="tablet")

    assert [crew.entries[0]] == crew.people._rulings.acts
