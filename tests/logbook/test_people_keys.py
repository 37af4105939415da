"""People: what happens when keys are changed, lost, revoked, and nobody is left."""

from __future__ import annotations

import pytest

from flightlog.logbook.entry import device_name
from tests.logbook.crew import Crew, counts, founded, names, roles, why
from tests.logbook.made import public_of

# --- changes of key


def test_after_a_change_with_the_old_key_identity_and_roles_stay():
    crew = founded()
    change = crew.change("pilot", "pilot", "pilot-2")
    new = crew.remark("pilot-2", role="pilot")
    old = crew.remark("pilot", role="pilot")

    person = crew.people.person_of(public_of("pilot-2"))
    assert person is not None
    assert public_of("pilot") == person.id
    assert (public_of("pilot"), public_of("pilot-2")) == person.keys
    assert public_of("pilot-2") == person.key
    assert ("authorise", "pilot") == person.roles
    assert counts(crew, change)
    assert counts(crew, new)
    assert f"the key was changed by {change.name}, which this entry had seen" == why(crew, old)
    assert public_of("pilot") == crew.people.judged(old)[0].person_id


def test_what_the_old_key_signed_apart_from_its_change_counts():
    crew = founded()
    base = crew.entries[-1]
    apart = crew.remark("pilot", device="tablet", seen=[base])
    crew.change("pilot", "pilot", "pilot-2", seen=[])

    assert counts(crew, apart)


def test_a_change_needs_the_old_key_itself():
    crew = founded()
    crew.enrol("loader")
    content = {
        "person": public_of("pilot"),
        "old": public_of("pilot"),
        "new": public_of("spare"),
        "by": "old-key",
    }
    signers = [("loader", "changed", ""), ("spare", "changed", "")]
    entry = crew.add("laptop", "key-change", content, signers=signers)

    assert "the old key does not sign it" in str(crew.people.problem(entry))


def test_a_key_is_not_changed_into_one_that_is_taken():
    crew = founded()
    entry = crew.change("pilot", "pilot", "mechanic")

    assert "the new key belongs to somebody already, or did" == crew.people.problem(entry)


def test_one_key_changed_twice_apart_gives_two_keys_and_a_contradiction():
    crew = founded()
    base = crew.entries[-1]
    crew.change("pilot", "pilot", "pilot-2", device="tablet", seen=[base])
    crew.change("pilot", "pilot", "spare", seen=[])
    [contradiction] = crew.people.contradictions

    assert "one key changed twice, apart from each other" in contradiction.text
    assert counts(crew, crew.remark("pilot-2"))
    assert counts(crew, crew.remark("spare"))
    person = crew.people.person(public_of("pilot"))
    assert person is not None
    assert {public_of("pilot-2"), public_of("spare")} == set(person.keys[1:])
    assert person.keys[-1] == person.key
    crew.revoke("spare", "mechanic")
    person = crew.people.person(public_of("pilot"))
    assert person is not None
    assert public_of("pilot-2") == person.key


def test_a_lost_key_is_replaced_with_a_witness_and_the_roles_are_granted_anew():
    crew = founded()
    crew.enrol("safety")
    crew.grant("safety", ["authorise"])
    apart = crew.remark("pilot", device="tablet")
    lost = crew.replace("pilot", "pilot", "pilot-2", "mechanic", seen=[])
    as_person = crew.remark("pilot-2")
    in_role = crew.remark("pilot-2", role="pilot")

    assert crew.people.problem(lost) is None
    assert counts(crew, as_person)
    assert f"the role 'pilot' was withdrawn by {lost.name}, which this" in why(crew, in_role)
    assert (
        f"the key was revoked by {lost.name}, made elsewhere, without this entry having seen it"
        == why(crew, apart)
    )
    assert () == roles(crew, "pilot")
    alone = crew.grant("pilot", ["pilot"], ["mechanic", "pilot-2"])
    assert crew.people.problem(alone) is not None
    crew.grant("pilot", ["pilot"], ["mechanic", "safety"])
    assert ("pilot",) == roles(crew, "pilot")
    assert counts(crew, crew.remark("pilot-2", role="pilot"))


def test_a_key_that_was_revoked_when_it_was_lost_is_replaced_later():
    crew = founded()
    crew.revoke("pilot", "mechanic")
    entry = crew.replace("pilot", "pilot", "pilot-2", "mechanic")

    assert crew.people.problem(entry) is None
    assert counts(crew, crew.remark("pilot-2"))


def test_what_a_lost_key_brought_about_elsewhere_falls_with_its_replacement():
    crew = founded()
    base = crew.entries[-1]
    witnessed = crew.enrol("loader", by="pilot", device="tablet", seen=[base])
    assert crew.people.problem(witnessed) is None
    crew.replace("pilot", "pilot", "pilot-2", "mechanic", seen=[])

    assert "no longer does: no person who held" in str(crew.people.problem(witnessed))


