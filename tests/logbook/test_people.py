from __future__ import annotations

import pytest

from flightlog.logbook.entry import Body, Entry
from flightlog.logbook.kinds import team_of
from flightlog.logbook.order import Order
from flightlog.logbook.people import People
from tests.logbook.crew import BOTH, Crew, counts, founded, names, roles, why
from tests.logbook.made import Maker, public_of

# --- founding


def test_the_founders_are_known_with_their_roles_from_the_first_entry_on():
    crew = founded()
    first = crew.remark("pilot", role="pilot")

    assert ("authorise", "pilot") == roles(crew, "pilot")
    assert ("authorise", "mechanic") == roles(crew, "mechanic")
    assert {"pilot", "mechanic"} == names(crew.people.authorisers)
    assert crew.people.problem(crew.entries[0]) is None
    assert counts(crew, crew.entries[0])
    assert counts(crew, first)
    pilot = crew.people.persons[0 if crew.people.persons[0].id == public_of("pilot") else 1]
    assert ((pilot.id,), pilot.id, crew.entries[0].hash) == (pilot.keys, pilot.key, pilot.since)


@pytest.mark.parametrize(
    ("signers", "problem"),
    [
        ([("pilot", "enrolled", "")], "2 persons have to sign it, and 1 would"),
        (
            [("pilot", "enrolled", ""), ("loader", "enrolled", "")],
            "those who sign it are not those whom it enrols",
        ),
        (
            [("pilot", "enrolled", "pilot"), ("mechanic", "enrolled", "")],
            "in a role, and nobody holds one yet",
        ),
    ],
)
def test_a_founding_is_signed_by_exactly_those_whom_it_enrols(signers, problem):
    crew = founded()
    founding = crew.entries[0].body.content
    other = Crew()
    entry = other.add("laptop", "founding", founding, signers=signers)

    assert problem in str(other.people.problem(entry))
    assert () == other.people.persons


def test_a_founding_with_other_content_than_the_team_was_made_from_founds_nothing():
    crew = Crew()
    content = {**founded().entries[0].body.content, "nonce": "11" * 16}
    signers = [("pilot", "enrolled", ""), ("mechanic", "enrolled", "")]
    entry = crew.add("laptop", "founding", content, signers=signers)

    assert () == crew.people.persons
    wrong = "its content does not give the id of this team"
    assert wrong == crew.people.problem(entry)
    assert wrong == crew.standing.problems(entry)[0]
    named = People.of(crew.order, crew.team)
    assert wrong == named.problem(entry)


FOUNDERS = [("pilot", "enrolled", ""), ("mechanic", "enrolled", "")]


@pytest.mark.parametrize(
    ("roles", "problem"),
    [
        (
            {"pilot": ["authorise"], "mechanic": ["mechanic"]},
            "fewer than 2 of its persons get 'authorise'",
        ),
        ({"pilot": ["authorise"], "mechanic": ["authorise"]}, None),
    ],
)
def test_two_founders_at_least_can_grant_roles(roles, problem):
    people = [{"key": public_of(name), "roles": given} for name, given in roles.items()]
    content = {"nonce": "33" * 16, "people": people}
    crew = Crew(team=team_of(content))
    entry = crew.add("laptop", "founding", content, signers=FOUNDERS)

    assert problem == crew.people.problem(entry)


def test_a_founder_who_is_named_twice_is_not_two_founders():
    people = [
        {"key": public_of("pilot"), "roles": ["authorise"]},
        {"key": public_of("pilot"), "roles": ["authorise", "pilot"]},
        {"key": public_of("mechanic"), "roles": ["mechanic"]},
    ]
    content = {"nonce": "44" * 16, "people": people}
    crew = Crew(team=team_of(content))
    entry = crew.add("laptop", "founding", content, signers=FOUNDERS)

    assert "those who sign it are not those whom it enrols" == crew.people.problem(entry)


def test_a_founding_made_again_apart_from_the_revocation_of_a_founder_falls():
    crew = founded()
    crew.revoke("pilot", "mechanic")
    again = crew.add("tablet", "founding", crew.entries[0].body.content, signers=FOUNDERS, seen=[])

    assert "it counted when it was made, and no longer does: one of its keys was revoked" == (
        crew.people.problem(again)
    )


def test_a_founding_of_another_team_that_has_seen_something_disturbs_nobody():
    crew = founded()
    content = {**crew.entries[0].body.content, "nonce": "22" * 16}
    crew.team = team_of(content)
    crew.add("tablet", "founding", content, signers=FOUNDERS)

    assert 2 == len(crew.people.persons)


def test_a_second_founding_that_has_seen_the_first_does_not_count():
    crew = founded()
    signers = [("pilot", "enrolled", ""), ("mechanic", "enrolled", "")]
    again = crew.add("tablet", "founding", crew.entries[0].body.content, signers=signers)

    assert "a founding has seen nothing" == crew.people.problem(again)


