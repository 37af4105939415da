"""``flightlog balance``: weighing, load sheet, and where the centre of gravity lies."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import Console, out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AircraftOption, OneOption, enter, hands_of
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption

if TYPE_CHECKING:
    from flightlog.inputs import Balance
    from flightlog.operations.balance import Verdict
    from flightlog.operations.load_sheet import Load

balance_app = typer.Typer(
    name="balance", help="Weighing, load sheet, mass and balance.", no_args_is_help=True
)
_WIDE, _HIGH = 49, 13


@balance_app.command()
def weigh(
    aircraft: AircraftOption,
    scale: Annotated[
        list[str],
        typer.Option(
            "--scale",
            metavar="NAME=ARM,SIDE=KG",
            help="A scale: aft of the datum and to the right in m, and its reading, like "
            "left=0.56,-0.25=2.41; repeatable, the same one too.",
        ),
    ],
    reading_std: Annotated[
        str, typer.Option("--reading-std", metavar="KG", help="Standard uncertainty of a scale.")
    ],
    arm_std: Annotated[
        str, typer.Option("--arm-std", metavar="M", help="Standard uncertainty of its place.")
    ],
    instrument: Annotated[
        str, typer.Option("--instrument", metavar="TEXT", help="Which scales, like SC-1 to SC-3.")
    ],
    state: Annotated[
        str, typer.Option("--state", metavar="TEXT", help="How the aircraft stood, what was on it.")
    ],
    by: OneOption,
    inspected_by: Annotated[
        str | None, typer.Option("--inspected-by", metavar="WHO", help="Who looked afresh.")
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter a weighing of the empty aircraft, without pack and payload.

    Level, no wind, scales zeroed; with three scales as with a tail wheel.

    Example: flightlog balance weigh --aircraft pannier --scale nose=0.06,0=0.93
    --scale left=0.54,-0.25=2.03 --scale right=0.54,0.25=2.04 --reading-std 0.005
    --arm-std 0.001 --instrument "SC-1 to SC-3" --state "level, no pack" --by mechanic
    """
    from flightlog.logbook.entry import Signer
    from flightlog.operations.load_sheet import ROLE, weighed_of, weighing_draft

    with desk_of(team) as desk:
        signers = [Signer(desk.crew.present_key(by), "performed", ROLE)]
        if inspected_by is not None:
            signers.append(Signer(desk.crew.present_key(inspected_by), "inspected", "inspector"))
        draft = weighing_draft(
            desk,
            aircraft,
            scale,
            reading_std=reading_std,
            arm_std=arm_std,
            instrument=instrument,
            state=state,
            signers=signers,
        )
        found = weighed_of(draft.content)
        out().line(
            f"{found.kg:.3f} kg ± {2 * found.kg_std:.3f}, {found.arm_m:.4f} m aft of the datum "
            f"± {2 * found.arm_std_m:.4f}, {1000 * found.side_m:+.1f} mm to the right"
        )
        out().lines(f"  {name}: {share:.1%}" for name, share in (found.shares or {}).items())
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@balance_app.command()
def sheet(
    aircraft: AircraftOption,
    pack: Annotated[str, typer.Option("--pack", metavar="ID", help="Which pack is on board.")],
    units: Annotated[int, typer.Option("--units", metavar="N", min=0, help="Payload units.")],
    item: Annotated[
        list[str] | None,
        typer.Option(
            "--item",
            metavar="WHAT,KG,STATION",
            help="Something else on board, like camera,0.12,payload; repeatable.",
        ),
    ] = None,
    unit_mass: Annotated[
        str | None,
        typer.Option("--unit-mass", metavar="KG", help="Mass of one unit, where it was weighed."),
    ] = None,
    by: Annotated[
        str | None,
        typer.Option("--by", metavar="WHO", help="Who signs; without it the load is only tried."),
    ] = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Work out what is on board and where, and sign it; without --by it is only tried.

    Example: flightlog balance sheet --aircraft pannier --pack pack-a --units 8 --by mechanic
    """
    from flightlog.logbook.entry import Signer
    from flightlog.operations.load_sheet import ROLE, sheet_draft, worked_out

    with desk_of(team, read_only=by is None) as desk:
        found, _ = worked_out(desk, aircraft, pack, units, item or (), unit_mass=unit_mass or "")
        balance = desk.aircraft(aircraft).balance
        if balance is not None:
            _show(out(), found, balance)
        if by is None:
            out().line("Only tried; --by WHO signs it.")
            return
        signers = [Signer(desk.crew.present_key(by), "performed", ROLE)]
        draft = sheet_draft(
            desk, aircraft, pack, units, signers, item or (), unit_mass=unit_mass or ""
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


@balance_app.command()
def show(aircraft: AircraftOption, team: TeamOption = None) -> None:
    """Show the last load sheet in its envelope.

    Example: flightlog balance show --aircraft pannier
    """
    from flightlog.operations.load_sheet import latest_sheet, load_of
    from flightlog.operations.positions import named

    with desk_of(team, read_only=True) as desk:
        entry = latest_sheet(desk, aircraft)
        balance = desk.aircraft(aircraft).balance
        if entry is None or balance is None:
            out().line("There is no load sheet. Make one with 'flightlog balance sheet'.")
            return
        said = entry.body.content
        out().line(f"Load sheet {named(entry)}: {said['units']} units, pack {said['pack']}")
        _show(out(), load_of(desk, entry), balance)


def _show(console: Console, found: Load, balance: Balance) -> None:
    from flightlog.operations.load_sheet import outside_text

    loaded, verdict = found.loaded, found.verdict
    console.line(f"  empty  {found.empty.kg:.3f} kg at {found.empty.arm_m:.4f} m")
    for added in found.added:
        console.line(
            f"  {added.count} x {added.name}, {added.whole_kg:.3f} kg at {added.arm_m:.4f} m"
        )
    console.line(
        f"Mass {loaded.kg:.3f} kg ± {2 * loaded.kg_std:.3f}, balance {verdict.balance:.2f} % of "
        f"the chord ± {2 * verdict.balance_std:.2f}"
    )
    console.line(
        f"If all that can move does: {1000 * loaded.forward_m:.1f} mm forward, "
        f"{1000 * loaded.aft_m:.1f} mm aft"
    )
    word = "inside" if verdict.inside else f"OUTSIDE: {outside_text(verdict)}"
    console.line(f"The worst corner is {word}.")
    console.lines(_picture(verdict, balance))


def _picture(verdict: Verdict, balance: Balance) -> list[str]:
    """Draw the envelope: mass upwards, balance across; # what the load can be, + its middle."""
    from flightlog.operations.balance import within

    points = (*balance.envelope, *verdict.corners)
    kgs, percents = [p[0] for p in points], [p[1] for p in points]
    low_kg, high_kg = min(kgs) - 0.2, max(kgs) + 0.2
    low, high = min(percents) - 1.0, max(percents) + 1.0
    box_kg = [c[0] for c in verdict.corners]
    box = [c[1] for c in verdict.corners]
    lines = []
    for row in range(_HIGH):
        kg = high_kg - (high_kg - low_kg) * row / (_HIGH - 1)
        half = (high_kg - low_kg) / (_HIGH - 1) / 2
        signs = []
        for column in range(_WIDE):
            percent = low + (high - low) * column / (_WIDE - 1)
            step = (high - low) / (_WIDE - 1) / 2
            loaded = min(box_kg) - half <= kg <= max(box_kg) + half
            if loaded and abs(percent - verdict.balance) <= step:
                signs.append("+")
            elif loaded and min(box) - step <= percent <= max(box) + step:
                signs.append("#")
            else:
                signs.append("." if within((kg, percent), balance.envelope) else " ")
        lines.append(f"{kg:6.2f} kg |{''.join(signs)}".rstrip())
    lines.append(f"          +{'-' * _WIDE}")
    lines.append(f"          {low:.0f} %{high:>{_WIDE - 3}.0f} %")
    return lines