def test_nobody_witnesses_their_own_change_of_key():
    crew = founded()
    entry = crew.replace("pilot", "pilot", "pilot-2", "pilot")

    assert "no other person who held 'authorise' witnessed it" == crew.people.problem(entry)


def test_only_the_last_key_is_replaced():
    crew = founded()
    crew.change("pilot", "pilot", "pilot-2")
    old = crew.replace("pilot", "pilot", "spare", "mechanic")
    foreign = crew.replace("pilot", "mechanic", "extra", "mechanic")

    assert "the old key was changed before" == crew.people.problem(old)
    assert "the old key was not the person's" == crew.people.problem(foreign)


def test_a_replacement_revokes_the_old_key_even_where_the_new_one_falls():
    crew = founded()
    crew.enrol("safety")
    base = crew.grant("safety", ["authorise"])
    lost = crew.replace("pilot", "pilot", "pilot-2", "mechanic", device="tablet", seen=[base])
    crew.revoke("mechanic", "safety", seen=[])
    remark = crew.remark("pilot")

    assert "the old key is revoked by it, but the new one does not count: no other" in str(
        crew.people.problem(lost)
    )
    assert f"the key was revoked by {lost.name}" in why(crew, remark)
    assert not counts(crew, crew.remark("pilot-2"))
    # The way on: with another witness, from the same old key.
    again = crew.replace("pilot", "pilot", "spare", "safety")
    assert crew.people.problem(again) is None
    assert counts(crew, crew.remark("spare"))


# --- revocations


def test_a_lost_key_counts_for_nothing_after_its_revocation_and_for_all_it_signed_before():
    crew = founded()
    before = crew.remark("pilot", role="pilot")
    revocation = crew.revoke("pilot", "mechanic")
    after = crew.remark("pilot", role="pilot")

    assert counts(crew, before)
    assert f"the key was revoked by {revocation.name}, which this entry had seen" == why(
        crew, after
    )
    person = crew.people.person(public_of("pilot"))
    assert person is not None
    assert (None, ()) == (person.key, person.roles)
    assert not crew.people.holds(public_of("pilot"), "pilot")


def test_a_signature_made_elsewhere_after_a_revocation_counts_for_nothing():
    crew = founded()
    base = crew.entries[-1]
    apart = crew.remark("pilot", device="tablet", seen=[base])
    assert counts(crew, apart)
    revocation = crew.revoke("pilot", "mechanic", seen=[])

    assert (
        f"the key was revoked by {revocation.name}, made elsewhere, without this entry having "
        "seen it" == why(crew, apart)
    )


def test_a_person_revokes_their_own_key_and_nobody_elses():
    crew = founded()
    crew.enrol("loader")
    foreign = crew.revoke("pilot", "loader")
    own = crew.revoke("loader", "loader")

    assert "neither a person who held 'authorise'" in str(crew.people.problem(foreign))
    assert crew.people.problem(own) is None
    assert not counts(crew, crew.remark("loader"))


def test_two_who_revoke_each_other_apart_have_both_done_so():
    crew = founded()
    base = crew.entries[-1]
    one = crew.revoke("pilot", "mechanic", device="tablet", seen=[base])
    other = crew.revoke("mechanic", "pilot", seen=[])

    assert [None, None] == [crew.people.problem(e) for e in (one, other)]
    assert [None, None] == [p.key for p in crew.people.persons]
    assert () == crew.people.authorisers


def test_what_a_revoked_key_brought_about_elsewhere_falls_with_all_that_rests_on_it():
    crew = founded()
    base = crew.entries[-1]
    enrolled = crew.enrol("loader", by="mechanic", device="tablet", seen=[base])
    granted = crew.grant("loader", ["pilot"], device="tablet", seen=[])
    signed = crew.remark("loader", role="pilot", device="tablet", seen=[])
    assert counts(crew, signed)
    crew.revoke("mechanic", "pilot", seen=[])

    assert "it counted when it was made, and no longer does: no person who held" in str(
        crew.people.problem(enrolled)
    )
    assert "no longer does: the person was not enrolled" in str(crew.people.problem(granted))
    assert f"the key was made known by {enrolled.name}, which does not count" == why(crew, signed)
    assert {"pilot", "mechanic"} == names(crew.people.persons)


def test_a_role_falls_with_the_grant_that_gave_it():
    crew = founded()
    crew.enrol("loader")
    base = crew.entries[-1]
    granted = crew.grant("loader", ["pilot"], device="tablet", seen=[base])
    signed = crew.remark("loader", role="pilot", device="tablet", seen=[])
    crew.withdraw("mechanic", ["authorise"], "pilot", seen=[])

    assert f"the role 'pilot' was given by {granted.name}, which does not count" == why(
        crew, signed
    )


