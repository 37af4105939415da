"""A log goes into the record: kept, debriefed, its flights paired with their releases.

First every file is on the disk under its hash: the log, the logs of the same flight that were
joined with it, and the debrief. Then one entry names them. Each flight gets an entry of its own
after that, made from the stored debrief and nothing else. So an interruption leaves files that
nothing names, or a recording whose flights are still to be entered, which the next import of the
same file does.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flightlog.errors import LogFileError
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, Attachment, Entry, Relation
from flightlog.logbook.flying_kinds import RECORDING
from flightlog.operations.autopilot import Whose, asked, whose
from flightlog.operations.desk import Desk
from flightlog.operations.flown_under import flown_under
from flightlog.operations.log_events import note_log_events
from flightlog.operations.pairing import CLOCKS_APART, utc_of
from flightlog.operations.sortie_drafts import LogClock, enter_sorties, legs_of, pair_legs
from flightlog.operations.sorties import DEBRIEF_NAME, SortieRecord, sorties

if TYPE_CHECKING:
    from flightlog.analyses.phases import Sortie
    from flightlog.debriefing import Debrief
    from flightlog.importers.registry import Progress
    from flightlog.recording import Recording

_LONGEST_NAME = 255 - len(DEBRIEF_NAME)


@dataclass(frozen=True, slots=True)
class Told:
    """What a person says beside the logs.

    Attributes
    ----------
    aircraft, pack : str
        Ids; empty where nobody said.
    clocks_apart : timedelta
        What the clocks of log and laptop may be apart.
    """

    aircraft: str = ""
    pack: str = ""
    clocks_apart: timedelta = CLOCKS_APART


@dataclass(frozen=True, slots=True)
class Imported:
    """What came of a log.

    Attributes
    ----------
    recording : Entry
        The log's entry.
    flights : tuple of SortieRecord
        Of its flights, as they stand in the record now.
    added : tuple of Entry
        What was added, the recording's own entry among it; empty where all was there.
    debrief : Debrief or None
        Made now; None where the log was in the record already.
    whose : Whose or None
        How its aircraft was found; None where the log was in the record already.
    lacking : tuple of str
        What would have been needed for a full debrief. Clauses.
    """

    recording: Entry
    flights: tuple[SortieRecord, ...]
    added: tuple[Entry, ...]
    debrief: Debrief | None = None
    whose: Whose | None = None
    lacking: tuple[str, ...] = ()


def recording_with(desk: Desk, hashes: Iterable[str]) -> Entry | None:
    """Give a recording that holds all of these files, by their SHA-256; None without one.

    Of several the last one whose own file is among them: not one that was only joined with them.
    """
    wanted = set(hashes)
    holding = [
        e
        for e in desk.ledger.of(RECORDING)
        if wanted <= {e.body.content["sha256"], *(a.sha256 for a in e.body.attachments)}
    ]
    own = [e for e in holding if e.body.content["sha256"] in wanted]
    return next(reversed(own or holding), None)


def finish(desk: Desk, recording: Entry, told: Told | None = None) -> Imported:
    """Enter what an interrupted import left out: flights of a recording without entries."""
    added = _finished(desk, recording, told or Told())
    return Imported(recording, flights_of_recording(desk, recording), added)


def _finished(desk: Desk, recording: Entry, told: Told) -> tuple[Entry, ...]:
    """Enter what follows from a recording, as far as it is missing.

    Flights first: what an event then stops was not stopped yet when they were flown.
    """
    added = enter_sorties(desk, recording, pack=told.pack)
    flights = flights_of_recording(desk, recording)
    return (*added, *note_log_events(desk, recording, flights))


def flights_of_recording(desk: Desk, recording: Entry) -> tuple[SortieRecord, ...]:
    """Give the flights of a recording that are in the record, in the order of the log."""
    sha256 = recording.body.content["sha256"]
    found = (
        f
        for f in sorties(desk)
        if any(
            cited.body.content["sha256"] == sha256
            for entry in f.entries
            for cited in desk.ledger.named(entry, CITES, RECORDING)
        )
    )
    return tuple(sorted(found, key=lambda f: f.number))


def import_recording(
    desk: Desk,
    recording: Recording,
    logs: Sequence[Path],
    told: Told | None = None,
    progress: Progress | None = None,
) -> Imported:
    """Put a log into the record.

    Parameters
    ----------
    desk : Desk
        The team's.
    recording : Recording
        As it was read; joined with others of the same flight where there were any.
    logs : sequence of Path
        Its files, that of the recording itself first.
    told : Told, optional
        What a person says beside it.
    progress : callable, optional
        Called with the fraction done and what is being done.

    Raises
    ------
    UsageError
        If its aircraft can't be told, and nobody named it; nothing is entered then.
    LogFileError
        If a file is no longer what was read.
    TeamFileError
        If a version of a team file in the record can't be read.
    NotWritableError
        If the folder can't be written.
    """
    from flightlog.analyses.phases import find_sorties

    told, step = told or Told(), progress or _unwatched
    step(0.0, "computing")
    found = whose(desk, recording, told.aircraft)
    coarse, attempts, _ = find_sorties(recording)
    if not found.aircraft and (coarse or attempts):
        raise asked(desk, recording.receipt.file, found)
    made = _debriefed(desk, recording, found.aircraft, told, coarse)
    step(0.8, "keeping")
    files = (*_keep_logs(desk, recording, logs), _keep_debrief(desk, recording, made))
    read = _note_parameters(desk, recording, found.aircraft)
    entry = desk.append(_draft(desk, recording, made.debrief, found, told, files, read))
    added = (*read, entry, *_finished(desk, entry, told))
    flights = flights_of_recording(desk, entry)
    return Imported(entry, flights, added, made.debrief, found, made.lacking)


def _unwatched(fraction: float, text: str) -> None:
    """Take progress that nobody wants to see."""


# --- debriefing under what each flight was released with


@dataclass(frozen=True, slots=True)
class _Made:
    """A debrief in which each flight was judged by what it was released with.

    Attributes
    ----------
    debrief : Debrief
        Its inputs are those of the first flight.
    own : mapping of int to Debrief
        Number of a flight with other inputs -> the debrief that it was taken from.
    lacking : tuple of str
        What would have been needed.
    """

    debrief: Debrief
    own: Mapping[int, Debrief]
    lacking: tuple[str, ...]


def _debriefed(
    desk: Desk, recording: Recording, aircraft: str, told: Told, coarse: Sequence[Sortie]
) -> _Made:
    """Debrief a log once for each different release that its flights were flown under."""
    from flightlog.debriefing import debrief

    utc = recording.receipt.utc
    clock = LogClock(utc.offset_s, utc.std_s, utc.zone_known, told.clocks_apart)
    joined = [partner.sha256 for partner in recording.receipt.partners]
    made: dict[str, Debrief] = {}
    lacking: list[str] = []

    def releases(flights: Sequence[Sortie]) -> list[Entry | None]:
        legs = legs_of(flights)
        found = pair_legs(desk, aircraft, clock, legs, pack=told.pack, joined=joined)
        return [one.release for one in found]

    def under(release: Entry | None) -> Debrief:
        key = release.hash if release is not None else ""
        if key not in made:
            given = flown_under(desk, aircraft, release, told.pack)
            made[key] = debrief(recording, given.inputs, given.rules)
            lacking.extend(given.lacking)
        return made[key]

    main = under((releases(coarse) or [None])[0])
    # The times of a debrief are finer, and it may have left out a column that told of flights.
    each = [under(release) for release in releases([s.sortie for s in main.sorties])]
    main = each[0] if each else main
    if any(len(one.sorties) != len(each) for one in each):
        each = [main for _ in main.sorties]  # a column was left out that told of flights
    flights = tuple(one.sorties[index] for index, one in enumerate(each))
    own = {n: one for n, one in enumerate(each, start=1) if one is not main}
    return _Made(replace(main, sorties=flights), own, tuple(dict.fromkeys(lacking)))


# --- keeping


def _keep_logs(desk: Desk, recording: Recording, logs: Sequence[Path]) -> list[Attachment]:
    """Keep the files; what is kept has to be what was read."""
    receipt = recording.receipt
    read = {receipt.sha256, *(partner.sha256 for partner in receipt.partners)}
    kept = [desk.book.attach(log, _printable(log.name)) for log in logs]
    for log, attachment in zip(logs, kept, strict=True):
        if attachment.sha256 not in read:
            raise LogFileError(
                "the file changed while it was read",
                where=log.name,
                fix="Let the device finish writing it, then import it again.",
            )
    own = [a for a in kept if a.sha256 == receipt.sha256]
    return [*own, *(a for a in kept if a.sha256 != receipt.sha256)]


def _printable(name: str) -> str:
    """Give a file's name as entries can hold it."""
    return name.encode("utf-8", "replace").decode("utf-8")[:255]


