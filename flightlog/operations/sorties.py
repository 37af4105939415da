"""The flights of the record: each once, whoever entered it and however often.

A sortie comes from a log (entered by the device, citing its recording) or by hand (signed). One
flight may be there several times, and counts once:

* the same sortie of the same recording, imported on two laptops;
* sorties of one aircraft whose times overlap by at least half of the shorter one: an aircraft
  can't fly twice at a time, so these are two logs of one flight, or a log and a hand entry;
* sorties that a person said to be one flight, or of logs that were joined as those of one.

Of a flight that is there several times the numbers of its log stand, and of hours and landings
the larger ones: what is counted twice is put right by a person, what is not counted wears out
unseen. Times that merely lie near each other join nothing, since two flights may be minutes apart.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, cast

from flightlog.logbook.entry import CITES, SPENDS, Attachment, Entry
from flightlog.logbook.flying_kinds import (
    MEASUREMENT,
    PAIRING,
    RECORDING,
    RELEASE,
    SORTIE,
)
from flightlog.operations.debrief_shape import is_sound
from flightlog.operations.desk import Desk
from flightlog.team.ledger import Ledger

DEBRIEF_NAME = ".debrief.json"
"""How the name of the attached debrief of a recording ends."""
DEBRIEF_SCHEMA = "flightlog.debrief/1"
BY_LOG, BY_HAND = "log", "hand"
LARGEST_KEPT = 1_000_000
"""A debrief that is larger is read again each time [bytes]; that of a flight has some 50 000."""
SHARED = 0.5
"""Two sorties of an aircraft that share this much of the shorter one are one flight."""
AS_LONG = 0.95
"""A log with this much of the longest one's time holds as much of a flight."""


@dataclass(frozen=True, slots=True)
class SortieRecord:
    """One flight as the record has it.

    Attributes
    ----------
    entry : Entry
        By which it is known: of a log where there is one, of several the first that tells of the
        whole flight, else the one that tells of most of it.
    recording : Entry or None
        Its log; None when it was entered by hand alone.
    aircraft, pack : str
        Ids, empty where nobody said.
    number : int
        Its number in the recording.
    source : str
        "log" or "hand".
    start, liftoff, touchdown : datetime or None
        UTC as the log, or a person, has them.
    flown_s : float
        Lift-off to touchdown, as far as is known [s]; 0 where nothing is.
    landings, attempts : int
        Landings, and rolls given up before it.
    release : Entry or None
        Under which it was flown.
    paired : str
        How that was found, in words.
    statements : tuple of Entry
        What persons said about aircraft, pack or release.
    measurements : tuple of Entry
        Independent measurements.
    by_hand : Entry or None
        What a person entered about a flight of which there is a log too.
    others : tuple of Entry
        All other sortie entries about the same flight.
    """

    entry: Entry
    recording: Entry | None
    aircraft: str
    pack: str
    number: int
    source: str
    start: datetime | None
    liftoff: datetime | None
    touchdown: datetime | None
    flown_s: float
    landings: int
    attempts: int
    release: Entry | None
    paired: str
    statements: tuple[Entry, ...] = ()
    measurements: tuple[Entry, ...] = ()
    by_hand: Entry | None = None
    others: tuple[Entry, ...] = ()

    @property
    def began(self) -> datetime:
        """When it began: by its log, else when it was entered."""
        return self.start or self.liftoff or self.entry.body.time.utc

    @property
    def ended(self) -> datetime:
        """When it ended, as far as that is known."""
        return self.touchdown or self.began + timedelta(seconds=self.flown_s)

    @property
    def entries(self) -> tuple[Entry, ...]:
        """All sortie entries about this flight."""
        return (self.entry, *self.others)


def sorties(desk: Desk, aircraft: str | None = None) -> tuple[SortieRecord, ...]:
    """Give the flights of the record, in the order in which they were flown.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str, optional
        Only of this aircraft.
    """
    every = desk.kept.get("sorties")
    if every is None:
        every = desk.kept["sorties"] = _flights(desk.ledger)
    return tuple(
        f
        for f in cast(tuple[SortieRecord, ...], every)
        if aircraft is None or f.aircraft == aircraft
    )


