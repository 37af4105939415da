"""Standing: laws that hold for every history."""

from __future__ import annotations

import random
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.logbook.entry import Entry
from flightlog.logbook.order import Order
from flightlog.logbook.people import People
from flightlog.logbook.standing import Standing
from tests.logbook.crew import BOTH, Crew, founded
from tests.logbook.crew_plans import DEVICES, seen_by, some_of
from tests.logbook.deeds import (
    ON,
    close,
    defect,
    explain,
    inspection,
    release,
    take_off,
    work,
)

STEPS = (
    "made-up-flaw",
    "made-up-leave",
    "close",
    "close",
    "take-off",
    "work",
    "inspect",
    "revoke",
    "withdraw",
    "change",
    "branch",
    "explain",
    "explain",
    "slip-in",
)
LOOSENING = ("ends", "inspects", "explains")
plans = st.lists(
    st.tuples(
        st.sampled_from(DEVICES),
        st.sampled_from(STEPS),
        st.tuples(st.booleans(), st.booleans(), st.booleans()),
        st.integers(0, 11),
        st.sampled_from([*BOTH, "pilot-2", "stranger"]),
    ),
    max_size=14,
)
SLOW = settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def grown(plan: list[Any]) -> Crew:
    crew = founded()
    base = crew.enrol("loader")
    for device, step, sees, number, by in plan:
        more = {"device": device, "seen": seen_by(crew, device, sees, base)}
        back = crew.entries[-1 - number % min(6, len(crew.entries))]
        if step == "made-up-flaw":
            defect(crew, **more)
        elif step == "made-up-leave":
            release(crew, by, **more)
        elif step == "close":
            bad = latest(crew, "made-up-flaw") or back
            what = bad if number % 2 else back
            close(crew, what, by, word="corrects" if number > 9 else "ends", **more)
        elif step == "take-off":
            take_off(crew, back, **more)
        elif step == "work":
            work(crew, by, **more)
        elif step == "inspect":
            inspection(crew, back, by, **more)
        elif step == "revoke":
            crew.revoke([*BOTH, "pilot-2"][number % 3], "mechanic", **more)
        elif step == "withdraw":
            crew.withdraw("pilot", ["authorise"], by, **more)
        elif step == "change":
            crew.change("pilot", "pilot", "pilot-2", **more)
        elif step == "branch" and device in crew.last:
            before = crew.order.get(crew.last[device].body.previous or "")
            crew.remark(by, after=before, **more)
        elif step == "explain":
            other = BOTH[number % 2] if BOTH[number % 2] != by else BOTH[number % 2 - 1]
            branches = [branch for fork in crew.order.forks() for branch in fork.entries]
            explain(crew, branches, by, other, **more)
        elif step == "slip-in":
            slip_in(crew, back, by, number, **more)
    return crew


def latest(crew: Crew, kind: str) -> Entry | None:
    return next((e for e in reversed(crew.entries) if e.body.kind == kind), None)


def slip_in(crew: Crew, back: Entry, by: str, number: int, **more: Any) -> None:
    """Give up a role of one's own, and say something else with the same entry."""
    word = LOOSENING[number % 3]
    back = latest(crew, "made-up-flaw" if word == "ends" else "work") or back
    to = [b for f in crew.order.forks() for b in f.entries] if word == "explains" else [back]
    relations = [] if number > 8 else [(word, entry) for entry in to]
    effect = ("permits", ON) if number > 8 else None
    crew.withdraw(by, ["no-role"], by, relations=relations, effect=effect, **more)


def resealed(entry: Entry) -> Entry:
    """A twin of an entry, as far as laws look at signatures: not at all."""
    return Entry(entry.data, bytes(64), entry.people_signatures)


def borne(standing: Standing, entry: Entry) -> bool:
    """Whether persons signed an entry, and all their signatures count."""
    judged = standing.people.judged(entry)
    return len(judged) > 0 and all(one.counts for one in judged)


def by_others(standing: Standing, entry: Entry) -> bool:
    """Whether none of those whose signatures count on an entry signed what it inspects."""
    persons = {one.person_id for one in standing.people.judged(entry)}
    works = [standing.order.get(digest) for digest in entry.body.related("inspects")]
    return not any(
        persons & {one.person_id for one in standing.people.judged(work)} for work in works if work
    )


@SLOW
@given(plans, st.randoms(use_true_random=False))
def test_adding_entries_never_makes_an_entry_count_or_a_permission_hold(plan, rng):
    crew = grown(plan)
    some = some_of(crew.entries, rng)
    order = Order(some)
    before, after = Standing.of(order, People.of(order)), crew.standing

    for entry in some:
        assert before.counts(entry) or not after.counts(entry)
        assert before.permit(entry).holds or not after.permit(entry).holds
        assert set(before.permit(entry).spent_by) <= set(after.permit(entry).spent_by)


@SLOW
@given(plans, st.randoms(use_true_random=False))
def test_only_an_entry_that_ends_it_ends_a_restriction(plan, rng):
    crew = grown(plan)
    some = some_of(crew.entries, rng)
    order = Order(some)
    still_open = Standing.of(order, People.of(order)).open_restrictions()
    ends = {h for e in crew.entries if e not in some for h in e.body.related("ends")}
    open_later = set(crew.standing.open_restrictions())

    assert all(entry in open_later or entry.hash in ends for entry in still_open)


