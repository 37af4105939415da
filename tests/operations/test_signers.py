"""Who is offered to sign: who holds one of the roles and has a key, but for those left out."""

from __future__ import annotations

from flightlog.operations.signers import hands_for
from tests.logbook.made import public_of


def test_only_who_holds_a_role_is_offered_in_the_first_role_held(farm):
    found = {hand.key: hand.role for hand in hands_for(farm.desk, ("safety", "inspector"))}

    assert "safety" == found[public_of("mechanic")]
    assert "inspector" == found[public_of("pilot")], "holds only the second of the two"


def test_nobody_is_offered_for_a_role_that_nobody_holds(farm):
    assert () == hands_for(farm.desk, ("cook",))


def test_who_is_left_out_is_not_offered_whatever_the_role(farm):
    found = hands_for(farm.desk, (), but=(public_of("pilot"),))

    assert {public_of("mechanic"), public_of("observer")} == {hand.key for hand in found}


def test_a_revoked_person_is_not_offered(farm):
    content = {"key": public_of("observer"), "why": "lost", "reason": "stick lost"}
    before = {hand.key for hand in hands_for(farm.desk)}
    assert public_of("observer") in before

    farm.add("revocation", content, ("pilot", "revoked"))

    assert public_of("observer") not in {hand.key for hand in hands_for(farm.desk)}
