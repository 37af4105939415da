"""Hundreds of logs go into the record: read and debriefed by all cores, entered in order of time.

Three passes. Every log is read once, and its tables are kept. Then they are sorted into flights
and copies. Then each flight is debriefed and entered, the earliest first, because what the record
takes as the last reading of an aircraft's parameters, and which release is left for a flight,
follows from what was entered before. What is done is on the disk and noted at once, whatever this
process is busy with: after an interruption the same call goes on where it was, and does again no
more than what was in work and not finished.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from flightlog.decoded import DecodedStore
from flightlog.errors import FlightlogError, LogFileError, NotWritableError, TeamFileError
from flightlog.importers.registry import Progress, unwatched
from flightlog.joining import Group, Grouping, group, why_left_out
from flightlog.logbook.entry import Entry
from flightlog.operations.autopilot import wanted_ids
from flightlog.operations.desk import Desk
from flightlog.operations.flight_making import (
    FlightTask,
    JoinTask,
    Looked,
    LookTask,
    Seen,
    Source,
    Worked,
    debrief_flight,
    look,
    look_together,
)
from flightlog.operations.importing import (
    MOST_ROUNDS,
    FlightPairing,
    Imported,
    Told,
    enter,
    finish,
    hashes_known,
    recording_with,
)
from flightlog.operations.log_content import content_of
from flightlog.operations.made_debriefs import MadeDebriefs
from flightlog.workers import Finished, Here, Workers
from flightlog.workers.tasks import Task, done

_HASHING, _LOOKING = 0.02, 0.2
"""Shares of the work that hashing, and hashing and reading, are, as progress counts it."""
SAME_FILE = "same-file"
"""Code of a log that was given under two names."""
_NO_TIME = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Entered:
    """Logs that are in the record.

    Attributes
    ----------
    logs : tuple of Path
        Of one recording.
    imported : Imported
        What came of them.
    known : bool
        Whether they were in the record before.
    """

    logs: tuple[Path, ...]
    imported: Imported
    known: bool = False


@dataclass(frozen=True, slots=True)
class Failed:
    """Logs that are not in the record, and why: raised on purpose, or a fault of this program."""

    logs: tuple[Path, ...]
    error: BaseException


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A copy of another log.

    Attributes
    ----------
    log, of : Path
        It, and the one that stands for it.
    code : str
        `SAME_FILE`, or that of a `flightlog.joining.Copy`.
    """

    log: Path
    of: Path
    code: str

    def why(self, name: Callable[[Path], str] = str) -> str:
        """Say in a sentence why it is left out, by the names that files are given."""
        if self.code == SAME_FILE:
            return f"{name(self.log)}: the same file as {name(self.of)}, taken once"
        return why_left_out(self.code, name(self.log), name(self.of))


Event = Entered | Failed | LeftOut


def refuse_without_aircraft(desk: Desk, told: Told) -> None:
    """Refuse before hundreds of logs are read what would keep all of their flights out.

    Parameters
    ----------
    desk : Desk
        The team's.
    told : Told
        What a person says beside all of the logs.

    Raises
    ------
    TeamFileError
        If the record holds no aircraft file.
    UsageError
        If it holds none of the aircraft that a person named.
    """
    if not desk.versions.ids("aircraft"):
        raise TeamFileError(
            "the record holds no aircraft file, and flights are entered as those of an aircraft",
            where=str(desk.folder.path),
            fix="Enter it first: 'flightlog team enter FILE'.",
        )
    if told.aircraft:
        desk.version("aircraft", told.aircraft)


