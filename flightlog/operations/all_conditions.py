"""The conditions of a release, all of them, in one order that stays; and what a release says.

Each room of this package says for its own part what holds and what would clear it; here they are
put together. What a room can't read is a condition that does not hold, and so is one of which
its room says nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from flightlog.errors import FlightlogError, UsageError
from flightlog.logbook.entry import Entry
from flightlog.operations.baseline import parameter_conditions
from flightlog.operations.defects import defect_conditions
from flightlog.operations.desk import Desk
from flightlog.operations.file_conditions import file_conditions
from flightlog.operations.fitness import fitness_conditions
from flightlog.operations.limits_before import limit_conditions
from flightlog.operations.list_conditions import list_conditions
from flightlog.operations.load_sheet import load_conditions, sheets
from flightlog.operations.pack_ready import pack_conditions
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import newest
from flightlog.operations.release_conditions import (
    NO_OPEN_RELEASE,
    RECORD,
    open_release_conditions,
    record_conditions,
)
from flightlog.operations.service import service_conditions
from flightlog.operations.upkeep import upkeep_conditions
from flightlog.operations.weather_limits import weather_conditions
from flightlog.team.ledger import AIRCRAFT

MOST_CITED = 240
"""A release cites so many entries at most, in the order of its conditions."""

_Ask = Callable[[Desk, Plan], list[Condition]]
_ROOMS: tuple[tuple[tuple[str, ...], _Ask], ...] = (
    (("files",), file_conditions),
    (("fitness",), fitness_conditions),
    (("daily-list", "flight-list", "event-lists", "acceptances"), list_conditions),
    (("defects", "deferrals"), defect_conditions),
    (("service",), service_conditions),
    (("inspections", "life"), upkeep_conditions),
    (("pack",), pack_conditions),
    (("weighing", "load"), load_conditions),
    (("weather",), weather_conditions),
    (("limits",), limit_conditions),
    (("parameters",), parameter_conditions),
)
ORDER = (
    *("files", "fitness", "daily-list", "flight-list", "event-lists", "acceptances"),
    *("defects", "deferrals", "service", "inspections", "life", "pack"),
    *("weighing", "load", "weather", "limits", "parameters"),
    *(NO_OPEN_RELEASE, RECORD),
)
"""Names of all conditions, in the order in which they are shown."""
_RANK = {name: place for place, name in enumerate(ORDER)}


def conditions(desk: Desk, plan: Plan, *, beside: Entry | None = None) -> tuple[Condition, ...]:
    """Give all conditions of the next flight as they stand now, in the order of `ORDER`.

    Parameters
    ----------
    desk : Desk
        The record.
    plan : Plan
        What is chosen for the flight.
    beside : Entry, optional
        A release that is looked at itself, and so does not stand in its own way.

    Notes
    -----
    Raises nothing for a state of the record. Some names come more than once, such as "limits".
    """
    found = []
    for names, ask in _ROOMS:
        found += _answers(desk, plan, names, ask)
    found += _answers(
        desk, plan, (NO_OPEN_RELEASE,), lambda d, p: open_release_conditions(d, p, beside)
    )
    found += _answers(desk, plan, (RECORD,), record_conditions)
    return tuple(sorted(found, key=lambda c: _RANK.get(c.name, len(_RANK))))


def _answers(desk: Desk, plan: Plan, names: Sequence[str], ask: _Ask) -> list[Condition]:
    try:
        given = ask(desk, plan)
    except FlightlogError as error:
        says = f"{error.where}: {error.found}" if error.where else error.found
        clear = error.fix or "Put that right first."
        return [Condition(name, False, says, clear) for name in names]
    told = {condition.name for condition in given}
    return [
        *given,
        *(
            Condition(name, False, "nothing could be found out", "Report this as a fault.")
            for name in names
            if name not in told
        ),
    ]


def rests_on(found: Sequence[Condition]) -> tuple[Entry, ...]:
    """Give what conditions rest on, each entry once, as many as a release cites."""
    entries = {entry.hash: entry for condition in found for entry in condition.rests_on}
    return tuple(entries.values())[:MOST_CITED]


def plan_of(desk: Desk, release: Entry) -> Plan | None:
    """Give what a release is for, None where it names a rule book that the record has not.

    Parameters
    ----------
    desk : Desk
        The record.
    release : Entry
        One that counts.
    """
    said = release.body.content
    rules = ""
    if "rules" in said:
        version = desk.versions.by_hash(said["rules"])
        if version is None or version.kind != "rules":
            return None
        rules = version.id
    return Plan(
        said["aircraft"],
        said["pack"],
        rules,
        said.get("site", ""),
        said["landings"],
        said.get("purpose", ""),
    )


def facts_of(desk: Desk, plan: Plan) -> dict[str, Any]:
    """Give what a release says of the flight, out of the record.

    Raises
    ------
    UsageError
        If a file or the load sheet is missing.
    """
    found = newest(desk.ledger, sheets(desk, plan.aircraft))
    if not found:
        raise UsageError("there is no load sheet", where=plan.aircraft)
    facts = {
        "aircraft": plan.aircraft,
        "configuration": desk.aircraft(plan.aircraft).configuration,
        "aircraft_file": desk.version(AIRCRAFT, plan.aircraft).sha256,
        "pack": plan.pack,
        "mass": dict(found[-1].body.content["mass"]),
        "units": found[-1].body.content["units"],
    }
    if plan.rules:
        facts["rules"] = desk.version("rules", plan.rules).sha256
    if plan.site:
        desk.version("site", plan.site)
        facts["site"] = plan.site
    return facts
