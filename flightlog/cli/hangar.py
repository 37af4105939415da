"""``flightlog team aircraft``, ``pack``, ``component`` and what is done to them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    AboutAircraft,
    AboutComponent,
    AboutPack,
    AircraftOption,
    OneOption,
    enter,
    hands_of,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption
from flightlog.errors import RefusedError, UsageError

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk

IdArgument = Annotated[
    str | None, typer.Argument(metavar="ID", help="Which one; all when left out.")
]
InspectedOption = Annotated[
    str | None,
    typer.Option("--inspected-by", metavar="WHO", help="Who looked afresh; another person."),
]


def aircraft(id_: IdArgument = None, team: TeamOption = None) -> None:
    """Show aircraft: hours, landings, what is fitted, what is due.

    Example: flightlog team aircraft pannier
    """
    _show("aircraft", id_, team)


def pack(id_: IdArgument = None, team: TeamOption = None) -> None:
    """Show packs: cycles, charges, life left, what is due.

    Example: flightlog team pack pack-a
    """
    _show("pack", id_, team)


def component(id_: IdArgument = None, team: TeamOption = None) -> None:
    """Show components: where they are fitted, hours, life left, what is due.

    Example: flightlog team component propeller-1
    """
    _show("component", id_, team)


def _show(thing: str, id_: str | None, team: Any) -> None:
    with desk_of(team, read_only=True) as desk:
        ids = [id_] if id_ is not None else list(desk.versions.ids(thing))
        if not ids:
            out().line(f"The record holds no {thing} file. Put one into the team folder, then")
            out().line("'flightlog team enter FILE --by WHO --by WHO'.")
        for one in ids:
            out().lines(_lines(desk, thing, one))


def _lines(desk: Desk, thing: str, id_: str) -> list[str]:
    from flightlog.operations.positions import named
    from flightlog.operations.service import stops, why_of
    from flightlog.operations.upkeep import due
    from flightlog.operations.usage import fitted, usage_of, where_fitted

    version = desk.version(thing, id_)
    used = usage_of(desk, thing, id_)
    days = "" if used.days is None else f", {used.days:.0f} days in use"
    lines = [
        f"{thing} {id_}: {used.hours:.2f} h, {used.landings} landings, {used.cycles} "
        f"{'cycles' if thing == 'pack' else 'sorties'}{days}",
        f"  file in force: {named(version.entry)}",
    ]
    if thing == "aircraft":
        lines.append(f"  configuration: {desk.aircraft(id_).configuration or 'none stated'}")
        lines += [f"  fitted: {f.component} ({f.position})" for f in fitted(desk, id_)]
    if thing == "component":
        places = where_fitted(desk, id_)
        lines += [f"  in {f.aircraft} ({f.position})" for f in places] or ["  not fitted"]
        if len(places) > 1:
            lines.append("  CONTRADICTION: fitted in more than one aircraft")
    if thing == "pack":
        lines += _charges(desk, id_)
    lines += [f"  OUT OF SERVICE: {why_of(entry)}" for entry in stops(desk, thing, id_)]
    about = {"aircraft": {"aircraft": id_}, "pack": {"pack": id_}}.get(thing, {})
    every = due(desk, **about) if about else due(desk)
    lines += [f"  {d.says}" for d in every if d.thing == thing and d.id == id_]
    return lines


def _charges(desk: Desk, id_: str) -> list[str]:
    from flightlog.logbook.flying_kinds import CHARGE

    lines = []
    for entry in desk.ledger.of(CHARGE, pack=id_)[-5:]:
        said = entry.body.content
        parts = [f"{said[k]['value']} {said[k]['unit']}" for k in said if k != "pack"]
        lines.append(f"  charged {desk.ledger.when(entry):%Y-%m-%d %H:%M} UTC: {', '.join(parts)}")
    return lines


def due_(team: TeamOption = None) -> None:
    """List inspections and lives, the most urgent first.

    Example: flightlog team due
    """
    from flightlog.operations.upkeep import due

    with desk_of(team, read_only=True) as desk:
        every = due(desk)
        out().lines(item.says for item in every)
        if not every:
            out().line("No file sets an inspection or a life.")


def fit(
    component: Annotated[str, typer.Argument(metavar="COMPONENT", help="Id of its file.")],
    aircraft: AircraftOption,
    position: Annotated[
        str, typer.Option("--position", metavar="TEXT", help="Where, like 'left aileron servo'.")
    ],
    by: OneOption,
    inspected_by: InspectedOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter that a component was fitted; its hours go with it.

    Example: flightlog team fit propeller-1 --aircraft pannier --position nose --by mechanic
    """
    from flightlog.operations.usage import where_fitted

    with desk_of(team) as desk:
        desk.version("component", component)
        desk.version("aircraft", aircraft)
        places = where_fitted(desk, component)
        if places:
            raise RefusedError(
                f"it is fitted in {places[0].aircraft} ({places[0].position})",
                where=component,
                fix=f"Enter its removal first: 'flightlog team remove {component}'.",
            )
        _move(
            desk, component, aircraft, position, "fitted", (by, inspected_by), keys, passphrase_fd
        )


