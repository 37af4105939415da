from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.logbook import standing as standing_module
from flightlog.logbook.entry import ClaimedTime, Entry, Occurred, device_name
from flightlog.logbook.order import Order
from flightlog.logbook.people import People
from flightlog.logbook.standing import Standing
from tests.logbook.crew import BOTH, Crew, founded
from tests.logbook.crew_plans import DEVICES, seen_by, some_of
from tests.logbook.made import NOON, public_of, signed_entry

ON = "pannier"


def crew_of_three() -> Crew:
    """Pilot, mechanic and a loader, on a laptop and a tablet that have seen the same."""
    crew = founded()
    crew.enrol("loader")
    crew.grant("loader", ["load-master"])
    crew.add("tablet", "chain-start", {"reason": "a new tablet"})
    crew.remark()
    return crew


def work(crew: Crew, by: str, device: str = "laptop", **more: Any) -> Entry:
    return crew.add(device, "work", signers=[(by, "performed", "")], **more)


def inspection(crew: Crew, of: Entry, *by: str, device: str = "laptop", **more: Any) -> Entry:
    signers = [(name, "inspected", "") for name in by]
    return crew.add(device, "inspection", signers=signers, relations=[("inspects", of)], **more)


def defect(crew: Crew, *by: str, on: str = ON, device: str = "laptop", **more: Any) -> Entry:
    signers = [(name, "reported", "") for name in by]
    return crew.add(device, "defect", signers=signers, effect=("restricts", on), **more)


def release(crew: Crew, *by: str, role: str = "", device: str = "laptop", **more: Any) -> Entry:
    signers = [(name, "released", role) for name in by]
    return crew.add(device, "release", signers=signers, effect=("permits", ON), **more)


def close(
    crew: Crew, what: Entry, *by: str, word: str = "ends", device: str = "laptop", **more: Any
) -> Entry:
    signers = [(name, "closed", "") for name in by]
    return crew.add(device, "closing", signers=signers, relations=[(word, what)], **more)


def take_off(crew: Crew, what: Entry, *, device: str = "laptop", **more: Any) -> Entry:
    return crew.add(device, "take-off", relations=[("spends", what)], **more)


def holds(crew: Crew, entry: Entry) -> bool:
    return crew.standing.permit(entry).holds


def why(crew: Crew, entry: Entry) -> tuple[str, ...]:
    return crew.standing.permit(entry).why


def texts(crew: Crew) -> list[str]:
    return [c.text for c in crew.standing.contradictions]


# --- what counts


def test_an_entry_counts_when_all_signatures_on_it_count():
    crew = crew_of_three()
    good = work(crew, "pilot")
    bad = crew.remark("pilot", "stranger")
    alone = crew.add("laptop", "import", {"file": "a.bin"})
    standing = crew.standing

    assert [True, False, True] == [standing.counts(e) for e in (good, bad, alone)]
    assert () == standing.problems(good)
    assert (
        f"the signature 'noted' of person {device_name(public_of('stranger'))} counts for "
        "nothing: the key belongs to nobody in this record",
    ) == standing.problems(bad)


def test_a_known_kind_with_a_content_of_another_form_does_not_count():
    crew = crew_of_three()
    entry = crew.add("laptop", "remark", {"txt": "x"}, signers=[("pilot", "noted", "")])

    assert ("in its content 'txt' is not known",) == crew.standing.problems(entry)
    assert not crew.standing.counts(entry)


def test_an_entry_about_people_counts_as_people_says():
    crew = crew_of_three()
    good = crew.revoke("loader", "loader")
    bad = crew.revoke("pilot", "loader")

    assert crew.standing.counts(good)
    assert not crew.standing.counts(bad)
    assert "neither a person who held 'authorise'" in crew.standing.problems(bad)[0]


def test_a_revocation_whose_signer_was_revoked_elsewhere_counts_and_is_flagged():
    crew = crew_of_three()
    entry = crew.revoke("pilot", "mechanic", device="tablet", seen=[])
    crew.revoke("mechanic", "pilot", seen=[])

    assert crew.standing.counts(entry)
    assert "made elsewhere" in crew.standing.problems(entry)[0]


