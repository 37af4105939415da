"""``flightlog team``: the team folder and who belongs to it."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from flightlog.cli.console import out
from flightlog.cli.copying import copy
from flightlog.cli.crew import crew_app
from flightlog.cli.hangar import (
    aircraft,
    charge,
    component,
    done,
    due_,
    fit,
    inspect_,
    pack,
    remove,
)
from flightlog.cli.signing import (
    Hands,
    KeysOption,
    PassphraseOption,
    TeamOption,
    a_path,
    clock,
    crew_of,
    opened,
    say_added,
)
from flightlog.cli.team_files import (
    baseline,
    enter_files,
    files,
    parameters,
    restore_files,
)
from flightlog.errors import UsageError

team_app = typer.Typer(
    name="team", help="The team folder, and who belongs to it.", no_args_is_help=True
)
team_app.add_typer(crew_app)
team_app.command()(files)
team_app.command("enter")(enter_files)
team_app.command("restore")(restore_files)
team_app.command()(baseline)
team_app.command()(parameters)
team_app.command()(aircraft)
team_app.command()(pack)
team_app.command()(component)
team_app.command("due")(due_)
team_app.command()(fit)
team_app.command()(remove)
team_app.command()(done)
team_app.command("inspect")(inspect_)
team_app.command()(charge)
team_app.command()(copy)


@team_app.command()
def new(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="DIR", parser=a_path, help="The team folder: a new one, or an empty one."
        ),
    ],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="What the team is called.")],
    person: Annotated[
        list[str],
        typer.Option(
            "--person", metavar="NAME", help="Who founds the record; give it twice or more."
        ),
    ],
    roles: Annotated[
        list[str] | None,
        typer.Option(
            "--roles",
            metavar="ROLE,ROLE",
            help="Roles of each founder, in the same order as the persons.",
        ),
    ] = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Make a team folder; its first two people enrol each other.

    Both have to be there: each gets a key under a passphrase of their own, both sign the first
    entry, and from then on each can grant roles together with another one. Names stand in a
    side file that can be erased; the record holds keys and roles.

    Example: flightlog team new ~/pannier-team --name "Hill farm" --person pilot --roles pilot
    --person mechanic --roles mechanic,inspector
    """
    from flightlog.logbook.book import Founder, Logbook, founding, founding_lines
    from flightlog.logbook.names import Names
    from flightlog.team.folder import TeamFolder

    granted = _roles_of(person, roles or [])
    hands = Hands(keys, passphrase_fd, folder)
    TeamFolder.refuse_taken(folder, name)
    founders = [
        Founder(hands.make(who).key, tuple(words))
        for who, words in zip(person, granted, strict=True)
    ]
    names = Names()
    for founder, who in zip(founders, person, strict=True):
        names = names.with_name(founder.key, who)
    draft = founding(founders)
    console = out()
    console.line("To be signed by each of you:")
    console.lines(f"  {line}" for line in founding_lines(draft, names))
    with ExitStack() as held:
        unlocked = [
            held.enter_context(hands.unlock(founder.key, who))
            for founder, who in zip(founders, person, strict=True)
        ]
        made = TeamFolder.create(folder, name)
        with Logbook.found(made.logbook, draft, unlocked, clock=lambda: clock()) as book:
            names.write(made.names)
            say_added(next(iter(book.order)))
            console.line()
            console.lines(_paper(book.team, crew_of(made, book).fingerprints()))


def _roles_of(people: Sequence[str], roles: Sequence[str]) -> list[list[str]]:
    from flightlog.cli.crew import words_of

    if len(people) < 2:
        raise UsageError(
            "a record is founded by two people or more: nobody enrols alone",
            where="--person",
            fix="Give --person twice.",
        )
    if len({who.casefold() for who in people}) != len(people):
        raise UsageError(
            "two founders have the same name", where="--person", fix="Tell them apart."
        )
    if roles and len(roles) != len(people):
        raise UsageError(
            f"--roles is given {len(roles)} times for {len(people)} persons",
            fix="Give it once for each --person, in the same order, or not at all.",
        )
    return [words_of(text) for text in roles] or [[] for _ in people]


def _paper(team: str, fingerprints: Sequence[str]) -> list[str]:
    from flightlog.logbook.codes import code

    return [
        "Write this on paper, and let each person check their own line. It is what shows later",
        "that a key in the record is that person's:",
        f"  Team         {code(team)}",
        *(f"  {line}" for line in fingerprints),
        "",
        "A private key and its passphrase are that person's alone. Lost ones can't be restored;",
        "a new key is made in front of a witness: 'flightlog team crew change-key'.",
    ]


@team_app.command()
def show(team: TeamOption = None) -> None:
    """Say what is in the team folder.

    Example: flightlog team show
    """
    from flightlog.logbook.codes import code, head_code
    from flightlog.logbook.entry import device_name
    from flightlog.team.copying import copy_line
    from flightlog.team.ledger import Ledger

    with opened(team, read_only=True) as (folder, book):
        console = out()
        console.line(f"{folder.name}, {folder.path}")
        console.line(f"Team {code(book.team)}")
        devices = ", ".join(device_name(d) for d in book.order.devices())
        count = len(book.order)
        console.line(f"{count} {'entry' if count == 1 else 'entries'}, by devices {devices}")
        console.lines(crew_of(folder, book).fingerprints())
        for contradiction in book.standing.contradictions:
            console.line(f"Contradiction: {contradiction.text}")
        for tip in book.order.tips():
            console.line(f"Head {head_code(tip.body.number, tip.hash)}")
        console.line(copy_line(Ledger(book)))