def test_two_foundings_of_one_team_are_a_contradiction():
    crew = founded()
    crew.found("tablet")
    second = Maker()
    second.found("desk")
    crew.entries += second.entries

    texts = [c.text for c in crew.people.contradictions]
    assert ["the team was founded more than once"] == texts


def test_with_foundings_of_two_teams_nothing_counts_until_one_is_named():
    crew = founded()
    content = {**crew.entries[0].body.content, "nonce": "22" * 16}
    other = Crew(team=team_of(content))
    signers = [("pilot", "enrolled", ""), ("mechanic", "enrolled", "")]
    stranger = other.add("tablet", "founding", content, signers=signers)
    order = Order([*crew.entries, stranger])

    assert () == People.of(order).persons
    assert 2 == len(People.of(order, crew.team).persons)
    judged = People.of(order, crew.team).judged(stranger)
    assert ["the entry is not of this team"] * 2 == [j.why for j in judged]


def test_a_record_without_a_founding_knows_nobody():
    crew = Crew()
    remark = crew.remark("pilot")

    assert () == crew.people.persons
    assert not counts(crew, remark)


# --- enrolment


def test_an_enrolled_person_can_sign_from_that_entry_on_and_has_no_role():
    crew = founded()
    before = crew.remark("loader")
    entry = crew.enrol("loader")
    after = crew.remark("loader")

    assert crew.people.problem(entry) is None
    assert counts(crew, entry)
    assert counts(crew, after)
    assert () == roles(crew, "loader")
    assert not counts(crew, before)
    assert f"the key was made known by {entry.name}, which came later" == why(crew, before)
    person = crew.people.person_of(public_of("loader"))
    assert person is not None
    assert entry.hash == person.since


def test_persons_are_listed_as_they_joined():
    crew = founded()
    crew.enrol("loader")
    crew.enrol("extra")

    assert [public_of("loader"), public_of("extra")] == [p.id for p in crew.people.persons[2:]]


def test_the_key_itself_has_to_sign_its_enrolment():
    crew = founded()
    content = {"key": public_of("loader")}
    signers = [("mechanic", "enrolled", ""), ("pilot", "witnessed", "")]
    entry = crew.add("laptop", "enrolment", content, signers=signers)

    assert "the new key itself does not sign it" in str(crew.people.problem(entry))
    assert crew.people.person_of(public_of("loader")) is None


@pytest.mark.parametrize(
    ("signers", "problem"),
    [
        ([("loader", "enrolled", "pilot"), ("pilot", "witnessed", "")], "the new key itself does"),
        ([("loader", "witnessed", ""), ("pilot", "witnessed", "")], "the new key itself does not"),
        ([("loader", "enrolled", ""), ("pilot", "enrolled", "")], "no person who held 'authorise'"),
        (
            [("loader", "enrolled", ""), ("pilot", "witnessed", "inspector")],
            "no person who held 'authorise'",
        ),
    ],
)
def test_an_enrolment_is_signed_with_the_right_words_and_in_roles_that_are_held(signers, problem):
    crew = founded()
    entry = crew.add("laptop", "enrolment", {"key": public_of("loader")}, signers=signers)

    assert problem in str(crew.people.problem(entry))


def test_a_witness_may_sign_in_the_role_that_makes_them_one():
    crew = founded()
    signers = [("loader", "enrolled", ""), ("pilot", "witnessed", "authorise")]
    entry = crew.add("laptop", "enrolment", {"key": public_of("loader")}, signers=signers)

    assert crew.people.problem(entry) is None


def test_the_witness_of_an_enrolment_has_to_hold_authorise():
    crew = founded()
    crew.enrol("loader")
    entry = crew.enrol("extra", by="loader")

    assert "no person who held 'authorise' witnessed it" == crew.people.problem(entry)
    assert "the key belongs to nobody in this record" == why(crew, crew.remark("extra"))


def test_a_stranger_can_enrol_nobody():
    crew = founded()
    entry = crew.enrol("extra", by="stranger")

    assert "no person who held 'authorise' witnessed it" == crew.people.problem(entry)


def test_a_key_that_belongs_or_belonged_to_somebody_is_not_enrolled_again():
    crew = founded()
    crew.enrol("loader")
    crew.change("loader", "loader", "spare")
    again = crew.enrol("loader")
    as_person = crew.enrol("spare")

    taken = "the new key belongs to somebody already, or did"
    assert [taken] * 2 == [crew.people.problem(e) for e in (again, as_person)]