def test_an_entry_of_another_team_counts_for_nothing_and_restricts_all_the_same():
    crew = crew_of_three()
    crew.team = "ab" * 32
    entry = defect(crew)

    assert "it is not of this team" in crew.standing.problems(entry)
    assert not crew.standing.counts(entry)
    assert (entry,) == crew.standing.open_restrictions(ON)


def test_relations_to_what_was_not_seen_or_is_not_here_are_problems():
    crew = crew_of_three()
    apart = crew.remark(device="tablet", seen=[])
    gone = Crew().remark()
    unseen = crew.add("laptop", "remark", relations=[("cites", apart)], seen=[])
    absent = crew.add("laptop", "remark", relations=[("corrects", gone)], seen=[])

    assert (f"it cites {apart.name}, which it had not seen",) == crew.standing.problems(unseen)
    assert (
        f"it corrects an entry that is not here ({gone.hash[:12]}…)",
    ) == crew.standing.problems(absent)


# --- independence


def test_an_inspection_by_another_person_counts():
    crew = crew_of_three()
    done = work(crew, "mechanic")
    seen = inspection(crew, done, "pilot")

    assert () == crew.standing.problems(seen)
    assert crew.standing.counts(seen)


def test_who_did_the_work_does_not_inspect_it():
    crew = crew_of_three()
    done = work(crew, "mechanic")
    seen = inspection(crew, done, "pilot", "mechanic")

    who = device_name(public_of("mechanic"))
    assert (f"person {who} signed {done.name}, which is inspected here",) == crew.standing.problems(
        seen
    )
    assert not crew.standing.counts(seen)


def test_who_did_the_work_does_not_inspect_it_with_their_new_key():
    crew = crew_of_three()
    done = work(crew, "mechanic")
    crew.change("mechanic", "mechanic", "mechanic-2")
    seen = inspection(crew, done, "mechanic-2")

    assert crew.people.judged(seen)[0].counts
    who = device_name(public_of("mechanic"))
    assert (f"person {who} signed {done.name}, which is inspected here",) == crew.standing.problems(
        seen
    )
    assert not crew.standing.counts(seen)


def test_a_signature_that_counts_for_nothing_still_shows_who_did_the_work():
    crew = crew_of_three()
    crew.change("mechanic", "mechanic", "mechanic-2", device="tablet", seen=[])
    done = work(crew, "mechanic-2", seen=[])  # the laptop does not know this key yet
    crew.remark()
    seen = inspection(crew, done, "mechanic-2")

    assert not crew.standing.counts(done)
    assert not crew.standing.counts(seen)


def test_independence_is_not_won_by_the_fall_of_a_key():
    crew = crew_of_three()
    crew.grant("loader", ["authorise"])
    crew.remark(device="tablet")
    crew.replace("mechanic", "mechanic", "mechanic-2", "loader", device="tablet", seen=[])
    crew.replace("mechanic", "mechanic", "mechanic-3", "pilot", seen=[])
    done = work(crew, "mechanic-2")
    seen = inspection(crew, done, "mechanic-3")
    assert not crew.standing.counts(seen)
    crew.revoke("loader", "pilot", device="desk", seen=[crew.entries[5]])

    assert crew.people.judged(seen)[0].counts
    assert not crew.people.judged(done)[0].counts
    assert not crew.standing.counts(seen)


def test_what_was_not_seen_is_not_inspected():
    crew = crew_of_three()
    done = work(crew, "mechanic", device="tablet", seen=[])
    seen = inspection(crew, done, "pilot", seen=[])

    assert (
        f"it inspects an entry that it had not seen ({done.hash[:12]}…)",
    ) == crew.standing.problems(seen)
    assert not crew.standing.counts(seen)


# --- notes


