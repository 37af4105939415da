"""``flightlog team aircraft``, ``pack``, ``component``, ``due``, and what is done to them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    AboutAircraft,
    AboutComponent,
    AboutPack,
    AircraftOption,
    OccurredOption,
    OneOption,
    ReasonOption,
    enter,
    hands_of,
    late,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, given_text
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.logbook.entry import Entry
    from flightlog.operations.desk import Desk
    from flightlog.operations.upkeep_drafts import Worker

IdArgument = Annotated[
    str | None, typer.Argument(metavar="[ID]", help="Which one, by the id of its file; else all.")
]
ComponentArgument = Annotated[str, typer.Argument(metavar="COMPONENT", help="The id of its file.")]
InspectedOption = Annotated[
    str | None,
    typer.Option("--inspected-by", metavar="WHO", help="A second person, who looked at it afresh."),
]


def aircraft(id_: IdArgument = None, team: TeamOption = None) -> None:
    """Show aircraft: configuration, hours, what is fitted, what is due, what restricts it.

    Example: flightlog team aircraft pannier
    """
    _show("aircraft", id_, team)


def pack(id_: IdArgument = None, team: TeamOption = None) -> None:
    """Show packs: cycles, charges and resistance, what is due, what restricts it.

    Example: flightlog team pack pack-a
    """
    _show("pack", id_, team)


def component(id_: IdArgument = None, team: TeamOption = None) -> None:
    """Show components: where they are and were fitted, hours, life left, what is due.

    Example: flightlog team component propeller-1
    """
    _show("component", id_, team)


def _show(thing: str, id_: str | None, team: Path | None) -> None:
    from flightlog.reports.hangar import overview_lines, thing_lines

    with desk_of(team, read_only=True) as desk:
        lines = overview_lines(desk, thing) if id_ is None else thing_lines(desk, thing, id_)
        out().lines(lines)


def due_(team: TeamOption = None) -> None:
    """List inspections and lives, the most urgent first, and how old the second copy is.

    Example: flightlog team due
    """
    from flightlog.reports.hangar import due_lines

    with desk_of(team, read_only=True) as desk:
        out().lines(due_lines(desk))


def fit(
    component: ComponentArgument,
    aircraft: AircraftOption,
    position: Annotated[
        str, typer.Option("--position", metavar="TEXT", help="Where, like 'left aileron servo'.")
    ],
    by: OneOption,
    inspected_by: InspectedOption = None,
    occurred: OccurredOption = None,
    reason: ReasonOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter that a component was fitted; from then on it collects the aircraft's hours.

    Example: flightlog team fit propeller-1 --aircraft pannier --position nose --by mechanic
    """
    from flightlog.operations.upkeep_drafts import fit_draft

    with desk_of(team) as desk:
        who = _worker(desk, by, inspected_by, occurred, reason)
        draft = fit_draft(desk, component, aircraft, given_text(position, "--position"), who)
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        _tell_usage(desk, component)