def test_a_key_whose_enrolment_was_seen_to_fall_can_be_enrolled_again():
    crew = founded()
    crew.enrol("loader", by="mechanic", device="tablet")
    crew.revoke("mechanic", "pilot", seen=[])
    assert crew.people.person_of(public_of("loader")) is None
    again = crew.enrol("loader", by="pilot")

    assert crew.people.problem(again) is None
    assert crew.people.person_of(public_of("loader")) is not None


def test_a_key_whose_enrolment_was_seen_to_fall_can_become_another_persons():
    crew = founded()
    crew.enrol("spare", by="mechanic", device="tablet")
    crew.revoke("mechanic", "pilot", seen=[])
    crew.change("pilot", "pilot", "spare")

    person = crew.people.person_of(public_of("spare"))
    assert person is not None
    assert public_of("pilot") == person.id
    assert counts(crew, crew.remark("spare", role="pilot"))
    assert () == crew.people.contradictions


def test_what_a_key_brought_about_falls_when_it_turns_out_to_be_that_of_two_persons():
    crew = founded()
    base = crew.entries[-1]
    crew.change("pilot", "pilot", "spare", seen=[])
    witnessed = crew.enrol("loader", by="spare", seen=[])
    assert crew.people.problem(witnessed) is None
    crew.enrol("spare", by="mechanic", device="tablet", seen=[base])

    assert "no longer does: no person who held 'authorise' witnessed it" in str(
        crew.people.problem(witnessed)
    )


def test_one_key_enrolled_for_two_persons_apart_is_good_for_nobody():
    crew = founded()
    base = crew.entries[-1]
    enrolled = crew.enrol("spare", by="mechanic", device="tablet", seen=[base])
    changed = crew.change("pilot", "pilot", "spare", seen=[])
    remark = crew.remark("spare")

    assert crew.people.person_of(public_of("spare")) is None
    assert "the key was enrolled for different persons, by " in why(crew, remark)
    [contradiction] = crew.people.contradictions
    assert {enrolled, changed} == set(contradiction.entries)
    assert frozenset({public_of("spare"), public_of("pilot")}) == crew.people.may_belong_to(
        public_of("spare")
    )


def test_one_person_enrolled_on_two_devices_is_one_person():
    crew = founded()
    base = crew.entries[-1]
    crew.enrol("loader", by="mechanic", device="tablet", seen=[base])
    crew.enrol("loader", by="pilot", seen=[])

    assert 3 == len(crew.people.persons)
    assert counts(crew, crew.remark("loader"))


# --- grants


def test_roles_are_granted_by_two_others_and_held_from_there_on():
    crew = founded()
    crew.enrol("loader")
    early = crew.remark("loader", role="load-master")
    grant = crew.grant("loader", ["load-master"])
    late = crew.remark("loader", role="load-master")

    assert crew.people.problem(grant) is None
    assert ("load-master",) == roles(crew, "loader")
    assert crew.people.holds(public_of("loader"), "load-master")
    assert counts(crew, late)
    assert "the role 'load-master' was not given to the person in what this entry had seen" == why(
        crew, early
    )


def test_nobody_grants_a_role_to_themselves():
    crew = founded()
    grant = crew.grant("pilot", ["inspector"])

    assert (
        "roles are granted by 2 other persons who hold 'authorise'; of the signatures here "
        "one counts" == crew.people.problem(grant)
    )
    assert "inspector" not in roles(crew, "pilot")


def test_one_person_with_two_keys_is_one_person_when_granting():
    crew = founded()
    crew.enrol("loader")
    crew.change("pilot", "pilot", "pilot-2", device="tablet")
    # The old key still counts where the change was not seen.
    apart = crew.add(
        "laptop",
        "grant",
        {"person": public_of("loader"), "roles": ["pilot"]},
        signers=[("pilot", "granted", ""), ("pilot-2", "granted", "")],
        seen=[],
    )
    seen = crew.grant("loader", ["pilot"], ["pilot", "pilot-2"])

    assert "of the signatures here one counts" in str(crew.people.problem(apart))
    assert "of the signatures here one counts" in str(crew.people.problem(seen))


def test_two_valid_keys_of_one_person_are_one_person_when_granting():
    crew = founded()
    crew.enrol("loader")
    base = crew.entries[-1]
    crew.change("pilot", "pilot", "pilot-2", device="tablet", seen=[base])
    crew.change("pilot", "pilot", "spare", seen=[])
    grant = crew.grant("loader", ["pilot"], ["spare", "pilot-2"])

    assert counts(crew, grant)
    assert "of the signatures here one counts" in str(crew.people.problem(grant))


def test_a_third_signature_that_counts_for_nothing_does_not_spoil_a_grant():
    crew = founded()
    crew.enrol("loader")
    grant = crew.grant("loader", ["pilot"], [*BOTH, "stranger"])

    assert crew.people.problem(grant) is None
    assert not counts(crew, grant)