def test_a_revocation_by_a_stranger_or_with_a_revoked_key_does_nothing():
    crew = founded()
    stranger = crew.revoke("pilot", "stranger")
    crew.revoke("mechanic", "pilot")
    late = crew.revoke("pilot", "mechanic")

    assert not crew.people.stands(stranger)
    assert not crew.people.stands(late)
    assert counts(crew, crew.remark("pilot"))


def test_a_key_revoked_before_its_enrolment_was_seen_is_revoked():
    crew = founded()
    base = crew.entries[-1]
    entry = crew.enrol("loader", by="mechanic", device="tablet", seen=[base])
    crew.revoke("loader", "pilot", seen=[])

    assert "no longer does: the new key was revoked" in str(crew.people.problem(entry))


def test_what_a_key_signed_while_it_may_have_been_in_wrong_hands_is_listed():
    crew = founded()
    crew.remark("pilot")
    sure = crew.remark("pilot")
    doubtful = [crew.remark("pilot"), crew.remark("pilot", "mechanic", device="tablet")]
    crew.remark("mechanic")
    apart = crew.remark("pilot", device="desk", seen=[sure])
    told = crew.revoke(
        "pilot", "mechanic", doubtful_after=sure, device="laptop", seen=[doubtful[1]]
    )
    untold = crew.revoke("mechanic", "mechanic")

    assert tuple(doubtful) == crew.people.to_sign_again(told)
    assert () == crew.people.to_sign_again(untold)
    assert all(counts(crew, e) for e in doubtful[:1])
    assert not counts(crew, apart)
    assert ("2 entries signed with this key are to be signed again",) == crew.people.notes(told)


def test_a_revocation_that_does_not_stand_asks_for_nothing_to_be_signed_again():
    crew = founded()
    first = crew.remark("pilot")
    crew.remark("pilot")
    told = crew.revoke("pilot", "stranger", doubtful_after=first)

    assert () == crew.people.to_sign_again(told)


# --- recovery


def crew_of_four() -> Crew:
    crew = founded()
    crew.enrol("safety", by="pilot")
    crew.enrol("loader", by="mechanic")
    return crew


def test_the_last_authorisers_gone_two_others_recover_and_it_is_marked_for_ever():
    crew = crew_of_four()
    crew.revoke("pilot", "pilot")
    crew.revoke("mechanic", "mechanic")
    assert () == crew.people.authorisers
    recovery = crew.recover(["safety", "loader"], ["safety", "loader"])
    enrolled = crew.enrol("extra", by="safety")
    granted = crew.grant("extra", ["pilot"], ["safety", "loader"])

    assert [None] * 3 == [crew.people.problem(e) for e in (recovery, enrolled, granted)]
    assert {"safety", "loader"} == names(crew.people.authorisers)
    [marked] = crew.people.recoveries
    assert (recovery, True, "") == (marked.entry, marked.counts, marked.note)
    assert {public_of("safety"), public_of("loader")} == set(marked.persons)
    assert ("a recovery: fewer than two persons could grant roles",) == crew.people.notes(recovery)


def test_recovery_is_refused_while_two_can_use_authorise():
    crew = crew_of_four()
    recovery = crew.recover(["safety"], ["safety", "loader"])

    assert "2 persons can use 'authorise' still; with 2 there is no recovery" == (
        crew.people.problem(recovery)
    )
    assert () == roles(crew, "safety")
    assert () == crew.people.recoveries


def test_a_recovery_that_had_not_seen_that_two_are_left_is_judged_by_its_own_past():
    crew = crew_of_four()
    crew.withdraw("pilot", ["authorise"], "pilot")
    base = crew.entries[-1]
    recovery = crew.recover(["safety"], ["mechanic", "safety"], device="tablet", seen=[base])
    other = crew.recover(["loader"], ["mechanic", "loader"], seen=[])

    assert [None, None] == [crew.people.problem(e) for e in (recovery, other)]
    assert {"mechanic", "safety", "loader"} == names(crew.people.authorisers)


def test_one_person_with_two_keys_does_not_recover_alone():
    crew = crew_of_four()
    crew.revoke("pilot", "pilot")
    base = crew.entries[-1]
    crew.change("safety", "safety", "spare", device="tablet", seen=[base])
    crew.change("safety", "safety", "extra", seen=[])
    recovery = crew.recover(["safety"], ["spare", "extra"])

    assert "of the signatures here one counts" in str(crew.people.problem(recovery))


def test_a_recovery_names_enrolled_persons():
    crew = crew_of_four()
    crew.revoke("pilot", "pilot")
    recovery = crew.recover(["extra"], ["mechanic", "loader"])

    assert "one of the persons was not enrolled" == crew.people.problem(recovery)


def short(name: str) -> str:
    return f"person {device_name(public_of(name))}"