def test_lateness_a_clock_behind_and_corrections_are_notes_not_problems():
    crew = crew_of_three()
    late = crew.remark("pilot", occurred=Occurred(NOON, 4 * 3600 + 60, "the laptop was flat"))
    fix = crew.add("laptop", "correction", relations=[("corrects", late)])
    body = replace(
        fix.body,
        number=fix.body.number + 1,
        previous=fix.hash,
        time=ClaimedTime(NOON - timedelta(days=1), "laptop clock", 86_400),
        relations=(),
        kind="remark",
    )
    behind = signed_entry("laptop", body)
    crew.entries.append(behind)

    assert () == crew.standing.problems(late)
    assert (
        "late by 4 h 1 min: the laptop was flat",
        f"corrected by {fix.name}",
    ) == crew.standing.notes(late)
    assert ("the clock was 1 d behind what it had seen before",) == crew.standing.notes(behind)
    assert () == crew.standing.problems(behind)


def test_an_unknown_kind_is_kept_and_shown():
    crew = crew_of_three()
    entry = crew.add("laptop", "moon-landing", {"craters": [1, 2]})

    assert (
        "the kind 'moon-landing' is not known to this program; kept and shown",
    ) == crew.standing.notes(entry)
    assert () == crew.standing.problems(entry)


def test_what_ended_or_spent_an_entry_is_noted():
    crew = crew_of_three()
    bad = defect(crew)
    end = close(crew, bad, "mechanic")
    entry = release(crew, "pilot")
    spent = take_off(crew, entry)

    assert f"ended by {end.name}" in crew.standing.notes(bad)
    assert f"spent by {spent.name}" in crew.standing.notes(entry)


# --- restrictions


def test_an_unknown_kind_that_restricts_restricts_and_the_device_alone_is_enough():
    crew = crew_of_three()
    entry = crew.add("laptop", "moon-dust", {"grams": 3}, effect=("restricts", ON))
    later = release(crew, "pilot")

    assert (entry,) == crew.standing.open_restrictions(ON)
    assert (entry,) == crew.standing.open_restrictions()
    assert () == crew.standing.open_restrictions("other")
    assert (f"restricted by {entry.name}, which it had seen open",) == why(crew, later)


def test_a_restriction_stands_though_the_signature_on_it_counts_for_nothing():
    crew = crew_of_three()
    entry = defect(crew, "stranger")

    assert "counts for nothing" in crew.standing.problems(entry)[0]
    assert (entry,) == crew.standing.open_restrictions(ON)


def test_a_restriction_is_ended_by_a_person_who_has_seen_it():
    crew = crew_of_three()
    entry = defect(crew)
    close(crew, entry, "mechanic")

    assert () == crew.standing.open_restrictions(ON)
    assert () == crew.standing.open_restrictions()


@pytest.mark.parametrize(
    ("by", "word"), [((), "ends"), (("stranger",), "ends"), (("mechanic",), "corrects")]
)
def test_a_restriction_is_not_ended_by_a_device_a_stranger_or_a_correction(by, word):
    crew = crew_of_three()
    entry = defect(crew)
    close(crew, entry, *by, word=word)

    assert (entry,) == crew.standing.open_restrictions(ON)


def test_a_restriction_is_not_ended_by_who_has_not_seen_it():
    crew = crew_of_three()
    entry = defect(crew, device="tablet", seen=[])
    close(crew, entry, "mechanic", seen=[])

    assert (entry,) == crew.standing.open_restrictions(ON)


def test_a_restriction_opens_again_when_the_key_that_ended_it_was_revoked_elsewhere():
    crew = crew_of_three()
    entry = defect(crew)
    crew.remark(device="tablet")
    close(crew, entry, "mechanic", seen=[])
    assert () == crew.standing.open_restrictions(ON)
    crew.revoke("mechanic", "pilot", device="tablet", seen=[])

    assert (entry,) == crew.standing.open_restrictions(ON)


# --- permissions


def test_a_permission_holds_until_it_is_spent():
    crew = crew_of_three()
    entry = release(crew, "pilot", role="pilot")
    assert holds(crew, entry)
    spent = take_off(crew, entry)

    permit = crew.standing.permit(entry)
    assert (False, (f"spent by {spent.name}",), (spent,)) == (
        permit.holds,
        permit.why,
        permit.spent_by,
    )
    assert () == crew.standing.contradictions


