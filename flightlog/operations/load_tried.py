"""The load sheets of all choices, tried: from none to as many units as mass and balance take."""

from __future__ import annotations

from dataclasses import dataclass

from flightlog.errors import NotEnoughDataError, RefusedError, UsageError
from flightlog.operations.desk import Desk
from flightlog.operations.load_sheet import HOLDS, UNIT, Load, latest_sheet, typed_items, worked_out
from flightlog.operations.plan import Plan
from flightlog.operations.positions import named
from flightlog.operations.weighing import weighing_fault
from flightlog.rules.book import Limit
from flightlog.rules.judge import probability_of

_MASS = "mass.takeoff"
_BEYOND = 2
"""So many choices are told that mass or balance forbid."""


@dataclass(frozen=True, slots=True)
class TriedLoads:
    """Loads by their number of units, from 0 up, and what was taken. Sentences without a stop."""

    loads: tuple[Load, ...]
    said: tuple[str, ...]


def tried_loads(desk: Desk, plan: Plan, limits: tuple[Limit, ...], most_units: int) -> TriedLoads:
    """Work out the loads.

    Parameters
    ----------
    desk : Desk
        The record.
    plan : Plan
        Aircraft and pack.
    limits : tuple of Limit
        Those on the take-off mass end the list.
    most_units : int
        More are not tried.

    Raises
    ------
    NotEnoughDataError
        If there is no weighing to start from.
    UsageError
        If something is missing in the files.
    """
    if most_units < 0:
        raise UsageError(f"{most_units} units", where="--most-units", fix="From 0 up.")
    asked = [limit for limit in limits if limit.measured == _MASS]
    items, unit_mass, said = _as_on_sheet(desk, plan.aircraft)
    loads: list[Load] = []
    forbidden = 0
    for units in range(most_units + 1):
        try:
            load, _ = worked_out(
                desk, plan.aircraft, plan.pack, units, items, unit_mass=unit_mass, tried=True
            )
        except RefusedError as error:
            raise NotEnoughDataError(error.found, where=error.where, fix=error.fix) from error
        except UsageError as error:
            if not loads:
                raise
            said.append(f"more than none is not told: {error.sentence()}")
            break
        loads.append(load)
        mass = load.verdict.loaded.mass
        heavy = any(probability_of(limit, mass) < limit.plan_at for limit in asked)
        # With few units the balance may lie outside, and come in with more of them.
        forbidden += heavy or (not load.verdict.inside and any(one.verdict.inside for one in loads))
        if forbidden >= _BEYOND:
            break
    why = weighing_fault(desk, desk.aircraft(plan.aircraft))
    if why:
        said.append(f"the weighing does not hold: {why}; masses are tried from it all the same")
    return TriedLoads(tuple(loads), tuple(said))


def _as_on_sheet(desk: Desk, aircraft: str) -> tuple[list[str], str, list[str]]:
    """Give what else is on board, and the mass of a unit, by the load sheet that is in force."""
    sheet = latest_sheet(desk, aircraft)
    if sheet is None or desk.ledger.now - desk.ledger.when(sheet) > HOLDS:
        return [], "", []
    items = typed_items(sheet)
    units = [i for i in sheet.body.content["items"] if i["item"] == UNIT]
    mass = str(units[0]["mass"]["value"]) if units else ""
    said = [f"on board as on load sheet {named(sheet)}: {'; '.join(items)}"] if items else []
    return items, mass, said
