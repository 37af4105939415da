"""The wait after passphrases that did not fit.

The first failure costs nothing, the second 1 s, then 2, 4, 8 … up to 60 s. The count is kept in a
small file beside the key, so that starting the program anew does not shorten the wait; where the
folder can't be written (a stick with its switch at read-only) in this process. It keeps a person
at the keyboard from trying one after the other. It does not stop somebody who takes the key file
away or sets the clock ahead: against that stands only scrypt.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from flightlog.errors import LogbookError
from flightlog.logbook.canonical import decode, encode
from flightlog.logbook.keyfile import read_small, write_private

SCHEMA = "flightlog.tries/1"
LONGEST_S = 60
"""Longest wait [s]."""
_FREE = 1
"""Failures without a wait."""
_LONGEST_AFTER = 8
"""Failures after which the wait is the longest."""
_MOST_FAILURES = 10**6
_MOST_BYTES = 256

# File -> what could not be written there. A screen makes its key folders anew at every turn.
_KEPT: dict[Path, _Tries] = {}


def wait_after(failures: int) -> int:
    """Give the wait after so many failures in a row [s]."""
    if failures <= _FREE:
        return 0
    return min(LONGEST_S, 1 << min(failures - _FREE - 1, 6))


@dataclass(frozen=True, slots=True)
class _Tries:
    """So many failures in a row, the last of them at a time of the wall clock [ms]."""

    failures: int
    at_ms: int


class TryCount:
    """The count of failures of one key.

    Parameters
    ----------
    path : Path
        The small file.
    clock : callable
        Wall clock [s since 1970].
    """

    def __init__(self, path: Path, clock: Callable[[], float]) -> None:
        self._path = path
        self._clock = clock

    def wait_s(self) -> int:
        """Give how long nobody may try yet, rounded up [s]; 0 if now is the time."""
        now = self._now()
        tries = self._read(now)
        left_ms = 1000 * wait_after(tries.failures) - (now - tries.at_ms)
        return max(0, -(-left_ms // 1000))

    def failed(self) -> int:
        """Count a failure and give the wait that it brings [s]."""
        now = self._now()
        failures = min(self._read(now).failures + 1, _MOST_FAILURES)
        self._write(_Tries(failures, now))
        return wait_after(failures)

    def forget(self) -> None:
        """Start again: the passphrase was right."""
        _KEPT.pop(self._path, None)
        try:
            self._path.unlink(missing_ok=True)
        except OSError:
            _KEPT[self._path] = _Tries(0, self._now())

    def _now(self) -> int:
        return int(self._clock() * 1000)

    def _read(self, now: int) -> _Tries:
        tries = _KEPT.get(self._path)
        if tries is None:
            try:
                data = read_small(self._path, _MOST_BYTES)
            except FileNotFoundError:
                return _Tries(0, now)
            except OSError:
                data = b""
            tries = _read_tries(data)
        if tries is None or tries.at_ms > now:
            # Damaged, or the clock was set back: the full wait, once, from now on.
            tries = _Tries(tries.failures if tries else _LONGEST_AFTER, now)
            self._write(tries)
        return tries

    def _write(self, tries: _Tries) -> None:
        record = {"schema": SCHEMA, "failures": tries.failures, "at_ms": tries.at_ms}
        try:
            write_private(self._path, encode(record))
        except OSError:
            _KEPT[self._path] = tries
        else:
            _KEPT.pop(self._path, None)


def _read_tries(data: bytes) -> _Tries | None:
    """Read the small file; None if it is damaged."""
    if len(data) > _MOST_BYTES:
        return None
    record = {}
    with contextlib.suppress(LogbookError):
        record = decode(data)
    if set(record) != {"schema", "failures", "at_ms"} or record["schema"] != SCHEMA:
        return None
    failures, at_ms = record["failures"], record["at_ms"]
    if type(failures) is not int or type(at_ms) is not int:
        return None
    return _Tries(failures, at_ms) if 0 <= failures <= _MOST_FAILURES else None