def sortie_of(desk: Desk, entry: Entry) -> SortieRecord | None:
    """Give the flight that a sortie entry is about, None where it counts for none."""
    return next((f for f in sorties(desk) if entry in f.entries), None)


def number_in(desk: Desk, flight: SortieRecord, sha256: str) -> int | None:
    """Give the number that a flight has in a log; ``flight.number`` is of its main one.

    Parameters
    ----------
    desk : Desk
        The record.
    flight : SortieRecord
        Of which there may be several logs.
    sha256 : str
        Of the log.
    """
    for entry in flight.entries:
        for recording in desk.ledger.named(entry, CITES, RECORDING)[:1]:
            if recording.body.content["sha256"] == sha256:
                return int(entry.body.content["number"])
    return None


def flown_between(
    desk: Desk, aircraft: str, began: datetime, ended: datetime
) -> SortieRecord | None:
    """Give the flight of an aircraft that takes up most of a stretch of time, None where none does.

    What is entered of the same stretch is about the same flight; see the top of this module.
    """
    best: tuple[float, SortieRecord] | None = None
    for flight in sorties(desk, aircraft):
        first = flight.liftoff or flight.start
        share = _share((began, ended), (first, flight.ended)) if first is not None else None
        if share is not None and (best is None or share > best[0]):
            best = share, flight
    return best[1] if best is not None else None


def _share(one: tuple[datetime, datetime], other: tuple[datetime, datetime]) -> float | None:
    """Give how much of the shorter stretch both share, None where it is too little for one."""
    shared = (min(one[1], other[1]) - max(one[0], other[0])).total_seconds()
    shorter = min((end - begin).total_seconds() for begin, end in (one, other))
    if shared < 0 or shared < SHARED * shorter:
        return None
    return shared / shorter if shorter > 0 else 1.0


# --- one entry


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """One sortie entry; of one flight there may be several."""

    place: int
    entry: Entry
    recording: Entry | None
    statements: tuple[Entry, ...]

    @property
    def said(self) -> dict[str, Any]:
        return cast(dict[str, Any], self.entry.body.content)

    @property
    def sha256(self) -> str:
        return str(self.recording.body.content["sha256"]) if self.recording is not None else ""

    @property
    def by_log(self) -> bool:
        return bool(self.said["source"] == BY_LOG)

    @property
    def flown_s(self) -> float:
        return float(self.said["flown"]["value"]) if "flown" in self.said else 0.0

    @property
    def is_whole(self) -> bool:
        """Whether it tells of lift-off and touchdown; a log that was copied too early does not."""
        return "liftoff" in self.said and "touchdown" in self.said

    def utc(self, key: str) -> datetime | None:
        text = self.said.get(key)
        return datetime.fromisoformat(text.replace("Z", "+00:00")) if text else None

    @property
    def span(self) -> tuple[datetime, datetime] | None:
        """From when to when it flew; None where no time is known."""
        began = self.utc("liftoff") or self.utc("start")
        if began is None:
            return None
        return began, self.utc("touchdown") or began + timedelta(seconds=self.flown_s)


class _Group:
    """Entries about one flight."""

    def __init__(self, part: _Part) -> None:
        self.parts = [part]

    @property
    def statements(self) -> tuple[Entry, ...]:
        return tuple(dict.fromkeys(s for part in self.parts for s in part.statements))

    def stated(self, key: str) -> str:
        found = [str(s.body.content[key]) for s in self.statements if key in s.body.content]
        return found[-1] if found else ""

    @property
    def aircraft(self) -> str:
        named = (str(p.said.get("aircraft", "")) for p in self.parts)
        return self.stated("aircraft") or next(filter(None, named), "")

    def is_apart_from(self, other: _Group) -> bool:
        """Whether both have a sortie of one recording: the log tells that these are two."""
        mine = {p.sha256: p.said["number"] for p in self.parts if p.sha256}
        return any(
            mine.get(p.sha256, p.said["number"]) != p.said["number"]
            for p in other.parts
            if p.sha256
        )


# --- which entries are about one flight