def test_roles_go_to_enrolled_persons_only():
    crew = founded()
    grant = crew.grant("loader", ["pilot"])

    assert "the person was not enrolled" == crew.people.problem(grant)


# --- withdrawals


def test_one_person_withdraws_and_the_role_ends():
    crew = founded()
    crew.enrol("loader")
    crew.grant("loader", ["pilot", "load-master"])
    before = crew.remark("loader", role="pilot")
    withdrawal = crew.withdraw("loader", ["pilot"], "mechanic")
    after = crew.remark("loader", role="pilot")

    assert ("load-master",) == roles(crew, "loader")
    assert counts(crew, before)
    assert f"the role 'pilot' was withdrawn by {withdrawal.name}, which this entry had seen" == why(
        crew, after
    )


def test_a_person_gives_up_their_own_role_but_not_another_ones():
    crew = founded()
    crew.enrol("loader")
    crew.grant("loader", ["pilot"])
    foreign = crew.withdraw("mechanic", ["mechanic"], "loader")
    own = crew.withdraw("loader", ["pilot"], "loader")

    assert "neither a person who held 'authorise'" in str(crew.people.problem(foreign))
    assert crew.people.problem(own) is None
    assert () == roles(crew, "loader")


def test_a_role_used_elsewhere_after_its_withdrawal_counts_for_nothing():
    crew = founded()
    crew.enrol("loader")
    base = crew.grant("loader", ["pilot"])
    used = crew.remark("loader", role="pilot", device="tablet", seen=[base])
    withdrawal = crew.withdraw("loader", ["pilot"], "mechanic", seen=[])

    assert (
        f"the role 'pilot' was withdrawn by {withdrawal.name}, made elsewhere, "
        "without this entry having seen it" == why(crew, used)
    )


def test_a_grant_that_has_seen_the_withdrawal_gives_the_role_again_and_one_apart_does_not():
    crew = founded()
    crew.enrol("loader")
    base = crew.grant("loader", ["pilot"])
    crew.grant("loader", ["pilot"], device="tablet", seen=[base])
    crew.withdraw("loader", ["pilot"], "mechanic", seen=[])
    assert () == roles(crew, "loader")
    crew.grant("loader", ["pilot"])

    assert ("pilot",) == roles(crew, "loader")
    assert counts(crew, crew.remark("loader", role="pilot"))


# --- drafts


def draft(crew: Crew, entry: Entry) -> Body:
    """Take back the last entry; its body is a draft then."""
    assert crew.entries.pop() is entry
    [device] = [name for name, last in crew.last.items() if last is entry]
    crew.last[device] = next(e for e in crew.entries if e.hash == entry.body.previous)
    return entry.body


def test_a_draft_is_judged_as_the_entry_that_it_will_be():
    crew = founded()
    body = draft(crew, crew.enrol("loader"))
    assert crew.people.draft_problem(body) is None
    body = draft(crew, crew.enrol("loader", by="stranger"))
    assert "no person who held 'authorise' witnessed it" == crew.people.draft_problem(body)
    body = draft(crew, crew.recover(["pilot"], BOTH))
    assert "2 persons can use 'authorise' still" in str(crew.people.draft_problem(body))


def test_a_draft_signed_with_a_revoked_key_or_in_a_role_not_held_is_refused_in_words():
    crew = founded()
    body = draft(crew, crew.remark("pilot", role="inspector"))
    assert (
        f"the signature with key {public_of('pilot')[:8]} would count for nothing: the role "
        "'inspector' was not given to the person in what this entry had seen"
        == crew.people.draft_problem(body)
    )
    revocation = crew.revoke("pilot", "mechanic")
    body = draft(crew, crew.remark("pilot"))
    assert f"the key was revoked by {revocation.name}" in str(crew.people.draft_problem(body))
    body = draft(crew, crew.remark("mechanic"))
    assert crew.people.draft_problem(body) is None


def test_a_draft_with_one_signature_that_counts_for_nothing_is_refused_though_it_has_enough():
    crew = founded()
    crew.enrol("loader")
    body = draft(crew, crew.grant("loader", ["pilot"], [*BOTH, "stranger"]))

    assert "the key belongs to nobody in this record" in str(crew.people.draft_problem(body))


def test_a_draft_of_a_wrong_form_or_another_team_is_refused():
    crew = founded()
    body = draft(crew, crew.add("laptop", "remark", {"txt": "x"}))
    assert "in its content 'txt' is not known" == crew.people.draft_problem(body)
    crew.team = "ab" * 32
    body = draft(crew, crew.add("laptop", "remark"))
    assert "it is not of this team" == crew.people.draft_problem(body)


def test_the_draft_of_a_founding_is_judged_without_any_record():
    body = founded().entries[0].body

    assert People.of(Order([]), body.team).draft_problem(body) is None
    assert People.of(Order([])).draft_problem(body) is None
