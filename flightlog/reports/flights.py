"""Flights of the record in words: a line in a list, one flight in full, what an import found."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from flightlog.figures import FIGURES
from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import CALLS, CHECK, LIST_BEGUN, LOAD_SHEET, WEATHER
from flightlog.operations.contradictions import contradictions
from flightlog.operations.desk import Desk
from flightlog.operations.flight_case import Contradiction
from flightlog.operations.importing import Imported
from flightlog.operations.measurements import Beside, beside
from flightlog.operations.pairing import NOT_CLEAR
from flightlog.operations.positions import named
from flightlog.operations.sorties import SortieRecord, debrief_of
from flightlog.operations.usage import is_whole
from flightlog.reports.cautions import RECORD
from flightlog.reports.figure_groups import DECLARED, FLIGHT, OTHERS, WEAR, group_of
from flightlog.reports.numbers import digits, with_unit
from flightlog.reports.plain import plain
from flightlog.reports.stored_words import figure_text
from flightlog.rules.outcomes import WORST_FIRST

WITHOUT = "FLOWN WITHOUT A RELEASE"
"""What stands beside such a flight, wherever it is shown."""
_INDENT = "  "
_DECLARED = "Declared"
_WIDEST = 100
_LONGEST = 4000
_TOLD = ("without-release", "release-not-clear")
"""Contradictions that the line of the pairing has told already."""


def _wrap(text: str, width: int, first: str = "", then: str = _INDENT) -> list[str]:
    return textwrap.wrap(
        plain(text, _LONGEST),
        min(max(width, 50), _WIDEST),
        initial_indent=first,
        subsequent_indent=first + then,
        break_on_hyphens=False,
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _moment(utc: datetime | None) -> str:
    return utc.strftime("%Y-%m-%d %H:%M:%S UTC") if utc is not None else "time not known"


# --- a line in a list


def flight_line(flight: SortieRecord, width: int = _WIDEST) -> list[str]:
    """Write a flight briefly: its name, when, what, how long, and under which release."""
    known = flight.start or flight.liftoff
    when = known.strftime("%Y-%m-%d %H:%M") if known is not None else "time not known  "
    parts = [
        f"{named(flight.entry):<10}",
        when,
        flight.aircraft or "aircraft not known",
        flight.pack or "pack not known",
        f"{_least(flight)}{digits(flight.flown_s / 60, 1)} min",
        _count(flight.landings, "landing"),
        _released(flight),
        _source(flight),
    ]
    return _wrap("  ".join(parts), width, then=" " * 12)


def _least(flight: SortieRecord) -> str:
    return "" if is_whole(flight) else "≥ "


def _released(flight: SortieRecord) -> str:
    if flight.release is not None:
        return f"release {named(flight.release)}"
    return "release not clear" if flight.paired.startswith(NOT_CLEAR) else WITHOUT


def _source(flight: SortieRecord) -> str:
    if flight.by_hand is not None:
        return "by log and by hand"
    return "by log" if flight.recording is not None else "by hand"


def list_lines(desk: Desk, flights: Sequence[SortieRecord], width: int = 80) -> Iterator[str]:
    """Write the flights of the record, each with what about it does not go together."""
    if not flights:
        yield "No flight is in the record. Import its log: 'flightlog import LOG'."
        return
    for flight in flights:
        yield from flight_line(flight, width)
        yield from contradiction_lines(_grave(contradictions(desk, flight)), width, _INDENT * 2)
    seconds = sum(flight.flown_s for flight in flights)
    landings = sum(flight.landings for flight in flights)
    cut = sum(not is_whole(flight) for flight in flights)
    least = "at least " if cut or any(flight.flown_s <= 0 for flight in flights) else ""
    yield (
        f"{_count(len(flights), 'flight')}, {least}{digits(seconds / 3600, 2)} h, "
        f"{_count(landings, 'landing')}; times are UTC"
    )
    if cut:
        yield from _wrap(f"≥: at least so long, and landings at least so many; {_cut(cut)}", width)


def _cut(count: int) -> str:
    if count == 1:
        return "the log of 1 flight does not hold all of it."
    return f"the logs of {count} flights do not hold all of them."


def _grave(found: Iterable[Contradiction]) -> list[Contradiction]:
    return [one for one in found if not one.note]


def contradiction_lines(
    found: Iterable[Contradiction], width: int = 80, indent: str = ""
) -> Iterator[str]:
    """Write what does not go together, each with its word and its entries."""
    for one in found:
        yield from _wrap(contradiction_text(one), width, indent)


def contradiction_text(one: Contradiction) -> str:
    """Write what does not go together, with its word and its entries."""
    where = ", ".join(dict.fromkeys(named(entry) for entry in one.entries))
    word = "Note" if one.note else "Contradiction"
    beside = f" (see {where})" if where else ""
    return f"{word} [{one.code}]: {one.says}{beside}"


# --- what an import found


def imported_lines(desk: Desk, imported: Imported, width: int = 80) -> Iterator[str]:
    """Write what came of a log: where it stands, of what its flights are, what contradicts."""
    recording, found = imported.recording, imported.whose
    said = recording.body.content
    aircraft = said.get("aircraft", "no aircraft")
    how = f" ({found.says})" if found is not None else ""
    if imported.added:
        entries = _count(len(imported.added), "entry").replace("entrys", "entries")
        head = f"Recorded as {named(recording)}, {aircraft}{how}; {entries} added"
    else:
        head = f"{plain(said['file'], 80)} is in the record already, as {named(recording)}"
    yield from _wrap(f"{head}.", width)
    for text in imported.lacking:
        yield from _wrap(f"Lacking: {text}.", width)
    if not imported.flights:
        yield "It holds no flight."
    for flight in imported.flights:
        yield from pairing_lines(flight, width)
        found_ = [c for c in contradictions(desk, flight) if c.code not in _TOLD]
        yield from contradiction_lines(found_, width, _INDENT)
    if any(flight.release is None for flight in imported.flights):
        fix = "Say what you know of it: 'flightlog sortie pair SORTIE --help'."
        yield from _wrap(fix, width)


def pairing_lines(flight: SortieRecord, width: int = 80) -> list[str]:
    """Write which flight it is and under which release it was flown."""
    when = _moment(flight.start or flight.liftoff)
    head = f"Sortie {flight.number} is {named(flight.entry)}, {when}: "
    if flight.release is not None:
        pack = flight.release.body.content["pack"]
        return _wrap(
            f"{head}flown under release {named(flight.release)} with {pack} ({flight.paired}).",
            width,
        )
    if flight.paired.startswith(NOT_CLEAR):
        return _wrap(f"{head}its release is {flight.paired}.", width)
    return _wrap(f"{head}{WITHOUT} ({flight.paired}).", width)


# --- one flight in full


def flight_lines(desk: Desk, flight: SortieRecord, width: int = 80) -> Iterator[str]:
    """Write a flight with its release, checks, weather, figures and measurements beside."""
    debrief = debrief_of(desk, flight)
    yield from flight_line(flight, width)
    yield from contradiction_lines(contradictions(desk, flight), width)
    yield ""
    yield from _times(flight, width)
    yield from under_lines(desk, flight, width)
    yield from _measured(flight, debrief, width)
    yield from _figures(flight, debrief, width)
    yield from _said(desk, flight, width)
    yield ""
    yield from _wrap(RECORD, width, then="")


def _times(flight: SortieRecord, width: int) -> Iterator[str]:
    yield from _wrap(times_text(flight), width)
    text = flight.entry.body.content.get("text")
    if text:
        yield from _wrap(str(text), width)


def times_text(flight: SortieRecord) -> str:
    """Write when a flight was, how long, and how often it landed."""
    parts = [
        f"Start {_moment(flight.start)}",
        f"lift-off {_moment(flight.liftoff)}",
        f"touchdown {_moment(flight.touchdown)}",
        f"{_least(flight)}{digits(flight.flown_s, 0)} s in the air",
        _count(flight.landings, "landing"),
    ]
    if flight.attempts:
        parts.append(f"{_count(flight.attempts, 'roll')} given up before it")
    return "; ".join(parts)


def under_lines(desk: Desk, flight: SortieRecord, width: int = 80) -> Iterator[str]:
    """Write the release that a flight was flown under, and what it rested on; else nothing."""
    release = flight.release
    if release is None:
        return  # the first contradiction has told it
    said = release.body.content
    yield ""
    yield from _wrap(
        f"Release {named(release)}, signed {_moment(desk.ledger.when(release))} by "
        f"{persons_text(desk, release)}: {said['pack']}, {said['mass']['value']} kg, "
        f"{_count(said['units'], 'payload unit')}, {_count(said['landings'], 'landing')} "
        f"({flight.paired})",
        width,
    )
    for begun in desk.ledger.named(release, CITES, LIST_BEGUN):
        yield from _wrap(_list(desk, begun), width, _INDENT)
    for sheet in desk.ledger.named(release, CITES, LOAD_SHEET):
        yield from _wrap(_load(sheet), width, _INDENT)
    for weather in desk.ledger.named(release, CITES, WEATHER):
        yield from _wrap(_weather(desk, weather), width, _INDENT)
    for calls in desk.ledger.naming(release, CITES, CALLS):
        count = _count(len(calls.body.content["items"]), "call")
        text = f"Calls {named(calls)}: {count}, written down by {persons_text(desk, calls)}"
        yield from _wrap(text, width, _INDENT)


def persons_text(desk: Desk, entry: Entry) -> str:
    """Name those whose signatures on an entry count."""
    people = dict.fromkeys(desk.ledger.persons(entry))
    return " and ".join(desk.crew.label(person) for person in people) or "nobody"


def _list(desk: Desk, begun: Entry) -> str:
    checks = [c for c in desk.ledger.naming(begun, CITES, CHECK) if not desk.ledger.corrections(c)]
    results = Counter(str(check.body.content["result"]) for check in checks)
    told = ", ".join(f"{count} {result}" for result, count in sorted(results.items()))
    return f"List {begun.body.content['list']} {named(begun)}: {told or 'no item signed'}"


def _load(sheet: Entry) -> str:
    said = sheet.body.content
    mass, balance = said["mass"], said["balance"]
    return (
        f"Load sheet {named(sheet)}: {mass['value']} {mass['unit']} "
        f"(1 sigma {said['mass_std']['value']}), balance {balance['value']} {balance['unit']}"
    )


def _weather(desk: Desk, weather: Entry) -> str:
    said = weather.body.content
    mean, gust = said["wind_mean"], said["wind_gust"]
    return (
        f"Weather {named(weather)}, {_moment(desk.ledger.when(weather))}: wind {mean['value']}, "
        f"gusts {gust['value']} {gust['unit']} from {said['wind_from']['value']} deg, "
        f"{said['temperature']['value']} {said['temperature']['unit']}, "
        f"{said['pressure']['value']} {said['pressure']['unit']}"
    )


# --- figures and measurements


def _measured(flight: SortieRecord, debrief: Mapping[str, Any] | None, width: int) -> Iterator[str]:
    if not flight.measurements:
        return
    yield ""
    yield "Measured apart from the log"
    for entry in flight.measurements:
        yield from beside_lines(beside(entry, debrief), width)


def beside_lines(one: Beside, width: int = 80) -> list[str]:
    """Write a measurement beside the log's figure, with difference and whether they agree."""
    return _wrap(beside_text(one), width, _INDENT)