def _flights(ledger: Ledger) -> tuple[SortieRecord, ...]:
    groups = _overlapping(_same(ledger, _parts(ledger)))
    recordings = {e.body.content["sha256"]: e for e in ledger.of(RECORDING)}
    flights = (_flight(ledger, group, recordings) for group in groups)
    return tuple(sorted(flights, key=lambda f: (f.began, f.number, f.entry.hash)))


def _parts(ledger: Ledger) -> list[_Part]:
    stated = defaultdict(list)
    for statement in ledger.of(PAIRING):
        for digest in statement.body.related(CITES):
            stated[digest].append(statement)
    parts = []
    for place, entry in enumerate(ledger.of(SORTIE)):
        recordings = ledger.named(entry, CITES, RECORDING)
        recording = recordings[0] if recordings else None
        parts.append(_Part(place, entry, recording, tuple(stated[entry.hash])))
    return parts


def _same(ledger: Ledger, parts: Sequence[_Part]) -> list[_Group]:
    """Put together what is the same sortie of a recording, and what persons said is one flight."""
    groups = {part.entry.hash: _Group(part) for part in parts}
    first: dict[tuple[str, int], str] = {}
    for part in parts:
        if part.sha256:
            key = (part.sha256, part.said["number"])
            _join(groups, first.setdefault(key, part.entry.hash), part.entry.hash)
    for entry in (*ledger.of(PAIRING), *(part.entry for part in parts)):
        cited = [d for d in (entry.hash, *entry.body.related(CITES)) if d in groups]
        for digest in cited[1:]:
            _join(groups, cited[0], digest)
    return list(dict.fromkeys(groups.values()))


def _join(groups: dict[str, _Group], one: str, other: str) -> None:
    kept, gone = groups[one], groups[other]
    if kept is gone or kept.is_apart_from(gone):
        return
    kept.parts += gone.parts
    for part in gone.parts:
        groups[part.entry.hash] = kept


def _overlapping(groups: list[_Group]) -> list[_Group]:
    """Put together the sorties of one aircraft that were flown at one time, the closest first."""
    by_hash = {part.entry.hash: group for group in groups for part in group.parts}
    for _, one, other in sorted(_pairs(groups), key=lambda pair: pair[0]):
        _join(by_hash, one.entry.hash, other.entry.hash)
    return list(dict.fromkeys(by_hash.values()))


def _pairs(groups: Iterable[_Group]) -> Iterator[tuple[float, _Part, _Part]]:
    """Give the entries that overlap, with the share of the shorter one; the largest are lowest."""
    of: defaultdict[str, list[tuple[datetime, datetime, _Part]]] = defaultdict(list)
    for group in groups:
        if group.aircraft:
            spans = ((part.span, part) for part in group.parts)
            of[group.aircraft] += [(*span, part) for span, part in spans if span is not None]
    for listed in of.values():
        listed.sort(key=lambda item: (item[0], item[2].place))
        for index, (began, ended, part) in enumerate(listed):
            for later, end, other in listed[index + 1 :]:
                if later > ended:
                    break
                share = _share((began, ended), (later, end))
                if share is not None:
                    yield -share, part, other


# --- one flight


def _flight(ledger: Ledger, group: _Group, recordings: dict[str, Entry]) -> SortieRecord:
    parts = _best_first(group)
    main = parts[0]
    hands = [p.entry for p in parts if not p.by_log]
    release, paired = _released(ledger, group, parts)
    pack = group.stated("pack")
    if not pack and release is not None:
        pack = release.body.content["pack"]
    packs = (str(p.said.get("pack", "")) for p in parts)
    flown = [p.flown_s for p in parts if p.by_log] or [p.flown_s for p in parts]
    return SortieRecord(
        entry=main.entry,
        recording=recordings.get(main.sha256, main.recording),
        aircraft=group.aircraft,
        pack=pack or next(filter(None, packs), ""),
        number=main.said["number"],
        source=main.said["source"],
        start=_first_utc(parts, "start"),
        liftoff=_first_utc(parts, "liftoff"),
        touchdown=_first_utc(parts, "touchdown"),
        flown_s=max(flown),
        landings=max(p.said["landings"] for p in parts),
        attempts=max(p.said["attempts"] for p in parts),
        release=release,
        paired=paired,
        statements=group.statements,
        measurements=tuple(m for p in parts for m in ledger.naming(p.entry, CITES, MEASUREMENT)),
        by_hand=hands[0] if main.by_log and hands else None,
        others=tuple(p.entry for p in parts[1:]),
    )


