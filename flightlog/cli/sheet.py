"""``flightlog sheet``: a flight, an aircraft or an inspection on paper, or as one HTML file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.checks import write_new
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AboutAircraft
from flightlog.cli.signing import TeamOption, a_path
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk
    from flightlog.reports.sheet_content import SheetContent


def sheet(
    sortie: Annotated[
        str | None,
        typer.Argument(
            metavar="SORTIE",
            help="A flight: its entry like 12.H3MED, or its day like 2027-03-15 or 2027-03-15/2.",
        ),
    ] = None,
    aircraft: AboutAircraft = None,
    inspection: Annotated[
        str | None,
        typer.Option(
            "--inspection",
            metavar="RULES",
            help="With --aircraft: clause by clause under this rule book.",
        ),
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option(
            "--pdf",
            metavar="FILE",
            parser=a_path,
            help="A new file. Without --pdf and --html it is named after the sheet, and lies in "
            "this folder.",
        ),
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option(
            "--html",
            metavar="FILE",
            parser=a_path,
            help="A new file, as a page that any browser opens without a network; nothing is cut.",
        ),
    ] = None,
    team: TeamOption = None,
) -> None:
    """Print a flight: what it did, what it was flown under, what is wearing out; a page each.

    With --aircraft instead of a flight, the airworthiness record of an aircraft; with
    --inspection too, its rule book clause by clause. The head of the record stands on each sheet.

    Example: flightlog sheet 2027-03-15 --pdf flight.pdf
    """
    _refuse_slips(sortie, aircraft, inspection)
    with desk_of(team, read_only=True) as desk:
        content, name = _content(desk, sortie, aircraft, inspection)
        if pdf is None and html is None:
            pdf = Path(f"{name}.pdf")
        if pdf is not None:
            from flightlog.reports.sheet_pdf import sheet_pdf

            write_new(pdf, sheet_pdf(content))
        if html is not None:
            from flightlog.reports.sheet_html import sheet_html

            write_new(html, sheet_html(content))


def _refuse_slips(sortie: str | None, aircraft: str | None, inspection: str | None) -> None:
    if sortie is not None and (aircraft is not None or inspection is not None):
        raise UsageError(
            "a flight has its aircraft already",
            where="sheet",
            fix="Give a flight, or --aircraft ID.",
        )
    if inspection is not None and aircraft is None:
        raise UsageError("no aircraft is named", where="--inspection", fix="Give --aircraft ID.")
    if sortie is None and aircraft is None:
        raise UsageError(
            "nothing is named",
            where="sheet",
            fix="Name a flight, like 2027-03-15, or give --aircraft ID.",
        )


def _content(
    desk: Desk, sortie: str | None, aircraft: str | None, inspection: str | None
) -> tuple[SheetContent, str]:
    """Give what stands on the sheet that is meant, and a name for its file."""
    if sortie is not None:
        from flightlog.operations.by_hand import find_sortie
        from flightlog.operations.positions import named
        from flightlog.reports.flight_sheet import flight_sheet

        flight = find_sortie(desk, sortie)
        return flight_sheet(desk, flight), f"flight-{named(flight.entry)}"
    known = aircraft or ""
    if inspection is None:
        from flightlog.reports.aircraft_sheet import aircraft_sheet

        return aircraft_sheet(desk, known), f"aircraft-{known}"
    from flightlog.reports.inspection_sheet import inspection_sheet

    return inspection_sheet(desk, inspection, known), f"inspection-{known}"
