"""How full a pack was before a take-off: its rest voltage against that of a full one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import cast

from flightlog.errors import UsageError
from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import CHARGE, CHECK, LIST_BEGUN
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.sorties import SortieRecord, sorties

FULL_CELL_V = 4.2
"""Rest voltage of a full lithium polymer cell. [V]"""
LEAST, MOST = 0.7, 1.04
"""A ratio outside is none of a pack that somebody flies. [-]"""
MOST_TYPED = 1.005
"""What is typed may not be above it: more than full is a slip, or another pack. [-]"""
_ONE_CELL_V = 5.0
"""What reads less is the voltage of one cell. [V]"""
_ITEM = "voltage"
"""How the id of a check of the rest voltage ends."""


@dataclass(frozen=True, slots=True)
class PackState:
    """How full a pack is.

    Attributes
    ----------
    ratio : float or None
        Rest voltage over that of a full pack [-]; None where nothing says it.
    says : str
        By what, or why it is not known. A clause without a full stop.
    """

    ratio: float | None
    says: str


@dataclass(frozen=True, slots=True)
class _Measured:
    at: datetime
    ratio: float
    says: str


def typed_state(desk: Desk, pack_id: str, volts: float) -> PackState:
    """Take a rest voltage as it was typed.

    Raises
    ------
    UsageError
        If it can't be that of the pack, or the pack's file does not say how many cells it has.
    """
    cells = desk.pack(pack_id).cells
    if cells is None:
        raise UsageError(
            f"the file of {pack_id} does not say how many cells it has",
            where="--pack-voltage",
            fix="Write cells into it and enter it: 'flightlog team enter FILE'.",
        )
    ratio = volts / (FULL_CELL_V * cells)
    if not LEAST <= ratio <= MOST_TYPED:
        raise UsageError(
            f"{volts:g} V can't be the rest voltage of {cells} cells in series",
            where="--pack-voltage",
            fix=f"Give that of the whole pack: full it has {FULL_CELL_V * cells:g} V.",
        )
    says = f"{volts:g} V at rest, as typed, is {ratio:.3f} of a full {pack_id}"
    return PackState(min(ratio, 1.0), says)


def pack_state(desk: Desk, pack_id: str, *, before: SortieRecord | None = None) -> PackState:
    """Say how full a pack is now, or was before a flight, by the newest charge or check.

    What was measured before the pack's flight before that says nothing.

    Parameters
    ----------
    desk : Desk
        The record.
    pack_id : str
        Id of its file.
    before : SortieRecord, optional
        The flight that is meant; the next one where left out.
    """
    if not pack_id:
        return PackState(None, "nobody said which pack was on board")
    until = before.began if before is not None else desk.ledger.now
    mine = [f for f in sorties(desk) if f.pack == pack_id]
    flown = [f for f in mine if f.began < until and f is not before]
    since = max((f.ended for f in flown), default=None)
    known = [m for m in _measured(desk, pack_id) if m.at <= until]
    if since is not None:
        known = [m for m in known if m.at >= since]
    last = max(known, key=lambda m: m.at, default=None)
    if last is None:
        after = "since its last flight" if since is not None else "yet"
        return PackState(None, f"no rest voltage of {pack_id} is in the record {after}")
    # What reads above full is the meter's error, and never makes a roll shorter.
    return PackState(min(last.ratio, 1.0), last.says)


def _measured(desk: Desk, pack_id: str) -> tuple[_Measured, ...]:
    """Give all rest voltages of a pack, by charges and checks."""
    key = f"rest voltages of {pack_id}"
    if key not in desk.kept:
        desk.kept[key] = tuple(_read(desk, pack_id))
    return cast(tuple[_Measured, ...], desk.kept[key])


def _read(desk: Desk, pack_id: str) -> list[_Measured]:
    if desk.versions.in_force("pack", pack_id) is None or not desk.pack(pack_id).cells:
        return []
    ledger = desk.ledger
    entries = list(ledger.of(CHARGE, pack=pack_id))
    for begun in ledger.of(LIST_BEGUN, pack=pack_id):
        entries += [
            e
            for e in ledger.naming(begun, CITES, CHECK)
            if str(e.body.content["item"]).endswith(_ITEM) and not ledger.corrections(e)
        ]
    read = (_one(desk, pack_id, entry) for entry in entries)
    return [one for one in read if one is not None]


def _one(desk: Desk, pack_id: str, entry: Entry) -> _Measured | None:
    said = entry.body.content.get("voltage") or entry.body.content.get("value")
    cells = desk.pack(pack_id).cells
    if not said or said["unit"] != "V" or not cells:
        return None
    volts = float(said["value"])
    of_one = volts < _ONE_CELL_V and cells > 1
    ratio = volts / (FULL_CELL_V * (1 if of_one else cells))
    if not LEAST <= ratio <= MOST:
        return None
    word = "a cell of " if of_one else ""
    says = (
        f"{word}{pack_id} had {said['value']} V at rest by {entry.body.kind} {named(entry)}, "
        f"{ratio:.3f} of a full one"
    )
    return _Measured(desk.ledger.when(entry), ratio, says)