def _best_first(group: _Group) -> list[_Part]:
    """Sort what is there of one flight: logs, of these whole ones, of cut ones the longest.

    Logs that hold as much of it stay in the order in which they were entered, so that one of a
    coarse rate does not stand for a fine one because it saw a tenth of a second more.
    """
    longest = max((p.flown_s for p in group.parts if p.by_log), default=0.0)

    def is_short(part: _Part) -> bool:
        return not part.is_whole and part.flown_s < AS_LONG * longest

    return sorted(
        group.parts,
        key=lambda p: (not p.by_log, p.span is None, not p.is_whole, is_short(p), p.place),
    )


def _first_utc(parts: Iterable[_Part], key: str) -> datetime | None:
    return next((at for at in (p.utc(key) for p in parts) if at is not None), None)


def _released(ledger: Ledger, group: _Group, parts: Sequence[_Part]) -> tuple[Entry | None, str]:
    """Give the release of a flight: as a person stated last, else as it was found."""
    release: Entry | None = None
    paired = str(parts[0].said["paired"])
    for part in parts:
        found = _named_release(ledger, part.entry)
        if found is not None:
            release, paired = found, str(part.said["paired"])
            break
    for statement in group.statements:
        named = _named_release(ledger, statement)
        if named is not None or statement.body.content.get("without_release"):
            release = named
            paired = f"stated by a person: {statement.body.content['reason']}"
    return release, paired


def _named_release(ledger: Ledger, entry: Entry) -> Entry | None:
    """Give the release that an entry spends, or that it rests on where another one spent it."""
    found = ledger.named(entry, SPENDS, RELEASE) or ledger.named(entry, CITES, RELEASE)
    return found[0] if found else None


# --- its debrief


def debrief_of(desk: Desk, record: SortieRecord) -> dict[str, Any] | None:
    """Give the part of the stored debrief that is about a sortie, None where there is none.

    Returns
    -------
    dict or None
        An item of ``sorties`` of the JSON contract; None too where the file is missing or is not
        what was stored. It has ``inputs`` of its own where it was released with another load, or
        under other rules, than the first one of its log.
    """
    if record.recording is None:
        return None
    whole = recording_debrief(desk, record.recording)
    listed = whole.get("sorties", []) if whole else []
    return next((s for s in listed if s.get("number") == record.number), None)


def recording_debrief(desk: Desk, recording: Entry) -> dict[str, Any] | None:
    """Give the stored debrief of a recording, None where it is missing or damaged."""
    store = desk.book.attachments
    for attachment in debriefs_named(recording):
        if store.problem(attachment) is None:
            body = _kept_json(desk, attachment)
            if body.get("schema") == DEBRIEF_SCHEMA:
                return body
    return None


def debriefs_named(recording: Entry) -> tuple[Attachment, ...]:
    """Give the attachments of a recording that may be its debrief: a log may have such a name."""
    return tuple(a for a in recording.body.attachments if a.name.endswith(DEBRIEF_NAME))


def debrief_in(path: Path) -> dict[str, Any]:
    """Read a stored debrief for this once; an empty object where the file is none."""
    body = _json(path)
    return body if body.get("schema") == DEBRIEF_SCHEMA else {}


def is_recomputed(recording: Entry) -> bool:
    """Ask whether a recording's debrief is one that was computed anew: nothing was flown for it."""
    return "changed" in recording.body.content


def _kept_json(desk: Desk, attachment: Attachment) -> dict[str, Any]:
    """Read a JSON object once for as long as the desk stands, unless it is large; see ``_json``."""
    key = ("json", attachment.sha256)
    known = desk.lasting.get(key)
    if known is None:
        known = _json(desk.book.attachments.path(attachment.sha256))
        if attachment.size <= LARGEST_KEPT:
            desk.lasting[key] = known
    return cast(dict[str, Any], known)


def _json(path: Path) -> dict[str, Any]:
    """Read a debrief; an empty object where it is none, as of a log with such a name."""
    try:
        body = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError):
        return {}
    return body if isinstance(body, dict) and is_sound(body) else {}
