"""The load sheet: what is on board and where, worked out from the last weighing.

A weighing is of the empty aircraft, without pack and payload. It holds for a year, in the
configuration in which it was made, until a repair or another configuration comes. A load sheet
holds for a day, for the pack that it names, until pack or payload are changed; what it says is
computed anew from its items whenever it is relied on.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

from flightlog.errors import RefusedError, UsageError
from flightlog.inputs import Aircraft, Pack, load_aircraft
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import EVENT, LOAD_SHEET, WEIGHING
from flightlog.operations.balance import Added, Loaded, Scale, Verdict, Weighed, judge, load, weigh
from flightlog.operations.desk import Desk
from flightlog.operations.events import BATTERY_CHANGE, CONFIGURATION_CHANGE
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import CLOCKS_APART, named, newest, number

ROLE = "engineer"
BATTERY, PAYLOAD = "battery", "payload"
"""The stations of the pack and of payload units."""
ITEM_STD_KG = Decimal("0.005")
"""Standard uncertainty of a pack, a unit or an item on a field scale. [kg]"""
WEIGHING_HOLDS = timedelta(days=365)
SHEET_HOLDS = timedelta(hours=24)
VOIDS_WEIGHING = ("repair", CONFIGURATION_CHANGE)
VOIDS_SHEET = ("payload-change", BATTERY_CHANGE, CONFIGURATION_CHANGE)
SAME_KG, SAME_PERCENT = 0.002, 0.05
"""What a sheet says and what is computed from it differ by rounding only: by less than this."""

_SCALE = re.compile(r"([^=]{1,40})=([^,=]+),([^,=]+)=([^=]+)")
_ITEM = re.compile(r"([^,]{1,60}),([^,]+),([^,]+)(?:,([0-9]{1,4}))?")


def weighing_draft(
    desk: Desk,
    aircraft: str,
    scales: Sequence[str],
    *,
    reading_std: str,
    arm_std: str,
    instrument: str,
    state: str,
    signers: Sequence[Signer],
) -> Draft:
    """Draft a weighing of the empty aircraft, without pack and payload.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Its id.
    scales : sequence of str
        Like ``nose=0.10,0=1.480``: name, place aft of the datum [m], place to the right [m], and
        reading [kg]. The same scale may be given more than once.
    reading_std, arm_std : str
        Standard uncertainties of a reading [kg] and of a place [m].
    instrument, state : str
        Which scales; how the aircraft stood.
    signers : sequence of Signer
        The person who weighed, and who looked.

    Raises
    ------
    UsageError
        If a scale can't be understood, or nothing was weighed.
    """
    read = []
    for text in scales:
        match = _SCALE.fullmatch(text.strip())
        if match is None:
            raise UsageError(
                f"{text[:60]!r} is no scale",
                where="--scale",
                fix="Like nose=0.10,0=1.480: name, arm in m, side in m, reading in kg.",
            )
        name, arm, side, reading = (part.strip() for part in match.groups())
        read.append(
            {
                "name": name,
                "arm": quantity(number(arm, text), "m"),
                "side": quantity(number(side, text), "m"),
                "reading": quantity(number(reading, text), "kg"),
            }
        )
    content: dict[str, Any] = {
        "aircraft": aircraft,
        "configuration": desk.aircraft(aircraft).configuration or "none stated",
        "state": state,
        "instrument": instrument,
        "scales": read,
        "reading_std": quantity(number(reading_std, "--reading-std"), "kg"),
        "arm_std": quantity(number(arm_std, "--arm-std"), "m"),
    }
    try:
        weighed_of(content)
    except ValueError as error:
        raise UsageError(str(error), where="--scale", fix="Check the readings.") from error
    return Draft(WEIGHING, content, list(signers))


def weighed_of(content: Mapping[str, Any]) -> Weighed:
    """Compute a weighing from what its entry says.

    Raises
    ------
    ValueError
        If fewer than two scales bear the aircraft, or one scale stands in two places.
    """
    places: dict[str, tuple[float, float]] = {}
    readings: dict[str, list[float]] = {}
    for scale in content["scales"]:
        name = scale["name"]
        place = (float(scale["arm"]["value"]), float(scale["side"]["value"]))
        if places.setdefault(name, place) != place:
            raise ValueError(f"the scale {name!r} stands in two places")
        readings.setdefault(name, []).append(float(scale["reading"]["value"]))
    if len(places) < 2:
        raise ValueError("two scales or more bear an aircraft")
    scales = [Scale(n, *places[n], tuple(readings[n])) for n in places]
    return weigh(scales, float(content["reading_std"]["value"]), float(content["arm_std"]["value"]))


def last_weighing(desk: Desk, aircraft: str) -> Entry | None:
    """Give the last weighing of an aircraft that the right person signed."""
    found = [
        e
        for e in desk.ledger.of(WEIGHING, aircraft=aircraft)
        if desk.ledger.persons(e, "performed", ROLE)
    ]
    return found[-1] if found else None


# --- the sheet


@dataclass(frozen=True, slots=True)
class Load:
    """A load as computed: what it starts from, what is added, and how it lies."""

    weighing: Entry
    empty: Weighed
    added: tuple[Added, ...]
    loaded: Loaded
    verdict: Verdict


def load_items(
    aircraft: Aircraft,
    pack: Pack,
    units: int,
    items: Sequence[str] = (),
    *,
    unit_mass: str = "",
) -> list[dict[str, Any]]:
    """Give the items of a load sheet.

    Parameters
    ----------
    aircraft, pack
        By their files.
    units : int
        Payload units.
    items : sequence of str
        Like ``camera,0.12,payload`` or ``strap,0.02,payload,2``: what, mass of one [kg], station,
        how many.
    unit_mass : str
        Mass of one unit as weighed [kg]; that of the aircraft's file when empty.

    Raises
    ------
    UsageError
        If a mass or a station is missing.
    """
    if pack.mass_kg is None:
        raise UsageError("its file has no mass_kg", where=pack.id, fix="Weigh it, and enter it.")
    listed = [_item(aircraft, f"pack {pack.id}", 1, f"{pack.mass_kg}", BATTERY)]
    if units:
        mass = unit_mass or (
            f"{aircraft.payload_unit_kg}" if aircraft.payload_unit_kg is not None else ""
        )
        if not mass:
            raise UsageError(
                "the aircraft's file has no payload_unit_kg",
                where=aircraft.id,
                fix="Give --unit-mass.",
            )
        listed.append(_item(aircraft, "payload unit", units, mass, PAYLOAD))
    for text in items:
        match = _ITEM.fullmatch(text.strip())
        if match is None:
            raise UsageError(
                f"{text[:60]!r} is no item",
                where="--item",
                fix="Like camera,0.12,payload: what, mass in kg, station.",
            )
        what, mass, station, count = match.groups()
        listed.append(_item(aircraft, what.strip(), int(count or 1), mass, station.strip()))
    return listed


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
        "mass": quantity(number(mass, what), "kg"),
        "mass_std": quantity(ITEM_STD_KG, "kg"),
        "station": station,
    }


def compute(aircraft: Aircraft, weighing: Entry, items: Sequence[Mapping[str, Any]]) -> Load:
    """Work out a load.

    Raises
    ------
    UsageError
        If the aircraft's file has no ``[balance]``, or the weighing can't be used.
    """
    if aircraft.balance is None:
        raise UsageError(
            "its file has no [balance]", where=aircraft.id, fix="Add chord and envelope."
        )
    try:
        empty = weighed_of(weighing.body.content)
    except ValueError as error:
        raise UsageError(str(error), where=named(weighing), fix="Weigh it anew.") from error
    added = []
    for item in items:
        station = aircraft.stations.get(item["station"])
        if station is None:
            raise UsageError(
                f"{item['station']!r} is no station of {aircraft.id}",
                where=item["item"],
                fix="Make the load sheet anew.",
            )
        forward = station.arm_m - (station.forward_m or station.arm_m) + station.slip_m
        aft = (station.aft_m or station.arm_m) - station.arm_m + station.slip_m
        added.append(
            Added(
                item["item"],
                item["count"],
                float(item["mass"]["value"]),
                float(item["mass_std"]["value"]),
                station.arm_m,
                station.arm_std_m,
                forward,
                aft,
            )
        )
    loaded = load(empty, added)
    return Load(weighing, empty, tuple(added), loaded, judge(loaded, aircraft.balance))


def worked_out(
    desk: Desk,
    aircraft_id: str,
    pack_id: str,
    units: int,
    items: Sequence[str] = (),
    *,
    unit_mass: str = "",
) -> tuple[Load, list[dict[str, Any]]]:
    """Work out a load from the files in force and the last weighing.

    Raises
    ------
    UsageError
        If something is missing in the files.
    RefusedError
        If there is no weighing that holds.
    """
    aircraft, pack = desk.aircraft(aircraft_id), desk.pack(pack_id)
    weighing = last_weighing(desk, aircraft_id)
    why = _weighing_fault(desk, aircraft, weighing)
    if weighing is None or why:
        raise RefusedError(
            f"there is no weighing to start from: {why}",
            where=aircraft_id,
            fix="Weigh it: 'flightlog balance weigh'.",
        )
    listed = load_items(aircraft, pack, units, items, unit_mass=unit_mass)
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
) -> Draft:
    """Draft a load sheet; one that lies outside the envelope is written down too, and says so."""
    found, listed = worked_out(desk, aircraft_id, pack_id, units, items, unit_mass=unit_mass)
    aircraft = desk.aircraft(aircraft_id)
    content = {
        "aircraft": aircraft_id,
        "configuration": aircraft.configuration or "none stated",
        "aircraft_file": aircraft.sha256,
        "pack": pack_id,
        "units": units,
        "items": listed,
        "mass": quantity(f"{found.loaded.kg:.3f}", "kg"),
        "mass_std": quantity(f"{found.loaded.kg_std:.4f}", "kg"),
        "arm": quantity(f"{found.loaded.arm_m:.4f}", "m"),
        "arm_std": quantity(f"{found.loaded.arm_std_m:.5f}", "m"),
        "balance": quantity(f"{found.verdict.balance:.2f}", "%"),
        "balance_std": quantity(f"{found.verdict.balance_std:.3f}", "%"),
        "inside": found.verdict.inside,
    }
    return Draft(
        LOAD_SHEET, content, list(signers), relations=[Relation(CITES, found.weighing.hash)]
    )


def sheets(desk: Desk, aircraft: str) -> tuple[Entry, ...]:
    """Give the load sheets of an aircraft that the right person signed."""
    return tuple(
        e
        for e in desk.ledger.of(LOAD_SHEET, aircraft=aircraft)
        if desk.ledger.persons(e, "performed", ROLE)
    )


def latest_sheet(desk: Desk, aircraft: str) -> Entry | None:
    """Give the last load sheet of an aircraft, None where there is none."""
    found = newest(desk.ledger, sheets(desk, aircraft))
    return found[0] if len(found) == 1 else None


def load_of(desk: Desk, sheet: Entry) -> Load:
    """Work out a load sheet anew, by the files and the weighing that it was made from.

    Raises
    ------
    UsageError
        If these are not in the record.
    """
    said = sheet.body.content
    version = desk.versions.by_hash(said["aircraft_file"])
    weighings = desk.ledger.named(sheet, CITES, WEIGHING)
    if version is None or version.id != said["aircraft"] or not weighings:
        raise UsageError(
            "the aircraft's file or the weighing that it starts from is not in the record",
            where=named(sheet),
            fix="Make the load sheet anew.",
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
    """Say whether the weighing holds, and whether the load lies within the envelope."""
    aircraft = desk.aircraft(plan.aircraft)
    weighing = last_weighing(desk, plan.aircraft)
    why = _weighing_fault(desk, aircraft, weighing)
    if why or weighing is None:
        first = Condition("weighing", False, why, "Weigh it: 'flightlog balance weigh'.")
    else:
        weighed = weighed_of(weighing.body.content)
        says = f"{weighed.kg:.3f} kg empty, by {named(weighing)}"
        first = Condition("weighing", True, says, "", (weighing,))
    return [first, _load(desk, plan, aircraft)]


def _weighing_fault(desk: Desk, aircraft: Aircraft, weighing: Entry | None) -> str:
    """Say why a weighing does not hold, "" where it does."""
    if weighing is None:
        return f"{aircraft.id} was never weighed"
    said = weighing.body.content
    if said["configuration"] != (aircraft.configuration or "none stated"):
        return f"weighed in configuration {said['configuration']}, not {aircraft.configuration}"
    age = desk.ledger.now - desk.ledger.when(weighing)
    if not -CLOCKS_APART <= age <= WEIGHING_HOLDS:
        return f"the weighing is {age.days} days old"
    for word in _since(desk, aircraft.id, weighing):
        if word in VOIDS_WEIGHING:
            return f"not weighed since: {word}"
    try:
        weighed_of(said)
    except ValueError as error:
        return str(error)
    return ""


def _since(desk: Desk, aircraft: str, entry: Entry) -> list[str]:
    """Name the events of an aircraft that an entry had not seen."""
    events = desk.ledger.of(EVENT, aircraft=aircraft)
    return [str(e.body.content["event"]) for e in desk.ledger.unseen(events, entry)]


def _load(desk: Desk, plan: Plan, aircraft: Aircraft) -> Condition:
    clear = (
        f"'flightlog balance sheet --aircraft {plan.aircraft} --pack {plan.pack} --units N "
        "--by WHO'."
    )
    every = sheets(desk, plan.aircraft)
    last = newest(desk.ledger, every)
    if not last:
        return Condition("load", False, "there is no load sheet", clear)
    for sheet in last:
        why = _sheet_fault(desk, plan, aircraft, sheet)
        if why:
            return Condition("load", False, f"load sheet {named(sheet)}: {why}", clear, (sheet,))
    if len(last) > 1:
        names = ", ".join(map(named, last))
        return Condition("load", False, f"load sheets made apart: {names}", clear, last)
    said = last[0].body.content
    says = (
        f"{said['mass']['value']} kg, {said['units']} units, balance {said['balance']['value']} % "
        f"± {2 * float(said['balance_std']['value']):.2f} %, the worst corner inside"
    )
    return Condition("load", True, says, "", last)


def _sheet_fault(desk: Desk, plan: Plan, aircraft: Aircraft, sheet: Entry) -> str:
    said = sheet.body.content
    if said["aircraft_file"] != aircraft.sha256:
        return "made by another version of the aircraft's file"
    if said["pack"] != plan.pack:
        return f"made for pack {said['pack']}, not {plan.pack}"
    age = desk.ledger.now - desk.ledger.when(sheet)
    if not -CLOCKS_APART <= age <= SHEET_HOLDS:
        return f"{age.total_seconds() / 3600:.0f} h old; it holds for a day"
    for word in _since(desk, aircraft.id, sheet):
        if word in VOIDS_SHEET:
            return f"made before: {word}"
    if not any(item["item"] == f"pack {plan.pack}" for item in said["items"]):
        return f"pack {plan.pack} is not on it"
    weighing = last_weighing(desk, aircraft.id)
    if weighing not in desk.ledger.named(sheet, CITES, WEIGHING):
        return "it does not start from the last weighing"
    try:
        found = load_of(desk, sheet)
    except UsageError as error:
        return error.found
    if (
        abs(found.loaded.kg - float(said["mass"]["value"])) > SAME_KG
        or abs(found.verdict.balance - float(said["balance"]["value"])) > SAME_PERCENT
    ):
        return f"its items make {found.loaded.kg:.3f} kg, {found.verdict.balance:.2f} %"
    if not found.verdict.inside:
        return outside_text(found.verdict)
    return ""


def outside_text(verdict: Verdict) -> str:
    """Say how a load lies outside its envelope."""
    if verdict.worst is None:
        return "between its corners the load runs out of the envelope"
    kg, percent = verdict.worst
    return f"its worst corner, {kg:.2f} kg at {percent:.1f} %, lies outside the envelope"
