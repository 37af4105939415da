"""Processes of this machine, one for each core.

They are started fresh (``spawn``), which every system can do and which gives none of them a lock
or a file of its parent. A process that dies takes no other log with it: what was in work at that
moment is tried again one by one, and only the log that kills its process once more has failed.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.process import BaseProcess
from typing import Any

from flightlog.errors import LogFileError
from flightlog.workers.tasks import Finished, Result, Room, Task, Waiting, carried

_HEARD_S = 2.0
"""A process that is told to end has done so within this [s]."""
_MOST_ON_WINDOWS = 61
"""Processes that one can wait for there."""


def cores() -> int:
    """Give how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Processes:
    """Processes of this machine.

    Parameters
    ----------
    count : int
        How many; fewer where the system can't have so many.
    """

    def __init__(self, count: int) -> None:
        self.count = min(count, _MOST_ON_WINDOWS) if sys.platform == "win32" else count
        self._pool: ProcessPoolExecutor | None = None

    def each(
        self,
        work: Callable[[Task], Result],
        tasks: Iterable[Task],
        size: Callable[[Task], int] | None = None,
    ) -> Iterator[Finished[Task, Result]]:
        """Do tasks; see `Workers.each`."""
        room = Room(self.count, size)
        running: dict[Future[Result], tuple[Task, int]] = {}
        suspects: list[Task] = []
        waiting = Waiting(tasks)
        while True:
            while not room.full and waiting.there and room.fits(waiting.next):
                task = waiting.take()
                taken = room.begin(task)
                running[self._begin(work, task)] = task, taken
            if not running:
                break
            finished, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in finished:
                task, taken = running.pop(future)
                room.end(taken)
                if isinstance(future.exception(), BrokenProcessPool):
                    suspects.append(task)
                else:
                    yield _finished(task, future)
        for task in suspects:
            yield self._alone(work, task)

    def _begin(self, work: Callable[[Task], Result], task: Task) -> Future[Result]:
        """Hand over a task; to new processes where one of the old ones died."""
        if self._pool is not None:
            try:
                return self._pool.submit(carried, work, task)
            except BrokenProcessPool:
                self._drop()
        self._pool = _pool(self.count)
        return self._pool.submit(carried, work, task)

    def _alone(self, work: Callable[[Task], Result], task: Task) -> Finished[Task, Result]:
        """Try a task again that may have killed its process, with no other beside it."""
        self._drop()
        self._pool = _pool(1)
        future = self._pool.submit(carried, work, task)
        died = isinstance(future.exception(), BrokenProcessPool)
        self._drop()  # what comes next has all processes again
        if died:
            return Finished(
                task,
                error=LogFileError(
                    "the process that worked on it died, twice",
                    fix="If memory was short, try it with --jobs 1; else send us the log.",
                ),
            )
        return _finished(task, future)

    def _drop(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def close(self) -> None:
        """Let the processes go; those at work finish it."""
        pool, self._pool = self._pool, None
        if pool is None:
            return
        try:
            pool.shutdown(wait=True, cancel_futures=True)
        except KeyboardInterrupt:  # asked for twice: at once
            _end(multiprocessing.active_children())
            raise


def _end(children: Sequence[BaseProcess]) -> None:
    """End processes, those too that do not hear the first word."""
    for child in children:
        child.terminate()
    for child in children:
        child.join(_HEARD_S)
        if child.is_alive():
            child.kill()


def _finished(task: Task, future: Future[Any]) -> Finished[Task, Any]:
    error = future.exception()
    return Finished(task, error=error) if error is not None else Finished(task, future.result())


def _pool(count: int) -> ProcessPoolExecutor:
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(count, mp_context=context, initializer=_quiet)


def _quiet() -> None:
    """Leave interruptions to the parent, and standard output to what was asked for."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.stdout = sys.stderr
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this process when its parent is gone, killed perhaps: it would wait for work for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
