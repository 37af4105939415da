"""The crew on the screen: who, roles, keys, and what belongs on paper."""

from __future__ import annotations

from flightlog.dashboard import parts
from flightlog.operations.desk import Desk
from flightlog.reports.markup import escaped
from flightlog.reports.record_words import CREW_HEAD, crew_rows

_FEWEST = 3
_COMMANDS = (
    "flightlog team crew enrol NAME --witness WHO",
    "flightlog team crew grant WHO ROLE,ROLE --by WHO --by WHO",
    "flightlog team crew withdraw WHO ROLE --by WHO --reason TEXT",
    "flightlog team crew revoke WHO --why lost --by WHO --reason TEXT",
    "flightlog team crew change-key WHO --witness WHO",
)


def show(desk: Desk) -> None:
    """Draw the crew."""
    parts.heading("Crew")
    people = desk.book.people
    parts.table(CREW_HEAD, crew_rows(desk))
    if len(people.authorisers) < _FEWEST:
        parts.note(
            "Fewer than three persons can let others in. Enrol a third early: with fewer than two "
            "keys left nothing helps but a new team folder."
        )
    for recovery in people.recoveries:
        if recovery.note:
            parts.warn(f"A recovery of roles: {recovery.note}")
    parts.heading("Fingerprints")
    parts.note("Compare your own line with the paper that was written when you were enrolled.")
    parts.lines(desk.crew.fingerprints())
    parts.heading("To change it")
    parts.html(*(f"<p><code>{escaped(command)}</code></p>" for command in _COMMANDS))
