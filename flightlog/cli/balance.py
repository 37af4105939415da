"""``flightlog balance``: weighing, load sheet, and where the centre of gravity lies."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from flightlog.cli import wall
from flightlog.cli.console import Console, out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AircraftOption, OneOption, enter, hands_of
from flightlog.cli.measuring import CorrectsOption, corrected, signer_of
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, given_text

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk
    from flightlog.operations.load_sheet import Load

balance_app = typer.Typer(
    name="balance", help="Weighing, load sheet, mass and balance.", no_args_is_help=True
)
_TRIED = "Only tried; --by WHO signs it."

ScaleOption = Annotated[
    list[str],
    typer.Option(
        "--scale",
        metavar="NAME=ARM,SIDE=KG",
        help="A scale: aft of the datum and to the right in m, and its reading, like "
        "left=0.56,-0.25=2.41; repeatable, the same one too.",
    ),
]
ItemOption = Annotated[
    list[str] | None,
    typer.Option(
        "--item",
        metavar="WHAT,KG,STATION[,N]",
        help="Something else on board, like camera,0.12,payload; repeatable.",
    ),
]


@balance_app.command()
def weigh(
    aircraft: AircraftOption,
    scale: ScaleOption,
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
    with_pack: Annotated[
        str | None,
        typer.Option(
            "--with-pack",
            metavar="ID",
            help="The pack that was on board, at the mark of its station; it is taken off again.",
        ),
    ] = None,
    inspected_by: Annotated[
        str | None, typer.Option("--inspected-by", metavar="WHO", help="Who looked afresh.")
    ] = None,
    corrects: CorrectsOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter a weighing of the empty aircraft, without payload.

    Level, no wind, scales zeroed, two to four of them, with a nose wheel or a tail wheel. Without
    a pack, unless --with-pack names it.

    Example: flightlog balance weigh --aircraft pannier --scale nose=0.10,0=0.65
    --scale left=0.50,-0.25=2.17 --scale right=0.50,0.25=2.18 --reading-std 0.005
    --arm-std 0.001 --instrument "SC-1 to SC-3" --state "level, no pack" --by mechanic
    """
    from flightlog.operations.weighing import WEIGHERS, weighing_draft

    with desk_of(team) as desk:
        signers = [signer_of(desk, by, "performed", WEIGHERS)]
        if inspected_by is not None:
            signers.append(signer_of(desk, inspected_by, "inspected", ("inspector",), but=by))
        draft = weighing_draft(
            desk,
            aircraft,
            scale,
            reading_std=reading_std,
            arm_std=arm_std,
            instrument=instrument,
            state=state,
            signers=signers,
            with_pack=given_text(with_pack, "--with-pack"),
            corrects=corrected(desk, corrects, "weighing"),
        )
        out().lines(_weighed_lines(desk, draft.content))
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


def _weighed_lines(desk: Desk, content: Mapping[str, Any]) -> list[str]:
    from flightlog.groundtests.scale_arithmetic import shares
    from flightlog.operations.weighing import empty_of, scales_of

    body = empty_of(content, desk.aircraft(content["aircraft"]))
    mass, arm, side = body.mass, body.arm, body.side
    pack = f", pack {content['with_pack']} taken off" if "with_pack" in content else ""
    return [
        f"{mass.value:.3f} kg ± {2 * mass.std:.3f}{pack}",
        f"{arm.value:.4f} m aft of the datum ± {2 * arm.std:.4f}",
        f"{1000 * side.value:+.1f} mm to the right ± {2000 * side.std:.1f}",
        *(f"  {name} bears {share:.1%}" for name, share in shares(scales_of(content)).items()),
    ]


