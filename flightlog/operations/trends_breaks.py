"""What ends a series of a figure: another configuration, another part, a repair.

Before and after it are two things, and no line goes through both. A repair of one group of parts
ends the series of figures that rest on it, and leaves the others: a new propeller says nothing of
the elevator's hinges. What was only looked at stays what it was, so that an inspection or a
periodic task ends nothing; nor does a hard landing, which is what should be seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from flightlog.inputs import load_pack
from flightlog.logbook.entry import CITES
from flightlog.logbook.flying_kinds import DEFECT, EVENT, FITTING, RECTIFICATION
from flightlog.operations.desk import Desk
from flightlog.operations.events import CONFIGURATION_CHANGE, FIRMWARE_CHANGE, PARAMETER_CHANGE
from flightlog.operations.positions import named
from flightlog.operations.sorties import SortieRecord
from flightlog.operations.usage import FITTED

_REPAIR = "repair"
_DRIVE = ("vibration.", "energy.", "takeoff.", "climb.", "motor.")
_RESTS_ON = {
    "propulsion": _DRIVE,
    "propulsion-mounting": _DRIVE,
    "flight-controls": ("surface.", "supply."),
    "landing-gear": ("landing.", "takeoff."),
    "radio-fail-safe": ("link.",),
    "primary-structure": ("vibration.", "surface.", "energy.", "climb."),
    "payload": ("energy.", "climb."),
    "avionics": ("link.", "surface.", "vibration."),
    "battery": (),
}
"""Group of parts -> beginnings of the ids of figures that rest on them; of another group, all."""
_EVENTS = {
    CONFIGURATION_CHANGE: ("",),
    _REPAIR: ("",),
    PARAMETER_CHANGE: ("surface.",),
    FIRMWARE_CHANGE: ("surface.",),
}


@dataclass(frozen=True, slots=True)
class Break:
    """Something after which a figure is not what it was.

    Attributes
    ----------
    at : datetime
        When.
    says : str
        What, in words.
    begins : tuple of str
        How the ids of the figures begin that it is about; "" is all of them.
    """

    at: datetime
    says: str
    begins: tuple[str, ...]

    def ends(self, figure: str) -> bool:
        """Whether it ends the series of a figure."""
        return figure.startswith(self.begins)


def aircraft_breaks(desk: Desk, aircraft: str, flown: Iterable[SortieRecord]) -> list[Break]:
    """Give what ended series of an aircraft's figures, in order."""
    found = [
        *_configurations(flown),
        *_fittings(desk, aircraft),
        *_events(desk, aircraft),
        *_repairs(desk, aircraft),
    ]
    return sorted(found, key=lambda one: one.at)


def _configurations(flown: Iterable[SortieRecord]) -> Iterator[Break]:
    before: str | None = None
    for flight in flown:
        if flight.release is None:
            continue  # nobody said how it was rigged: as before
        rigged = str(flight.release.body.content.get("configuration") or "")
        if before is not None and rigged != before:
            says = f"configuration {rigged}" if rigged else "a configuration without a name"
            yield Break(flight.began, says, ("",))
        before = rigged


def _fittings(desk: Desk, aircraft: str) -> Iterator[Break]:
    for entry in desk.ledger.of(FITTING, aircraft=aircraft):
        said = entry.body.content
        if said["done"] == FITTED:
            says = f"{said['component']} was fitted ({named(entry)})"
            yield Break(desk.ledger.when(entry), says, _about(desk, str(said["component"])))


def _about(desk: Desk, component: str) -> tuple[str, ...]:
    if desk.versions.in_force("component", component) is None:
        return ("",)
    return _RESTS_ON.get(desk.component(component).group, ("",))


def _events(desk: Desk, aircraft: str) -> Iterator[Break]:
    for entry in desk.ledger.of(EVENT, aircraft=aircraft):
        word = str(entry.body.content["event"])
        if word in _EVENTS:
            yield Break(desk.ledger.when(entry), f"{word} ({named(entry)})", _EVENTS[word])


def _repairs(desk: Desk, aircraft: str) -> Iterator[Break]:
    for entry in desk.ledger.of(RECTIFICATION):
        for defect in desk.ledger.named(entry, CITES, DEFECT):
            said = defect.body.content
            if said.get("aircraft") == aircraft and "pack" not in said:
                about = _RESTS_ON.get(str(said["group"]), ("",))
                says = f"{said['part']} was put right ({named(entry)})"
                yield Break(desk.ledger.when(entry), says, about)


def pack_breaks(desk: Desk, pack: str, flown: Iterable[SortieRecord]) -> list[Break]:
    """Give what ended series of a pack's figures: another pack of the same name, another meter."""
    found = [*_serials(desk, pack), *_carriers(flown), *_pack_repairs(desk, pack)]
    return sorted(found, key=lambda one: one.at)


def _serials(desk: Desk, pack: str) -> Iterator[Break]:
    before: str | None = None
    for version in desk.versions.history("pack", pack):
        serial = desk.loaded(version, load_pack).serial
        if before is not None and serial != before:
            yield Break(desk.ledger.when(version.entry), f"serial {serial or 'none'}", ("",))
        before = serial


def _carriers(flown: Iterable[SortieRecord]) -> Iterator[Break]:
    """Another aircraft measures current and voltage with other sensors."""
    before: str | None = None
    for flight in flown:
        if before is not None and flight.aircraft != before:
            yield Break(flight.began, f"flown in {flight.aircraft or 'an unknown aircraft'}", ("",))
        before = flight.aircraft


def _pack_repairs(desk: Desk, pack: str) -> Iterator[Break]:
    for entry in desk.ledger.of(RECTIFICATION):
        for defect in desk.ledger.named(entry, CITES, DEFECT):
            if defect.body.content.get("pack") == pack:
                yield Break(desk.ledger.when(entry), f"it was repaired ({named(entry)})", ("",))