def beside_text(one: Beside) -> str:
    """Write the same as one text."""
    decimals = FIGURES[one.figure].decimals if one.figure in FIGURES else 2
    said = one.entry.body.content
    spread = f" (1 sigma {said['std']['value']})" if one.std is not None else ""
    head = (
        f"{one.figure}: {with_unit(said['value']['value'], one.unit)}{spread} by "
        f"{said['method']}, {named(one.entry)}"
    )
    if one.ours is None or one.difference is None:
        return f"{head}; by the log not known: {one.why}"
    value, low, high = (digits(number, decimals) for number in one.ours)
    sign = "+" if one.difference > 0 else "-" if one.difference < 0 else ""
    word = "the intervals agree" if one.agree else "THE INTERVALS DO NOT AGREE"
    unsure = "" if one.std is not None else "; nobody said how sure the measurement is"
    return (
        f"{head}; by the log {with_unit(value, one.unit)} ({low} to {high}), difference "
        f"{sign}{with_unit(digits(abs(one.difference), decimals), one.unit)}: {word}{unsure}"
    )


def _figures(flight: SortieRecord, debrief: Mapping[str, Any] | None, width: int) -> Iterator[str]:
    if debrief is None:
        if flight.recording is not None:
            yield "The stored debrief is missing or damaged."
        return
    yield ""
    yield f"By the log, {named(flight.recording or flight.entry)}"
    for outcome in sorted(debrief["outcomes"], key=lambda o: WORST_FIRST.index(o["outcome"])):
        value = "" if outcome["value"] is None else f" {outcome['value']:.4g} {outcome['unit']}"
        bound = f"{outcome['bound']['op']} {outcome['bound']['value']:g} {outcome['bound']['unit']}"
        text = f"{outcome['limit']}: {outcome['outcome']}, {outcome['figure']}{value} ({bound})"
        yield from _wrap(text, width, _INDENT)
    yield from _by_group(debrief["figures"], width)