def test_what_permits_nothing_is_no_permission():
    crew = crew_of_three()

    assert ("it permits nothing",) == why(crew, crew.remark("pilot"))


def test_a_permission_needs_a_person():
    crew = crew_of_three()

    assert ("no person signed it",) == why(crew, release(crew))


def test_a_permission_in_a_role_not_held_does_not_hold():
    crew = crew_of_three()

    assert ("it does not count",) == why(crew, release(crew, "loader", role="pilot"))


def test_a_permission_after_the_end_of_all_restrictions_holds():
    crew = crew_of_three()
    close(crew, defect(crew), "mechanic")
    defect(crew, on="other")

    assert holds(crew, release(crew, "pilot"))


def test_a_permission_signed_while_a_restriction_was_open_is_a_contradiction_for_ever():
    crew = crew_of_three()
    bad = defect(crew)
    entry = release(crew, "pilot")
    close(crew, bad, "mechanic")

    open_then = f"restricted by {bad.name}, which it had seen open"
    assert (open_then,) == why(crew, entry)
    assert (open_then,) == crew.standing.problems(entry)
    [contradiction] = crew.standing.contradictions
    assert (
        (bad, entry),
        f"{entry.name} permits what {bad.name}, which it had seen, restricts",
    ) == (
        contradiction.entries,
        contradiction.text,
    )


def test_an_ending_that_the_permission_had_not_seen_does_not_help_it():
    crew = crew_of_three()
    bad = defect(crew)
    crew.remark(device="tablet")
    close(crew, bad, "mechanic", device="tablet", seen=[])
    entry = release(crew, "pilot", seen=[])

    assert not holds(crew, entry)


def test_a_defect_on_one_laptop_beats_a_release_on_the_other():
    crew = crew_of_three()
    entry = release(crew, "pilot", device="tablet", seen=[])
    assert holds(crew, entry)
    bad = defect(crew, seen=[])

    assert (f"restricted by {bad.name}, made elsewhere",) == why(crew, entry)
    [text] = texts(crew)
    assert "neither had seen the other, and the restriction wins" in text
    # Ending it afterwards does not bring the release back.
    close(crew, bad, "mechanic")
    assert not holds(crew, entry)


def test_a_restriction_after_a_permission_ends_it_for_good():
    crew = crew_of_three()
    entry = release(crew, "pilot")
    bad = defect(crew)
    close(crew, bad, "mechanic")

    assert (f"restricted by {bad.name}, made after it",) == why(crew, entry)
    assert () == crew.standing.contradictions


@pytest.mark.parametrize(("word", "said"), [("ends", "ended"), ("corrects", "corrected")])
@pytest.mark.parametrize("by", [(), ("stranger",), ("pilot",)])
def test_anybody_ends_a_permission_even_without_having_seen_it(word, said, by):
    crew = crew_of_three()
    entry = release(crew, "pilot", device="tablet", seen=[])
    end = close(crew, entry, *by, word=word, seen=[])

    assert (f"{said} by {end.name}",) == why(crew, entry)


def test_a_permission_falls_with_the_key_that_signed_it():
    crew = crew_of_three()
    entry = release(crew, "pilot", device="tablet", seen=[])
    crew.revoke("pilot", "mechanic", seen=[])

    assert ("it does not count",) == why(crew, entry)


# --- spending


def test_one_release_spent_on_two_laptops_is_a_contradiction():
    crew = crew_of_three()
    entry = release(crew, "pilot")
    crew.remark(device="tablet")
    first = take_off(crew, entry, seen=[])
    second = take_off(crew, entry, device="tablet", seen=[])

    permit = crew.standing.permit(entry)
    assert {first, second} == set(permit.spent_by)
    [contradiction] = crew.standing.contradictions
    assert {entry, first, second} == set(contradiction.entries)
    assert f"{entry.name} was spent 2 times, some without having seen the others: by " in (
        contradiction.text
    )


