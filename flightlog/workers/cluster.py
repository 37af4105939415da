"""An existing Dask cluster, whose workers see the same folders as this machine.

Dask gives the work of a worker that dies to another one. A task whose workers die again and again,
as the cluster's own setting ``distributed.scheduler.allowed-failures`` has it, is tried once more
by itself, because tasks that wait beside one that kills count as well; then it has failed.
"""

from __future__ import annotations

import asyncio
import logging
import re
import secrets
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flightlog.errors import ClusterError, LogFileError, NotWritableError, UsageError
from flightlog.workers.tasks import Finished, Note, Result, Task, Waiting, carried

ANSWER_S = 20.0
"""A cluster answers within this [s]."""
NOBODY_S = 60.0
"""So long a cluster may be without any worker before the work is given up [s]."""

SOON_S = 1.0
"""What is there answers within this; else it is told that it is waited for [s]."""
_LOOK_S, _ASK_S = 0.02, 2.0
"""How often is looked for what is done, and asked who is there [s]."""
_AHEAD = 2
"""Tasks handed over for each that is worked on, so that nobody waits for the next."""
_MOST_FETCHES = 3
"""So often a result is asked for that its worker does not give in time."""
OLD_S = 7 * 24 * 3600.0
"""Age from which what a session that was killed left in the folder is removed [s]."""
_GO_ON = "See to it, then give the same command again; what is done stays done."
_SHARE = "Share the folder, so that it has the same name on all machines."
_PROBE = re.compile(r"[0-9a-f]{32}\.probe")