class SeasonImport:
    """An import of many logs.

    Parameters
    ----------
    desk : Desk
        The team's.
    told : Told, optional
        What a person says beside all of the logs.
    workers : Workers, optional
        Who reads and debriefs; this process when not given.
    progress : callable, optional
        Called with the fraction done and what is being done.

    Attributes
    ----------
    unkept : list of Path
        Logs that were read and whose tables could not be written; they have to be read again.
    """

    def __init__(
        self,
        desk: Desk,
        told: Told | None = None,
        workers: Workers | None = None,
        progress: Progress | None = None,
    ) -> None:
        self._desk = desk
        self._told = told or Told()
        self._workers = workers or Here()
        self._progress = progress or unwatched
        self._wanted = wanted_ids(desk)
        notes = desk.book.profile / "work"
        self._store = DecodedStore(desk.folder.tables, notes)
        self._made = MadeDebriefs(notes)
        self.unkept: list[Path] = []

    def take(self, logs: Sequence[Path]) -> Iterator[Event]:
        """Put logs into the record; what is at fault with one does not keep the others out.

        Parameters
        ----------
        logs : sequence of Path
            From `flightlog.operations.log_search.search`.

        Yields
        ------
        Entered, Failed or LeftOut
            As it happens; each log stands in one of them.

        Raises
        ------
        NotWritableError
            If the folder can't be written, which ends it: what is entered stays.
        """
        hashes: dict[Path, str] = {}
        yield from self._hash(logs, hashes)
        known = hashes_known(self._desk)
        if known.issuperset(hashes.values()):
            yield from self._finish_all(hashes)
            return
        looked: dict[Path, Looked] = {}
        yield from self._look(hashes, looked)
        read = [log for log in hashes if log in looked]
        seen = [looked[log] for log in read]
        grouping = group([one.sketch for one in seen])
        yield from (LeftOut(read[c.index], read[c.of], c.code) for c in grouping.copies)
        flights = []
        for count, one in enumerate(grouping.groups, start=1):
            members = [seen[i] for i in one.members]
            paths = tuple(read[i] for i in one.members)
            sha256s = [member.source.sha256 for member in members]
            if known.issuperset(sha256s) and recording_with(self._desk, sha256s) is not None:
                self._progress(_LOOKING, f"{count} of {len(grouping.groups)} logs known")
                yield self._finish(paths, sha256s)
            else:
                flights.append(_flight(one, grouping, members, paths))
        yield from self._enter_all(flights)

    # --- the first pass

    def _hash(self, logs: Sequence[Path], hashes: dict[Path, str]) -> Iterator[Event]:
        """Know each file by its content; the same under two names is taken once."""
        first: dict[str, Path] = {}
        for place, log in enumerate(logs):
            self._progress(_HASHING * place / len(logs), f"looking at {log.name}")
            try:
                sha256 = content_of(log)
            except FlightlogError as error:
                yield Failed((log,), error)
                continue
            twin = first.setdefault(sha256, log)
            if twin == log:
                hashes[log] = sha256
            else:
                yield LeftOut(log, twin, SAME_FILE)

    def _finish_all(self, hashes: Mapping[Path, str]) -> Iterator[Event]:
        """Finish recordings that are in the record, each once, whatever logs it was joined of."""
        of: dict[str, list[Path]] = {}
        for log, sha256 in hashes.items():
            known = recording_with(self._desk, [sha256])
            of.setdefault(known.hash if known is not None else sha256, []).append(log)
        for count, logs in enumerate(of.values()):
            share = _HASHING + (1 - _HASHING) * count / len(of)
            self._progress(share, f"{count} of {len(of)} known logs")
            yield self._finish(tuple(logs), [hashes[log] for log in logs])

    def _finish(self, logs: tuple[Path, ...], sha256s: Sequence[str]) -> Event:
        """Enter what an interruption left out of a recording that is in the record."""
        known = recording_with(self._desk, sha256s)
        if known is None:
            raise ValueError("nothing of it is in the record")
        return self._shielded(logs, self._finished, (logs, known))

    def _finished(self, said: tuple[tuple[Path, ...], Entry]) -> Event:
        logs, known = said
        return Entered(logs, finish(self._desk, known, self._told), known=True)

    def _shielded(self, logs: tuple[Path, ...], work: Callable[[Task], Event], task: Task) -> Event:
        """Do something to the record; what it raises is about these logs, and ends no others."""
        tried = done(work, task)
        if isinstance(tried.error, NotWritableError):
            raise tried.error
        return tried.get() if tried.error is None else Failed(logs, tried.error)

    def _look_task(self, log: Path, sha256: str) -> LookTask:
        known = self._store.name_of(sha256)
        return LookTask(log, self._desk.folder.tables, self._wanted, sha256, known)

    def _look(self, hashes: Mapping[Path, str], looked: dict[Path, Looked]) -> Iterator[Event]:
        """Read what is not read yet, keep its tables, and note here that they are kept."""
        # Workers of a cluster may have another working folder.
        by_place = {log.absolute(): log for log in hashes}
        tasks = [self._look_task(place, hashes[log]) for place, log in by_place.items()]
        read = self._workers.each(look, tasks, _size_of, self._note_tables)
        for count, finished in enumerate(read, start=1):
            share = _HASHING + (_LOOKING - _HASHING) * count / len(tasks)
            self._progress(share, f"{count} of {len(tasks)} logs read")
            log = by_place[finished.task.path]
            if finished.error is not None:
                yield Failed((log,), _about(finished.error, log.name))
                continue
            looked[log] = finished.get()
            if not looked[log].source.tables:
                self.unkept.append(log)

    def _note_tables(self, finished: Finished[LookTask, Looked]) -> None:
        """Note the tables of a log that was read, also where the import was stopped meanwhile."""
        looked = finished.result
        if looked is not None and looked.source.tables and not looked.again:
            self._store.note(looked.source.sha256, looked.source.tables)

    # --- the last pass

    def _enter_all(self, flights: Sequence[_Flight]) -> Iterator[Event]:
        """Debrief and enter recordings, the earliest first; those of no known time come last."""
        yield from self._look_at_joined([flight for flight in flights if flight.seen is None])
        ready = []
        for flight in flights:
            if flight.seen is None:
                continue  # it was told what is at fault with it
            tried = done(self._pairing, flight.seen)
            if tried.error is not None:
                yield Failed(flight.logs, tried.error)
            else:
                flight.pairing = tried.get()
                ready.append(flight)
        ready.sort(key=lambda flight: flight.began)
        yield from self._in_order(ready)

    def _pairing(self, seen: Seen) -> FlightPairing:
        """Pair a recording; among many, a person's word about all is not about other craft."""
        receipt, named = seen.receipt, self._told.aircraft
        if named and seen.craft and named not in dict(seen.says):
            said = f" ({receipt.firmware})" if receipt.firmware else ""
            raise LogFileError(
                f"its firmware is for {seen.craft}{said}, and nothing in it names {named}",
                where=receipt.file,
                fix=f"Leave it out; if it is of {named} all the same, import it alone.",
            )
        return FlightPairing(self._desk, seen, self._told)

    def _look_at_joined(self, flights: Sequence[_Flight]) -> Iterator[Event]:
        tables = self._desk.folder.tables
        tasks = [
            JoinTask(n, flight.sources, flight.group, flight.grouping, tables, self._wanted)
            for n, flight in enumerate(flights)
        ]
        for finished in self._workers.each(look_together, tasks, lambda task: task.size):
            flight = flights[finished.task.number]
            if finished.error is not None:
                yield Failed(flight.logs, _about(finished.error, flight.logs[0].name))
            else:
                flight.seen = finished.get()

    def _in_order(self, flights: Sequence[_Flight]) -> Iterator[Event]:
        """Debrief recordings side by side, and enter each when all before it are entered."""
        taken: dict[int, tuple[str, ...]] = {}
        waiting: dict[int, Finished[FlightTask, Worked] | BaseException] = {}
        at = 0

        def tasks() -> Iterator[FlightTask]:
            for number, flight in enumerate(flights):
                away = [key for keys in taken.values() for key in keys if key]
                tried = done(partial(self._task, number, away), flight)
                if tried.error is not None:  # as of a damaged file that it was released with
                    waiting[number] = tried.error
                else:
                    task = tried.get()
                    taken[number] = task.under
                    yield task

        def in_turn() -> Iterator[Event]:
            nonlocal at
            while at in waiting:
                flight, mine = flights[at], waiting.pop(at)
                taken.pop(at, None)
                at += 1
                share = _LOOKING + (1 - _LOOKING) * at / len(flights)
                self._progress(share, f"{at} of {len(flights)} logs entered")
                if isinstance(mine, BaseException):
                    yield Failed(flight.logs, mine)
                else:
                    yield self._entered(flight, mine)

        for finished in self._workers.each(
            debrief_flight, tasks(), lambda task: task.size, self._note_debrief
        ):
            waiting[finished.task.number] = finished
            yield from in_turn()
        yield from in_turn()

    def _note_debrief(self, finished: Finished[FlightTask, Worked]) -> None:
        """Note a debrief that was made, also where the import was stopped meanwhile."""
        if finished.result is not None:
            self._made.note(finished.task.key, finished.result.files[-1])

    def _task(self, number: int, away: Sequence[str], flight: _Flight) -> FlightTask:
        """Draft the debrief of a recording under the releases that no other one has."""
        plain, under = flight.is_plain, flight.pair.under(taken=away)
        task = FlightTask(
            logs=flight.sources,
            under=under,
            given=flight.pair.given(under),
            attachments=self._desk.book.attachments.folder,
            tables=self._desk.folder.tables,
            number=number,
            group=None if plain else flight.group,
            grouping=None if plain else flight.grouping,
        )
        return replace(task, made=self._made.find(task.key, self._desk.book.attachments))

    def _entered(self, flight: _Flight, finished: Finished[FlightTask, Worked]) -> Event:
        """Enter a recording; debrief it once more where its releases turned out to be others."""
        if isinstance(finished.error, NotWritableError):
            raise finished.error
        if finished.error is not None:
            return Failed(flight.logs, _about(finished.error, flight.logs[0].name))
        return self._shielded(flight.logs, partial(self._enter, flight), finished)

    def _enter(self, flight: _Flight, finished: Finished[FlightTask, Worked]) -> Event:
        task, made = finished.task, finished.get()
        sha256s = [source.sha256 for source in flight.sources]
        for round_ in range(MOST_ROUNDS + 1):
            # Again after each debrief: it takes long enough for others to enter something.
            self._desk.refresh()
            if recording_with(self._desk, sha256s) is not None:  # by another import meanwhile
                self._made.forget(finished.task.key)
                return self._finish(flight.logs, sha256s)
            under = flight.pair.under(made.legs)
            if under == task.under or round_ == MOST_ROUNDS:
                break
            task = replace(task, under=under, given=flight.pair.given(under), made=None)
            made = debrief_flight(task)
        imported = enter(self._desk, flight.pair, made)
        self._made.forget(finished.task.key)
        return Entered(flight.logs, imported)