def test_one_release_spent_twice_on_one_laptop_is_a_contradiction_too():
    crew = crew_of_three()
    entry = release(crew, "pilot")
    take_off(crew, entry)
    take_off(crew, entry)

    [text] = texts(crew)
    assert "was spent 2 times, one after the other: by " in text


def test_spent_stays_spent_when_the_spending_is_corrected():
    crew = crew_of_three()
    entry = release(crew, "pilot")
    spent = take_off(crew, entry)
    crew.add("laptop", "correction", relations=[("corrects", spent)], signers=[("pilot", "x", "")])

    assert not holds(crew, entry)


def test_spending_what_was_restricted_or_ended_before_is_a_contradiction():
    crew = crew_of_three()
    restricted, ended = release(crew, "pilot"), release(crew, "pilot")
    end = close(crew, ended)
    bad = defect(crew)
    flown = [take_off(crew, restricted), take_off(crew, ended)]

    restricted_text = f"restricted by {bad.name}, made after it"
    assert [
        f"{flown[0].name} spends {restricted.name}, which did not hold: {restricted_text}",
        f"{flown[1].name} spends {ended.name}, which did not hold: ended by {end.name}; "
        f"{restricted_text}",
    ] == texts(crew)


def test_what_came_after_the_spending_does_not_blame_it():
    crew = crew_of_three()
    entry = release(crew, "pilot")
    take_off(crew, entry)
    defect(crew)
    close(crew, entry)

    assert () == crew.standing.contradictions


def test_an_entry_that_spends_and_restricts_does_not_blame_itself():
    crew = crew_of_three()
    entry = release(crew, "pilot")
    crew.add("laptop", "hard-landing", relations=[("spends", entry)], effect=("restricts", ON))

    assert () == crew.standing.contradictions


def test_an_entry_that_spends_and_ends_does_not_blame_itself():
    crew = crew_of_three()
    entry = release(crew, "pilot")
    crew.add("laptop", "take-off", relations=[("spends", entry), ("ends", entry)])

    assert () == crew.standing.contradictions


def test_spending_apart_from_a_restriction_is_a_contradiction():
    crew = crew_of_three()
    entry = release(crew, "pilot")
    crew.remark(device="tablet")
    defect(crew, device="tablet", seen=[])
    take_off(crew, entry, seen=[])

    [text] = texts(crew)
    assert "which did not hold: restricted by " in text


def test_spending_what_never_counted_was_not_seen_or_permits_nothing_is_a_contradiction():
    crew = crew_of_three()
    uncounted = release(crew, "stranger")
    take_off(crew, uncounted)
    remark = crew.remark("pilot")
    take_off(crew, remark)
    unseen = release(crew, "pilot", device="tablet")
    take_off(crew, unseen, seen=[])

    found = texts(crew)
    assert 3 == len(found)
    assert found[0].endswith("did not hold: it does not count")
    assert found[1].endswith(f"spends {remark.name}, which permits nothing")
    assert found[2].endswith("did not hold: its spender had not seen it")


def test_of_many_entries_with_one_fault_some_are_named(monkeypatch):
    monkeypatch.setattr(standing_module, "MOST_NAMED", 2)
    crew = crew_of_three()
    for _ in range(4):
        defect(crew)
    entry = release(crew, "pilot")
    for _ in range(4):
        take_off(crew, entry)

    assert 2 == len(crew.standing.problems(entry))
    spent = [text for text in texts(crew) if "was spent" in text]
    assert ["and 2 more"] == [text[-10:] for text in spent]
    assert 2 == sum("did not hold" in text for text in texts(crew))


def test_what_people_find_contradictory_is_listed_with_the_rest():
    crew = crew_of_three()
    crew.change("pilot", "pilot", "pilot-2", device="tablet", seen=[])
    crew.change("pilot", "pilot", "spare", seen=[])

    assert crew.people.contradictions == crew.standing.contradictions
    assert 1 == len(crew.standing.contradictions)


