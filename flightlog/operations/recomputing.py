"""Debriefs of the record computed anew by the analyses of today, as new entries.

Nothing is read from raw logs where the tables that a debrief came from are still kept and whole:
the entry of the recording names them by their hash. Each flight is judged by what it was released
with, as before. The entry before stays; the new one says what changed.

Parameters are not entered again, and no event is raised: what a log of long ago shows was dealt
with, or has to be looked at by a person who reads what changed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from flightlog.earlier import SAME_SORTIE_S
from flightlog.errors import FlightlogError, LogFileError, NotWritableError
from flightlog.figures import ANALYSES_VERSION
from flightlog.importers.registry import Progress, unwatched
from flightlog.logbook.entry import Attachment, Entry
from flightlog.logbook.flying_kinds import RECORDING
from flightlog.operations.autopilot import Whose
from flightlog.operations.desk import Desk
from flightlog.operations.flight_making import FlightTask, Given, Source, Worked, debrief_flight
from flightlog.operations.flown_under import flown_under
from flightlog.operations.importing import Told, finish, flights_of_recording, recording_draft
from flightlog.operations.pairing import CLOCKS_APART
from flightlog.operations.positions import named
from flightlog.operations.sortie_drafts import Leg, enter_sorties, legs_of
from flightlog.operations.sorties import DEBRIEF_NAME, number_in, recording_debrief
from flightlog.workers import Finished, Here, Workers

MOST_CHANGES = 24
"""Changes that an entry tells; how many there are it says too, and the debrief has all."""
_LONGEST = 200


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
    """Give the recordings whose figures are by other analyses than those of today.

    Of each log the last entry is asked.
    """
    last = {e.body.content["sha256"]: e for e in desk.ledger.of(RECORDING)}
    return tuple(e for e in last.values() if e.body.content["analyses"] < ANALYSES_VERSION)


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

    Raises
    ------
    NotWritableError
        If the folder can't be written, which ends it: what is entered stays.
    """
    step = progress or unwatched
    tasks: list[FlightTask] = []
    for number, recording in enumerate(recordings):
        try:
            if enter_sorties(desk, recording):  # an import of it was interrupted
                finish(desk, recording)
            tasks.append(_task(desk, recording, number))
        except NotWritableError:
            raise
        except FlightlogError as error:
            yield NotRecomputed(recording, error)
    crew = workers or Here()
    for done, finished in enumerate(crew.each(debrief_flight, tasks, lambda t: t.size), start=1):
        step(done / len(tasks), f"{done} of {len(tasks)} computed")
        yield _entered(desk, recordings[finished.task.number], finished)


def _task(desk: Desk, recording: Entry, number: int) -> FlightTask:
    """Say what is to be computed: from which tables or logs, and with what."""
    said, store = recording.body.content, desk.book.attachments
    logs = tuple(a for a in recording.body.attachments if not a.name.endswith(DEBRIEF_NAME))
    debriefs = [a for a in recording.body.attachments if a.name.endswith(DEBRIEF_NAME)]
    if not debriefs or recording_debrief(desk, recording) is None:
        raise LogFileError(
            "its stored debrief is missing or damaged",
            where=named(recording),
            fix="Bring the attachments back from the second copy: 'flightlog logbook merge'.",
        )
    under, given = _given(desk, recording)
    return FlightTask(
        logs=tuple(_source(store.path(a.sha256), a, said) for a in logs),
        under=under,
        given=given,
        attachments=store.folder,
        tables=desk.folder.tables,
        number=number,
        kept=logs,
        earlier=store.path(debriefs[0].sha256),
    )


def _source(path: Path, log: Attachment, said: Mapping[str, Any]) -> Source:
    own = log.sha256 == said["sha256"]
    return Source(path, log.sha256, log.size, said.get("tables", "") if own else "", log.name)


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
) -> Recomputed | NotRecomputed:
    if isinstance(finished.error, NotWritableError):
        raise finished.error
    if finished.error is not None:
        return NotRecomputed(before, finished.error)
    made = finished.get()
    whole = recording_debrief(desk, before) or {"sorties": []}
    if not _same_flights(legs_of(whole["sorties"]), made.legs):
        found = f"the analyses of today find other flights in it: {len(made.legs)}"
        fix = "The debrief that is in the record stands; look at both, and tell us of the log."
        return NotRecomputed(before, LogFileError(found, where=named(before), fix=fix))
    try:
        entry = desk.append(_draft(desk, before, made))
    except NotWritableError:
        raise
    except FlightlogError as error:
        return NotRecomputed(before, error)
    return Recomputed(before, entry, made.changes)


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