def remove(
    component: Annotated[str, typer.Argument(metavar="COMPONENT", help="Id of its file.")],
    by: OneOption,
    inspected_by: InspectedOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter that a component was removed.

    Example: flightlog team remove propeller-1 --by mechanic
    """
    from flightlog.operations.usage import where_fitted

    with desk_of(team) as desk:
        places = where_fitted(desk, component)
        if not places:
            raise RefusedError("it is not fitted", where=component)
        at = places[-1]
        _move(
            desk, component, at.aircraft, at.position, "removed", (by, inspected_by), keys,
            passphrase_fd,
        )  # fmt: skip


def _move(
    desk: Desk,
    component: str,
    aircraft: str,
    position: str,
    done: str,
    who: tuple[str, str | None],
    keys: Any,
    passphrase_fd: int | None,
) -> None:
    from flightlog.logbook.book import Draft
    from flightlog.logbook.flying_kinds import FITTING

    content = {"component": component, "aircraft": aircraft, "position": position, "done": done}
    draft = Draft(FITTING, content, _signers(desk, *who))
    enter(desk, draft, hands_of(desk, keys, passphrase_fd))


def _signers(
    desk: Desk, by: str, inspected_by: str | None, role: str = "mechanic"
) -> Sequence[Any]:
    from flightlog.logbook.entry import Signer

    signers = [Signer(desk.crew.present_key(by), "performed", role)]
    if inspected_by is not None:
        if desk.crew.find(inspected_by).id == desk.crew.find(by).id:
            raise UsageError("is the one who did it", where="--inspected-by", fix="Name another.")
        signers.append(Signer(desk.crew.present_key(inspected_by), "inspected", "inspector"))
    return signers


def done(
    task: Annotated[str, typer.Argument(metavar="TASK", help="Id of the task in the file.")],
    by: OneOption,
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    component: AboutComponent = None,
    role: Annotated[
        str, typer.Option("--role", metavar="ROLE", help="In which role it was done.")
    ] = "mechanic",
    text: Annotated[
        str | None, typer.Option("--text", metavar="TEXT", help="What came out.")
    ] = None,
    inspected_by: InspectedOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter that an inspection that comes back was done; one that is independent takes two.

    Example: flightlog team done linkages --aircraft pannier --by mechanic --inspected-by pilot
    """
    from flightlog.logbook.book import Draft
    from flightlog.logbook.flying_kinds import TASK_DONE
    from flightlog.team_files.reading import near_miss

    given = {"aircraft": aircraft, "pack": pack, "component": component}
    about = {thing: id_ for thing, id_ in given.items() if id_}
    if len(about) != 1:
        raise UsageError(
            "of what?", where="team done", fix="Give one of --aircraft, --pack, --component."
        )
    with desk_of(team) as desk:
        thing, id_ = next(iter(about.items()))
        file: Any = getattr(desk, thing)(id_)
        known = {t.id: t for t in file.tasks}
        if task not in known:
            raise UsageError(
                f"{id_} has no such task",
                where=task[:60],
                fix=near_miss(task, list(known)) or f"It has: {', '.join(known) or 'none'}.",
            )
        if known[task].independent and inspected_by is None:
            raise UsageError(
                "a second person looks at it", where=task, fix="Give --inspected-by WHO."
            )
        content = {"task": task, **about, **({"text": text} if text else {})}
        draft = Draft(TASK_DONE, content, _signers(desk, by, inspected_by, role))
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


def charge(
    pack: Annotated[str, typer.Argument(metavar="PACK", help="Id of its file.")],
    voltage: Annotated[str, typer.Option("--voltage", metavar="V", help="Of the whole pack.")],
    by: OneOption,
    ah: Annotated[
        str | None, typer.Option("--charge", metavar="AH", help="What the charger put back.")
    ] = None,
    spread: Annotated[
        str | None, typer.Option("--spread", metavar="V", help="Between the cells.")
    ] = None,
    resistance: Annotated[
        str | None, typer.Option("--resistance", metavar="OHM", help="Of the whole pack.")
    ] = None,
    temperature: Annotated[
        str | None, typer.Option("--temperature", metavar="C", help="Of the pack, in °C.")
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter a charge of a pack. Lithium batteries are charged attended, on a fire-proof base.

    Example: flightlog team charge pack-a --voltage 25.1 --charge 3.62 --by pilot
    """
    from flightlog.logbook.book import Draft
    from flightlog.logbook.canonical import quantity
    from flightlog.logbook.entry import Signer
    from flightlog.logbook.flying_kinds import CHARGE
    from flightlog.operations.positions import number

    given = {
        "charge": (ah, "Ah"),
        "voltage": (voltage, "V"),
        "spread": (spread, "V"),
        "resistance": (resistance, "ohm"),
        "temperature": (temperature, "°C"),
    }
    with desk_of(team) as desk:
        desk.version("pack", pack)
        content: dict[str, Any] = {"pack": pack}
        for name, (text, unit) in given.items():
            if text is not None:
                content[name] = quantity(number(text, f"--{name}"), unit)
        signer = Signer(desk.crew.present_key(by), "performed", "battery")
        enter(desk, Draft(CHARGE, content, [signer]), hands_of(desk, keys, passphrase_fd))
