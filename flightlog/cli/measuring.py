"""What commands share that enter something measured: who signs in which role, what is corrected."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.errors import RefusedError, UsageError

if TYPE_CHECKING:
    from flightlog.logbook.entry import Entry, Signer
    from flightlog.operations.desk import Desk

CorrectsOption = Annotated[
    str | None,
    typer.Option(
        "--corrects", metavar="ENTRY", help="An earlier one that this puts right, like 12.H3MED."
    ),
]


def signer_of(
    desk: Desk, who: str, meaning: str, roles: Sequence[str], *, but: str | None = None
) -> Signer:
    """Give a person who signs, in the first of some roles that the person holds.

    Parameters
    ----------
    desk : Desk
        The record.
    who : str
        Name or fingerprint.
    meaning : str
        With which the person signs.
    roles : sequence of str
        Roles that will do.
    but : str, optional
        Another person, who must not be the same.

    Raises
    ------
    RefusedError
        If the person holds none of the roles.
    UsageError
        If nobody is called so, or it is the same person as ``but``.
    """
    from flightlog.logbook.entry import Signer

    person = desk.crew.find(who)
    if but is not None and desk.crew.find(but).id == person.id:
        raise UsageError("did it, and so can't look at it afresh", where=who, fix="Name another.")
    role = next((r for r in roles if desk.book.people.holds(person.id, r)), "")
    if not role:
        raise RefusedError(
            f"holds none of the roles that sign this: {', '.join(roles)}",
            where=who,
            fix="'flightlog team crew list' shows who holds which role.",
        )
    return Signer(desk.crew.present_key(who), meaning, role)


def corrected(desk: Desk, text: str | None, kind: str) -> Entry | None:
    """Find the entry that is put right; it has to be of the same kind.

    Raises
    ------
    RefusedError
        If there is none, or it is of another kind.
    """
    if text is None:
        return None
    entry = desk.book.find(text)
    if entry.body.kind != kind:
        raise RefusedError(
            f"is of the kind {entry.body.kind!r}, not {kind!r}",
            where="--corrects",
            fix=f"'flightlog logbook show' lists the entries; name one of the kind {kind!r}.",
        )
    return entry
