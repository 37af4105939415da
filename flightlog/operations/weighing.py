"""Weighings of the empty aircraft: what an entry says, which one holds, and for how long.

A weighing is of the aircraft without payload; a pack that was on board is named, and taken off
again. It holds for a year, in the configuration in which it was made, until a repair or another
configuration comes, or the aircraft's file is changed in what a weighing rests on.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import timedelta
from decimal import Decimal
from typing import Any

from flightlog.errors import FlightlogError, UsageError
from flightlog.groundtests.scale_arithmetic import Body, Scale, weigh
from flightlog.inputs import Aircraft
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CORRECTS, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import EVENT, WEIGHING
from flightlog.operations.balance import Added, load
from flightlog.operations.desk import Desk
from flightlog.operations.events import CONFIGURATION_CHANGE
from flightlog.operations.plan import Condition
from flightlog.operations.positions import CLOCKS_APART, named, newest, number
from flightlog.team.ledger import AIRCRAFT, PACK

WEIGHERS = ("engineer", "mechanic")
"""Roles in which a person weighs; the first of them that the person holds."""
BATTERY = "battery"
"""The station of the pack."""
ITEM_STD_KG = Decimal("0.005")
"""Standard uncertainty of a pack, a unit or an item on a field scale. [kg]"""
HOLDS = timedelta(days=365)
VOIDED_BY = ("repair", CONFIGURATION_CHANGE)
"""Events after which a weighing does not hold."""
DECLARED_CHANGE = 0.01
"""A declared empty mass that changes by a larger share asks for a weighing."""
MOST_SCALES = 4
MOST_READINGS = 16
HEAVIEST_KG, LONGEST_ARM_M = 100, 10
"""What is larger was typed in another unit."""
_MOST_READING_STD_KG, _MOST_ARM_STD_M = 1, Decimal("0.1")
_SCALE = re.compile(r"([^=]{1,40})=([^,=]+),([^,=]+)=([^=]+)")


def bounded(text: str, where: str, least: Decimal | int, most: Decimal | int, unit: str) -> Decimal:
    """Read a number that has to lie within bounds.

    Raises
    ------
    UsageError
        If it is none, or does not; a wrong unit is the likely cause.
    """
    value = number(text, where)
    if not least <= value <= most:
        raise UsageError(
            f"{text.strip()} is not from {least} to {most} {unit}",
            where=where,
            fix=f"Give it in {unit}.",
        )
    return value


def named_configuration(aircraft: Aircraft) -> str:
    """Give the configuration as entries name it."""
    return aircraft.configuration or "none stated"


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
    with_pack: str = "",
    corrects: Entry | None = None,
) -> Draft:
    """Draft a weighing of the empty aircraft, without payload.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Its id.
    scales : sequence of str
        Like ``nose=0.10,0=1.480``: name, place aft of the datum [m], place to the right [m], and
        reading [kg]. Two to four scales; the same one may be given more than once.
    reading_std, arm_std : str
        Standard uncertainties of a scale [kg] and of a place [m], above 0.
    instrument, state : str
        Which scales; how the aircraft stood.
    signers : sequence of Signer
        The person who weighed, in one of the roles `WEIGHERS`, and who looked.
    with_pack : str, optional
        Id of the pack that was on board, at the mark of its station.
    corrects : Entry, optional
        An earlier weighing that this one puts right.

    Raises
    ------
    UsageError
        If a scale can't be understood, a number is out of range, or no balance follows.
    """
    if len(scales) > MOST_READINGS:
        raise UsageError(f"{len(scales)} readings", where="--scale", fix="Give 16 at most.")
    lowest = Decimal("0.000001")
    known = desk.aircraft(aircraft)
    content: dict[str, Any] = {
        "aircraft": aircraft,
        "configuration": named_configuration(known),
        "state": state,
        "instrument": instrument,
        "scales": [_scale(text) for text in scales],
        "reading_std": quantity(
            bounded(reading_std, "--reading-std", lowest, _MOST_READING_STD_KG, "kg"), "kg"
        ),
        "arm_std": quantity(bounded(arm_std, "--arm-std", lowest, _MOST_ARM_STD_M, "m"), "m"),
    }
    if with_pack:
        content["with_pack"] = with_pack
        content["pack_mass"] = quantity(pack_mass(desk, with_pack), "kg")
    try:
        empty_of(content, known)
    except ValueError as error:
        raise UsageError(str(error), where="--scale", fix="Check the readings.") from error
    return Draft(WEIGHING, content, list(signers), relations=correcting(corrects, content))


def correcting(corrects: Entry | None, content: Mapping[str, Any]) -> list[Relation]:
    """Give the relation to an entry that is put right.

    Raises
    ------
    UsageError
        If that one is of another aircraft.
    """
    if corrects is None:
        return []
    other = corrects.body.content.get("aircraft")
    if other != content["aircraft"]:
        raise UsageError(
            f"is of {other}, not of {content['aircraft']}",
            where=named(corrects),
            fix="Name one of the same aircraft.",
        )
    return [Relation(CORRECTS, corrects.hash)]


def pack_mass(desk: Desk, pack: str) -> Decimal:
    """Give the mass of a pack by its file in force [kg].

    Raises
    ------
    UsageError
        If its file does not say.
    """
    mass = desk.pack(pack).mass_kg
    if mass is None:
        raise UsageError(
            "its file has no mass_kg",
            where=pack,
            fix="Weigh it, write mass_kg into the file, and enter it: 'flightlog team enter FILE'.",
        )
    return Decimal(repr(mass))


def _scale(text: str) -> dict[str, Any]:
    match = _SCALE.fullmatch(text.strip())
    if match is None:
        raise UsageError(
            f"{text[:60]!r} is no scale",
            where="--scale",
            fix="Like nose=0.10,0=1.480: name, arm in m, side in m, reading in kg.",
        )
    name, arm, side, reading = (part.strip() for part in match.groups())
    where = f"--scale {name}"
    return {
        "name": name,
        "arm": quantity(bounded(arm, where, -LONGEST_ARM_M, LONGEST_ARM_M, "m"), "m"),
        "side": quantity(bounded(side, where, -LONGEST_ARM_M, LONGEST_ARM_M, "m"), "m"),
        "reading": quantity(bounded(reading, where, 0, HEAVIEST_KG, "kg"), "kg"),
    }


# --- what an entry says


def scales_of(content: Mapping[str, Any]) -> list[Scale]:
    """Give the scales of a weighing, each with all its readings.

    Raises
    ------
    ValueError
        If a scale stands in two places, they are too many, or a number can't be one of a scale.
    """
    places: dict[str, tuple[float, float]] = {}
    readings: dict[str, list[float]] = {}
    for scale in content["scales"]:
        name = scale["name"]
        place = (float(scale["arm"]["value"]), float(scale["side"]["value"]))
        reading = float(scale["reading"]["value"])
        if places.setdefault(name, place) != place:
            raise ValueError(f"the scale {name!r} stands in two places")
        if not 0 <= reading <= HEAVIEST_KG or max(map(abs, place)) > LONGEST_ARM_M:
            raise ValueError(f"the scale {name!r} has a number that can't be one")
        readings.setdefault(name, []).append(reading)
    if len(places) > MOST_SCALES:
        raise ValueError(f"{MOST_SCALES} scales at most bear an aircraft")
    return [Scale(name, *places[name], tuple(readings[name])) for name in places]


def weighed_of(content: Mapping[str, Any]) -> Body:
    """Compute what stood on the scales from what a weighing says.

    Raises
    ------
    ValueError
        If no balance follows from it.
    """
    reading_std = float(content["reading_std"]["value"])
    arm_std = float(content["arm_std"]["value"])
    if not (reading_std > 0 and arm_std > 0):
        raise ValueError("it says no uncertainty, and no scale is exact")
    return weigh(scales_of(content), reading_std, arm_std)


def empty_of(content: Mapping[str, Any], aircraft: Aircraft) -> Body:
    """Compute the aircraft without pack and payload from what a weighing says.

    Raises
    ------
    ValueError
        If no balance follows from it, or the aircraft has no station for the pack.
    """
    weighed = weighed_of(content)
    pack = content.get("with_pack")
    if pack is None:
        return weighed
    station = aircraft.stations.get(BATTERY)
    if station is None:
        raise ValueError(f"the file of {aircraft.id} has no station {BATTERY!r} for the pack")
    if "pack_mass" not in content:
        raise ValueError(f"it does not say the mass of {pack}, which was on board")
    mass = float(content["pack_mass"]["value"])
    if not 0 < mass <= HEAVIEST_KG:
        raise ValueError(f"the mass of {pack} can't be one")
    off = Added(
        f"pack {pack}", -1, mass, float(ITEM_STD_KG), BATTERY, station.arm_m, station.arm_std_m
    )
    return load(weighed, [off])


# --- which one holds


def last_weighing(desk: Desk, aircraft: str) -> Entry | None:
    """Give the weighing of an aircraft that counts: the last one in its present configuration.

    None where there is none, and where several were made apart from each other.
    """
    found = newest(desk.ledger, _in_this_configuration(desk, aircraft))
    return found[0] if len(found) == 1 else None


def _signed(desk: Desk, aircraft: str) -> tuple[Entry, ...]:
    return tuple(
        entry
        for entry in desk.ledger.of(WEIGHING, aircraft=aircraft)
        if any(desk.ledger.persons(entry, "performed", role) for role in WEIGHERS)
    )


def _in_this_configuration(desk: Desk, aircraft: str) -> tuple[Entry, ...]:
    now = named_configuration(desk.aircraft(aircraft))
    return tuple(e for e in _signed(desk, aircraft) if e.body.content["configuration"] == now)


def weighing_fault(desk: Desk, aircraft: Aircraft) -> str:
    """Say why there is no weighing that a load can start from, "" where there is one."""
    here = newest(desk.ledger, _in_this_configuration(desk, aircraft.id))
    if not here:
        others = _signed(desk, aircraft.id)
        if not others:
            return f"{aircraft.id} was never weighed"
        was = others[-1].body.content["configuration"]
        return f"weighed in configuration {was}, not {named_configuration(aircraft)}"
    if len(here) > 1:
        return f"weighings made apart from each other: {', '.join(map(named, here))}"
    weighing = here[0]
    age = desk.ledger.now - desk.ledger.when(weighing)
    if age < -CLOCKS_APART:
        return "the weighing lies ahead of this laptop's clock"
    if age > HOLDS:
        return f"the weighing is {age.days} days old, and holds for {HOLDS.days}"
    word = next((w for w in events_since(desk, weighing, aircraft.id) if w in VOIDED_BY), "")
    if word:
        return f"not weighed since: {word}"
    try:
        empty_of(weighing.body.content, aircraft)
    except ValueError as error:
        return f"weighing {named(weighing)}: {error}"
    return _changed_file(desk, aircraft, weighing)


def _changed_file(desk: Desk, aircraft: Aircraft, weighing: Entry) -> str:
    """Say what of the file in force is not as it was when the aircraft was weighed."""
    seen = [
        version
        for version in desk.versions.history(AIRCRAFT, aircraft.id)
        if desk.ledger.has_seen(weighing, version.entry)
    ]
    if not seen:
        return "weighed before the aircraft's file was entered"
    old = desk.versions.table(seen[-1])
    new = desk.version(AIRCRAFT, aircraft.id)
    now = desk.versions.table(new)
    for key in ("datum", "mac_m", "lemac_m"):
        if _of(old, "balance", key) != _of(now, "balance", key):
            return f"since it was weighed its file has another {key}"
    before, after = _of(old, "mass", "empty_kg"), aircraft.empty_kg
    if not isinstance(before, int | float) or after is None:
        return ""
    if abs(after - before) > DECLARED_CHANGE * before:
        return f"since it was weighed its file has another empty_kg: {before:g}, now {after:g} kg"
    return ""


def _of(file: Mapping[str, Any], table: str, key: str) -> Any:
    found = file.get(table)
    return found.get(key) if isinstance(found, Mapping) else None


def events_since(desk: Desk, entry: Entry, aircraft: str, pack: str = "") -> list[str]:
    """Name the events of an aircraft, or of a pack, that an entry had not seen."""
    about = {(AIRCRAFT, aircraft), (PACK, pack)}
    return [
        str(event.body.content["event"])
        for event in desk.ledger.unseen(desk.ledger.of(EVENT), entry)
        if about & set(event.body.content.items())
    ]


def weighing_condition(desk: Desk, aircraft: Aircraft) -> Condition:
    """Say whether the aircraft was weighed as it is now, and not too long ago."""
    try:
        why = weighing_fault(desk, aircraft)
    except FlightlogError as error:
        why = error.found
    weighing = last_weighing(desk, aircraft.id)
    if why or weighing is None:
        clear = f"Weigh it: 'flightlog balance weigh --aircraft {aircraft.id} ... --by WHO'."
        rests_on = (weighing,) if weighing is not None else ()
        return Condition("weighing", False, why, clear, rests_on)
    empty = empty_of(weighing.body.content, aircraft)
    left = desk.ledger.when(weighing) + HOLDS
    says = (
        f"{empty.mass.value:.3f} kg empty at {empty.arm.value:.4f} m, by {named(weighing)}, "
        f"holds until {left:%Y-%m-%d}"
    )
    return Condition("weighing", True, says, "", (weighing,))