# --- forks


def forked() -> tuple[Crew, list[Entry]]:
    crew = crew_of_three()
    before = crew.last["laptop"]
    left = crew.remark("pilot", seen=[])
    right = crew.remark("mechanic", after=before, seen=[])
    return crew, [left, right]


def explain(crew: Crew, branches: list[Entry], *by: str, **more: Any) -> Entry:
    signers = [(name, "explained", "") for name in by]
    relations = [("explains", branch) for branch in branches]
    return crew.add("laptop", "explanation", signers=signers, relations=relations, **more)


def test_a_fork_is_unexplained_until_two_persons_explain_all_its_branches():
    crew, branches = forked()
    [fork] = crew.standing.unexplained_forks
    assert set(branches) == set(fork.entries)
    explain(crew, branches, *BOTH)

    assert () == crew.standing.unexplained_forks


@pytest.mark.parametrize("by", [(), ("pilot",), ("pilot", "stranger"), (*BOTH, "stranger")])
def test_one_person_or_an_entry_that_does_not_count_explains_no_fork(by):
    crew, branches = forked()
    explain(crew, branches, *by)

    assert 1 == len(crew.standing.unexplained_forks)


def test_one_person_with_two_keys_does_not_explain_a_fork():
    crew, branches = forked()
    base = crew.entries[-1]
    crew.change("pilot", "pilot", "pilot-2", device="tablet", seen=[base])
    crew.change("pilot", "pilot", "spare", seen=[])
    entry = explain(crew, branches, "pilot-2", "spare")

    assert crew.standing.counts(entry)
    assert 1 == len(crew.standing.unexplained_forks)


def test_a_fork_is_not_explained_branch_by_branch_nor_unseen():
    crew, branches = forked()
    explain(crew, branches[:1], *BOTH)
    explain(crew, branches[1:], *BOTH)
    explain(crew, branches, *BOTH, seen=[], after=branches[0])

    assert branches in [list(fork.entries) for fork in crew.standing.unexplained_forks]


# --- laws

STEPS = (
    "defect",
    "release",
    "close",
    "take-off",
    "work",
    "inspect",
    "revoke",
    "withdraw",
    "change",
)
plans = st.lists(
    st.tuples(
        st.sampled_from(DEVICES),
        st.sampled_from(STEPS),
        st.tuples(st.booleans(), st.booleans(), st.booleans()),
        st.integers(0, 11),
        st.sampled_from([*BOTH, "pilot-2"]),
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
        if step == "defect":
            defect(crew, **more)
        elif step == "release":
            release(crew, by, **more)
        elif step == "close":
            close(crew, back, by, word="corrects" if number > 9 else "ends", **more)
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
        else:
            crew.change("pilot", "pilot", "pilot-2", **more)
    return crew


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
            end.body.signers
            and standing.counts(end)
            and order.has_seen(end, restriction)
            and order.has_seen(permit, end)
            for end in related("ends", restriction)
        )

    restrictions = [e for e in crew.entries if e.body.effect and e.body.effect.word == "restricts"]
    for entry in crew.entries:
        expected = (
            entry.body.kind == "release"
            and standing.counts(entry)
            and not any(related(word, entry) for word in ("ends", "corrects", "spends"))
            and all(order.has_seen(entry, r) and ended_before(r, entry) for r in restrictions)
        )
        assert expected == standing.permit(entry).holds


def test_the_plans_of_these_laws_hold_what_they_are_about():
    rng, held, contradictions = random.Random(7), 0, 0
    for _ in range(40):
        plan = [
            (
                rng.choice(DEVICES),
                rng.choice(STEPS),
                (rng.random() < 0.5, rng.random() < 0.5, rng.random() < 0.5),
                rng.randrange(12),
                rng.choice(BOTH),
            )
            for _ in range(8)
        ]
        standing = grown(plan).standing
        held += sum(standing.permit(e).holds for e in standing.order)
        contradictions += len(standing.contradictions)

    assert held > 5
    assert contradictions > 5
