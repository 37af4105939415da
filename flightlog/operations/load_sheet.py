"""The load sheet: what is on board and where, worked out from the weighing that holds.

A load sheet holds for a day, for the pack that it names, until pack or payload are changed; what
it says is computed anew from its items whenever it is relied on.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

from flightlog.errors import RefusedError, TeamFileError, UsageError
from flightlog.groundtests.scale_arithmetic import Body
from flightlog.inputs import Aircraft, Pack, load_aircraft
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import LOAD_SHEET, WEIGHING
from flightlog.operations.balance import Added, Verdict, judge
from flightlog.operations.desk import Desk
from flightlog.operations.events import BATTERY_CHANGE, CONFIGURATION_CHANGE
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import CLOCKS_APART, named, newest
from flightlog.operations.weighing import (
    BATTERY,
    HEAVIEST_KG,
    ITEM_STD_KG,
    bounded,
    correcting,
    empty_of,
    events_since,
    last_weighing,
    named_configuration,
    pack_mass,
    weighing_condition,
    weighing_fault,
)
from flightlog.team.ledger import AIRCRAFT
from flightlog.uncertain import Uncertain

ROLE = "engineer"
"""The role in which a person makes a load sheet."""
PAYLOAD = "payload"
"""The station of payload units."""
UNIT = "payload unit"
"""Name of the item that payload units are."""
HOLDS = timedelta(hours=24)
VOIDED_BY = ("payload-change", BATTERY_CHANGE, CONFIGURATION_CHANGE)
"""Events after which a load sheet does not hold."""
MOST_UNITS = 1000
MOST_ITEMS = 64
_DIGITS = {"mass": 3, "mass_std": 4, "arm": 4, "arm_std": 5, "balance": 2, "balance_std": 3}
"""Number of a sheet -> decimals with which it is written."""
_UNITS = {"mass": "kg", "arm": "m", "balance": "%"}
_HALF = 0.5000001
"""What a sheet says is what is computed from it, rounded: by half of its last digit at most."""
_LIGHTEST_KG = Decimal("0.001")
_ITEM = re.compile(r"([^,]{1,60}),([^,]+),([^,]+)(?:,([0-9]{1,4}))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Load:
    """A load as computed: what it starts from, what is added, and how it lies.

    Attributes
    ----------
    weighing : Entry
        From which it starts.
    empty : Body
        The aircraft without pack and payload.
    added : tuple of Added
        What is on board.
    verdict : Verdict
        Mass, balance, and whether the worst corner lies inside.
    """

    weighing: Entry
    empty: Body
    added: tuple[Added, ...]
    verdict: Verdict

    @property
    def mass_kg(self) -> float:
        """Take-off mass [kg]."""
        return self.verdict.loaded.mass.value


# --- working it out


def load_items(
    desk: Desk, aircraft: Aircraft, pack: Pack, units: int, items: Sequence[str], unit_mass: str
) -> list[dict[str, Any]]:
    """Give the items of a load sheet: the pack, the payload units, and what was typed.

    Raises
    ------
    UsageError
        If a mass or a station is missing or can't be one, or something is there twice.
    """
    if not 0 <= units <= MOST_UNITS:
        raise UsageError(f"{units} units", where="--units", fix=f"From 0 to {MOST_UNITS}.")
    listed = [_item(aircraft, f"pack {pack.id}", 1, f"{pack_mass(desk, pack.id)}", BATTERY)]
    if units:
        declared = aircraft.payload_unit_kg
        mass = unit_mass or (f"{Decimal(repr(declared))}" if declared is not None else "")
        if not mass:
            raise UsageError(
                "the aircraft's file has no payload_unit_kg",
                where=aircraft.id,
                fix="Give --unit-mass.",
            )
        listed.append(_item(aircraft, UNIT, units, mass, PAYLOAD))
    listed += [_typed(aircraft, text) for text in items]
    twice = next((i["item"] for n, i in enumerate(listed) if i in listed[:n]), "")
    if twice:
        raise UsageError("is there twice", where=twice, fix="Give its count: WHAT,KG,STATION,N.")
    if len(listed) > MOST_ITEMS:
        raise UsageError(f"{len(listed)} items", where="--item", fix=f"Give {MOST_ITEMS} at most.")
    return listed


def _typed(aircraft: Aircraft, text: str) -> dict[str, Any]:
    """Read an item like ``camera,0.12,payload`` or ``strap,0.02,payload,2``."""
    match = _ITEM.fullmatch(text.strip())
    if match is None or not match[1].strip():
        raise UsageError(
            f"{text[:60]!r} is no item",
            where="--item",
            fix="Like camera,0.12,payload: what, mass of one in kg, station; and how many.",
        )
    what, mass, station, count = match.groups()
    what = what.strip()
    if what == UNIT or what.startswith("pack "):
        raise UsageError(
            "units and pack have options of their own", where=what, fix="Call it otherwise."
        )
    return _item(aircraft, what, int(count or 1), mass, station.strip())


def _item(aircraft: Aircraft, what: str, count: int, mass: str, station: str) -> dict[str, Any]:
    if station not in aircraft.stations:
        known = ", ".join(aircraft.stations) or "none"
        raise UsageError(
            f"{station[:40]!r} is no station of {aircraft.id}", where=what, fix=f"It has: {known}."
        )
    if count < 1:
        raise UsageError("there is none of it", where=what, fix="Leave it out.")
    return {
        "item": what,
        "count": count,
        "mass": quantity(bounded(mass, what, _LIGHTEST_KG, HEAVIEST_KG, "kg"), "kg"),
        "mass_std": quantity(ITEM_STD_KG, "kg"),
        "station": station,
    }


def compute(aircraft: Aircraft, weighing: Entry, items: Sequence[Mapping[str, Any]]) -> Load:
    """Work out a load.

    Raises
    ------
    UsageError
        If the aircraft's file has no ``[balance]``, the weighing can't be used, or an item is of
        no station or no mass.
    """
    if aircraft.balance is None:
        raise UsageError(
            "its file has no [balance]",
            where=aircraft.id,
            fix="Add chord and envelope, and enter it: 'flightlog team enter FILE'.",
        )
    try:
        empty = empty_of(weighing.body.content, aircraft)
    except ValueError as error:
        raise UsageError(str(error), where=named(weighing), fix="Weigh it anew.") from error
    added = tuple(_added(aircraft, item) for item in items)
    return Load(weighing, empty, added, judge(empty, added, aircraft.balance))


def _added(aircraft: Aircraft, item: Mapping[str, Any]) -> Added:
    station = aircraft.stations.get(item["station"])
    kg, kg_std = float(item["mass"]["value"]), float(item["mass_std"]["value"])
    anew = "Make the load sheet anew."
    if station is None:
        raise UsageError(
            f"{item['station']!r} is no station of {aircraft.id}", where=item["item"], fix=anew
        )
    if not (0 < kg <= HEAVIEST_KG and 0 < kg_std <= HEAVIEST_KG):
        raise UsageError("has a mass that can't be one", where=item["item"], fix=anew)
    first = station.arm_m if station.forward_m is None else station.forward_m
    last = station.arm_m if station.aft_m is None else station.aft_m
    return Added(
        item["item"],
        item["count"],
        kg,
        kg_std,
        item["station"],
        station.arm_m,
        station.arm_std_m,
        station.arm_m - first + station.slip_m,
        last - station.arm_m + station.slip_m,
    )


def worked_out(
    desk: Desk,
    aircraft_id: str,
    pack_id: str,
    units: int,
    items: Sequence[str] = (),
    *,
    unit_mass: str = "",
    tried: bool = False,
) -> tuple[Load, list[dict[str, Any]]]:
    """Work out a load from the files in force and the weighing that holds.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft_id, pack_id : str
        By their files.
    units : int
        Payload units.
    items : sequence of str
        Like ``camera,0.12,payload`` or ``strap,0.02,payload,2``: what, mass of one [kg], station,
        how many.
    unit_mass : str
        Mass of one unit as weighed [kg]; that of the aircraft's file when empty.
    tried : bool
        Whether it is only tried: then the last weighing will do, though it does not hold.

    Raises
    ------
    UsageError
        If something is missing in the files, or was typed wrong.
    RefusedError
        If there is no weighing that holds.
    """
    aircraft, pack = desk.aircraft(aircraft_id), desk.pack(pack_id)
    weighing, why = last_weighing(desk, aircraft_id), weighing_fault(desk, aircraft)
    if weighing is None or (why and not tried):
        raise RefusedError(
            f"there is no weighing to start from: {why}",
            where=aircraft_id,
            fix=f"Weigh it: 'flightlog balance weigh --aircraft {aircraft_id} ...'.",
        )
    listed = load_items(desk, aircraft, pack, units, items, unit_mass)
    return compute(aircraft, weighing, listed), listed


def sheet_draft(
    desk: Desk,
    aircraft_id: str,
    pack_id: str,
    units: int,
    signers: Sequence[Signer],
    items: Sequence[str] = (),
    *,
    unit_mass: str = "",
    corrects: Entry | None = None,
) -> Draft:
    """Draft a load sheet; one that lies outside the envelope is written down too, and says so.

    See `worked_out` for parameters and errors; ``corrects`` is a sheet that this one puts right.
    """
    found, listed = worked_out(desk, aircraft_id, pack_id, units, items, unit_mass=unit_mass)
    aircraft = desk.aircraft(aircraft_id)
    content = {
        "aircraft": aircraft_id,
        "configuration": named_configuration(aircraft),
        "aircraft_file": aircraft.sha256,
        "pack": pack_id,
        "units": units,
        "items": listed,
        **{key: _written(key, value) for key, value in _numbers(found.verdict).items()},
        "inside": found.verdict.inside,
    }
    relations = [Relation(CITES, found.weighing.hash), *correcting(corrects, content)]
    return Draft(LOAD_SHEET, content, list(signers), relations=relations)


def _numbers(verdict: Verdict) -> dict[str, float]:
    """Give the numbers of a sheet, unrounded."""
    mass, arm, balance = verdict.loaded.mass, verdict.loaded.arm, verdict.balance
    values = {"mass": mass, "arm": arm, "balance": balance}
    found = {key: number.value for key, number in values.items()}
    return found | {f"{key}_std": number.std for key, number in values.items()}


def _written(key: str, value: float) -> dict[str, Any]:
    return quantity(f"{value:.{_DIGITS[key]}f}", _UNITS[key.removesuffix("_std")])


# --- what sheets say


def sheets(desk: Desk, aircraft: str) -> tuple[Entry, ...]:
    """Give the load sheets of an aircraft that the right person signed and nobody corrected."""
    return tuple(e for e in _ever(desk, aircraft) if not desk.ledger.corrections(e))


def _ever(desk: Desk, aircraft: str) -> tuple[Entry, ...]:
    """Give the load sheets that count, those that were corrected too."""
    return tuple(
        entry
        for entry in desk.ledger.order
        if entry.body.kind == LOAD_SHEET
        and entry.body.content.get("aircraft") == aircraft
        and desk.ledger.standing.counts(entry)
        and desk.ledger.persons(entry, "performed", ROLE)
    )


def latest_sheet(desk: Desk, aircraft: str) -> Entry | None:
    """Give the last load sheet of an aircraft.

    None where there is none, where several were made apart, and where the last was taken back.
    """
    found = newest(desk.ledger, _ever(desk, aircraft))
    return found[0] if len(found) == 1 and not desk.ledger.corrections(found[0]) else None


def typed_items(sheet: Entry) -> list[str]:
    """Give what a sheet has on board beside pack and units, as it is typed."""
    return [
        f"{i['item']},{i['mass']['value']},{i['station']},{i['count']}"
        for i in sheet.body.content["items"]
        if i["item"] != UNIT and not i["item"].startswith("pack ")
    ]


def load_of(desk: Desk, sheet: Entry) -> Load:
    """Work out a load sheet anew, by the file and the weighing that it was made from.

    Raises
    ------
    UsageError
        If these are not in the record, or no load follows from them.
    TeamFileError
        If the file's bytes are not what this program reads.
    """
    said = sheet.body.content
    version = desk.versions.by_hash(said["aircraft_file"])
    weighings = desk.ledger.named(sheet, CITES, WEIGHING)
    anew = "Make the load sheet anew."
    if version is None or (version.kind, version.id) != (AIRCRAFT, said["aircraft"]):
        raise UsageError(
            "the aircraft's file that it was made by is not in the record",
            where=named(sheet),
            fix=anew,
        )
    if len(weighings) != 1 or weighings[0].body.content["aircraft"] != said["aircraft"]:
        raise UsageError(
            "it does not start from one weighing of the aircraft", where=named(sheet), fix=anew
        )
    return compute(desk.loaded(version, load_aircraft), weighings[0], said["items"])


def mass_of(desk: Desk, plan: Plan) -> tuple[float, float] | None:
    """Give the take-off mass by the last load sheet, with its standard uncertainty [kg]."""
    sheet = latest_sheet(desk, plan.aircraft)
    if sheet is None:
        return None
    said = sheet.body.content
    return float(said["mass"]["value"]), float(said["mass_std"]["value"])


def units_of(desk: Desk, plan: Plan) -> int | None:
    """Give the payload units by the last load sheet."""
    sheet = latest_sheet(desk, plan.aircraft)
    return None if sheet is None else int(sheet.body.content["units"])


# --- conditions


def load_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the weighing holds, and whether the load lies within the envelope.

    Whether the mass is within limits of rule book and aircraft is asked where all limits that
    are judged before a flight are, by what the sheet says.
    """
    aircraft = desk.aircraft(plan.aircraft)
    return [weighing_condition(desk, aircraft), _load(desk, plan, aircraft)]


