"""``flightlog defect``: what is not as it should be, from the report to the closing."""

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
    OneOption,
    PhotoOption,
    enter,
    hands_of,
    keys_of,
    photos,
    two_of,
    utc_of,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption

defect_app = typer.Typer(
    name="defect", help="Defects, from the report to the closing.", no_args_is_help=True
)
EntryArgument = Annotated[str, typer.Argument(metavar="ENTRY", help="The defect, like 41.H3MED.")]


@defect_app.command()
def report(
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What was found.")],
    part: Annotated[str, typer.Option("--part", metavar="PART", help="Which part.")],
    group: Annotated[
        str,
        typer.Option("--group", metavar="GROUP", help="What the part belongs to, like avionics."),
    ],
    severity: Annotated[
        str, typer.Option("--severity", metavar="WORD", help="blocking, deferrable or cosmetic.")
    ],
    aircraft: AboutAircraft = None,
    pack: AboutPack = None,
    component: AboutComponent = None,
    photo: PhotoOption = None,
    of: Annotated[
        str | None,
        typer.Option("--of", metavar="ENTRY", help="An earlier report that this one raises."),
    ] = None,
    by: AnyOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Report a defect. One that is blocking or deferrable holds the aircraft at once.

    Anybody may, and nobody has to sign. A severity is raised by a new report, and never lowered.

    Example: flightlog defect report "seal worn" --part "bay hatch" --group payload
    --severity deferrable --aircraft pannier --photo hatch.jpg --by mechanic
    """
    from flightlog.logbook.entry import Signer
    from flightlog.operations.defects import defect_draft, state_of
    from flightlog.reports.defect_words import defect_line

    with desk_of(team) as desk:
        earlier = [state_of(desk, desk.book.find(of)).entry] if of else []
        draft = defect_draft(
            desk,
            part=part,
            group=group,
            severity=severity,
            text=text,
            aircraft=aircraft or "",
            pack=pack or "",
            component=component or "",
            signers=[Signer(key, "reported") for key in keys_of(desk, by)],
            photos=photos(desk, photo),
            cites=earlier,
        )
        entry = enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        out().line(defect_line(state_of(desk, entry)))


@defect_app.command()
def defer(
    entry: EntryArgument,
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why not now.")],
    risk: Annotated[str, typer.Option("--risk", metavar="TEXT", help="What can come of it.")],
    limitation: Annotated[
        str, typer.Option("--limitation", metavar="TEXT", help="Within what it is flown with.")
    ],
    by: ByOption,
    until: Annotated[
        str | None, typer.Option("--until", metavar="DAY", help="The last day, like 2027-04-10.")
    ] = None,
    flights: Annotated[
        int | None, typer.Option("--flights", metavar="N", min=1, help="For so many flights.")
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Defer a deferrable defect; pilot and safety officer sign.

    Flight controls, primary structure, propulsion mounting and the radio's fail-safe are never
    deferred.

    Example: flightlog defect defer 41.H3MED --reason "seal on order" --risk "water in the bay"
    --limitation "not in rain" --until 2027-04-10 --by pilot --by mechanic
    """
    from flightlog.operations.defects import deferral_draft

    with desk_of(team) as desk:
        pilot, safety = two_of(desk, by, "pilot", "safety")
        draft = deferral_draft(
            desk,
            desk.book.find(entry),
            reason=reason,
            risk=risk,
            limitation=limitation,
            pilot=pilot,
            safety=safety,
            until=utc_of(until, "--until") if until else None,
            flights=flights,
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@defect_app.command()
def rectify(
    entry: EntryArgument,
    action: Annotated[str, typer.Option("--action", metavar="TEXT", help="What was done.")],
    by: OneOption,
    parts: Annotated[
        str | None, typer.Option("--parts", metavar="TEXT", help="Parts and their batch.")
    ] = None,
    data: Annotated[
        str | None, typer.Option("--data", metavar="TEXT", help="Drawing or instruction used.")
    ] = None,
    photo: PhotoOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter what was done about a defect, signed by the mechanic who did it.

    Example: flightlog defect rectify 41.H3MED --action "new seal glued in" --by mechanic
    """
    from flightlog.operations.defects import rectification_draft

    with desk_of(team) as desk:
        draft = rectification_draft(
            desk,
            desk.book.find(entry),
            action=action,
            parts=parts or "",
            data=data or "",
            key=desk.crew.present_key(by),
            photos=photos(desk, photo),
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@defect_app.command()
def inspect(
    work: Annotated[
        str,
        typer.Argument(
            metavar="ENTRY", help="The defect, its rectification, or another piece of work."
        ),
    ],
    text: Annotated[str, typer.Option("--text", metavar="TEXT", help="What was looked at.")],
    by: OneOption,
    fail: Annotated[bool, typer.Option("--fail", help="It was not found right.")] = False,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Inspect a piece of work independently; not by the one who did it.

    Example: flightlog defect inspect 43.KWP9Y --text "locked, full travel, right way" --by pilot
    """
    from flightlog.operations.defects import inspection_draft, work_meant

    with desk_of(team) as desk:
        draft = inspection_draft(
            desk,
            work_meant(desk, desk.book.find(work)),
            result="fail" if fail else "pass",
            text=text,
            key=desk.crew.present_key(by),
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@defect_app.command()
def close(
    entry: EntryArgument,
    by: OneOption,
    text: Annotated[
        str, typer.Option("--text", metavar="TEXT", help="A word about it.")
    ] = "put right",
    role: Annotated[
        str,
        typer.Option(
            "--role", metavar="ROLE", help="inspector or mechanic; else the first that WHO holds."
        ),
    ] = "",
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Close a defect that was put right, and inspected where its part asks for that.

    Example: flightlog defect close 41.H3MED --by pilot
    """
    from flightlog.operations.defects import closing_draft

    with desk_of(team) as desk:
        key = desk.crew.present_key(by)
        draft = closing_draft(desk, desk.book.find(entry), text=text, key=key, role=role)
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@defect_app.command("list")
def list_(
    aircraft: AboutAircraft = None,
    closed: Annotated[bool, typer.Option("--closed", help="Closed ones too.")] = False,
    team: TeamOption = None,
) -> None:
    """List defects, how each stands and what it waits for.

    Example: flightlog defect list --aircraft pannier
    """
    from flightlog.operations.defects import CLOSED, defects
    from flightlog.reports.defect_words import defect_line

    with desk_of(team, read_only=True) as desk:
        if aircraft:
            desk.version("aircraft", aircraft)
        shown = [d for d in defects(desk, aircraft) if closed or d.state != CLOSED]
        out().lines([defect_line(defect) for defect in shown] or ["None."])


@defect_app.command()
def show(entry: EntryArgument, team: TeamOption = None) -> None:
    """Show all that was entered about a defect: when, by whom, with which photos.

    Example: flightlog defect show 41.H3MED
    """
    from flightlog.operations.defects import state_of
    from flightlog.reports.defect_words import defect_lines

    with desk_of(team, read_only=True) as desk:
        out().lines(defect_lines(desk, state_of(desk, desk.book.find(entry))))