def _by_group(figures: Mapping[str, Mapping[str, Any]], width: int) -> Iterator[str]:
    """Write the figures of each group as one paragraph, what is wearing out last."""
    told: dict[str, list[str]] = {name: [] for name in (*FLIGHT, *WEAR, OTHERS, _DECLARED)}
    for id_, figure in figures.items():
        if id_ in FIGURES:
            declared = tuple(figure.get("sources", ())) == DECLARED
            text = f"{FIGURES[id_].label} {figure_text(id_, figure)}"
            told[_DECLARED if declared else group_of(id_)].append(text)
    for name, texts in told.items():
        if texts:
            yield from _wrap(f"{name}: {'; '.join(texts)}", width, _INDENT)


def _said(desk: Desk, flight: SortieRecord, width: int) -> Iterator[str]:
    texts = said_texts(desk, flight)
    if texts:
        yield ""
        yield "Said by persons"
    for text in texts:
        yield from _wrap(text, width, _INDENT)


def said_texts(desk: Desk, flight: SortieRecord) -> list[str]:
    """Write what persons said about a flight, a text for each entry."""
    texts = []
    for entry in [*flight.statements, *([flight.by_hand] if flight.by_hand else [])]:
        said = entry.body.content
        what = ", ".join(f"{k} {said[k]}" for k in ("aircraft", "pack") if k in said)
        why = said.get("reason") or said.get("text") or f"{_count(said['landings'], 'landing')}"
        by = persons_text(desk, entry)
        texts.append(f"{named(entry)} by {by}: {why}{f' ({what})' if what else ''}")
    return texts