def _load(desk: Desk, plan: Plan, aircraft: Aircraft) -> Condition:
    clear = (
        f"'flightlog balance sheet --aircraft {plan.aircraft} --pack {plan.pack} --units N "
        "--by WHO'."
    )
    last = newest(desk.ledger, _ever(desk, plan.aircraft))
    if not last:
        return Condition("load", False, "there is no load sheet", f"Make one: {clear}")
    anew = f"Make it anew: {clear}"
    for sheet in last:
        try:
            why = _sheet_fault(desk, plan, aircraft, sheet)
        except (UsageError, TeamFileError) as error:
            why = error.found
        if why:
            return Condition("load", False, f"load sheet {named(sheet)}: {why}", anew, (sheet,))
    if len(last) > 1:
        names = ", ".join(map(named, last))
        return Condition("load", False, f"load sheets made apart: {names}", anew, last)
    verdict = load_of(desk, last[0]).verdict
    units = last[0].body.content["units"]
    says = (
        f"{_with_std(verdict.loaded.mass, 3)}, {units} units, balance "
        f"{_with_std(verdict.balance, 2)}; worst corner {_corner(verdict)} inside"
    )
    return Condition("load", True, says, "", last)


def _sheet_fault(desk: Desk, plan: Plan, aircraft: Aircraft, sheet: Entry) -> str:
    """Say why a load sheet can't be flown by, "" where it can."""
    said, ledger = sheet.body.content, desk.ledger
    taken_back = ledger.corrections(sheet)
    if taken_back:
        return f"taken back by {named(taken_back[0])}"
    if said["aircraft_file"] != aircraft.sha256:
        return "made by another version of the aircraft's file"
    if said["configuration"] != named_configuration(aircraft):
        return f"made for configuration {said['configuration']}"
    if said["pack"] != plan.pack:
        return f"made for pack {said['pack']}, not {plan.pack}"
    age = ledger.now - ledger.when(sheet)
    if age < -CLOCKS_APART:
        return "it lies ahead of this laptop's clock"
    if age >= HOLDS:
        return f"{age / timedelta(hours=1):.1f} h old; it holds for {HOLDS / timedelta(hours=1):g}"
    word = next(
        (w for w in events_since(desk, sheet, plan.aircraft, plan.pack) if w in VOIDED_BY), ""
    )
    if word:
        return f"made before: {word}"
    weighing = last_weighing(desk, aircraft.id)
    if weighing not in ledger.named(sheet, CITES, WEIGHING):
        return "it does not start from the weighing that holds"
    return _items_fault(desk, plan, said) or _numbers_fault(load_of(desk, sheet), said)