@SLOW
@given(plans, st.randoms(use_true_random=False))
def test_everything_is_the_same_in_whatever_order_entries_come(plan, rng):
    crew = grown(plan)
    mixed = list(crew.entries)
    rng.shuffle(mixed)
    order = Order(mixed)
    one, other = crew.standing, Standing.of(order, People.of(order))

    assert one.contradictions == other.contradictions
    assert one.open_restrictions() == other.open_restrictions()
    for entry in mixed:
        assert one.problems(entry) == other.problems(entry)
        assert one.notes(entry) == other.notes(entry)
        assert one.permit(entry) == other.permit(entry)


@SLOW
@given(plans)
def test_a_permission_holds_exactly_when_its_definition_says_so(plan):
    crew = grown(plan)
    order, standing = crew.order, crew.standing

    def related(word: str, to: Entry) -> list[Entry]:
        return [e for e in crew.entries if to.hash in e.body.related(word)]

    def ended_before(restriction: Entry, permit: Entry) -> bool:
        return any(
            borne(standing, end)
            and standing.counts(end)
            and order.has_seen(end, restriction)
            and order.has_seen(permit, end)
            for end in related("ends", restriction)
        )

    restrictions = [e for e in crew.entries if e.body.effect and e.body.effect.word == "restricts"]
    for entry in crew.entries:
        expected = (
            entry.body.kind == "made-up-leave"
            and borne(standing, entry)
            and not any(related(word, entry) for word in ("ends", "corrects", "spends"))
            and all(order.has_seen(entry, r) and ended_before(r, entry) for r in restrictions)
        )
        assert expected == standing.permit(entry).holds


@SLOW
@given(plans)
def test_what_holds_ends_explains_or_inspects_rests_only_on_signatures_that_count(plan):
    crew = grown(plan)
    standing = crew.standing

    def may(entry: Entry, to: Entry) -> bool:
        seen = standing.order.has_seen(entry, to)
        return seen and borne(standing, entry) and by_others(standing, entry)

    def named(word: str, to: Entry) -> list[Entry]:
        return [e for e in crew.entries if to.hash in e.body.related(word)]

    still_open = standing.open_restrictions()
    unexplained = {fork.entries for fork in standing.unexplained_forks}
    for entry in crew.entries:
        if standing.permit(entry).holds:
            assert borne(standing, entry)
        if entry.body.kind == "made-up-flaw" and entry not in still_open:
            assert any(may(end, entry) for end in named("ends", entry))
        for seen in standing.inspected_by(entry):
            assert may(seen, entry)
            assert any(one.counts for one in standing.people.judged(entry))
    for fork in crew.order.forks():
        if fork.entries not in unexplained:
            assert any(
                all(may(one, branch) for branch in fork.entries)
                and len({j.person_id for j in standing.people.judged(one)}) >= 2
                for one in named("explains", fork.entries[0])
            )


@SLOW
@given(plans, st.integers(0, 11))
def test_a_twin_makes_nothing_less_restricted(plan, number):
    crew = grown(plan)
    entry = crew.entries[number % len(crew.entries)]
    before, twin = crew.standing, resealed(entry)
    crew.entries.append(twin)
    after = crew.standing

    assert set(before.open_restrictions()) <= set(after.open_restrictions())
    explained = {f.entries for f in before.order.forks()} - {
        f.entries for f in before.unexplained_forks
    }
    for fork in after.order.forks():
        assert fork.entries in explained or fork in after.unexplained_forks
    for one in before.order:
        assert before.counts(one) or not after.counts(one)
        assert before.permit(one).holds or not after.permit(one).holds
        assert set(after.inspected_by(one)) - {twin} <= set(before.inspected_by(one))
        assert set(before.permit(one).spent_by) <= set(after.permit(one).spent_by)
    assert before.counts(entry) or not after.counts(twin)
    assert not after.permit(entry).holds
    assert not after.permit(twin).holds
    assert after.permit(entry).spent_by == after.permit(twin).spent_by
    assert {entry, twin} in [set(one.entries) for one in after.contradictions]
    for person in after.people.persons:
        known = before.people.person(person.id)
        assert known is not None
        assert set(person.roles) <= set(known.roles)
        assert set(person.valid) <= set(known.valid)


def test_the_plans_of_these_laws_hold_what_they_are_about():
    rng, held, contradictions = random.Random(7), 0, 0
    ended, explained, inspected, fallen = 0, 0, 0, 0
    for _ in range(60):
        plan = [
            (
                rng.choice(DEVICES),
                rng.choice(STEPS),
                (rng.random() < 0.5, rng.random() < 0.5, rng.random() < 0.5),
                rng.randrange(12),
                rng.choice(BOTH),
            )
            for _ in range(12)
        ]
        standing = grown(plan).standing
        forks = standing.order.forks()
        restrictions = sum(e.body.kind == "made-up-flaw" for e in standing.order)
        ended += restrictions - len(standing.open_restrictions())
        explained += len(forks) - len(standing.unexplained_forks)
        inspected += sum(bool(standing.inspected_by(e)) for e in standing.order)
        fallen += sum(bool(e.body.signers) and not borne(standing, e) for e in standing.order)
        held += sum(standing.permit(e).holds for e in standing.order)
        contradictions += len(standing.contradictions)

    assert held > 5
    assert contradictions > 5
    assert min(ended, explained, inspected, fallen) > 2
