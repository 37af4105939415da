"""``flightlog debrief``: what a flight did, and whether it met its limits."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import Console, err, out, progress
from flightlog.cli.flights import Flight, Plan, plan_flights
from flightlog.cli.given import Options, gather

if TYPE_CHECKING:
    from flightlog.debriefing import Debrief
    from flightlog.earlier import EarlierDebrief
    from flightlog.inputs import Inputs
    from flightlog.recording import Recording
    from flightlog.rules.book import RuleBook

SiteOption = Annotated[
    Path | None, typer.Option("--site", metavar="FILE", help="Runway and lap gate (TOML).")
]
AircraftOption = Annotated[
    Path | None, typer.Option("--aircraft", metavar="FILE", help="Aircraft and its limits (TOML).")
]
PackOption = Annotated[
    Path | None, typer.Option("--pack", metavar="FILE", help="Battery pack and its limits (TOML).")
]
RulesOption = Annotated[
    Path | None, typer.Option("--rules", metavar="FILE", help="Rule book (TOML).")
]
MassOption = Annotated[
    str | None, typer.Option("--mass", metavar="KG", help="Take-off mass in kg.")
]
WindOption = Annotated[
    str | None,
    typer.Option(
        "--wind", metavar="SPEED@FROM_DEG", help="Wind in m/s and where it comes from, as 3.5@340."
    ),
]
AirOption = Annotated[
    str | None,
    typer.Option(
        "--air-temperature", metavar="DEG_C", help="Air temperature in the shade in deg C, as 18.5."
    ),
]
UnitsOption = Annotated[
    int | None,
    typer.Option("--payload-units", metavar="N", min=0, help="Payload units on board."),
]
ChargedOption = Annotated[
    str | None,
    typer.Option("--charged", metavar="AH", help="Charge in Ah that the charger put back."),
]
ColumnsOption = Annotated[
    Path | None,
    typer.Option("--columns", metavar="MAP", help="Read tables as text by this column map (TOML)."),
]
EnteredOption = Annotated[
    list[str] | None,
    typer.Option(
        "--entered", metavar="NAME=VALUE", help="A number for the score formula; may be repeated."
    ),
]


def debrief(
    logs: Annotated[list[Path], typer.Argument(metavar="LOG...", help="One or more log files.")],
    site: SiteOption = None,
    aircraft: AircraftOption = None,
    pack: PackOption = None,
    rules: RulesOption = None,
    mass: MassOption = None,
    wind: WindOption = None,
    air_temperature: AirOption = None,
    payload_units: UnitsOption = None,
    charged: ChargedOption = None,
    entered: EnteredOption = None,
    columns: ColumnsOption = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object and nothing else.")
    ] = False,
    enforce: Annotated[
        bool, typer.Option("--enforce", help="End with code 4 unless every limit is met.")
    ] = False,
    against: Annotated[
        Path | None,
        typer.Option(
            "--against",
            metavar="JSON",
            help="An earlier debrief of the log, by --json: say what changed.",
        ),
    ] = None,
    apart: Annotated[
        bool, typer.Option("--apart", help="Debrief each log by itself, and join none.")
    ] = False,
) -> int:
    """Say what a flight did and whether it met its limits.

    Several logs of one flight, as that of the autopilot and that of the transmitter, are joined.

    Example: flightlog debrief flight.bin --rules rules.toml --mass 8.0
    """
    options = Options(
        site=site,
        aircraft=aircraft,
        pack=pack,
        rules=rules,
        mass=mass,
        wind=wind,
        air_temperature=air_temperature,
        payload_units=payload_units,
        charged=charged,
        entered=tuple(entered or ()),
    )
    inputs, book = gather(options)
    own = [file.limits for file in (inputs.aircraft, inputs.pack) if file is not None]
    if enforce and book is None and not any(own):
        raise typer.BadParameter(
            "there is no limit to enforce; give --rules, or --aircraft or --pack with limits",
            param_hint="--enforce",
        )
    earlier = _earlier(against)
    plan = _plan(logs, columns, apart=apart)
    if len(plan.flights) > 1:
        about_one = {"--json": as_json, "--charged": charged, "--against": against}
        if refused := [option for option, given in about_one.items() if given]:
            _refuse(refused, plan, columns, apart=apart)
    console = out()

    def one(flight: Flight, first: bool) -> int:
        result = debrief_flight(flight, plan, inputs, book, columns)
        if earlier is not None:
            result = _compared(result, earlier)
        if not first:
            console.line()
        show(console, result, as_json=as_json)
        if not enforce or all_met(result):
            return wall.DONE
        err().line(f"flightlog: {flight.name}: not every limit is met, and --enforce asks for it")
        return wall.NOT_MET

    if len(plan.flights) == 1:
        return one(plan.flights[0], True)
    steps = [partial(one, flight, number == 0) for number, flight in enumerate(plan.flights)]
    return wall.gravest([wall.shielded(step) for step in steps])


def _plan(logs: list[Path], columns: Path | None, *, apart: bool) -> Plan:
    """Sort the logs into flights, and say which are left out."""
    if len(logs) == 1 or apart:
        return Plan(tuple(Flight((log,)) for log in logs))
    plan = plan_flights(logs, partial(read_one_of_several, columns=columns))
    err().lines(f"flightlog: {sentence}" for sentence in plan.left_out)
    return plan


def _refuse(options: list[str], plan: Plan, columns: Path | None, *, apart: bool) -> None:
    """Refuse options that are about one flight.

    Beside the logs of one flight a log that can't be read is the fault, and says it.
    """
    unread = [flight for flight in plan.flights if flight.group is None]
    if not apart and len(plan.flights) - len(unread) == 1:
        for flight in unread:
            read_one_of_several(flight.logs[0], columns)
    names = "; ".join(flight.name for flight in plan.flights)
    raise typer.BadParameter(
        f"is about one flight, and these are {len(plan.flights)}: {names}; run it once for each",
        param_hint=options[0],
    )


def _earlier(against: Path | None) -> EarlierDebrief | None:
    if against is None:
        return None
    from flightlog.earlier import read_earlier

    return read_earlier(against)


def _compared(result: Debrief, earlier: EarlierDebrief) -> Debrief:
    from flightlog.earlier import compared

    return compared(result, earlier)


def read_one_of_several(log: Path, columns: Path | None = None) -> Recording:
    """Read one of several logs; a column map is for the tables among them, not for all."""
    from flightlog.importers import read

    with progress(log.name) as shown:
        return read(log, columns=columns if _needs_map(log) else None, progress=shown)


def _needs_map(log: Path) -> bool:
    """Whether a file is a table as text that tells its columns by their headers at most."""
    from flightlog.errors import UnknownFormatError
    from flightlog.importers import detect, read_head

    try:
        return detect(read_head(log)).format == "transmitter"
    except UnknownFormatError:
        return True


def debrief_flight(
    flight: Flight,
    plan: Plan,
    inputs: Inputs,
    rules: RuleBook | None,
    columns: Path | None = None,
) -> Debrief:
    """Debrief one flight of a plan."""
    if flight.group is None:
        return debrief_file(flight.logs[0], inputs, rules, columns)
    recording = plan.read(flight)
    with progress(flight.name) as shown:
        shown(1.0, "computing")
        from flightlog.debriefing import debrief as debrief_recording

        return debrief_recording(recording, inputs, rules)


def debrief_file(
    log: Path, inputs: Inputs, rules: RuleBook | None, columns: Path | None = None
) -> Debrief:
    """Read and debrief one log, with progress on standard error."""
    from flightlog.importers import read

    with progress(log.name) as shown:
        recording = read(log, columns=columns, progress=shown)
        shown(1.0, "computing")
        from flightlog.debriefing import debrief as debrief_recording

        return debrief_recording(recording, inputs, rules)


def show(console: Console, result: Debrief, *, as_json: bool = False, short: bool = False) -> None:
    """Print a debrief, for people or for programs."""
    if as_json:
        from flightlog.contract import dumps

        console.json(dumps(result))
        return
    from flightlog.reports.strip import DRAWN, TYPED
    from flightlog.reports.words import debrief_lines

    look = DRAWN if console.can(DRAWN.characters()) else TYPED
    console.lines(debrief_lines(result, width=console.width, look=look, short=short))


def all_met(result: Debrief) -> bool:
    """Whether limits were judged and every one of them is met."""
    outcomes = [o.outcome for s in result.sorties for o in s.outcomes]
    return bool(outcomes) and all(word == "met" for word in outcomes)
