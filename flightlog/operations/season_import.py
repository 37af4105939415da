"""Hundreds of logs go into the record: read and debriefed by all cores, entered in order of time.

Three passes. Every log is read once, and its tables are kept. Then they are sorted into flights
and copies. Then each flight is debriefed and entered, the earliest first, because what the record
takes as the last reading of an aircraft's parameters, and which release is left for a flight,
follows from what was entered before. What is done is on the disk at once: after an interruption
the same call goes on where it was, and does again no more than what was in work.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from flightlog.decoded import DecodedStore
from flightlog.errors import FlightlogError, LogFileError, NotWritableError
from flightlog.importers.registry import Progress, unwatched
from flightlog.joining import Group, Grouping, group
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
from flightlog.operations.made_debriefs import MadeDebriefs
from flightlog.operations.newest import EMPTY, LINK, files_in, format_of
from flightlog.workers import Finished, Here, Workers
from flightlog.workers.tasks import Task, done

_HASHING, _LOOKING = 0.02, 0.2
"""Shares of the work that hashing, and hashing and reading, are, as progress counts it."""
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
    """A copy of another log. ``why`` is a sentence."""

    why: str


Event = Entered | Failed | LeftOut


@dataclass(frozen=True, slots=True)
class Searched:
    """What folders hold.

    Attributes
    ----------
    logs : tuple of Path
        Files of a format that is known, and files that were named themselves.
    others : tuple of Path
        Files within folders that are no logs, are empty, or are links.
    faults : tuple of LogFileError
        Folders without a log, and such in which logs may lie that were not looked at.
    """

    logs: tuple[Path, ...]
    others: tuple[Path, ...]
    faults: tuple[LogFileError, ...] = ()


def search(paths: Iterable[Path], now: datetime) -> Searched:
    """Find the logs in folders and those below them; files that are named are taken as they are.

    Parameters
    ----------
    paths : iterable of Path
        Files and folders.
    now : datetime
        Times of files beyond it are not believed.
    """
    logs: dict[Path, None] = {}
    others: dict[Path, None] = {}
    faults: list[LogFileError] = []

    def passed(path: Path, why: str) -> None:
        if why in (EMPTY, LINK):
            others[path] = None
        else:
            fix = "Name the folders with logs, and see to it that they can be read."
            faults.append(LogFileError(why, where=str(path), fix=fix))

    for path in paths:
        if not is_folder(path):
            logs[path] = None
            continue
        told = len(faults)
        try:
            found = sorted(one.path for one in files_in(path, now, passed))
        except LogFileError as error:
            faults.append(error)
            continue
        if any(fault.where == str(path) for fault in faults):
            continue  # it holds too many: those that come later may be older
        known = {file: bool(format_of(file)) for file in found}
        for file, is_log in known.items():
            (logs if is_log else others)[file] = None
        if not any(known.values()) and len(faults) == told:
            faults.append(_no_log(path, found))
    return Searched(tuple(logs), tuple(others), tuple(faults))


def _no_log(folder: Path, found: Sequence[Path]) -> LogFileError:
    """Say that a folder holds no log: most often it is not the folder that was meant."""
    return LogFileError(
        "holds no log that can be recognised" if found else "holds no file",
        where=str(folder),
        fix="Look whether this is the folder that was meant.",
    )


def is_folder(path: Path) -> bool:
    """Ask whether a path is a folder; what may not be asked is none."""
    try:
        return path.is_dir()
    except OSError:
        return False


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
            From `search`.

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
        seen = [looked[log] for log in hashes if log in looked]
        grouping = group([one.sketch for one in seen])
        yield from (LeftOut(grouping.why_left_out(copy)) for copy in grouping.copies)
        flights = []
        for one in grouping.groups:
            members = [seen[i] for i in one.members]
            sha256s = [member.source.sha256 for member in members]
            if known.issuperset(sha256s) and recording_with(self._desk, sha256s) is not None:
                yield self._finish(tuple(m.source.path for m in members), sha256s)
            else:
                flights.append(_flight(one, grouping, members))
        yield from self._enter_all(flights)

    # --- the first pass

    def _hash(self, logs: Sequence[Path], hashes: dict[Path, str]) -> Iterator[Event]:
        """Know each file by its content; the same under two names is taken once."""
        from flightlog.importers import read_head
        from flightlog.importers.common import sha256_of_file

        first: dict[str, Path] = {}
        for place, log in enumerate(logs):
            self._progress(_HASHING * place / len(logs), f"looking at {log.name}")
            try:
                read_head(log)
                sha256 = sha256_of_file(log)
            except FlightlogError as error:
                yield Failed((log,), error)
                continue
            twin = first.setdefault(sha256, log)
            if twin == log:
                hashes[log] = sha256
            else:
                yield LeftOut(f"{log}: the same file as {twin}, taken once")

    def _finish_all(self, hashes: Mapping[Path, str]) -> Iterator[Event]:
        """Finish recordings that are in the record, each once, whatever logs it was joined of."""
        of: dict[str, list[Path]] = {}
        for log, sha256 in hashes.items():
            known = recording_with(self._desk, [sha256])
            of.setdefault(known.hash if known is not None else sha256, []).append(log)
        for logs in of.values():
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
        for count, finished in enumerate(self._workers.each(look, tasks, _size_of), start=1):
            share = _HASHING + (_LOOKING - _HASHING) * count / len(tasks)
            self._progress(share, f"{count} of {len(tasks)} logs read")
            log = by_place[finished.task.path]
            if finished.error is not None:
                yield Failed((log,), _about(finished.error, log.name))
                continue
            looked[log] = finished.get()
            source = looked[log].source
            if not source.tables:
                self.unkept.append(log)
            elif not looked[log].again:
                self._store.note(source.sha256, source.tables)

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
        waiting: dict[int, Finished[FlightTask, Worked] | FlightlogError] = {}
        at = 0

        def tasks() -> Iterator[FlightTask]:
            for number, flight in enumerate(flights):
                away = [key for keys in taken.values() for key in keys if key]
                try:
                    taken[number] = flight.pair.under(taken=away)
                    task = self._task(number, flight, taken[number])
                except FlightlogError as error:  # as of a damaged file that it was released with
                    waiting[number] = error
                else:
                    yield task

        def in_turn() -> Iterator[Event]:
            nonlocal at
            while at in waiting:
                flight, mine = flights[at], waiting.pop(at)
                taken.pop(at, None)
                at += 1
                share = _LOOKING + (1 - _LOOKING) * at / len(flights)
                self._progress(share, f"{at} of {len(flights)} logs entered")
                if isinstance(mine, FlightlogError):
                    yield Failed(flight.logs, mine)
                else:
                    yield self._entered(flight, mine)

        for finished in self._workers.each(debrief_flight, tasks(), lambda task: task.size):
            waiting[finished.task.number] = finished
            if finished.result is not None:
                self._made.note(finished.task.key, finished.result.files[-1])
            yield from in_turn()
        yield from in_turn()

    def _task(self, number: int, flight: _Flight, under: tuple[str, ...]) -> FlightTask:
        plain = flight.is_plain
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
        self._desk.refresh()
        if recording_with(self._desk, sha256s) is not None:  # by another import meanwhile
            self._made.forget(finished.task.key)
            return self._finish(flight.logs, sha256s)
        for _ in range(MOST_ROUNDS):
            under = flight.pair.under(made.legs)
            if under == task.under:
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
    seen: Seen | None
    pairing: FlightPairing | None = field(default=None)

    @property
    def logs(self) -> tuple[Path, ...]:
        return tuple(source.path for source in self.sources)

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


def _flight(one: Group, grouping: Grouping, members: Sequence[Looked]) -> _Flight:
    sources = tuple(member.source for member in members)
    seen = members[0].seen if grouping.is_plain(one) else None
    return _Flight(one, grouping, sources, seen)


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