def test_a_recovery_by_a_person_and_one_whose_key_they_had_vouched_for_says_so():
    crew = founded()
    crew.replace("pilot", "pilot", "pilot-2", "mechanic")
    recovery = crew.recover(["pilot", "mechanic"], ["pilot-2", "mechanic"])

    [marked] = crew.people.recoveries
    assert f"{short('mechanic')} had vouched for the key of {short('pilot')}" == marked.note
    assert marked.note in crew.people.notes(recovery)


def test_vouching_is_followed_through_later_changes_with_the_old_key():
    crew = founded()
    crew.replace("pilot", "pilot", "pilot-2", "mechanic")
    crew.change("pilot", "pilot-2", "spare")
    crew.recover(["pilot"], ["spare", "mechanic"])

    [marked] = crew.people.recoveries
    assert f"{short('mechanic')} had vouched for the key of {short('pilot')}" == marked.note


def test_a_recovery_by_two_whom_one_person_had_vouched_for_says_so():
    crew = founded()
    crew.enrol("safety", by="mechanic")
    crew.enrol("loader", by="mechanic")
    crew.revoke("pilot", "mechanic")
    crew.recover(["safety"], ["safety", "loader"])

    [marked] = crew.people.recoveries
    assert f"{short('mechanic')} had vouched for the keys of both" in marked.note


def test_a_recovery_behind_which_one_person_may_be_is_listed_as_a_contradiction():
    crew = crew_of_four()
    crew.revoke("mechanic", "pilot")
    recovery = crew.recover(["safety"], ["pilot", "safety"])

    [found] = crew.people.contradictions
    assert (recovery,) == found.entries
    assert (
        f"{recovery.name} is a recovery behind which one person alone may be: "
        f"{short('pilot')} had vouched for the key of {short('safety')}"
    ) == found.text
    # It stays there, whatever becomes of it.
    crew.revoke("safety", "loader", device="tablet", seen=[crew.entries[2]])
    crew.revoke("safety", "pilot", device="desk", seen=[crew.entries[2]])
    [found] = crew.people.contradictions
    assert found.text.endswith(f"the key of {short('safety')}; it no longer counts")


def test_a_recovery_by_persons_who_do_not_depend_on_each_other_is_no_contradiction():
    crew = crew_of_four()
    crew.revoke("pilot", "pilot")
    crew.recover(["safety"], ["mechanic", "safety"])

    assert 1 == len(crew.people.recoveries)
    assert () == crew.people.contradictions


@pytest.mark.parametrize("minutes", [(1, 2), (2, 1)])
def test_who_had_vouched_does_not_depend_on_which_of_two_enrolments_claims_to_be_earlier(minutes):
    crew = founded()
    crew.enrol("safety")
    base = crew.grant("safety", ["authorise"])
    crew.enrol("loader", "pilot", device="tablet", seen=[base], minutes=minutes[0])
    crew.enrol("loader", "safety", device="desk", seen=[base], minutes=minutes[1])
    crew.withdraw("mechanic", ["authorise"], "pilot", minutes=10)
    crew.withdraw("safety", ["authorise"], "pilot", minutes=10)
    crew.recover(["loader"], ["pilot", "loader"], minutes=10)

    [marked] = crew.people.recoveries
    assert f"{short('pilot')} had vouched for the key of {short('loader')}" == marked.note


@pytest.mark.parametrize("keys", [("spare", "extra"), ("extra", "spare")])
def test_who_vouches_for_one_of_two_keys_of_a_person_has_vouched_for_them(keys):
    crew = founded()
    base = crew.enrol("safety", by="mechanic")
    crew.replace("safety", "safety", "spare", "pilot", device="tablet", seen=[base])
    crew.replace("safety", "safety", "extra", "mechanic", device="desk", seen=[base])
    crew.withdraw("mechanic", ["authorise"], "mechanic")
    crew.recover(["safety"], [*keys, "pilot"])

    [marked] = crew.people.recoveries
    assert f"{short('pilot')} had vouched for the key of {short('safety')}" == marked.note


def test_a_third_person_who_depends_on_nobody_clears_the_note():
    crew = crew_of_four()
    crew.revoke("pilot", "mechanic")
    crew.recover(["safety"], ["mechanic", "loader", "safety"])

    # The mechanic vouched for the loader, and not for safety.
    [marked] = crew.people.recoveries
    assert "" == marked.note


def test_a_recovery_stays_marked_when_it_no_longer_counts():
    crew = crew_of_four()
    crew.revoke("pilot", "mechanic")
    base = crew.entries[-1]
    crew.recover(["safety"], ["mechanic", "safety"], device="tablet", seen=[base])
    crew.revoke("safety", "mechanic", seen=[])

    [marked] = crew.people.recoveries
    assert not marked.counts
    assert {"mechanic"} == names(crew.people.authorisers)