@balance_app.command()
def sheet(
    aircraft: AircraftOption,
    pack: Annotated[str, typer.Option("--pack", metavar="ID", help="Which pack is on board.")],
    units: Annotated[int, typer.Option("--units", metavar="N", min=0, help="Payload units.")],
    item: ItemOption = None,
    unit_mass: Annotated[
        str | None,
        typer.Option("--unit-mass", metavar="KG", help="Mass of one unit, where it was weighed."),
    ] = None,
    by: Annotated[
        str | None,
        typer.Option("--by", metavar="WHO", help="Who signs; without it the load is only tried."),
    ] = None,
    corrects: CorrectsOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> int:
    """Work out what is on board and where, and sign it; without --by it is only tried.

    The exit code is 5 where the worst corner is not inside the envelope.

    Example: flightlog balance sheet --aircraft pannier --pack pack-a --units 8 --by mechanic
    """
    from flightlog.operations.load_sheet import ROLE, sheet_draft, worked_out
    from flightlog.operations.weighing import weighing_fault

    mass = given_text(unit_mass, "--unit-mass")
    with desk_of(team, read_only=by is None) as desk:
        found, _ = worked_out(
            desk, aircraft, pack, units, item or (), unit_mass=mass, tried=by is None
        )
        _show(out(), desk, aircraft, found)
        why = weighing_fault(desk, desk.aircraft(aircraft))
        if by is None:
            out().line(f"Only tried; it can't be signed: {why}." if why else _TRIED)
        else:
            draft = sheet_draft(
                desk,
                aircraft,
                pack,
                units,
                [signer_of(desk, by, "performed", (ROLE,))],
                item or (),
                unit_mass=mass,
                corrects=corrected(desk, corrects, "load-sheet"),
            )
            enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        return wall.DONE if found.verdict.inside and not why else wall.HELD


@balance_app.command()
def show(aircraft: AircraftOption, team: TeamOption = None) -> int:
    """Show the weighing and the last load sheet in its envelope, and whether they hold.

    The exit code is 5 where one of them does not.

    Example: flightlog balance show --aircraft pannier
    """
    from flightlog.operations.load_sheet import latest_sheet, load_conditions, load_of
    from flightlog.operations.plan import Plan
    from flightlog.operations.positions import named

    with desk_of(team, read_only=True) as desk:
        console, entry = out(), latest_sheet(desk, aircraft)
        pack = entry.body.content["pack"] if entry is not None else ""
        if entry is not None:
            said = entry.body.content
            console.line(f"Load sheet {named(entry)}: {said['units']} units, pack {pack}")
            _show(console, desk, aircraft, load_of(desk, entry))
        held = False
        for condition in load_conditions(desk, Plan(aircraft, pack or "PACK")):
            held |= not condition.holds
            word = "holds" if condition.holds else "HELD"
            console.line(f"{condition.name}: {word}: {condition.says}")
            if condition.clear:
                console.line(f"  {condition.clear}")
        return wall.HELD if held else wall.DONE


def _show(console: Console, desk: Desk, aircraft: str, found: Load) -> None:
    from flightlog.operations.load_sheet import HOLDS, outside_text
    from flightlog.operations.positions import named
    from flightlog.reports.cautions import RECORD
    from flightlog.reports.envelope_picture import FINE, PLAIN, picture

    verdict, empty = found.verdict, found.empty
    mass, arm, balance = verdict.loaded.mass, verdict.loaded.arm, verdict.balance
    console.line(
        f"  empty, by weighing {named(found.weighing)}: {empty.mass.value:.3f} kg "
        f"at {empty.arm.value:.4f} m"
    )
    for added in found.added:
        console.line(
            f"  {added.count} x {added.name}: {added.whole_kg:.3f} kg at {added.arm_m:.4f} m "
            f"({added.station})"
        )
    console.line(f"Mass {mass.value:.3f} kg ± {2 * mass.std:.3f}")
    console.line(
        f"Balance {balance.value:.2f} % of the chord ± {2 * balance.std:.2f}, "
        f"{arm.value:.4f} m aft of the datum ± {2 * arm.std:.4f}"
    )
    console.line(
        f"If all that can move does: {1000 * verdict.forward_m:.1f} mm forward, "
        f"{1000 * verdict.aft_m:.1f} mm aft"
    )
    inside = f"The worst corner is inside the envelope; a sheet holds for {HOLDS.days * 24} h."
    console.line(inside if verdict.inside else f"OUTSIDE: {outside_text(verdict)}")
    envelope = desk.aircraft(aircraft).balance
    if envelope is not None:
        signs = FINE if console.can("".join(FINE)) else PLAIN
        console.lines(picture(verdict, envelope, signs))
    console.line(RECORD)
