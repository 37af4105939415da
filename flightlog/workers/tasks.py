"""What all workers offer, and the plainest of them."""

from __future__ import annotations

import pickle
import traceback
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any, Generic, Protocol, TypeAlias, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

MOST_BYTES = 600_000_000
"""Logs in work at a time are not larger than this together, if there is more than one [bytes].
Reading and debriefing one takes about four times its size of memory."""


@dataclass(frozen=True, slots=True)
class Finished(Generic[Task, Result]):
    """A task that was worked on.

    Attributes
    ----------
    task : Task
        As it was given.
    result : Result or None
        What the work gave; None where it failed.
    error : BaseException or None
        What it raised, or that its worker died of it.
    """

    task: Task
    result: Result | None = None
    error: BaseException | None = None

    def get(self) -> Result:
        """Give the result, or raise what the work raised."""
        if self.error is not None:
            raise self.error
        return self.result  # type: ignore[return-value]  # there is one where there is no error


Note: TypeAlias = Callable[[Finished[Task, Result]], None]
"""What is done with a task as soon as it is finished."""


class Workers(Protocol):
    """Those who do the work."""

    @property
    def count(self) -> int:
        """How many tasks are worked on at a time."""

    def each(
        self,
        work: Callable[[Task], Result],
        tasks: Iterable[Task],
        size: Callable[[Task], int] | None = None,
        note: Note[Task, Result] | None = None,
    ) -> Iterator[Finished[Task, Result]]:
        """Do tasks, and give each when it is finished, in any order.

        Parameters
        ----------
        work : callable
            A function of a module, of one task.
        tasks : iterable
            Taken one by one in this thread, some before workers are free for them.
        size : callable, optional
            Size of the files of a task [bytes].
        note : callable, optional
            Called with each as soon as it is finished, before it is given, and also where nobody
            asks for it any more; in any thread.
        """

    def close(self) -> None:
        """Let the workers go; how much of what is in work they finish is said by each kind."""


class Here:
    """Everything is done by this process itself, one after the other."""

    count = 1

    def each(
        self,
        work: Callable[[Task], Result],
        tasks: Iterable[Task],
        size: Callable[[Task], int] | None = None,
        note: Note[Task, Result] | None = None,
    ) -> Iterator[Finished[Task, Result]]:
        """Do tasks; see `Workers.each`."""
        for task in tasks:
            finished = done(work, task)
            if note is not None:
                note(finished)
            yield finished

    def close(self) -> None:
        """Do nothing: there is nobody to let go."""


def done(work: Callable[[Task], Result], task: Task) -> Finished[Task, Result]:
    """Do one task here; what it raises is kept for who asked for it."""
    try:
        return Finished(task, result=work(task))
    except Exception as error:  # the wall of a worker: who asked for the work tells it
        return Finished(task, error=error)


def carried(work: Callable[[Task], Result], task: Task) -> Result:
    """Do one task in another process, for this one.

    Raises
    ------
    Exception
        What the work raises; as a ``RuntimeError`` that tells it, where it could not be sent.
    """
    try:
        return work(task)
    except Exception as error:
        if _travels(error):
            raise
        told = "".join(traceback.format_exception(error))
    # Out here, where the other one is not its context: some send that as well.
    raise RuntimeError(told.encode("utf-8", "replace").decode("utf-8"))


def _travels(error: Exception) -> bool:
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:  # of a library that did not think of other processes
        return False
    return True


class Waiting(Generic[Task]):
    """Tasks that wait, of which the next can be looked at; each is asked for when it is needed.

    Parameters
    ----------
    tasks : iterable
        In order.
    """

    def __init__(self, tasks: Iterable[Task]) -> None:
        self._tasks = iter(tasks)
        self._held: list[Task] = []

    @property
    def there(self) -> bool:
        """Whether there is one more."""
        if not self._held:
            self._held.extend(islice(self._tasks, 1))
        return bool(self._held)

    @property
    def next(self) -> Task:
        """The next one; only where there is one."""
        return self._held[0]

    def take(self) -> Task:
        """Take the next one; only where there is one."""
        return self._held.pop()


class Room:
    """How much may be in work at a time.

    Parameters
    ----------
    most : int
        Tasks.
    size : callable or None
        Size of the files of a task [bytes].
    """

    def __init__(self, most: int, size: Callable[[Any], int] | None) -> None:
        self.most = most
        self._size = size or (lambda _: 0)
        self._taken: list[int] = []

    @property
    def full(self) -> bool:
        """Whether no task may be begun, of whatever size."""
        return len(self._taken) >= self.most

    def fits(self, task: object) -> bool:
        """Whether a task may be begun now; one always may."""
        if not self._taken:
            return True
        return not self.full and sum(self._taken) + self._size(task) <= MOST_BYTES

    def begin(self, task: object) -> int:
        """Count a task that is begun; gives its size, as a file may grow until it ends. [bytes]"""
        size = self._size(task)
        self._taken.append(size)
        return size

    def end(self, size: int) -> None:
        """Count a task of this size no more. [bytes]"""
        self._taken.remove(size)