class Cluster:
    """An existing Dask cluster.

    Parameters
    ----------
    address : str
        Of its scheduler, like ``tcp://192.168.1.20:8786``.
    shared : Path
        A folder that may be written, and that all workers must see as this machine does.
    tell : callable, optional
        Called with what is waited for, and how long at most.

    Raises
    ------
    UsageError
        If the address is none.
    ClusterError
        If the extra is not installed, nobody answers, there is no worker, or one has another
        version of this program or does not see the folder.
    NotWritableError
        If the folder can't be written.
    """

    def __init__(
        self, address: str, shared: Path, tell: Callable[[str], None] | None = None
    ) -> None:
        self._address, self._tell = address, tell or _untold
        self._quieted: list[tuple[logging.Logger, int]] = []
        self._client: Any = None
        self._probe = _Probe(shared)
        self._alone_since: float | None = None
        self._asked = time.monotonic()
        try:
            _import()
            self._quieted = _quieted()
            self._client = _client(address, self._tell)
            _ask_versions(self._client, address, self._tell)
            self._probe.leave()
            _ask_folder(self._client, address, self._probe)
        except BaseException:
            self.close()
            raise

    @property
    def count(self) -> int:
        """How many tasks are worked on at a time, by those who are there now."""
        if self._client.status in ("closing", "closed"):
            raise self._lost()
        try:
            threads: dict[str, int] = self._client.nthreads(callback_timeout=ANSWER_S)
        except (OSError, TimeoutError) as error:
            raise self._lost() from error
        return sum(threads.values())

    def each(
        self,
        work: Callable[[Task], Result],
        tasks: Iterable[Task],
        size: Callable[[Task], int] | None = None,
        note: Note[Task, Result] | None = None,
    ) -> Iterator[Finished[Task, Result]]:
        """Do tasks; see `Workers.each`. The size of files is left to the cluster's own limits."""
        for finished in self._all(work, tasks):
            if note is not None:
                note(finished)
            yield finished

    def _all(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Iterator[Finished[Task, Result]]:
        """Do tasks, those whose workers were killed once more by themselves."""
        killed: list[Task] = []
        for finished in self._each(work, tasks):
            if _is_killed(finished.error):
                killed.append(finished.task)
            else:
                yield finished
        for task in killed:  # some only waited beside one that kills, so each by itself
            (finished,) = self._each(work, [task])
            yield Finished(task, error=_died()) if _is_killed(finished.error) else finished

    def _each(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Iterator[Finished[Task, Result]]:
        from distributed import as_completed

        running: dict[str, Task] = {}
        fetched: Counter[str] = Counter()
        finished = as_completed(loop=self._client.loop)
        waiting = Waiting(tasks)
        here = _Here(_versions(), self._probe)
        while True:
            while len(running) < _AHEAD * max(self.count, 1) and waiting.there:
                task = waiting.take()
                future = self._client.submit(_carried, here, work, task, pure=False)
                running[future.key] = task
                finished.add(future)
            if not running:
                break
            future = self._next(finished)
            answer = self._answer(running[future.key], future)
            if answer is None and future.status == "finished":
                self._ask_who_is_there()
                fetched[future.key] += 1
                if fetched[future.key] >= _MOST_FETCHES:
                    answer = Finished(running[future.key], error=_not_given())
            if answer is None:
                finished.add(future)
            else:
                del running[future.key]
                yield answer

    def _answer(self, task: Task, future: Any) -> Finished[Task, Any] | None:
        """Give what came of a task; None where its worker died before it gave the result away.

        The cluster lets others do such a task again.
        """
        result = None
        if future.status == "finished":
            try:
                result = Finished(task, future.result(timeout=ANSWER_S))
            except Exception as error:  # of the work done again, or of what was sent
                if future.status == "finished" and not isinstance(error, (OSError, TimeoutError)):
                    return Finished(task, error=error)
        if future.status == "error":
            failed: BaseException = future.exception()
            return Finished(task, error=failed.with_traceback(future.traceback()))
        if future.status == "cancelled":
            raise self._lost()
        return result  # None too for "lost": the worker that had the result died with it

    def _lost(self) -> ClusterError:
        return ClusterError("the connection to it was lost", where=self._address, fix=_GO_ON)

    def _next(self, finished: Any) -> Any:
        """Wait for a task that is done, as long as there is anybody to do it."""
        while not finished.has_ready():
            time.sleep(_LOOK_S)
            self._ask_who_is_there()
        return next(finished)

    def _ask_who_is_there(self) -> None:
        """Ask from time to time; give up where nobody has been there for long."""
        now = time.monotonic()
        if now - self._asked < _ASK_S:
            return
        self._asked = now
        if self.count:
            self._alone_since = None
        elif self._alone_since is None:
            self._alone_since = now
            self._tell(f"{self._address} has no worker; waiting for one, {NOBODY_S:.0f} s at most")
        if self._alone_since is not None and now - self._alone_since > NOBODY_S:
            raise ClusterError(
                f"it has had no worker for {NOBODY_S:.0f} s", where=self._address, fix=_GO_ON
            )

    def close(self) -> None:
        """Leave the cluster; it goes on for others."""
        try:
            if self._client is not None:
                self._client.close()
        finally:
            self._probe.take_away()
            while self._quieted:
                logger, level = self._quieted.pop()
                logger.setLevel(level)


def _untold(text: str) -> None:
    """Take what nobody waits to hear."""


def _import() -> None:
    try:
        import distributed  # noqa: F401
    except ImportError:
        raise ClusterError(
            "work on a cluster needs Dask, which is not installed",
            where="--cluster",
            fix="Install it: pip install 'flightlog[cluster]'.",
        ) from None


def _quieted() -> list[tuple[logging.Logger, int]]:
    """Quiet the loggers of the cluster's library, and give what they were set to.

    What it logs when a connection breaks are tracebacks of its own; what that means is raised here.
    """
    of = ("distributed", "tornado", "asyncio")
    there = [name for name in logging.root.manager.loggerDict if name.startswith(of)]
    set_before = []
    for logger in map(logging.getLogger, {*of, *there}):
        if logger.level or logger.name in of:  # the others do as those above them
            set_before.append((logger, logger.level))
            logger.setLevel(logging.CRITICAL + 1)
    return set_before


def _client(address: str, tell: Callable[[str], None]) -> Any:
    from distributed import Client

    try:
        # Asked before, because a client that fails while it is made may wait for ever.
        with ThreadPoolExecutor(1) as beside:  # this thread may have a loop of its own
            asked = beside.submit(asyncio.run, _ask_scheduler(address))
            if not wait([asked], SOON_S).done:
                tell(f"waiting for an answer from {address}, {ANSWER_S:.0f} s at most")
            asked.result()
        return Client(address, timeout=ANSWER_S, set_as_default=False)
    except Exception as error:  # others read the address: whatever stands in it
        # Who did not answer was asked at an address that could be read.
        kind = ClusterError if isinstance(error, OSError) else UsageError
        raise kind(
            f"no cluster answers there ({str(error) or 'not in time'})",
            where=f"--cluster {address}",
            fix="Give the address that its scheduler prints, like tcp://192.168.1.20:8786.",
        ) from error


async def _ask_scheduler(address: str) -> None:
    from distributed import rpc

    async def ask() -> None:
        async with rpc(address, timeout=ANSWER_S) as scheduler:
            await scheduler.identity()

    await asyncio.wait_for(ask(), ANSWER_S)


def _ask_versions(client: Any, address: str, tell: Callable[[str], None]) -> None:
    """Refuse a cluster without workers, or whose workers would compute otherwise."""
    try:
        if not client.scheduler_info()["workers"]:
            tell(f"{address} has no worker yet; waiting for one, {ANSWER_S:.0f} s at most")
        client.wait_for_workers(1, timeout=ANSWER_S)
    except TimeoutError:
        raise ClusterError(
            "it has no worker", where=address, fix="Start workers, then try again."
        ) from None
    found = _run(client, address, _versions)
    for worker, theirs in found.items():
        if theirs != _versions():
            raise _other_version(str(worker), theirs)


class _Probe:
    """A file for as long as a session lasts, by which a worker knows that it sees the folder.

    Parameters
    ----------
    shared : Path
        The folder.
    """

    def __init__(self, shared: Path) -> None:
        self.word = secrets.token_hex(16)
        self.path = shared / f"{self.word}.probe"

    def leave(self) -> None:
        """Write it.

        Raises
        ------
        NotWritableError
            If the folder can't be written.
        """
        shared = self.path.parent
        try:
            shared.mkdir(parents=True, exist_ok=True)
            self.path.write_text(self.word, encoding="ascii")
        except OSError as error:
            raise NotWritableError(
                f"can't be written ({error.strerror})", where=str(shared), fix="Look at the folder."
            ) from error
        for old in shared.glob("*.probe"):
            with suppress(OSError):
                ours = _PROBE.fullmatch(old.name) is not None
                if ours and time.time() - old.lstat().st_mtime > OLD_S:
                    old.unlink()

    def is_seen(self) -> bool:
        """Ask whether it is there, on whatever machine."""
        return _sees(self.path) == self.word

    def take_away(self) -> None:
        """Remove it."""
        with suppress(OSError):
            self.path.unlink(missing_ok=True)


def _ask_folder(client: Any, address: str, probe: _Probe) -> None:
    """Refuse a cluster whose workers see another folder by this name."""
    for worker, seen in _run(client, address, _sees, probe.path).items():
        if seen != probe.word:
            raise ClusterError(
                f"the worker {worker} does not see this folder",
                where=str(probe.path.parent),
                fix=_SHARE,
            )


def _run(client: Any, address: str, what: Callable[..., object], *given: object) -> dict[str, Any]:
    """Ask each worker, and give what it says or what went wrong with it."""
    try:
        said: dict[str, Any] = client.run(
            what, *given, on_error="return", callback_timeout=ANSWER_S
        )
    except (OSError, TimeoutError) as error:
        raise ClusterError(
            f"not all of its workers answer within {ANSWER_S:.0f} s",
            where=address,
            fix="Stop those that hang, then try again.",
        ) from error
    return said


def _versions() -> tuple[str, int, int]:
    from flightlog import __version__
    from flightlog.figures import ANALYSES_VERSION
    from flightlog.importers.registry import READING

    return __version__, ANALYSES_VERSION, READING


def _sees(probe: Path) -> str:
    try:
        return probe.read_text(encoding="ascii")
    except (OSError, ValueError):
        return ""


def _other_version(worker: str, theirs: object) -> ClusterError:
    here = " ".join(map(str, _versions()))
    said = " ".join(map(str, theirs)) if isinstance(theirs, tuple) else "none that can be used"
    return ClusterError(
        f"has another version of this program: {said}, here {here}",
        where=worker,
        fix="Install the same version of flightlog on all machines.",
    )


@dataclass(frozen=True, slots=True)
class _Here:
    """What a worker has to have as this machine has it."""

    versions: tuple[str, int, int]
    probe: _Probe


def _carried(here: _Here, work: Callable[[Task], Result], task: Task) -> Result:
    """Do a task on a worker, which may have come after the others were asked."""
    if _versions() != here.versions:
        raise ClusterError(
            "went to a worker with another version of this program",
            fix="Install the same version of flightlog on all machines.",
        )
    if not here.probe.is_seen():
        raise ClusterError(
            f"went to a worker that does not see {here.probe.path.parent}", fix=_SHARE
        )
    return carried(work, task)


def _is_killed(error: BaseException | None) -> bool:
    from distributed import KilledWorker

    return isinstance(error, KilledWorker)


def _not_given() -> ClusterError:
    return ClusterError(
        f"the worker that did it did not give the result, asked {_MOST_FETCHES} times",
        fix=_GO_ON,
    )


def _died() -> LogFileError:
    return LogFileError(
        "the workers that worked on it died, several times",
        fix="If memory was short, give the workers more; else send us the log.",
    )
