"""``flightlog team crew``: persons, keys and roles, each change an entry that is signed."""

from __future__ import annotations

import re
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import err, out
from flightlog.cli.signing import (
    Hands,
    KeysOption,
    PassphraseOption,
    TeamOption,
    crew_of,
    opened,
    sign_and_add,
)
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.team.crew import Crew

crew_app = typer.Typer(
    name="crew", help="Persons, their keys and their roles.", no_args_is_help=True
)

WhoArgument = Annotated[
    str,
    typer.Argument(
        metavar="WHO", help="A name, or at least five signs of a fingerprint or public key."
    ),
]
ByOption = Annotated[list[str], typer.Option("--by", metavar="WHO", help="Who signs; repeatable.")]
OneByOption = Annotated[str, typer.Option("--by", metavar="WHO", help="Who signs.")]
ReasonOption = Annotated[
    str, typer.Option("--reason", metavar="TEXT", help="Why; it stays in the record.")
]
RolesArgument = Annotated[
    str, typer.Argument(metavar="ROLE,ROLE", help="Roles, with commas between them.")
]


class Why(StrEnum):
    """Why a key is revoked."""

    lost = "lost"
    disclosed = "disclosed"
    left = "left"


_ROLE = re.compile(r"[a-z][a-z0-9.-]{0,39}")


def words_of(text: str) -> list[str]:
    """Split roles at commas.

    Raises
    ------
    UsageError
        If there is none, or one is no word.
    """
    words = [word.strip() for word in text.split(",") if word.strip()]
    if not words:
        raise UsageError("no role is named", where=text[:80], fix="Like pilot or pilot,inspector.")
    for word in words:
        if not _ROLE.fullmatch(word):
            raise UsageError(
                f"{word[:60]!r} is no role",
                fix="A role is a word of small letters, digits, dots and hyphens: chief-pilot.",
            )
    return words


def two_keys(crew: Crew, by: list[str], what: str) -> list[str]:
    """Give the keys of two or more different persons who sign."""
    people = {crew.find(text).id for text in by}
    if len(people) < 2:
        raise UsageError(
            f"{what} by two different persons; here is {len(people)}",
            where="--by",
            fix="Give --by twice.",
        )
    if len(people) < len(by):
        raise UsageError("somebody is named twice", where="--by", fix="Name each once.")
    return [crew.present_key(text) for text in by]


def warn_of_the_last(crew: Crew, losing: str, *, key_too: bool) -> None:
    """Warn before an entry after which fewer than two persons could grant roles."""
    left = [p for p in crew.people.authorisers if p.id != losing]
    if len(left) >= 2 or not crew.people.holds(losing, "authorise"):
        return
    able = [p for p in crew.people.persons if p.key is not None and (p.id != losing or not key_too)]
    then = (
        "any two persons can recover ('flightlog team crew recover')"
        if len(able) >= 2
        else "NOBODY CAN RECOVER IT EITHER: only a new team folder helps. Enrol somebody first"
    )
    count = "one person" if left else "nobody"
    err().line(f"flightlog: after this {count} can grant roles, which takes two; {then}.")


@crew_app.command(name="list")
def list_(team: TeamOption = None) -> None:
    """List the persons with fingerprints, roles and contacts.

    Example: flightlog team crew list
    """
    with opened(team, read_only=True) as (folder, book):
        crew = crew_of(folder, book)
        for person in book.people.persons:
            out().line(crew.fingerprint_line(person.id))
            contact = crew.names.contact(person.id)
            if contact:
                out().line(f"  {contact}")


