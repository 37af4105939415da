"""Why a person's signature counts for nothing, in words that name the entries."""

from __future__ import annotations

from flightlog.logbook.entry import Signer
from flightlog.logbook.rulings import EVERYTHING, Place, Rulings, bits


def why_not(rulings: Rulings, signer: Signer, place: Place) -> str:
    """Say why a signature at a place does not count, all entries looked at; "" if it does."""
    person = rulings.person(signer.key, place, EVERYTHING)
    if person is None:
        return _why_no_person(rulings, signer.key, place)
    if signer.role and not rulings.holds(person, signer.role, place, EVERYTHING):
        return _why_no_role(rulings, person, signer.role, place)
    return ""


def _why_no_person(rulings: Rulings, key: str, place: Place) -> str:
    holders = sorted(rulings.holders.get(key, ()))
    claiming = 0
    for holder in holders:
        claiming |= rulings.claimed_by(key, holder)
    if not claiming:
        return "the key belongs to nobody in this record"
    if not claiming & place.past:
        return f"the key was made known by {_seen(rulings, claiming, place)}"
    disputing = rulings.disputing(key, place, EVERYTHING)
    if disputing:
        return f"the key was enrolled for different persons, by {_named(rulings, disputing)}"
    revoking = rulings.revoking(key, place, EVERYTHING)
    if revoking:
        return f"the key was revoked by {_seen(rulings, revoking, place)}"
    handed_on = rulings.handed_on(key, place)
    if handed_on:
        return f"the key was changed by {_seen(rulings, handed_on, place)}"
    return (
        f"the key was made known by {_named(rulings, claiming & place.past)}, which does not count"
    )


def _why_no_role(rulings: Rulings, person: str, role: str, place: Place) -> str:
    given = rulings.granting(person, role, place)
    if not given:
        return f"the role {role!r} was not given to the person in what this entry had seen"
    taken = rulings.taking(person, role, place, EVERYTHING)
    if taken:
        return f"the role {role!r} was withdrawn by {_seen(rulings, taken, place)}"
    return f"the role {role!r} was given by {_named(rulings, given)}, which does not count"


def _seen(rulings: Rulings, acts: int, place: Place) -> str:
    """Name one of some entries about people, and how it lies to a place."""
    before = acts & place.past
    if before:
        return f"{_named(rulings, before)}, which this entry had seen"
    apart = acts & ~place.spared
    if apart:
        return f"{_named(rulings, apart)}, made elsewhere, without this entry having seen it"
    return f"{_named(rulings, acts)}, which came later"


def _named(rulings: Rulings, acts: int) -> str:
    named = sorted((rulings.rank(i), rulings.acts[i].name) for i in bits(acts))
    more = f" and {len(named) - 2} more" if len(named) > 2 else ""
    return " and ".join(name for _, name in named[:2]) + more
