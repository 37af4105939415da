"""How those who recover depend on each other: who had vouched for whose key.

Whoever may witness can enrol a key of their own as somebody else's. A recovery that is signed with
such a key and the witness's own is one person's doing, and so it is said who had witnessed the
keys that sign it.

All entries that made a key known are asked, as far as they stand and the recovery had seen them:
nothing is forgotten when one of them falls, and none is the first. So it depends on no clock.
"""

from __future__ import annotations

from collections import defaultdict

from flightlog.logbook.kinds import BY_OLD_KEY, KEY_CHANGE
from flightlog.logbook.rulings import Place, Rulings, bits
from flightlog.logbook.words import person_name


def vouching(rulings: Rulings, recovery: int) -> str:
    """Say how those who recover depend on each other, "" where two of them don't.

    Parameters
    ----------
    rulings : Rulings
        Where the recovery stands.
    recovery : int
        Its number among the entries about people.
    """
    place = rulings.places[recovery]
    vouchers: defaultdict[str, set[str]] = defaultdict(set)
    for signer in rulings.acts[recovery].body.signers:
        person = rulings.signer(signer, place, place.past)
        if person is not None:
            vouchers[person] |= _vouchers(rulings, signer.key, person, place)
    note = ""
    persons = sorted(vouchers)
    for i, one in enumerate(persons):
        for other in persons[i + 1 :]:
            tie = _tie(one, other, vouchers)
            if not tie:
                return ""
            note = note or tie
    return note


def _vouchers(rulings: Rulings, key: str, person: str, place: Place) -> set[str]:
    """Give those who witnessed a key, or the ones that were changed into it."""
    found: set[str | None] = set()
    waiting, known = [key], {key}
    while waiting:
        for act in bits(rulings.claimed_by(waiting.pop(), person) & place.past):
            body, there = rulings.acts[act].body, rulings.places[act]
            if body.kind == KEY_CHANGE and body.content["by"] == BY_OLD_KEY:
                old = body.content["old"]
                waiting += [old] if old not in known else []
                known.add(old)
                continue
            found |= {
                rulings.signer(signer, there, there.past)
                for signer in body.signers
                if signer.meaning == "witnessed"
            }
    return {witness for witness in found if witness is not None}


def _tie(one: str, other: str, vouchers: dict[str, set[str]]) -> str:
    """Say how one of two persons depends on the other, "" where neither does."""
    for witness, person in ((one, other), (other, one)):
        if witness in vouchers[person]:
            return f"{person_name(witness)} had vouched for the key of {person_name(person)}"
    for witness in sorted(vouchers[one] & vouchers[other]):
        return (
            f"{person_name(witness)} had vouched for the keys of both, "
            f"{person_name(one)} and {person_name(other)}"
        )
    return ""
