"""Whether the chosen pack can be flown: its cells, its restrictions, and its last charge."""

from __future__ import annotations

from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import CHARGE
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import named, newest
from flightlog.operations.sorties import SortieRecord
from flightlog.operations.usage import flights_of
from flightlog.team.ledger import PACK, subject

PACK_CONDITION = "pack"
"""Name of the condition."""
ROLE = "battery"
"""The role in which a person charges."""


def pack_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the pack fits the aircraft, is unrestricted and was charged since it flew.

    Its life and its inspections are judged with those of the aircraft; its energy is a limit.
    """
    held = [*_fit(desk, plan), *_restricted(desk, plan)]
    charged = _charged(desk, plan)
    if not charged.holds:
        held.append(charged)
    return held or [charged]


def _held(says: str, clear: str, *rests_on: Entry) -> Condition:
    return Condition(PACK_CONDITION, False, says, clear, rests_on)


def _fit(desk: Desk, plan: Plan) -> list[Condition]:
    aircraft, pack = desk.aircraft(plan.aircraft), desk.pack(plan.pack)
    unknown = [
        f"the file of {id_} does not say how many cells {what}"
        for id_, cells, what in (
            (plan.aircraft, aircraft.cells, "its battery has"),
            (plan.pack, pack.cells, "it has"),
        )
        if cells is None
    ]
    if unknown:
        clear = "Write the cells into the file and enter it: 'flightlog team enter FILE'."
        return [_held(" and ".join(unknown), clear)]
    if aircraft.cells == pack.cells:
        return []
    says = f"{plan.pack} has {pack.cells} cells, {plan.aircraft} is made for {aircraft.cells}"
    return [_held(says, "Choose another pack with --pack.")]


def _restricted(desk: Desk, plan: Plan) -> list[Condition]:
    return [
        _held(
            f"{plan.pack} is restricted by {named(entry)} ({entry.body.kind})",
            "Choose another pack, or have it put right: 'flightlog defect' and 'flightlog "
            "service' end such an entry.",
            entry,
        )
        for entry in desk.ledger.standing.open_restrictions(subject(PACK, plan.pack))
    ]


def _charged(desk: Desk, plan: Plan) -> Condition:
    ledger = desk.ledger
    clear = f"Charge it and enter it: 'flightlog team charge {plan.pack} --voltage V --by WHO'."
    charges = newest(
        ledger,
        (c for c in ledger.of(CHARGE, pack=plan.pack) if ledger.persons(c, "performed", ROLE)),
    )
    if not charges:
        return _held(f"no charge of {plan.pack} is in the record", clear)
    flights = flights_of(desk, PACK, plan.pack)
    charge = next((c for c in charges if all(_after(desk, c, f) for f in flights)), None)
    if charge is None:
        last = named(flights[-1].entry)
        return _held(f"{plan.pack} was not charged since its last flight, {last}", clear)
    volts = charge.body.content["voltage"]
    says = f"{plan.pack} was charged by {named(charge)} to {volts['value']} {volts['unit']}"
    return Condition(PACK_CONDITION, True, says, rests_on=(charge,))


def _after(desk: Desk, charge: Entry, flight: SortieRecord) -> bool:
    """Whether a charge was after a flight: it knew of the flight, and was not long before it."""
    ledger = desk.ledger
    if not ledger.has_seen(charge, flight.entry):
        return False
    return charge.body.occurred is None or ledger.when(charge) >= flight.ended
