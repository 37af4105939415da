"""The two streams, as they are: any encoding, any width, closed early or full.

Every character that this program writes goes through `Console`. It can't fail for a character
that the screen does not know, and no text from a log reaches the screen with control codes.
"""

from __future__ import annotations

import errno
import math
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, redirect_stdout
from typing import TextIO

from flightlog.errors import OutputError
from flightlog.reports.plain import can_print, json_printable, plain, printable

_QUIET_S = 0.7
"""A task that takes less than this shows no progress [s]."""
_STEP_S = 0.1
"""Least time between two showings of progress [s]."""
_PLAIN_STEP_S = 30.0
"""The same where no person watches: a line of its own then, and none for shorter tasks [s]."""
_TELLS_S, _TELLS_SHARE = 3.0, 0.03
"""From when on the time that is left is told [s], and the share that is done."""
_GONE = (errno.EPIPE, errno.EINVAL)
"""What a write to a reader that has left gives: a broken pipe, or on Windows EINVAL."""


class Console:
    """One stream that people or programs read.

    Parameters
    ----------
    stream : text stream
        Where to write.
    """

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream
        self.encoding = getattr(stream, "encoding", None) or "ascii"
        self._reader_left = False

    @property
    def width(self) -> int:
        """Characters of a line; 80 where the stream is not a terminal."""
        return shutil.get_terminal_size((80, 24)).columns

    @property
    def is_terminal(self) -> bool:
        """Whether a person watches it live."""
        return bool(self.stream.isatty())

    def can(self, characters: str) -> bool:
        """Whether it can print all of the characters."""
        return can_print(characters, self.encoding)

    def line(self, text: str = "") -> None:
        """Write one line, without control codes."""
        self._write(printable(plain(text), self.encoding) + "\n")

    def lines(self, texts: Iterable[str]) -> None:
        """Write lines."""
        for text in texts:
            self.line(text)

    def json(self, text: str) -> None:
        """Write a JSON text; what the encoding can't take is escaped as JSON does."""
        self._write(json_printable(text, self.encoding) + "\n")

    def _write(self, text: str) -> None:
        # A reader that has seen enough (`| head`) is no fault; the exit code still counts.
        if self._reader_left:
            return
        try:
            self.stream.write(text)
            self.stream.flush()
        except OSError as error:
            if error.errno not in _GONE:
                raise OutputError(
                    f"the output can't be written ({error.strerror})",
                    fix="Free some space, or send it elsewhere.",
                ) from error
            self._reader_left = True
            _forget(self.stream)


def _forget(stream: TextIO) -> None:
    """Point a stream without a reader at nothing, so that its last flush can't fail either."""
    try:
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, stream.fileno())
        os.close(nothing)
    except (OSError, ValueError):
        return  # not a real file: nothing is left to flush


def out() -> Console:
    """Give standard output: what was asked for, and nothing else."""
    return Console(sys.stdout)


def err() -> Console:
    """Give standard error: progress and messages."""
    return Console(sys.stderr)


class ProgressLine:
    """Progress of a long task as one line that is written over.

    Where no person watches it is silent, but for a task whose end is estimated: that may take
    hours, and a plain line now and then tells in a log file that it goes on.

    Parameters
    ----------
    console : Console
        Standard error.
    name : str
        What is worked on.
    estimate : bool
        Whether the time that is left is told too.
    clock : callable
        Gives a time that never goes back [s].
    """

    def __init__(
        self,
        console: Console,
        name: str,
        *,
        estimate: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._console = console
        self._name = plain(name, 30)
        self._estimate = estimate
        self._clock = clock
        self._began = clock()
        self._shown = -math.inf
        self._watched = console.is_terminal
        self._active = self._watched or estimate
        self._length = 0

    def __call__(self, fraction: float, what: str) -> None:
        """Show the fraction done (0 to 1)."""
        now = self._clock()
        quiet_s, step_s = (_QUIET_S, _STEP_S) if self._watched else (_PLAIN_STEP_S, _PLAIN_STEP_S)
        if not self._active or now - self._began < quiet_s or now - self._shown < step_s:
            return
        self._shown = now
        share = min(max(fraction, 0.0), 1.0)
        left = _left(now - self._began, share) if self._estimate else ""
        text = f"{self._name}: {plain(what, 30)}"
        if self._watched:
            self._overwrite(printable(f"{text} {share:4.0%}{left}", self._console.encoding))
        else:
            self._add(f"{text}{left}")

    def clear(self) -> None:
        """Take the line away."""
        if self._length:
            self._overwrite("")
            self._length = 0

    def _add(self, text: str) -> None:
        try:
            self._console.line(text)
        except OutputError:
            self._active = False  # progress is a courtesy; the task goes on without

    def _overwrite(self, text: str) -> None:
        room = self._length
        self._length = len(text)
        try:
            self._console.stream.write("\r" + text.ljust(room) + ("" if text else "\r"))
            self._console.stream.flush()
        except OSError:
            self._active = False  # progress is a courtesy; the task goes on without


def _left(taken_s: float, share: float) -> str:
    """Say how long it will go on, once enough is done to tell."""
    if taken_s < _TELLS_S or share < _TELLS_SHARE or share >= 1.0:
        return ""
    left_s = taken_s * (1.0 - share) / share
    if left_s < 90.0:
        return f", about {max(5, 5 * round(left_s / 5))} s left"
    return f", about {round(left_s / 60)} min left"


@contextmanager
def progress(name: str, *, estimate: bool = False) -> Iterator[ProgressLine]:
    """Show the progress of a task; whatever its libraries print goes to standard error."""
    line = ProgressLine(err(), name, estimate=estimate)
    try:
        with redirect_stdout(sys.stderr):
            yield line
    finally:
        line.clear()
