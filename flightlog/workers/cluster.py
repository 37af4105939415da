"""An existing Dask cluster, whose workers see the same folders as this machine.

Dask gives the work of a worker that dies to another one. A task whose workers die again and again,
as the cluster's own setting ``distributed.scheduler.allowed-failures`` has it, is tried once more
by itself, because tasks that wait beside one that kills count as well; then it has failed.
"""

from __future__ import annotations

import asyncio
import secrets
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any

from flightlog.errors import LogFileError, NotWritableError, UsageError
from flightlog.workers.tasks import Finished, Result, Task, Waiting, carried

ANSWER_S = 20.0
"""A cluster answers within this [s]."""
NOBODY_S = 60.0
"""So long a cluster may be without any worker before the work is given up [s]."""

_LOOK_S, _ASK_S = 0.02, 2.0
"""How often is looked for what is done, and asked who is there [s]."""
_AHEAD = 2
"""Tasks handed over for each that is worked on, so that nobody waits for the next."""
_GO_ON = "See to it, then give the same command again; what is done stays done."


class Cluster:
    """An existing Dask cluster.

    Parameters
    ----------
    address : str
        Of its scheduler, like ``tcp://192.168.1.20:8786``.
    shared : Path
        A folder that may be written, and that all workers must see as this machine does.

    Raises
    ------
    UsageError
        If the extra is not installed, nobody answers, there is no worker, or one has another
        version of this program or does not see the folder.
    NotWritableError
        If the folder can't be written.
    """

    def __init__(self, address: str, shared: Path) -> None:
        self._client = _client(address)
        self._address = address
        try:
            _ask_versions(self._client, address)
            _ask_folder(self._client, address, shared)
        except BaseException:
            self._client.close()
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
    ) -> Iterator[Finished[Task, Result]]:
        """Do tasks; see `Workers.each`. The size of files is left to the cluster's own limits."""
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
        finished = as_completed(loop=self._client.loop)
        waiting = Waiting(tasks)
        here = _versions()
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

    def _lost(self) -> UsageError:
        return UsageError("the connection to it was lost", where=self._address, fix=_GO_ON)

    def _next(self, finished: Any) -> Any:
        """Wait for a task that is done, as long as there is anybody to do it."""
        alone_since: float | None = None
        asked = time.monotonic()
        while not finished.has_ready():
            time.sleep(_LOOK_S)
            now = time.monotonic()
            if now - asked < _ASK_S:
                continue
            asked = now
            alone_since = None if self.count else alone_since or now
            if alone_since is not None and now - alone_since > NOBODY_S:
                raise UsageError(
                    f"it has had no worker for {NOBODY_S:.0f} s",
                    where=self._address,
                    fix=_GO_ON,
                )
        return next(finished)

    def close(self) -> None:
        """Leave the cluster; it goes on for others."""
        self._client.close()


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise UsageError(
            "work on a cluster needs Dask, which is not installed",
            where="--cluster",
            fix="Install it: pip install 'flightlog[cluster]'.",
        ) from None
    try:
        # Asked before, because a client that fails while it is made may wait for ever.
        with ThreadPoolExecutor(1) as beside:  # this thread may have a loop of its own
            beside.submit(asyncio.run, _ask_scheduler(address)).result()
        return Client(address, timeout=ANSWER_S, set_as_default=False)
    except Exception as error:  # others read the address: whatever stands in it
        raise UsageError(
            f"no cluster answers there ({error or type(error).__name__})",
            where=f"--cluster {address}",
            fix="Give the address that its scheduler prints, like tcp://192.168.1.20:8786.",
        ) from error


async def _ask_scheduler(address: str) -> None:
    from distributed import rpc

    async def ask() -> None:
        async with rpc(address, timeout=ANSWER_S) as scheduler:
            await scheduler.identity()

    await asyncio.wait_for(ask(), ANSWER_S)


def _ask_versions(client: Any, address: str) -> None:
    """Refuse a cluster without workers, or whose workers would compute otherwise."""
    try:
        client.wait_for_workers(1, timeout=ANSWER_S)
    except TimeoutError:
        raise UsageError(
            "it has no worker", where=address, fix="Start workers, then try again."
        ) from None
    found = _run(client, address, _versions)
    for worker, theirs in found.items():
        if theirs != _versions():
            raise _other_version(str(worker), theirs)


def _ask_folder(client: Any, address: str, shared: Path) -> None:
    """Refuse a cluster whose workers see another folder by this name."""
    word = secrets.token_hex(16)
    probe = shared / f"{word}.probe"
    try:
        shared.mkdir(parents=True, exist_ok=True)
        probe.write_text(word, encoding="ascii")
        for worker, seen in _run(client, address, _sees, probe).items():
            if seen != word:
                raise UsageError(
                    f"the worker {worker} does not see this folder",
                    where=str(shared),
                    fix="Share the folder, so that it has the same name on all machines.",
                )
    except OSError as error:
        raise NotWritableError(
            f"can't be written ({error.strerror})", where=str(shared), fix="Look at the folder."
        ) from error
    finally:
        with suppress(OSError):
            probe.unlink(missing_ok=True)


def _run(client: Any, address: str, what: Callable[..., object], *given: object) -> dict[str, Any]:
    """Ask each worker, and give what it says or what went wrong with it."""
    try:
        said: dict[str, Any] = client.run(
            what, *given, on_error="return", callback_timeout=ANSWER_S
        )
    except (OSError, TimeoutError) as error:
        raise UsageError(
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
    except OSError:
        return ""


def _other_version(worker: str, theirs: object) -> UsageError:
    here = " ".join(map(str, _versions()))
    said = " ".join(map(str, theirs)) if isinstance(theirs, tuple) else "none that can be used"
    return UsageError(
        f"has another version of this program: {said}, here {here}",
        where=worker,
        fix="Install the same version of flightlog on all machines.",
    )


def _carried(versions: tuple[str, int, int], work: Callable[[Task], Result], task: Task) -> Result:
    """Do a task on a worker, which may have come after the others were asked."""
    if _versions() != versions:
        raise UsageError(
            "went to a worker with another version of this program",
            fix="Install the same version of flightlog on all machines.",
        )
    return carried(work, task)


def _is_killed(error: BaseException | None) -> bool:
    from distributed import KilledWorker

    return isinstance(error, KilledWorker)


def _died() -> LogFileError:
    return LogFileError(
        "the workers that worked on it died, several times",
        fix="If memory was short, give the workers more; else send us the log.",
    )