def _items_fault(desk: Desk, plan: Plan, said: Mapping[str, Any]) -> str:
    """Say how items differ from the pack that is planned, and from the units that are stated."""
    name, mass = f"pack {plan.pack}", pack_mass(desk, plan.pack)
    packs = [i for i in said["items"] if i["item"].startswith("pack ")]
    if [(i["item"], i["count"], i["station"]) for i in packs] != [(name, 1, BATTERY)]:
        return f"pack {plan.pack} is not on it once, at the station {BATTERY!r}"
    if Decimal(packs[0]["mass"]["value"]) != mass:
        return f"its pack has {packs[0]['mass']['value']} kg, and by its file {mass} kg"
    units = [i for i in said["items"] if i["item"] == UNIT]
    if sum(i["count"] for i in units) != said["units"]:
        return f"it says {said['units']} units, and has {sum(i['count'] for i in units)} on it"
    if any(i["station"] != PAYLOAD for i in units):
        return f"units are not at the station {PAYLOAD!r}"
    return ""


def _numbers_fault(found: Load, said: Mapping[str, Any]) -> str:
    """Say how what is computed differs from what is written, and how it lies outside."""
    for key, value in _numbers(found.verdict).items():
        if abs(value - float(said[key]["value"])) > _HALF * 10.0 ** -_DIGITS[key]:
            right = _written(key, value)
            return (
                f"it says {key} {said[key]['value']} {right['unit']}, and its items make "
                f"{right['value']}"
            )
    if not found.verdict.inside:
        return outside_text(found.verdict)
    return "" if said["inside"] else "it says that it lies outside the envelope"


def outside_text(verdict: Verdict) -> str:
    """Say how a load lies outside its envelope."""
    return (
        f"{_with_std(verdict.loaded.mass, 3)} at {_with_std(verdict.balance, 2)}: worst corner "
        f"{_corner(verdict)} outside the envelope"
    )


def _with_std(number: Uncertain, digits: int) -> str:
    return f"{number.value:.{digits}f} ± {2 * number.std:.{digits}f} {number.unit}"


def _corner(verdict: Verdict) -> str:
    kg, percent = verdict.worst
    return f"{kg:.3f} kg at {percent:.2f} %"
