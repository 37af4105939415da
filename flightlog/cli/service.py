"""``flightlog event`` and ``service``: what happened, what is out of service, and back again."""

from __future__ import annotations

from typing import Annotated

import typer

from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    AboutAircraft,
    AboutComponent,
    AboutPack,
    AnyOption,
    ByOption,
    enter,
    hands_of,
    keys_of,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption
from flightlog.errors import UsageError

service_app = typer.Typer(
    name="service", help="What is out of service, and back again.", no_args_is_help=True
)


def event(
    word: Annotated[
        str, typer.Argument(metavar="WORD", help="What happened, like battery-change or transport.")
    ],
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    component: AboutComponent = None,
    text: Annotated[
        str | None, typer.Option("--text", metavar="TEXT", help="More about it.")
    ] = None,
    by: AnyOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter something that reopens checks: a battery change, transport, a hard landing.

    An unknown word is answered with all known ones.

    Example: flightlog event battery-change --aircraft pannier --pack pack-b
    """
    from flightlog.logbook.entry import Signer
    from flightlog.operations.service import event_draft

    with desk_of(team) as desk:
        draft = event_draft(
            desk,
            word,
            aircraft=aircraft or "",
            pack=pack or "",
            component=component or "",
            text=text or "",
            signers=[Signer(key, "reported") for key in keys_of(desk, by)],
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@service_app.command()
def stop(
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why.")],
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    component: AboutComponent = None,
    by: AnyOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Put something out of service; nobody has to sign for that.

    Example: flightlog service stop --pack pack-b --reason "swollen"
    """
    from flightlog.logbook.entry import Signer
    from flightlog.operations.service import stop_draft

    given = {"aircraft": aircraft, "pack": pack, "component": component}
    about = [(thing, id_) for thing, id_ in given.items() if id_]
    if len(about) != 1:
        raise UsageError(
            "of what?", where="service stop", fix="Give one of --aircraft, --pack, --component."
        )
    with desk_of(team) as desk:
        desk.version(*about[0])
        signers = [Signer(key, "stated") for key in keys_of(desk, by)]
        draft = stop_draft(*about[0], reason, signers)
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@service_app.command("return")
def return_(
    entry: Annotated[str, typer.Argument(metavar="ENTRY", help="What stopped it.")],
    text: Annotated[str, typer.Option("--text", metavar="TEXT", help="Why it may be used again.")],
    by: ByOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Return something to service; an inspector and another person sign.

    After an event that asks for a check list that list has to be done first.

    Example: flightlog service return 57.H3MED --text "list done, nothing found" --by pilot
    --by mechanic
    """
    from flightlog.operations.service import INSPECTOR, return_draft

    with desk_of(team) as desk:
        signing = keys_of(desk, by)
        people = desk.book.people
        holding = [
            key
            for key in signing
            if (person := people.person_of(key)) and people.holds(person.id, INSPECTOR)
        ]
        if len(signing) != 2 or not holding:
            raise UsageError(
                "an inspector and another person return it", where="--by", fix="Give --by twice."
            )
        inspector = holding[0]
        other = next((key for key in signing if key != inspector), inspector)
        draft = return_draft(desk, desk.book.find(entry), text, inspector, other, "")
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@service_app.command()
def show(team: TeamOption = None) -> None:
    """List what is out of service, and by which entry.

    Example: flightlog service show
    """
    from flightlog.operations.service import stops, why_of
    from flightlog.team.ledger import THINGS

    with desk_of(team, read_only=True) as desk:
        found = [
            f"{thing} {id_}: {why_of(entry)}"
            for thing in THINGS
            for id_ in desk.versions.ids(thing)
            for entry in stops(desk, thing, id_)
        ]
        out().lines(found or ["Nothing is out of service."])
