"""Debriefs of the record computed anew by the analyses and importers of today, as new entries.

Nothing is read from raw logs where the tables that a debrief came from are still kept and whole,
and are those that the importers of today would give. Which tables that are is only taken from
entries and notes of this laptop: an entry of another one names whatever was laid beside it. Each
flight is judged by what it was released with, as before. The entry before stays; the new one says
what changed.

Parameters are not entered again, and no event is raised: what a log of long ago shows was dealt
with, or has to be looked at by a person who reads what changed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from typing import Any

from flightlog.earlier import SAME_SORTIE_S
from flightlog.errors import LogFileError, NotWritableError
from flightlog.figures import ANALYSES_VERSION
from flightlog.importers.registry import READING, Progress, unwatched
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Attachment, Entry
from flightlog.logbook.flying_kinds import RECORDING
from flightlog.operations.autopilot import Whose
from flightlog.operations.desk import Desk
from flightlog.operations.flight_making import FlightTask, Given, Source, Worked, debrief_flight
from flightlog.operations.flown_under import flown_under
from flightlog.operations.importing import (
    Told,
    decoded_of,
    finish,
    flights_of_recording,
    recording_draft,
)
from flightlog.operations.pairing import CLOCKS_APART
from flightlog.operations.positions import named
from flightlog.operations.sortie_drafts import Leg, enter_sorties, legs_of
from flightlog.operations.sorties import (
    debrief_in,
    debriefs_named,
    number_in,
    recording_debrief,
)
from flightlog.workers import Finished, Here, Workers
from flightlog.workers.tasks import done

MOST_CHANGES = 24
"""Changes that an entry tells; how many there are it says too, and the debrief has all."""
_LONGEST = 200
_FIRST_READING = 1
"""Entries that don't say by which reading their tables are were made by this one."""


@dataclass(frozen=True, slots=True)
class Recomputed:
    """A debrief that was computed anew.

    Attributes
    ----------
    before, entry : Entry
        The recording before, and its new entry.
    changes : tuple of str
        What changed. Sentences.
    """

    before: Entry
    entry: Entry
    changes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NotRecomputed:
    """A debrief that stays as it is, and why."""

    before: Entry
    error: BaseException


def outdated(desk: Desk) -> tuple[Entry, ...]:
    """Give the recordings whose figures are by older analyses, or importers, than those of today.

    Of each log the last entry is asked.
    """
    last = {e.body.content["sha256"]: e for e in desk.ledger.of(RECORDING)}
    return tuple(filter(_is_outdated, last.values()))


def _is_outdated(recording: Entry) -> bool:
    return recording.body.content["analyses"] < ANALYSES_VERSION or _reading(recording) < READING


def _reading(recording: Entry) -> int:
    """Give the version of the importers that read the tables of a debrief."""
    return int(recording.body.content.get("reading", _FIRST_READING))


def recompute(
    desk: Desk,
    recordings: Sequence[Entry],
    workers: Workers | None = None,
    progress: Progress | None = None,
) -> Iterator[Recomputed | NotRecomputed]:
    """Compute debriefs anew, and enter each as it is done.

    Parameters
    ----------
    desk : Desk
        The team's.
    recordings : sequence of Entry
        From `outdated`.
    workers : Workers, optional
        Who debriefs; this process when not given.
    progress : callable, optional
        Called with the fraction done and what is being done.

    Yields
    ------
    Recomputed or NotRecomputed
        As it happens. What another process computed anew meanwhile is passed over.

    Raises
    ------
    NotWritableError
        If the folder can't be written, which ends it: what is entered stays.
    """
    step = progress or unwatched
    tasks: list[FlightTask] = []
    for number, recording in enumerate(recordings):
        tried = done(partial(_prepared, desk, number), recording)
        if tried.error is None:
            tasks.append(tried.get())
        else:
            yield _not_recomputed(recording, tried.error)
    crew = workers or Here()
    for count, finished in enumerate(crew.each(debrief_flight, tasks, lambda t: t.size), start=1):
        step(count / len(tasks), f"{count} of {len(tasks)} computed")
        came = _entered(desk, recordings[finished.task.number], finished)
        if came is not None:
            yield came


def _not_recomputed(before: Entry, error: BaseException) -> NotRecomputed:
    """Tell what failed with one of them; what fails with all ends it."""
    if isinstance(error, NotWritableError):
        raise error
    return NotRecomputed(before, error)


def _prepared(desk: Desk, number: int, recording: Entry) -> FlightTask:
    if enter_sorties(desk, recording):  # an import of it was interrupted
        finish(desk, recording)
    return _task(desk, recording, number)


