"""Standing: what counts, restricts, permits, and does not go together."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from flightlog.logbook import standing as standing_module
from flightlog.logbook.entry import ClaimedTime, Entry, Occurred, device_name
from flightlog.logbook.standing import Standing
from tests.logbook.crew import BOTH, Crew
from tests.logbook.deeds import (
    ON,
    close,
    crew_of_three,
    defect,
    explain,
    forked,
    holds,
    inspection,
    release,
    take_off,
    texts,
    why,
    work,
)
from tests.logbook.made import NOON, public_of, signed_entry

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


def test_a_device_alone_inspects_nothing():
    crew = crew_of_three()
    done = work(crew, "mechanic")
    seen = inspection(crew, done)

    assert ("it inspects, and no person signed it",) == crew.standing.problems(seen)
    assert not crew.standing.counts(seen)
    assert () == crew.standing.inspected_by(done)


@pytest.mark.parametrize("by", [None, "stranger"])
def test_work_on_which_nobodys_signature_counts_is_not_inspected(by):
    crew = crew_of_three()
    done = work(crew, by) if by else crew.add("laptop", "work")
    seen = inspection(crew, done, "pilot")

    assert (
        f"it inspects {done.name}, on which no person's signature counts",
    ) == crew.standing.problems(seen)
    assert not crew.standing.counts(seen)


def test_an_inspection_falls_with_the_signature_on_the_work():
    crew = crew_of_three()
    done = work(crew, "mechanic")
    seen = inspection(crew, done, "pilot")
    assert (seen,) == crew.standing.inspected_by(done)
    crew.revoke("mechanic", "pilot", device="tablet", seen=[])

    assert not crew.standing.counts(seen)
    assert () == crew.standing.inspected_by(done)


# --- what loosens needs persons, whatever lets it count


def gives_up_roles(crew: Crew, name: str, **more: Any) -> Entry:
    """An entry of which people say that it stands, although the key was revoked elsewhere."""
    return crew.withdraw(name, ["load-master"], name, device="stolen", seen=[], **more)


def test_a_revoked_key_lifts_and_permits_nothing_by_an_entry_about_people():
    crew = crew_of_three()
    bad = defect(crew)
    crew.add("stolen", "chain-start", {"reason": "a copy"}, seen=[bad])
    crew.revoke("loader", "pilot", seen=[])
    plain = gives_up_roles(crew, "loader")
    ends = gives_up_roles(crew, "loader", relations=[("ends", bad)])
    permits = gives_up_roles(crew, "loader", effect=("permits", "tow hook"))

    assert [True, False, False] == [crew.standing.counts(e) for e in (plain, ends, permits)]
    assert (bad,) == crew.standing.open_restrictions(ON)
    assert ("it does not count",) == why(crew, permits)
    assert "an entry about people does nothing else" in crew.standing.problems(ends)[0]


def test_nobody_inspects_their_own_work_by_an_entry_about_people():
    crew = crew_of_three()
    done = work(crew, "mechanic")
    seen = crew.withdraw("mechanic", ["pilot"], "mechanic", relations=[("inspects", done)])

    assert not crew.standing.counts(seen)
    assert () == crew.standing.inspected_by(done)


def test_what_loosens_asks_for_the_signatures_itself_whatever_counts(monkeypatch):
    crew, branches = forked()
    bad, done = defect(crew, on="other"), work(crew, "pilot")
    own = inspection(crew, done, "pilot")
    close(crew, bad, "mechanic", "stranger")
    explain(crew, branches, *BOTH, "stranger")
    half = release(crew, "pilot", "stranger")
    inspection(crew, done, "mechanic", "stranger")
    good = inspection(crew, done, "mechanic")
    monkeypatch.setattr(Standing, "counts", lambda self, entry: True)
    standing = crew.standing

    assert standing.counts(own)
    assert (bad,) == standing.open_restrictions("other")
    assert 1 == len(standing.unexplained_forks)
    assert ("a signature on it counts for nothing",) == standing.permit(half).why
    assert (good,) == standing.inspected_by(done)


# --- notes


def test_lateness_a_clock_behind_and_corrections_are_notes_not_problems():
    crew = crew_of_three()
    late_s = 4 * 3600 + 60
    happened = NOON + timedelta(minutes=len(crew.entries), seconds=-late_s)
    late = crew.remark("pilot", occurred=Occurred(happened, late_s, "the laptop was flat"))
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
    assert ("the clock was 1 d behind an earlier entry of its chain",) == crew.standing.notes(
        behind
    )
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
    assert found[0].endswith("did not hold: its spender had not seen it")
    # No person who counts takes part in these two; being spent makes nobody take part.
    assert found[1].endswith("did not hold: it does not count")
    assert found[2].endswith(f"spends {remark.name}, which permits nothing")


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


def test_what_a_nobodys_device_makes_up_comes_last_whatever_its_clock_says():
    crew = crew_of_three()
    base = crew.last["laptop"]
    entry = release(crew, "pilot")
    remark = crew.remark("pilot")
    crew.add("nobody", "x", {"n": 0}, seen=[base, remark], minutes=-1000)
    for _ in range(3):
        crew.add("nobody", "x", relations=[("spends", remark)], seen=[], minutes=-1000)
    bait = crew.add("nobody", "x", effect=("permits", "bait"), seen=[], minutes=-1000)
    for _ in range(2):
        take_off(crew, bait, device="nobody", seen=[], minutes=-1000)
    made_up = set(texts(crew))
    assert 6 == len(made_up)
    take_off(crew, entry)
    take_off(crew, entry)

    first, *rest = texts(crew)
    assert f"{entry.name} was spent 2 times, one after the other: by " in first
    assert made_up == set(rest)


# --- forks


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