def _keep_debrief(desk: Desk, recording: Recording, made: _Made) -> Attachment:
    from flightlog.contract import dumps, to_json

    body = to_json(made.debrief)
    for item in body["sorties"]:
        if item["number"] in made.own:
            item["inputs"] = to_json(made.own[item["number"]])["inputs"]
    name = f"{(recording.receipt.file or 'log')[:_LONGEST_NAME]}{DEBRIEF_NAME}"
    data = io.BytesIO((dumps(body) + "\n").encode("utf-8"))
    return desk.book.attachments.put(data, name)


def _note_parameters(desk: Desk, recording: Recording, aircraft: str) -> tuple[Entry, ...]:
    """Enter the parameters that a log holds; none where it holds none, or is of no aircraft."""
    from flightlog.operations.baseline import note_parameters, parameters_of

    if not aircraft or "parameters" not in recording:
        return ()
    try:
        parameters = parameters_of(recording, recording.receipt.file)
    except LogFileError:  # all of them are such that autopilots write by themselves
        return ()
    return (note_parameters(desk, aircraft, parameters),)


def _draft(
    desk: Desk,
    recording: Recording,
    debrief: Debrief,
    found: Whose,
    told: Told,
    attachments: Sequence[Attachment],
    read: Sequence[Entry],
) -> Draft:
    from flightlog.figures import ANALYSES_VERSION

    receipt = recording.receipt
    content: dict[str, Any] = {
        "file": receipt.file[:255] or "log",
        "sha256": receipt.sha256,
        "format": receipt.format,
        "analyses": ANALYSES_VERSION,
        "sorties": len(debrief.sorties),
        "attempts": len(debrief.attempts),
        "clock": receipt.utc.source[:200] or "not said",
        "clocks_apart": quantity(str(round(told.clocks_apart.total_seconds())), "s"),
    }
    content |= _known({"aircraft": found.aircraft, "autopilot": found.autopilot})
    content |= _times(recording)
    before = desk.ledger.of(RECORDING, sha256=receipt.sha256)[-1:]
    relations = [Relation(CITES, entry.hash) for entry in (*before, *read)]
    return Draft(RECORDING, content, attachments=attachments, relations=relations)


def _known(texts: Mapping[str, str]) -> dict[str, str]:
    return {key: text for key, text in texts.items() if text}


def _times(recording: Recording) -> dict[str, Any]:
    """Give when the log began and how sure that is, where it tells UTC."""
    from flightlog.logbook.entry import write_utc

    utc = recording.receipt.utc
    if utc.unix_offset_s is None:
        return {}
    first = [float(recording[n]["time_s"].iloc[0]) for n in recording if n != "parameters"]
    began = utc_of(utc.unix_offset_s + min(first)) if first else None
    if began is None:
        return {}
    std = quantity(f"{utc.std_s:.3f}", "s") if utc.std_s is not None else None
    return {"start": write_utc(began), **({"clock_std": std} if std else {})}
