"""``flightlog debrief``: what a flight did, and whether it met its limits."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import Console, err, out, progress
from flightlog.cli.given import Options, gather

if TYPE_CHECKING:
    from flightlog.debriefing import Debrief
    from flightlog.inputs import Inputs
    from flightlog.rules.book import RuleBook

SiteOption = Annotated[
    Path | None, typer.Option("--site", metavar="FILE", help="Runway and lap gate (TOML).")
]
AircraftOption = Annotated[
    Path | None, typer.Option("--aircraft", metavar="FILE", help="Aircraft and its limits (TOML).")
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
    rules: RulesOption = None,
    mass: MassOption = None,
    wind: WindOption = None,
    air_temperature: AirOption = None,
    payload_units: UnitsOption = None,
    entered: EnteredOption = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object and nothing else.")
    ] = False,
    enforce: Annotated[
        bool, typer.Option("--enforce", help="End with code 4 unless every limit is met.")
    ] = False,
) -> int:
    """Say what a flight did and whether it met its limits.

    Example: flightlog debrief flight.bin --rules rules.toml --mass 8.0
    """
    if as_json and len(logs) > 1:
        raise typer.BadParameter(
            f"prints one object, so it takes one log, got {len(logs)}", param_hint="--json"
        )
    options = Options(
        site=site,
        aircraft=aircraft,
        rules=rules,
        mass=mass,
        wind=wind,
        air_temperature=air_temperature,
        payload_units=payload_units,
        entered=tuple(entered or ()),
    )
    inputs, book = gather(options)
    if enforce and book is None and (inputs.aircraft is None or not inputs.aircraft.limits):
        raise typer.BadParameter(
            "there is no limit to enforce; give --rules, or --aircraft with limits",
            param_hint="--enforce",
        )
    console = out()

    def one(log: Path, first: bool) -> int:
        result = debrief_file(log, inputs, book)
        if not first:
            console.line()
        show(console, result, as_json=as_json)
        if not enforce or all_met(result):
            return wall.DONE
        err().line(f"flightlog: {log.name}: not every limit is met, and --enforce asks for it")
        return wall.NOT_MET

    if len(logs) == 1:
        return one(logs[0], True)
    steps = [partial(one, log, number == 0) for number, log in enumerate(logs)]
    return wall.gravest([wall.shielded(step) for step in steps])


def debrief_file(log: Path, inputs: Inputs, rules: RuleBook | None) -> Debrief:
    """Read and debrief one log, with progress on standard error."""
    from flightlog.importers import read

    with progress(log.name) as shown:
        recording = read(log, progress=shown)
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
