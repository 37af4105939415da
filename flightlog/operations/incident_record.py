"""What the record says around an incident, as it was when the incident was entered.

The release under which it was flown or its absence, who signed what for it, the configuration, and
what was changed last. All of it is read from the record as those had it who entered the incident:
what was entered afterwards explains nothing that was decided before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import CITES, CORRECTS, ENDS, INSPECTS, RESTRICTS, SPENDS, Entry
from flightlog.logbook.flying_kinds import (
    BASELINE,
    CHARGE,
    CHECK,
    FILE_VERSION,
    FITNESS,
    LIST_BEGUN,
    LOAD_SHEET,
    PARAMETERS_READ,
    RELEASE,
    SORTIE,
    WEATHER,
)
from flightlog.logbook.kinds import ABOUT_PEOPLE
from flightlog.logbook.words import entry_line
from flightlog.operations.defect_states import CLOSED, defects
from flightlog.operations.desk import Desk
from flightlog.operations.incident import opinions_of, parts_of
from flightlog.operations.positions import named
from flightlog.operations.release_conditions import releases_of, when_it_ends
from flightlog.operations.usage import fitted, usage_of
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, THINGS

MOST_CHANGES = 25
MOST_LISTS = 8
"""Lists that are shown where no release names which belong to it."""
_QUIET = (CHECK, LIST_BEGUN, RELEASE, FITNESS, LOAD_SHEET, WEATHER, SORTIE, PARAMETERS_READ, CHARGE)
"""Kinds that change nothing of an aircraft; what of them belongs to the flight stands elsewhere."""
_DEEP = 2

Things = frozenset[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class SignedLine:
    """An entry with what it says in short and who signed it with what meaning."""

    entry: Entry
    what: str
    by: str


@dataclass(frozen=True, slots=True)
class Around:
    """What the record says about an incident.

    Attributes
    ----------
    statements : tuple of Entry
        Further facts of the incident: by whom, and what there is to know of its sources.
    release : Entry or None
        The last one of the aircraft that the incident had seen.
    release_says : str
        What that release was worth then, or that there was none. A clause.
    signed : tuple of SignedLine
        The release, what it rests on, and the checks of its lists.
    configuration : tuple of (str, str)
        Files, firmware, parameters, and what was fitted.
    open_then : tuple of str
        Defects that were not closed, deferred ones among them.
    changes : tuple of SignedLine
        What was done to aircraft, packs and components, the latest first.
    opinions : tuple of Entry
        Remarks that cite the incident.
    """

    statements: tuple[Entry, ...]
    release: Entry | None
    release_says: str
    signed: tuple[SignedLine, ...]
    configuration: tuple[tuple[str, str], ...]
    open_then: tuple[str, ...]
    changes: tuple[SignedLine, ...]
    opinions: tuple[Entry, ...]


def around(desk: Desk, incident: Entry) -> Around:
    """Collect what the record says about an incident."""
    past = desk.before(incident)
    said = incident.body.content
    aircraft = str(said.get(AIRCRAFT, ""))
    packs = [str(pack) for pack in said["packs"]]
    parts = [f.component for f in fitted(past, aircraft)] if aircraft else []
    things: Things = frozenset(
        [
            *([(AIRCRAFT, aircraft)] if aircraft else []),
            *((PACK, pack) for pack in packs),
            *((COMPONENT, part) for part in parts),
        ]
    )
    releases = releases_of(past.ledger, aircraft) if aircraft else ()
    release = releases[-1] if releases else None
    return Around(
        statements=parts_of(desk, incident)[1:],
        release=release,
        release_says=_release_says(past, release, aircraft),
        signed=tuple(_signed(past, release, things)),
        configuration=tuple(_configuration(past, aircraft, packs)),
        open_then=tuple(_open_then(past, aircraft, packs)),
        changes=tuple(_changes(past, things)),
        opinions=opinions_of(desk, incident),
    )


def signers_of(desk: Desk, entry: Entry) -> str:
    """Say who signed an entry with what meaning, and where a signature counts for nothing."""
    found = []
    for judged in desk.book.people.judged(entry):
        signer = judged.signer
        role = f" as {signer.role}" if signer.role else ""
        nothing = "" if judged.counts else f" (counts for nothing: {judged.why})"
        found.append(f"{signer.meaning}{role}: {desk.crew.label_of_key(signer.key)}{nothing}")
    return "; ".join(found) or "no person signed it"


# --- release and signatures


def _release_says(past: Desk, release: Entry | None, aircraft: str) -> str:
    if release is None:
        return f"no release of {aircraft or 'an aircraft'} was in the record"
    ledger, name = past.ledger, named(release)
    permit = ledger.standing.permit(release)
    spent = [e for e in permit.spent_by if e.body.kind == SORTIE]
    if spent:
        began = spent[0].body.content.get("start", "at a time that nobody knows")
        return f"the last release, {name}, was spent by {named(spent[0])}, a flight begun {began}"
    if not permit.holds:
        return f"the last release, {name}, did not hold: {'; '.join(permit.why)}"
    ends = when_it_ends(ledger, release)
    if ledger.now >= ends:
        return f"the last release, {name}, had ended unspent at {ends:%Y-%m-%d %H:%M} UTC"
    return f"release {name} was open, unspent, until {ends:%Y-%m-%d %H:%M} UTC"


def _signed(past: Desk, release: Entry | None, things: Things) -> Iterator[SignedLine]:
    ledger = past.ledger
    if release is None:
        begun = _last_lists(past, things)
        entries: list[Entry] = list(begun)
    else:
        cited = set(ledger.named(release, CITES))
        entries = [release, *(e for e in ledger.order if e in cited)]
        begun = [e for e in entries if e.body.kind == LIST_BEGUN]
    yield from (_line(past, entry) for entry in entries if entry.body.kind != LIST_BEGUN)
    for list_ in begun:
        yield _line(past, list_)
        checks = ledger.naming(list_, CITES, CHECK)
        looks = {look for check in checks for look in ledger.naming(check, INSPECTS, CHECK)}
        about = looks.union(checks)
        yield from (_check(past, entry) for entry in ledger.order if entry in about)


def _last_lists(past: Desk, things: Things) -> list[Entry]:
    """Give the list of each kind that was begun last for something, the latest ones only."""
    last: dict[str, Entry] = {}
    for entry in past.ledger.of(LIST_BEGUN):
        if _names(entry, things):
            last.pop(entry.body.content["list"], None)
            last[entry.body.content["list"]] = entry
    return list(last.values())[-MOST_LISTS:]


def _check(past: Desk, check: Entry) -> SignedLine:
    said = check.body.content
    shown = [said["item"], said["result"]]
    if "value" in said:
        shown.append(f"{said['value']['value']} {said['value']['unit']}")
    shown += [str(said[key]) for key in ("choice", "reason", "remark") if key in said]
    return SignedLine(check, ", ".join(shown), signers_of(past, check))


def _line(past: Desk, entry: Entry) -> SignedLine:
    what = entry_line(entry.body, past.names, past.book.people)
    return SignedLine(entry, what, signers_of(past, entry))


# --- configuration


def _configuration(past: Desk, aircraft: str, packs: Iterable[str]) -> Iterator[tuple[str, str]]:
    if aircraft:
        yield f"aircraft {aircraft}", _file(past, AIRCRAFT, aircraft)
        yield "configuration", _rigged(past, aircraft)
        baseline = past.ledger.last(BASELINE, aircraft=aircraft)
        yield "baseline", _parameters(baseline) if baseline is not None else "none in the record"
        read = past.ledger.last(PARAMETERS_READ, aircraft=aircraft)
        yield "parameters last read", _parameters(read) if read is not None else "never"
        for part in fitted(past, aircraft):
            what = (
                f"{part.position}, by {named(part.entry)}, {_used(past, COMPONENT, part.component)}"
            )
            yield f"component {part.component}", what
    for pack in packs:
        charge = past.ledger.last(CHARGE, pack=pack)
        last = f", last charged by {named(charge)}" if charge is not None else ""
        yield f"pack {pack}", f"{_file(past, PACK, pack)}{last}"


def _rigged(past: Desk, aircraft: str) -> str:
    try:
        return past.aircraft(aircraft).configuration or "its file names none"
    except FlightlogError as error:
        return error.found


def _file(past: Desk, thing: str, id_: str) -> str:
    version = past.versions.in_force(thing, id_)
    if version is None:
        return "no file of it was in the record"
    return (
        f"file SHA-256 {version.sha256}, entered by {named(version.entry)}, "
        f"{_used(past, thing, id_)}"
    )


def _used(past: Desk, thing: str, id_: str) -> str:
    try:
        used = usage_of(past, thing, id_)
    except FlightlogError as error:
        return f"its use is not known ({error.found})"
    return f"{used.hours:.1f} h, {used.landings} landings, {used.cycles} flights"


def _parameters(entry: Entry) -> str:
    said = entry.body.content
    firmware = said.get("firmware", "firmware not told")
    return f"{firmware}, {said['count']} parameters, SHA-256 {said['parameters']}, {named(entry)}"


def _open_then(past: Desk, aircraft: str, packs: Iterable[str]) -> Iterator[str]:
    about = set(packs)
    own = {d.entry for d in defects(past, aircraft)} if aircraft else set()
    for defect in defects(past):
        if defect.state != CLOSED and (
            defect.entry in own or defect.entry.body.content.get(PACK) in about
        ):
            rest = f", {defect.left}: {defect.limitation}" if defect.left else ""
            yield f"{defect.says}{rest}"


# --- what was changed last


def _changes(past: Desk, things: Things) -> Iterator[SignedLine]:
    found = 0
    for entry in reversed(list(past.ledger.order)):
        if entry.body.kind in _QUIET or entry.body.kind in ABOUT_PEOPLE:
            continue
        if _concerns(past, entry, things):
            yield _line(past, entry)
            found += 1
            if found >= MOST_CHANGES:
                return


def _concerns(past: Desk, entry: Entry, things: Things, deep: int = _DEEP) -> bool:
    """Whether an entry is about one of some things, or about an entry that is."""
    if _names(entry, things):
        return True
    if deep == 0:
        return False
    words = (CITES, ENDS, INSPECTS, SPENDS, CORRECTS)
    others = (past.ledger.order.get(digest) for w in words for digest in entry.body.related(w))
    return any(o is not None and _concerns(past, o, things, deep - 1) for o in others)


def _names(entry: Entry, things: Things) -> bool:
    said = entry.body.content
    if entry.body.kind == FILE_VERSION:
        return (said.get("kind"), said.get("id")) in things
    about = {(thing, said[thing]) for thing in THINGS if isinstance(said.get(thing), str)}
    effect = entry.body.effect
    if effect is not None and effect.word == RESTRICTS:
        thing, _, id_ = effect.on.partition(":")
        about.add((thing, id_))
    return not about.isdisjoint(things)
