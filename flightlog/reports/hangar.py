"""Aircraft, packs and components in words: what each was used, what is in it, and what is due."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import BASELINE, CHARGE
from flightlog.logbook.words import entry_line
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.service import stops
from flightlog.operations.sorties import sorties
from flightlog.operations.upkeep import DUE, LIFE, OVERDUE, SOON, Due, due, due_of
from flightlog.operations.usage import (
    Usage,
    contradictions,
    fitted,
    stays_of,
    usage_of,
    where_fitted,
)
from flightlog.reports.numbers import digits
from flightlog.team.copying import copy_line
from flightlog.team.files import FOLDERS
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, subject

MOST_CHARGES = 10
"""So many of the latest charges are listed."""
_HASH_DIGITS = 12


def thing_lines(desk: Desk, thing: str, id_: str) -> list[str]:
    """Give all about one aircraft, pack or component.

    Raises
    ------
    UsageError
        If the record holds no file of it.
    """
    parts = {AIRCRAFT: _aircraft, PACK: _pack, COMPONENT: _component}[thing](desk, id_)
    due_lines = [f"{item.state}: {_what(item)}" for item in due_of(desk, thing, id_)]
    against = [text for text in contradictions(desk) if id_ in text.replace(",", " ").split()]
    return [
        *parts,
        *_listed("Inspections and life", due_lines, "its file names none"),
        *_listed("Restricted by", restriction_lines(desk, thing, id_), "nothing"),
        *_listed("Contradictions", against),
    ]


def overview_lines(desk: Desk, thing: str) -> list[str]:
    """Give a line for each aircraft, pack or component of which a file is in force."""
    ids = [id_ for id_ in desk.versions.ids(thing) if desk.versions.in_force(thing, id_)]
    if not ids:
        folder = FOLDERS[thing]
        return [
            f"The record holds no {thing} file. Put one into {folder}/ of the team folder, then "
            f"'flightlog team enter {folder}/ID.toml --by WHO --by WHO'."
        ]
    return [_in_short(desk, thing, id_) for id_ in ids]


def _in_short(desk: Desk, thing: str, id_: str) -> str:
    used = usage_of(desk, thing, id_)
    every = due_of(desk, thing, id_)
    counted = [(word, sum(d.state == word for d in every)) for word in (OVERDUE, DUE, SOON)]
    states = [f"{count} {word}" for word, count in counted if count]
    stopped = len(restriction_lines(desk, thing, id_))
    states += [f"{stopped} restrictions"] if stopped else []
    where = f", {_place(desk, id_)}" if thing == COMPONENT else ""
    return f"{id_}{where}: {used_text(thing, used)}; {', '.join(states) or 'nothing due'}"


def usage_line(desk: Desk, thing: str, id_: str) -> str:
    """Give what one thing was used, in a line."""
    return f"{id_}: {used_text(thing, usage_of(desk, thing, id_))}"


# --- one of each


def _aircraft(desk: Desk, id_: str) -> Iterator[str]:
    file = desk.aircraft(id_)
    yield _head(id_, file.serial, f"configuration {file.configuration or 'not named'}")
    yield _in_force(desk, AIRCRAFT, id_)
    baseline = desk.ledger.last(BASELINE, aircraft=id_)
    if baseline is None:
        yield "No firmware and parameter baseline is in the record."
    else:
        said = baseline.body.content
        yield f"Baseline {named(baseline)}: {said['firmware']}, {said['count']} parameters"
    yield f"Used: {used_text(AIRCRAFT, usage_of(desk, AIRCRAFT, id_))}"
    yield from _listed("Fitted", [_part(desk, f.component, f.position) for f in fitted(desk, id_)])


def _part(desk: Desk, component: str, position: str) -> str:
    if desk.versions.in_force(COMPONENT, component) is None:
        return f"{component}, {position}: no file of it is in force"
    file = desk.component(component)
    used = used_text(COMPONENT, usage_of(desk, COMPONENT, component))
    life = [
        one.text for d in due_of(desk, COMPONENT, component) if d.name == LIFE for one in d.left
    ]
    name = _head(component, file.serial, file.title)
    return f"{name}, {position}: {used}" + (f"; life {', '.join(life)}" if life else "")


def _pack(desk: Desk, id_: str) -> Iterator[str]:
    file = desk.pack(id_)
    cells = f"{file.cells} cells" if file.cells else "cells not told"
    rest = [f"{file.capacity_ah:g} Ah"] if file.capacity_ah else []
    rest += [f"{file.nominal_wh:g} Wh"] if file.nominal_wh else []
    yield _head(id_, file.serial, file.chemistry, cells, *rest)
    yield _in_force(desk, PACK, id_)
    yield f"Used: {used_text(PACK, usage_of(desk, PACK, id_))}"
    charges = desk.ledger.of(CHARGE, pack=id_)
    lines = [_charge(desk, entry, file.resistance_ohm) for entry in charges[-MOST_CHARGES:]]
    yield from _listed(f"Charges, {len(charges)} in all", lines, "none is in the record")


def _charge(desk: Desk, entry: Entry, resistance_ohm: float | None) -> str:
    said: dict[str, Any] = dict(entry.body.content)
    parts = []
    for name, word in (
        ("voltage", ""),
        ("charge", ""),
        ("spread", "spread "),
        ("resistance", ""),
        ("temperature", ""),
    ):
        if name in said:
            text = f"{word}{said[name]['value']} {said[name]['unit']}"
            if name == "resistance" and resistance_ohm:
                text += f" ({digits(float(said[name]['value']) / resistance_ohm, 2)} of new)"
            parts.append(text)
    return f"{_day(desk.ledger.when(entry))} {named(entry)}: {', '.join(parts)}"


def _component(desk: Desk, id_: str) -> Iterator[str]:
    file = desk.component(id_)
    yield _head(id_, file.serial, file.title, f"group {file.group}")
    yield _in_force(desk, COMPONENT, id_)
    yield f"Used: {used_text(COMPONENT, usage_of(desk, COMPONENT, id_))}"
    lines = []
    for stay in stays_of(desk, id_):
        began = f"{_day(desk.ledger.when(stay.fitting))} {named(stay.fitting)}"
        ended = [f"{_day(desk.ledger.when(r))} {named(r)}" for r in stay.removals]
        where = f"{stay.aircraft}, {stay.fitting.body.content['position']}"
        lines.append(f"{where}: from {began} {'to ' + ', '.join(ended) if ended else 'on'}")
    yield from _listed("Fitted in", lines, "never fitted in this record")


def _place(desk: Desk, component: str) -> str:
    places = where_fitted(desk, component)
    return "in " + " and in ".join(p.aircraft for p in places) if places else "not fitted"


# --- parts of a line


def _head(id_: str, serial: str, *words: str) -> str:
    return ", ".join([id_, f"serial {serial}" if serial else "no serial", *filter(None, words)])


def _in_force(desk: Desk, thing: str, id_: str) -> str:
    version = desk.version(thing, id_)
    day = _day(desk.ledger.when(version.entry))
    digest = version.sha256[:_HASH_DIGITS]
    return f"File in force: {named(version.entry)}, entered {day}, SHA-256 {digest}…"


def used_text(thing: str, used: Usage) -> str:
    """Write what something was used: hours, landings, cycles or flights, days."""
    cycles = f"{used.cycles} cycles" if thing == PACK else f"{len(used.sorties)} flights here"
    least = "at least " if used.is_least else ""
    said = [f"{least}{digits(used.hours, 2)} h", f"{used.landings} landings", cycles]
    if used.days is not None:
        said.append(f"{digits(used.days, 0)} days in use")
    if used.untimed:
        said.append(f"no flight time of {', '.join(named(f.entry) for f in used.untimed)}")
    if used.cut:
        said.append(f"the log is not of the whole flight of {_names(f.entry for f in used.cut)}")
    return ", ".join(said)


def _what(item: Due) -> str:
    """Give what is due without its thing and state, which stand before it."""
    name = "" if item.name == item.title else f" [{item.name}]"
    return f"{item.title}{name}: {item.details or 'no end'}"


def restriction_lines(desk: Desk, thing: str, id_: str) -> list[str]:
    """Give the entries that restrict something, or hold it out of service, a line for each."""
    still = desk.ledger.standing.open_restrictions(subject(thing, id_))
    every = dict.fromkeys([*still, *stops(desk, thing, id_)])
    people = desk.book.people
    return [f"{named(e)} {entry_line(e.body, desk.names, people)}" for e in every]


def _listed(title: str, lines: Sequence[str], none: str = "") -> list[str]:
    if not lines:
        return [f"{title}: {none}"] if none else []
    return [f"{title}:", *(f"  {line}" for line in lines)]


def _day(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"


# --- all that is due


def due_lines(desk: Desk) -> list[str]:
    """Give all that is due, the most urgent first, and what makes the list less than whole."""
    every = due(desk)
    lines = [f"{item.state:<8} {item.thing} {item.id}: {_what(item)}" for item in every] or [
        "No file in force names an inspection or a life."
    ]
    stopping = list(dict.fromkeys(item.clear for item in every if item.stops))
    lines += _listed("What clears it", stopping)
    lines += _listed("Contradictions", contradictions(desk))
    lines += _listed("Not counted anywhere", list(_homeless(desk)))
    return [*lines, copy_line(desk.ledger)]


def _homeless(desk: Desk) -> Iterator[str]:
    """Name the flights of which nobody said with which aircraft or pack they were flown."""
    for thing, key in ((AIRCRAFT, "aircraft"), (PACK, "pack")):
        found = [f.entry for f in sorties(desk) if not getattr(f, key)]
        if found:
            yield f"no {thing} is known of {_names(found)}"


def _names(entries: Iterable[Entry]) -> str:
    return ", ".join(map(named, entries))
