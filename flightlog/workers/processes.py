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
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from queue import Empty, SimpleQueue
from typing import Any, Generic

from flightlog.errors import LogFileError
from flightlog.workers.tasks import Finished, Note, Result, Room, Task, Waiting, carried, done

AHEAD = 2
"""Tasks that wait for each process beside the one that it has in work, so that none waits for who
asked for the work, who may be busy with what was done. They are not begun, and cost nothing when
the work is stopped."""

_HEAR_S = 0.2
"""How long is waited at a time for what is done [s]."""
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
        self._pools = _Pools()
        self._handings: list[_Handing[Any, Any]] = []

    def each(
        self,
        work: Callable[[Task], Result],
        tasks: Iterable[Task],
        size: Callable[[Task], int] | None = None,
        note: Note[Task, Result] | None = None,
    ) -> Iterator[Finished[Task, Result]]:
        """Do tasks; see `Workers.each`."""
        handing = _Handing(self._pools, self.count, work, note)
        self._handings = [one for one in self._handings if not one.is_over] + [handing]
        waiting, out = Waiting(tasks), 0
        try:
            while True:
                while out < (1 + AHEAD) * self.count and waiting.there:
                    task = waiting.take()
                    handing.add(task, size(task) if size is not None else 0)
                    out += 1
                if not out:
                    break
                yield handing.next()
                out -= 1
        finally:
            handing.stop()

    def close(self) -> None:
        """Let the processes go; those at work finish it, and nothing new is begun."""
        for one in self._handings:
            one.stop()
        try:
            for one in self._handings:
                one.wait()  # for what is in work, which is noted then
            self._pools.drop(wait=True)
        except KeyboardInterrupt:  # asked for twice: at once
            self._pools.end()
            raise

    def end(self) -> None:
        """End the processes at once; what they have in work is lost."""
        for one in self._handings:
            one.stop()
        self._pools.end()


