"""``flightlog event`` and ``service``: what happened, what is out of service, and back again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

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

if TYPE_CHECKING:
    from flightlog.logbook.entry import Entry
    from flightlog.operations.desk import Desk

service_app = typer.Typer(
    name="service", help="What is out of service, and back again.", no_args_is_help=True
)


def event(
    word: Annotated[
        str | None,
        typer.Argument(metavar="WORD", help="What happened, like battery-change or transport."),
    ] = None,
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

    Anybody may, and nobody has to sign. Without a word it lists those that are known.

    Example: flightlog event battery-change --aircraft pannier --pack pack-b
    """
    from flightlog.logbook.entry import Signer
    from flightlog.operations.service import event_draft

    if word is None:
        out().lines(_known_events())
        return
    with desk_of(team) as desk:
        for thing, id_ in (("aircraft", aircraft), ("pack", pack), ("component", component)):
            if id_:
                desk.version(thing, id_)
        draft = event_draft(
            desk,
            word,
            aircraft=aircraft or "",
            pack=pack or "",
            component=component or "",
            text=text or "",
            signers=[Signer(key, "reported") for key in keys_of(desk, by)],
        )
        entry = enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        _say_stopped(desk, entry)


def _known_events() -> list[str]:
    from flightlog.operations.events import EVENTS, FLIGHT

    found = []
    for kind in EVENTS.values():
        if kind.word != FLIGHT:
            grounds = "; out of service until two persons return it" if kind.grounds else ""
            asks = f"; asks for the list {kind.list}" if kind.list else ""
            found.append(f"{kind.word:<22} {kind.label}{grounds}{asks}")
    return found


def _say_stopped(desk: Desk, entry: Entry) -> None:
    from flightlog.operations.service import stopped_by, to_clear

    about = sorted(stopped_by(desk.ledger, entry))
    if about:
        out().line(f"Out of service: {', '.join(one.replace(':', ' ', 1) for one in about)}")
        out().line(to_clear(desk, entry))


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
        entry = enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        _say_stopped(desk, entry)


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
        inspector, other = _inspector_first(desk, by, INSPECTOR)
        draft = return_draft(desk, desk.book.find(entry), text, inspector, other, "")
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


def _inspector_first(desk: Desk, by: list[str], role: str) -> tuple[str, str]:
    """Give the keys of the two persons who return something, that of the inspector first."""
    signing = keys_of(desk, by)
    people = desk.book.people
    holding = [
        key
        for key in signing
        if (person := people.person_of(key)) and people.holds(person.id, role)
    ]
    if len(set(signing)) != 2 or not holding:
        raise UsageError(
            f"two persons return it, one of them an {role}",
            where="--by",
            fix="Give --by twice; 'flightlog team crew list' shows who holds which role.",
        )
    return holding[0], next(key for key in signing if key != holding[0])


@service_app.command()
def show(team: TeamOption = None) -> None:
    """List what is out of service, by which entry, and what returns it.

    Defects are listed by 'flightlog defect list'.

    Example: flightlog service show
    """
    from flightlog.operations.service import all_stops, ignored_returns, to_clear, why_of

    with desk_of(team, read_only=True) as desk:
        found = []
        for about, entries in all_stops(desk):
            for entry in entries:
                found.append(f"{about.replace(':', ' ', 1)}: {why_of(entry)}")
                found += [f"  {why}" for why in ignored_returns(desk, entry)]
                found.append(f"  {to_clear(desk, entry)}")
        out().lines(found or ["Nothing is out of service."])