def remove(
    component: ComponentArgument,
    by: OneOption,
    aircraft: Annotated[
        str | None,
        typer.Option(
            "--aircraft", metavar="ID", help="From which one, if the record has it in several."
        ),
    ] = None,
    inspected_by: InspectedOption = None,
    occurred: OccurredOption = None,
    reason: ReasonOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter that a component was removed; its hours go with it.

    Example: flightlog team remove propeller-1 --by mechanic
    """
    from flightlog.operations.upkeep_drafts import remove_draft

    with desk_of(team) as desk:
        who = _worker(desk, by, inspected_by, occurred, reason)
        draft = remove_draft(desk, component, who, aircraft or "")
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        _tell_usage(desk, component)


def done(
    task: Annotated[str, typer.Argument(metavar="TASK", help="The id of the task in the file.")],
    by: OneOption,
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    component: AboutComponent = None,
    text: Annotated[
        str | None, typer.Option("--text", metavar="TEXT", help="What was found.")
    ] = None,
    inspected_by: InspectedOption = None,
    occurred: OccurredOption = None,
    reason: ReasonOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter that an inspection that comes back was done.

    One that is independent is not done before a second person looked at it: here, or later with
    'flightlog team inspect'.

    Example: flightlog team done linkages --aircraft pannier --by mechanic --inspected-by pilot
    """
    from flightlog.operations.upkeep_drafts import done_draft

    thing, id_ = _one_of({"aircraft": aircraft, "pack": pack, "component": component})
    with desk_of(team) as desk:
        who = _worker(desk, by, inspected_by, occurred, reason)
        draft = done_draft(desk, task, thing, id_, who, given_text(text, "--text"))
        entry = enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        _tell_due(desk, thing, id_, task, entry)


def inspect_(
    entry: Annotated[
        str, typer.Argument(metavar="ENTRY", help="The work, as 14.H3MED: a task, a fitting.")
    ],
    by: OneOption,
    text: Annotated[str, typer.Option("--text", metavar="TEXT", help="What was looked at.")],
    wrong: Annotated[bool, typer.Option("--wrong", help="It was found wrong.")] = False,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Look at the work of another person afresh, in a turn of one's own.

    Example: flightlog team inspect 14.H3MED --text "locked, free, right way round" --by pilot
    """
    from flightlog.operations.upkeep_drafts import inspect_draft

    with desk_of(team) as desk:
        work = desk.book.find(entry)
        key = desk.crew.present_key(by)
        draft = inspect_draft(desk, work, key, given_text(text, "--text"), right=not wrong)
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


def charge(
    pack: Annotated[str, typer.Argument(metavar="PACK", help="The id of its file.")],
    voltage: Annotated[str, typer.Option("--voltage", metavar="V", help="Of the whole pack.")],
    by: OneOption,
    put_back: Annotated[
        str | None, typer.Option("--charge", metavar="AH", help="What the charger put back, in Ah.")
    ] = None,
    spread: Annotated[
        str | None,
        typer.Option("--spread", metavar="V", help="Between the highest and the lowest cell."),
    ] = None,
    resistance: Annotated[
        str | None, typer.Option("--resistance", metavar="OHM", help="Of the whole pack.")
    ] = None,
    temperature: Annotated[
        str | None, typer.Option("--temperature", metavar="C", help="Of the pack, in °C.")
    ] = None,
    occurred: OccurredOption = None,
    reason: ReasonOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter a charge of a pack. Charge lithium batteries attended, on ground that can't burn.

    Example: flightlog team charge pack-a --voltage 25.1 --charge 3.62 --by pilot
    """
    from flightlog.operations.positions import number
    from flightlog.operations.upkeep_drafts import charge_draft

    typed = {
        "voltage": voltage,
        "charge": put_back,
        "spread": spread,
        "resistance": resistance,
        "temperature": temperature,
    }
    numbers = {name: number(text, f"--{name}") for name, text in typed.items() if text is not None}
    with desk_of(team) as desk:
        draft = charge_draft(desk, pack, numbers, _worker(desk, by, None, occurred, reason))
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


def _worker(
    desk: Desk, by: str, inspected_by: str | None, occurred: str | None, reason: str | None
) -> Worker:
    from flightlog.operations.upkeep_drafts import Worker

    when, why = late(occurred, reason)
    second = desk.crew.present_key(inspected_by) if inspected_by is not None else ""
    return Worker(desk.crew.present_key(by), second, when, why)


def _one_of(given: dict[str, str | None]) -> tuple[str, str]:
    about = [(thing, id_) for thing, id_ in given.items() if id_]
    if len(about) != 1:
        raise UsageError(
            "of what?", where="team done", fix="Give one of --aircraft, --pack, --component."
        )
    return about[0]


def _tell_usage(desk: Desk, component: str) -> None:
    from flightlog.reports.hangar import usage_line

    if desk.versions.in_force("component", component) is not None:
        out().line(usage_line(desk, "component", component))


def _tell_due(desk: Desk, thing: str, id_: str, task: str, entry: Entry) -> None:
    from flightlog.operations.upkeep import due_of

    for item in due_of(desk, thing, id_):
        if item.name == task:
            out().line(item.says)
            if item.waits_for is not None and item.waits_for.hash == entry.hash:
                out().line(item.clear)