def _task(desk: Desk, recording: Entry, number: int) -> FlightTask:
    """Say what is to be computed: from which tables or logs, and with what."""
    store, debrief = desk.book.attachments, _debrief(desk, recording)
    logs = _logs(recording, debrief)
    if debrief is None or not logs:
        raise LogFileError(
            "its stored debrief is missing or damaged" if logs else "its entry names no log",
            where=named(recording),
            fix="Bring the attachments back from the second copy: 'flightlog logbook merge'.",
        )
    own, *others = logs
    tables = _tables(desk, recording, logs)
    under, given = _given(desk, recording)
    return FlightTask(
        logs=(_source(store, own, tables), *(_source(store, other) for other in others)),
        under=under,
        given=given,
        attachments=store.folder,
        tables=desk.folder.tables,
        number=number,
        kept=logs,
        earlier=store.path(debrief.sha256),
    )


def _debrief(desk: Desk, recording: Entry) -> Attachment | None:
    """Give the attachment that `recording_debrief` reads."""
    store = desk.book.attachments
    for attachment in debriefs_named(recording):
        if store.problem(attachment) is None and debrief_in(store.path(attachment.sha256)):
            return attachment
    return None


def _logs(recording: Entry, debrief: Attachment | None) -> tuple[Attachment, ...]:
    """Give the logs of a recording, its own first; none where that is not among its files."""
    sha256 = recording.body.content["sha256"]
    files = [a for a in recording.body.attachments if a != debrief]
    own = [a for a in files if a.sha256 == sha256]
    return tuple([*own, *(a for a in files if a.sha256 != sha256)] if own else ())


def _source(store: AttachmentStore, log: Attachment, tables: str = "") -> Source:
    return Source(store.path(log.sha256), log.sha256, log.size, tables, log.name)


def _tables(desk: Desk, recording: Entry, logs: Sequence[Attachment]) -> str:
    """Give the name of a debrief's tables, where this laptop says so; "" where the log tells."""
    said = recording.body.content
    if recording.body.device in desk.book.own_devices and _reading(recording) == READING:
        return str(said.get("tables", ""))
    return decoded_of(desk).name_of(said["sha256"]) if len(logs) == 1 else ""


def _given(desk: Desk, recording: Entry) -> tuple[tuple[str, ...], dict[str, Given]]:
    """Gather what each flight is judged by: its release and pack as the record has them now."""
    aircraft = str(recording.body.content.get("aircraft", ""))
    flights = {
        number_in(desk, flight, recording.body.content["sha256"]): flight
        for flight in flights_of_recording(desk, recording)
    }
    under, given = [], {}
    for number in range(1, recording.body.content["sorties"] + 1):
        flight = flights.get(number)
        release = flight.release if flight is not None else None
        pack = flight.pack if flight is not None else ""
        whose = (flight.aircraft if flight is not None else "") or aircraft
        key = f"{release.hash if release is not None else ''} {whose} {pack}"
        under.append(key)
        if key not in given:
            found = flown_under(desk, whose, release, pack)
            given[key] = Given(found.inputs, found.rules)
    if not under:
        given[""] = Given(flown_under(desk, aircraft, None).inputs)
    return tuple(under), given


def _entered(
    desk: Desk, before: Entry, finished: Finished[FlightTask, Worked]
) -> Recomputed | NotRecomputed | None:
    if finished.error is not None:
        return _not_recomputed(before, finished.error)
    tried = done(partial(_enter, desk, before), finished.get())
    return tried.get() if tried.error is None else _not_recomputed(before, tried.error)


def _enter(desk: Desk, before: Entry, made: Worked) -> Recomputed | None:
    """Enter a debrief; None where another process was faster."""
    whole = recording_debrief(desk, before) or {"sorties": []}
    if not _same_flights(legs_of(whole["sorties"]), made.legs):
        found = f"the analyses of today find other flights in it: {len(made.legs)}"
        fix = "The debrief that is in the record stands; look at both, and tell us of the log."
        raise LogFileError(found, where=named(before), fix=fix)
    desk.refresh()
    last = desk.ledger.last(RECORDING, sha256=before.body.content["sha256"])
    if last != before:
        if last is None or not _is_outdated(last):
            return None
        found = f"the record has another recording of this log since: {named(last)}"
        raise LogFileError(found, where=named(before), fix="Give the same command again.")
    return Recomputed(before, desk.append(_draft(desk, before, made)), made.changes)


def _same_flights(before: Sequence[Leg], now: Sequence[Leg]) -> bool:
    return len(before) == len(now) and all(
        abs(one.start_s - other.start_s) <= SAME_SORTIE_S
        for one, other in zip(before, now, strict=True)
    )


def _draft(desk: Desk, before: Entry, made: Worked) -> Any:
    said = before.body.content
    found = Whose(str(said.get("aircraft", "")), str(said.get("autopilot", "")), "")
    apart = said.get("clocks_apart")
    told = Told(clocks_apart=timedelta(seconds=float(apart["value"])) if apart else CLOCKS_APART)
    draft = recording_draft(desk, made, found, told)
    content: dict[str, Any] = {"changed": len(made.changes)}
    if made.changes:
        content["changes"] = [_short(text) for text in made.changes[:MOST_CHANGES]]
    return replace(draft, content={**draft.content, **content})


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"