@dataclass(slots=True)
class _Flight:
    """What makes one recording: a log, or several of one flight."""

    group: Group
    grouping: Grouping
    sources: tuple[Source, ...]
    logs: tuple[Path, ...]
    """As they were named; a source has the place that all workers know."""
    seen: Seen | None
    pairing: FlightPairing | None = field(default=None)

    @property
    def is_plain(self) -> bool:
        return self.grouping.is_plain(self.group)

    @property
    def pair(self) -> FlightPairing:
        if self.pairing is None:
            raise ValueError("its releases were not looked for")
        return self.pairing

    @property
    def began(self) -> datetime:
        return self.pair.began or _NO_TIME


def _flight(
    one: Group, grouping: Grouping, members: Sequence[Looked], logs: tuple[Path, ...]
) -> _Flight:
    sources = tuple(member.source for member in members)
    seen = members[0].seen if grouping.is_plain(one) else None
    return _Flight(one, grouping, sources, logs, seen)


def _size_of(task: LookTask) -> int:
    try:
        return task.path.stat().st_size
    except OSError:
        return 0


def _about(error: BaseException, name: str) -> BaseException:
    """Say which log an error is about, where it does not."""
    if isinstance(error, FlightlogError) and not error.where:
        return type(error)(error.found, where=name, fix=error.fix)
    return error