class _Handing(Generic[Task, Result]):
    """Tasks on their way: a thread hands over the next one whenever a process is free.

    Who asked for the work may be busy with what was done meanwhile. Only the thread touches what
    is in work; all others leave it news. A task is handed to the pool when a process is free for
    it and not before, so that what is in the pool is in work.

    Parameters
    ----------
    pools : _Pools
        The processes.
    count : int
        How many of them.
    work : callable
        What is to be done.
    note : callable or None
        Called with each that is finished.
    """

    def __init__(
        self,
        pools: _Pools,
        count: int,
        work: Callable[[Task], Result],
        note: Note[Task, Result] | None,
    ) -> None:
        self._pools, self._count, self._work, self._note = pools, count, work, note
        self._room = Room(count, lambda item: item[1])
        self._ready: deque[tuple[Task, int]] = deque()
        self._running: dict[Future[Result], tuple[Task, int]] = {}
        self._suspects: deque[tuple[Task, int]] = deque()
        self._alone = False
        self._stopping = False
        self._news: SimpleQueue[tuple[Task, int] | Future[Result] | None] = SimpleQueue()
        self._finished: SimpleQueue[Finished[Task, Result] | _Fault] = SimpleQueue()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    # --- for who asked for the work

    def add(self, task: Task, size: int) -> None:
        """Take a task with so large files [bytes]."""
        self._news.put((task, size))

    def next(self) -> Finished[Task, Result]:
        """Wait for a task that is finished; only where there is one that was not given yet."""
        while True:
            try:
                # Not for ever: Windows hears an interruption between two waits only.
                finished = self._finished.get(timeout=_HEAR_S)
            except Empty:
                continue
            if isinstance(finished, _Fault):
                raise finished.error
            return finished

    def stop(self) -> None:
        """Begin nothing new."""
        self._stopping = True
        self._news.put(None)

    def wait(self) -> None:
        """Wait until what is in work is finished and noted; only where it was stopped."""
        while not self.is_over:
            self._thread.join(_HEAR_S)

    @property
    def is_over(self) -> bool:
        """Whether nothing of it is in work any more."""
        return not self._thread.is_alive()

    # --- the thread

    def _run(self) -> None:
        tried = done(_Handing._go, self)
        if tried.error is not None:  # as of a system that has no more processes: who asked tells it
            self._finished.put(_Fault(tried.error))

    def _go(self) -> None:
        while not self._stopping or self._running:
            self._hear(self._news.get())
            if not self._stopping:
                self._hand_over()

    def _hear(self, news: tuple[Task, int] | Future[Result] | None) -> None:
        if isinstance(news, Future):
            self._take(news)
        elif news is not None:
            self._ready.append(news)

    def _hand_over(self) -> None:
        while self._ready and not self._alone and self._room.fits(self._ready[0]):
            self._begin(self._ready.popleft(), self._count)
        if self._suspects and not self._running:
            # Tried again, now with no other beside it that it could take along.
            self._alone = True
            self._pools.drop()
            self._begin(self._suspects.popleft(), 1)

    def _begin(self, item: tuple[Task, int], count: int) -> None:
        self._room.begin(item)
        future = self._pools.submit(count, self._work, item[0])
        self._running[future] = item
        future.add_done_callback(self._news.put)

    def _take(self, future: Future[Result]) -> None:
        """Take what came of a task that was in work."""
        item = self._running.pop(future)
        task, size = item
        self._room.end(size)
        alone, self._alone = self._alone, False
        if alone:
            self._pools.drop(wait=True)  # what comes next has all processes again
        error = None if future.cancelled() else future.exception()
        if future.cancelled() or isinstance(error, BrokenProcessPool):
            if not alone:
                self._suspects.append(item)
                return
            error = LogFileError(
                "the process that worked on it died, twice",
                fix="If memory was short, try it with --jobs 1; else send us the log.",
            )
        finished: Finished[Task, Result] = Finished(task, error=error)
        if error is None:
            finished = Finished(task, future.result())
        if self._note is not None:
            self._note(finished)
        self._finished.put(finished)


@dataclass(frozen=True, slots=True)
class _Fault:
    """That handing over itself failed."""

    error: BaseException


class _Pools:
    """The processes that are there; new ones where one of the old ones died."""

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None

    def submit(self, count: int, work: Callable[[Task], Result], task: Task) -> Future[Result]:
        """Hand over a task; to so many processes where there are none."""
        if self._pool is not None:
            try:
                return self._submit(self._pool, work, task)
            except BrokenProcessPool:
                self.drop()
        self._pool = _pool(count)
        return self._submit(self._pool, work, task)

    @staticmethod
    def _submit(
        pool: ProcessPoolExecutor, work: Callable[[Task], Result], task: Task
    ) -> Future[Result]:
        future = pool.submit(carried, work, task)
        with suppress(BrokenProcessPool):
            # A process that was started just now is watched by the pool from the next news on. If
            # this task killed it before, nobody would ever hear of it.
            pool.submit(_nothing)
        return future

    def drop(self, *, wait: bool = False) -> None:
        """Let the processes go, and wait until they are gone if asked."""
        pool = self._pool
        if pool is not None:
            pool.shutdown(wait=wait, cancel_futures=True)
            self._pool = None

    def end(self) -> None:
        """End the processes at once."""
        pool, self._pool = self._pool, None
        if pool is not None:
            children = list((pool._processes or {}).values())
            pool.shutdown(wait=False, cancel_futures=True)
            _end(children)


def _end(children: Sequence[BaseProcess]) -> None:
    """End processes, those too that do not hear the first word."""
    for child in children:
        child.terminate()
    for child in children:
        child.join(_HEARD_S)
        if child.is_alive():
            child.kill()


def _pool(count: int) -> ProcessPoolExecutor:
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(count, mp_context=context, initializer=_quiet)


def _nothing() -> None:
    """Do nothing, in another process."""


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