@crew_app.command()
def enrol(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Who is new; for the side file.")],
    witness: Annotated[
        str, typer.Option("--witness", metavar="WHO", help="Who may grant roles, and is there.")
    ],
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enrol a person: a new key, a witness, no role yet.

    Example: flightlog team crew enrol observer --witness pilot
    """
    from flightlog.logbook.people_drafts import enrolment

    with opened(team) as (folder, book):
        crew = crew_of(folder, book)
        vouching = crew.authorised_key(witness)
        if crew.names.holder_of(name) is not None:
            raise UsageError("somebody has this name already", where=name, fix="Tell them apart.")
        hands = Hands(keys, passphrase_fd, folder.path)
        key = hands.make(name).key
        crew = crew.with_name(key, name)
        sign_and_add(book, enrolment(key, vouching), hands, crew)
        crew.names.write(folder.names)
        out().line(f"For the paper: {crew_of(folder, book).fingerprint_line(key)}")


@crew_app.command()
def grant(
    who: WhoArgument,
    roles: RolesArgument,
    by: ByOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Grant roles to a person; two others who may sign for it.

    The role 'authorise' lets a person grant, witness and revoke. All other roles are words of
    your own.

    Example: flightlog team crew grant observer inspector --by pilot --by mechanic
    """
    from flightlog.logbook import people_drafts

    with opened(team) as (folder, book):
        crew = crew_of(folder, book)
        granting = two_keys(crew, by, "roles are granted")
        draft = people_drafts.grant(crew.find(who).id, words_of(roles), granting)
        sign_and_add(book, draft, Hands(keys, passphrase_fd, folder.path), crew)


@crew_app.command()
def withdraw(
    who: WhoArgument,
    roles: RolesArgument,
    by: OneByOption,
    reason: ReasonOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Withdraw roles of a person; one who may grant is enough, or the person.

    Example: flightlog team crew withdraw observer inspector --by pilot --reason "has moved on"
    """
    from flightlog.logbook import people_drafts

    with opened(team) as (folder, book):
        crew = crew_of(folder, book)
        person, words = crew.find(who).id, words_of(roles)
        draft = people_drafts.withdrawal(person, words, reason, crew.present_key(by))
        if "authorise" in words:
            warn_of_the_last(crew, person, key_too=False)
        sign_and_add(book, draft, Hands(keys, passphrase_fd, folder.path), crew)


@crew_app.command(name="change-key")
def change_key(
    who: WhoArgument,
    witness: Annotated[
        str | None,
        typer.Option(
            "--witness",
            metavar="WHO",
            help="The old key is lost: who may grant roles, and is there. Roles are granted anew.",
        ),
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Give a person a new key: signed with the old one, or by a witness where that is lost.

    Example: flightlog team crew change-key mechanic --witness pilot
    """
    from flightlog.logbook.people_drafts import key_change

    with opened(team) as (folder, book):
        crew = crew_of(folder, book)
        person = crew.find(who)
        vouching = crew.authorised_key(witness) if witness is not None else ""
        if witness is None and person.key is None:
            raise UsageError(
                f"{crew.label(person.id)} has no key that counts to sign the change with",
                fix="Give --witness WHO.",
            )
        old = person.key or person.keys[-1]
        hands = Hands(keys, passphrase_fd, folder.path)
        new = hands.make(crew.label(person.id)).key
        draft = key_change(person.id, old, new, witness=vouching)
        named = crew.with_name(new, f"new key of {crew.label(person.id)}")
        sign_and_add(book, draft, hands, named)
        out().line(f"For the paper: {crew_of(folder, book).fingerprint_line(person.id)}")


@crew_app.command()
def revoke(
    who: WhoArgument,
    why: Annotated[Why, typer.Option("--why", help="What happened to the key.")],
    by: OneByOption,
    reason: ReasonOption,
    doubtful_after: Annotated[
        str | None,
        typer.Option(
            "--doubtful-after",
            metavar="ENTRY",
            help="The last entry of which it is sure that the key was in the right hands.",
        ),
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Revoke a person's key; one who may grant is enough, or the person.

    Signatures that did not know of it count for nothing from then on.

    Example: flightlog team crew revoke mechanic --why lost --by pilot --reason "stick lost"
    """
    from flightlog.logbook.codes import entry_code
    from flightlog.logbook.people_drafts import revocation

    with opened(team) as (folder, book):
        crew = crew_of(folder, book)
        after = book.find(doubtful_after).hash if doubtful_after is not None else ""
        key = crew.key_meant(who)
        draft = revocation(key, why.value, reason, crew.present_key(by), doubtful_after=after)
        warn_of_the_last(crew, crew.find(who).id, key_too=True)
        entry = sign_and_add(book, draft, Hands(keys, passphrase_fd, folder.path), crew)
        for doubtful in book.people.to_sign_again(entry):
            named = entry_code(doubtful.body.number, doubtful.hash)
            out().line(
                f"To be signed again by somebody who knows, with a remark that cites it "
                f"(--cites {named}): {doubtful.name}, {doubtful.body.kind}"
            )


@crew_app.command()
def recover(
    who: Annotated[
        list[str], typer.Argument(metavar="WHO...", help="Who is to grant roles from now on.")
    ],
    by: ByOption,
    reason: ReasonOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Let persons grant roles again, when fewer than two are left who can.

    Any two persons sign. It stays marked in the record.

    Example: flightlog team crew recover observer mechanic --by observer --by mechanic
    --reason "the pilot has left"
    """
    from flightlog.logbook.people_drafts import recovery

    with opened(team) as (folder, book):
        crew = crew_of(folder, book)
        recovering = two_keys(crew, by, "a recovery is signed")
        draft = recovery([crew.find(text).id for text in who], reason, recovering)
        sign_and_add(book, draft, Hands(keys, passphrase_fd, folder.path), crew)


@crew_app.command()
def name(
    who: WhoArgument,
    name: Annotated[str, typer.Argument(metavar="NAME", help="What the person is called.")],
    contact: Annotated[
        str | None,
        typer.Option(
            "--contact", metavar="TEXT", help="How to reach the person; kept when left out."
        ),
    ] = None,
    team: TeamOption = None,
) -> None:
    """Set a person's name and contact in the side file; the record does not hold them.

    Example: flightlog team crew name 7XK4M observer --contact "ask at the farm"
    """
    with opened(team, read_only=True) as (folder, book):
        crew = crew_of(folder, book)
        person = crew.find(who).id
        if crew.names.holder_of(name) not in (None, person):
            raise UsageError("somebody has this name already", where=name, fix="Tell them apart.")
        kept = crew.names.contact(person) if contact is None else contact
        crew.names.with_name(person, name, kept).write(folder.names)
        out().line(f"Named: {crew_of(folder, book).label(person)}")


@crew_app.command()
def erase(who: WhoArgument, team: TeamOption = None) -> None:
    """Erase a person's name and contact from the side file.

    Merging with a folder that still holds them does not bring them back. The record keeps key
    and roles.

    Example: flightlog team crew erase observer
    """
    with opened(team, read_only=True) as (folder, book):
        crew = crew_of(folder, book)
        person = crew.find(who).id
        crew.names.erased(person).write(folder.names)
        out().lines(
            [
                f"Erased here: name and contact of {crew_of(folder, book).label(person)}.",
                "Other laptops, sticks and backups keep them until they are merged with this "
                "folder; exports and papers keep what was printed.",
            ]
        )


@crew_app.command()
def passphrase(
    who: WhoArgument,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Change the passphrase of a key.

    Example: flightlog team crew passphrase pilot
    """
    with opened(team, read_only=True) as (folder, book):
        crew = crew_of(folder, book)
        Hands(keys, passphrase_fd, folder.path).change_passphrase(
            crew.present_key(who), crew.label(crew.find(who).id)
        )
        out().line("Changed.")
