"""What is expected of the next flight, as an engineer enters it."""

from __future__ import annotations

from collections.abc import Sequence

from flightlog.errors import RefusedError, UsageError
from flightlog.figures import FIGURES
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import EXPECTATION, WEATHER
from flightlog.operations.desk import Desk
from flightlog.operations.expected_worth import current_sheets
from flightlog.operations.limits_before import DECLARED, ENGINEER
from flightlog.operations.plan import Plan
from flightlog.operations.positions import newest, number
from flightlog.team_files.limits import near_figure


def draft_expectation(
    desk: Desk, aircraft: str, figure: str, value: str, std: str, method: str, by: str
) -> Draft:
    """Draft what is expected of a figure of the next flight.

    Parameters
    ----------
    desk : Desk
        The team's.
    aircraft : str
        Id of its file.
    figure : str
        Figure id.
    value, std : str
        Decimal numbers in the unit of the figure: what is expected, and its standard uncertainty,
        above 0.
    method : str
        How it was found, in words.
    by : str
        Public key of a person of the role engineer.

    Raises
    ------
    UsageError
        If the figure is unknown, is declared by other entries, or a number is none.
    RefusedError
        If there is no load sheet or no weather that it could be expected for.
    """
    desk.version("aircraft", aircraft)
    if figure not in FIGURES:
        raise UsageError("there is no such figure", where=figure[:60], fix=near_figure(figure))
    if figure in DECLARED:
        raise UsageError(
            "this figure is taken from the load sheet and the pack's file",
            where=figure,
            fix="Make a new load sheet with 'flightlog balance sheet'.",
        )
    expected, spread = number(value, figure), number(std, "--std")
    if spread <= 0:
        raise UsageError(
            f"the standard uncertainty is {std}, and must be above 0",
            where="--std",
            fix="Say by how much the next flights would differ from what is expected.",
        )
    rests_on = [
        *_needed(current_sheets(desk, Plan(aircraft, "")), "load sheet", "flightlog balance sheet"),
        *_needed(newest(desk.ledger, desk.ledger.of(WEATHER)), "weather", "flightlog weather"),
    ]
    unit = FIGURES[figure].unit
    content = {
        "aircraft": aircraft,
        "figure": figure,
        "value": quantity(expected, unit),
        "std": quantity(spread, unit),
        "method": method,
    }
    relations = [Relation(CITES, entry.hash) for entry in rests_on]
    return Draft(EXPECTATION, content, [Signer(by, "computed", ENGINEER)], relations=relations)


def _needed(entries: Sequence[Entry], what: str, command: str) -> Sequence[Entry]:
    if not entries:
        raise RefusedError(
            f"there is no {what} yet, and what is expected depends on it",
            fix=f"Enter it first: '{command} --help' says how.",
        )
    return entries
