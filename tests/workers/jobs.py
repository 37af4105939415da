"""Work for other processes, which import this module: it loads nothing that takes long."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from flightlog.errors import UnknownFormatError

HERE = False
"""Set by tests in their own process only."""


def without_the_program() -> tuple[str, int, int]:
    if not HERE:
        raise ModuleNotFoundError("No module named 'flightlog'")
    return "0.1.0", 1, 1


def double(number: int) -> int:
    return 2 * number


def refuse_odd(number: int) -> int:
    if number % 2:
        raise UnknownFormatError(f"{number} is odd", where="flight.bin", fix="Double it.")
    return number


class TwoParts(Exception):
    """As some libraries have them: it can be pickled, and not read again."""

    def __init__(self, first: str, second: str) -> None:
        super().__init__(f"{first} {second}")


def raise_two_parts(second: str) -> None:
    raise TwoParts("the battery", second)


class NoWay(Exception):
    """It can't even be pickled."""

    def __init__(self, said: str) -> None:
        super().__init__(said)
        self.reader = lambda: None


def raise_no_way(said: str) -> None:
    raise NoWay(said)


def print_both_ways(text: str) -> str:
    print(text)
    print(text, file=sys.stderr, flush=True)
    return text


def meet(task: tuple[Path, Path]) -> int:
    """Give the number of the process once the other task is in work as well."""
    own, other = task
    own.write_bytes(b"")
    ends = time.monotonic() + 30
    while not other.exists():
        if time.monotonic() > ends:
            raise TimeoutError("nobody works beside this one")
        time.sleep(0.01)
    return os.getpid()


def meeting(folder: Path) -> list[tuple[Path, Path]]:
    """Give two tasks that can only be done beside each other."""
    one, other = folder / "one", folder / "other"
    return [(one, other), (other, one)]


def span(nap_s: float) -> tuple[float, float]:
    """Give when it began and ended, by a clock that all processes share [s]."""
    began = time.time()
    time.sleep(nap_s)
    return began, time.time()


def fall(task: tuple[str, Path]) -> str:
    """Do a task whose process dies: always, or only the first time."""
    how, folder = task
    mark = folder / how
    if how == "always" or (how.startswith("once") and not mark.exists()):
        mark.write_bytes(b"")
        os._exit(13)
    return how


def fall_beside(task: tuple[str, Path, float]) -> tuple[float, float]:
    """Be two of which one dies while the other is in work; then give when each began and ended."""
    how, folder, nap_s = task
    beside, died = folder / "beside", folder / "died"
    if not died.exists():
        if how == "beside":
            beside.touch()
            time.sleep(30)
            raise TimeoutError("nobody heard that the other one died")
        ends = time.monotonic() + 30
        while not beside.exists() and time.monotonic() < ends:
            time.sleep(0.01)
        died.touch()
        os._exit(13)
    return span(nap_s)


def finish_late(task: tuple[float, Path]) -> None:
    """Leave a mark after a while."""
    nap_s, mark = task
    time.sleep(nap_s)
    mark.write_bytes(b"")
