"""Which releases there are and which are open; that no other is, and that the record is whole."""

from __future__ import annotations

from datetime import datetime, timedelta

from flightlog.logbook.codes import head_code
from flightlog.logbook.entry import PERMITS, Effect, Entry
from flightlog.logbook.flying_kinds import RELEASE
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import named
from flightlog.team.ledger import AIRCRAFT, Ledger, subject

LASTS = timedelta(hours=4)
"""How long an unspent release lasts."""

RECORD = "record"
NO_OPEN_RELEASE = "no-open-release"


def when_it_ends(ledger: Ledger, release: Entry) -> datetime:
    """Give when an unspent release ends: when it says, and at most `LASTS` after signing."""
    latest = ledger.when(release) + LASTS
    said = release.body.content.get("until")
    return min(latest, datetime.fromisoformat(said)) if said else latest


def releases_of(ledger: Ledger, aircraft: str) -> tuple[Entry, ...]:
    """Give all releases of an aircraft, the oldest first, those that count for nothing too."""
    return tuple(
        entry
        for entry in ledger.order
        if entry.body.kind == RELEASE and entry.body.content.get("aircraft") == aircraft
    )


def is_open(ledger: Ledger, release: Entry) -> bool:
    """Whether a release was neither spent nor ended, and its time is not over."""
    permits = Effect(PERMITS, subject(AIRCRAFT, release.body.content["aircraft"]))
    return (
        release.body.effect == permits
        and ledger.standing.permit(release).holds
        and ledger.now < when_it_ends(ledger, release)
    )


def open_releases(ledger: Ledger, aircraft: str) -> tuple[Entry, ...]:
    """Give the releases of an aircraft that are open now."""
    return tuple(r for r in releases_of(ledger, aircraft) if is_open(ledger, r))


def open_release_conditions(desk: Desk, plan: Plan, beside: Entry | None = None) -> list[Condition]:
    """Say whether another release of the aircraft is still open.

    It may have been flown under already, so that nothing can be released until that is told.
    """
    itself = beside.hash if beside is not None else ""
    others = [r for r in open_releases(desk.ledger, plan.aircraft) if r.hash != itself]
    if not others:
        return [Condition(NO_OPEN_RELEASE, True, "no other release of it is open")]
    return [
        Condition(
            NO_OPEN_RELEASE,
            False,
            f"release {named(other)} is open: not known to be flown, nor withdrawn",
            "If it was flown, enter the flight: 'flightlog import PATH', or without a log "
            "'flightlog sortie enter'. If not, take it back: "
            f"'flightlog release withdraw {named(other)} --reason TEXT --by WHO'.",
            (other,),
        )
        for other in others
    ]


def record_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the record is one chain of what happened, and not known to be an older copy."""
    held = [
        Condition(
            RECORD,
            False,
            f"the record of one device is forked: {' and '.join(map(named, fork.entries))}",
            "Find out how that came about; two persons explain it: 'flightlog logbook remark TEXT "
            f"{' '.join(f'--explains {named(e)}' for e in fork.entries)} --by WHO --by WHO'.",
        )
        for fork in desk.ledger.standing.unexplained_forks
    ]
    missing = desk.book.missing_heads()
    if missing:
        heads = ", ".join(head_code(head.number, head.hash) for head in missing)
        says = f"this folder is an older copy, or was cut: this laptop knows of {heads}"
        clear = "Take over the newer one: 'flightlog logbook merge OTHER'."
        held.append(Condition(RECORD, False, says, clear))
    tips = ", ".join(named(tip) for tip in desk.ledger.order.tips())
    return held or [Condition(RECORD, True, f"its heads are {tips}")]
