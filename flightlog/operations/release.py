"""The release for one flight: how it is made and how it is taken back.

Its conditions stand in ``all_conditions``, what it is worth afterwards in ``release_worth``, the
calls spoken under it in ``calls``.
"""

from __future__ import annotations

from collections.abc import Sequence

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import CITES, ENDS, PERMITS, Effect, Entry, Relation, Signer, write_utc
from flightlog.logbook.flying_kinds import HOLD, RELEASE, RELEASE_WITHDRAWN
from flightlog.operations.all_conditions import ORDER, conditions, facts_of, plan_of, rests_on
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import named
from flightlog.operations.release_conditions import LASTS
from flightlog.operations.release_worth import (
    HELD,
    PILOT,
    RELEASED,
    RELEASERS,
    ReleaseState,
    release_state,
    worth_of,
)
from flightlog.team.ledger import AIRCRAFT, PACK, subject

MOST_LANDINGS = 100
_LONGEST = 4000


def draft_release(desk: Desk, plan: Plan, accepted_by: str, released_by: str) -> Draft:
    """Draft a release for one flight.

    Parameters
    ----------
    desk : Desk
        The team's.
    plan : Plan
        What is chosen for the flight.
    accepted_by : str
        Public key of the pilot.
    released_by : str
        Public key of another person, of the role safety or inspector.

    Raises
    ------
    UsageError
        If a file that the plan names is not in the record.
    RefusedError
        With all the reasons why the aircraft is held.
    """
    refuse_unknown(desk, plan)
    found = conditions(desk, plan)
    held = [c for c in found if not c.holds]
    held += [
        Condition("persons", False, why, "Let others sign.")
        for why in _who_may_not(desk, accepted_by, released_by)
    ]
    if held:
        raise held_error(plan.aircraft, held)
    content = {
        **facts_of(desk, plan),
        "landings": plan.landings,
        "until": write_utc(desk.book.now() + LASTS),
        "conditions": _told(found),
    }
    if plan.purpose:
        content["purpose"] = plan.purpose
    return Draft(
        RELEASE,
        content,
        [
            Signer(accepted_by, "accepted", PILOT),
            Signer(released_by, "released", _role_of_releaser(desk, released_by)),
        ],
        relations=[Relation(CITES, entry.hash) for entry in rests_on(found)],
        effect=Effect(PERMITS, subject(AIRCRAFT, plan.aircraft)),
    )


def refuse_unknown(desk: Desk, plan: Plan) -> None:
    """Refuse a plan with a file that the record has not, or a number that can't be meant.

    Raises
    ------
    UsageError
        Naming it, and what is near.
    """
    desk.version(AIRCRAFT, plan.aircraft)
    desk.version(PACK, plan.pack)
    if plan.rules:
        desk.version("rules", plan.rules)
    if plan.site:
        desk.version("site", plan.site)
    if not 1 <= plan.landings <= MOST_LANDINGS:
        raise UsageError(
            f"{plan.landings} landings can't be declared",
            where="--landings",
            fix=f"From 1 to {MOST_LANDINGS}.",
        )


def held_error(aircraft: str, reasons: Sequence[Condition]) -> RefusedError:
    """Give the error that says all reasons why an aircraft is held, and what would clear them."""
    return RefusedError(
        f"held: {'; '.join(f'{c.name}: {c.says}' for c in reasons)}",
        where=aircraft,
        fix=" ".join(dict.fromkeys(c.clear for c in reasons if c.clear)),
    )


def _told(found: Sequence[Condition]) -> list[dict[str, str]]:
    """Give the conditions as a release says them: each name once."""
    says: dict[str, list[str]] = {}
    for condition in found:
        says.setdefault(condition.name, []).append(condition.says)
    return [
        {"condition": name, "says": "; ".join(texts)[:_LONGEST] or "it holds"}
        for name, texts in says.items()
    ]


def _who_may_not(desk: Desk, accepted_by: str, released_by: str) -> list[str]:
    people, why = desk.book.people, []
    pilot, other = people.person_of(accepted_by), people.person_of(released_by)
    if pilot is None or not people.holds(pilot.id, PILOT):
        why.append(f"{desk.crew.label_of_key(accepted_by)} does not hold the role {PILOT!r}")
    if other is None or not any(people.holds(other.id, role) for role in RELEASERS):
        roles = " or ".join(repr(role) for role in RELEASERS)
        why.append(f"{desk.crew.label_of_key(released_by)} does not hold the role {roles}")
    if pilot is not None and other is not None and pilot.id == other.id:
        why.append("one person can't both accept and release")
    return why


def _role_of_releaser(desk: Desk, key: str) -> str:
    people = desk.book.people
    person = people.person_of(key)
    return next(
        (role for role in RELEASERS if person is not None and people.holds(person.id, role)),
        RELEASERS[0],
    )


def draft_withdrawal(desk: Desk, release: Entry, reason: str, by: str) -> Draft:
    """Draft the withdrawal of a release; any person of the team may take one back.

    Raises
    ------
    UsageError
        If the entry is no release.
    RefusedError
        If nothing of it is left to take back.
    """
    if release.body.kind != RELEASE:
        raise UsageError(
            f"is a {release.body.kind}, no release",
            where=named(release),
            fix="'flightlog release state --aircraft ID' names it.",
        )
    permit = desk.ledger.standing.permit(release)
    if not permit.holds:
        raise RefusedError(
            f"it is worth nothing any more: {'; '.join(permit.why)}", where=named(release)
        )
    relations = [Relation(ENDS, release.hash)]
    return Draft(
        RELEASE_WITHDRAWN, {"reason": reason}, [Signer(by, "withdrawn")], relations=relations
    )


def draft_hold(aircraft: str, reasons: Sequence[Condition]) -> Draft:
    """Draft the note, by this laptop alone, that an aircraft was held and why."""
    return Draft(HOLD, {"aircraft": aircraft, "reasons": _told(reasons)})


__all__ = [
    "HELD",
    "ORDER",
    "RELEASED",
    "ReleaseState",
    "conditions",
    "draft_hold",
    "draft_release",
    "draft_withdrawal",
    "held_error",
    "plan_of",
    "refuse_unknown",
    "release_state",
    "worth_of",
]