# --- for programs


def flight_json(desk: Desk, flight: SortieRecord, *, full: bool = False) -> dict[str, Any]:
    """Give a flight as JSON types, with its debrief and measurements where ``full``."""
    times = {key: getattr(flight, key) for key in ("start", "liftoff", "touchdown")}
    body: dict[str, Any] = {
        "sortie": named(flight.entry),
        "entry": flight.entry.hash,
        "recording": flight.recording.hash if flight.recording is not None else None,
        "number": flight.number,
        "source": flight.source,
        "aircraft": flight.aircraft or None,
        "pack": flight.pack or None,
        **{key: utc and utc.strftime("%Y-%m-%dT%H:%M:%SZ") for key, utc in times.items()},
        "flown_s": flight.flown_s,
        "whole": is_whole(flight),
        "landings": flight.landings,
        "attempts": flight.attempts,
        "release": named(flight.release) if flight.release is not None else None,
        "paired": flight.paired,
        "contradictions": [
            {
                "code": one.code,
                "says": one.says,
                "note": one.note,
                "entries": [named(entry) for entry in one.entries],
            }
            for one in contradictions(desk, flight)
        ],
    }
    if full:
        debrief = debrief_of(desk, flight)
        body["measurements"] = [_beside_json(beside(e, debrief)) for e in flight.measurements]
        body["debrief"] = debrief
    return body


def _beside_json(one: Beside) -> dict[str, Any]:
    value, low, high = one.ours or (None, None, None)
    return {
        "entry": named(one.entry),
        "figure": one.figure,
        "unit": one.unit,
        "value": one.value,
        "std": one.std,
        "method": one.entry.body.content["method"],
        "log": None if one.ours is None else {"value": value, "low": low, "high": high},
        "difference": one.difference,
        "agree": one.agree,
        "why": one.why or None,
    }
