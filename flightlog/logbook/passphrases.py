"""Passphrases as this program handles them: shown nowhere, copied nowhere.

What holds a secret here prints as a fixed word, can't be copied or pickled, and stands in no
local variable of a function that raises, so that a traceback with all its variables says nothing
of it. Where this stops: the bytes are in the memory of the process until Python reuses it, which
Python gives no way to prevent.
"""

from __future__ import annotations

import hmac
import os
import re
import unicodedata
from typing import NoReturn

from flightlog.errors import RefusedError, UsageError

LEAST_CHARACTERS = 8
"""Characters of the shortest passphrase for a key, white space at its ends not counted."""
MOST_BYTES = 1024
"""Longest passphrase, as UTF-8 [bytes]."""

_HALF = re.compile("[\ud800-\udfff]")
"""Half a character: what a terminal gives for bytes that are not of its encoding."""


class Unshared:
    """Something that is not copied, pickled or written out."""

    __slots__ = ()

    # Copying, deep copying and pickling all ask for this.
    def __getstate__(self) -> NoReturn:
        raise RefusedError(
            f"{type(self).__name__.lower()}: a secret is not copied or stored",
            fix="Ask for the passphrase again where it is needed.",
        )


class Passphrase(Unshared):
    """A passphrase, as UTF-8 in Unicode's normal form NFC: the same on every keyboard.

    Parameters
    ----------
    text : str
        As it was typed.

    Raises
    ------
    UsageError
        If it is longer than ``MOST_BYTES``, or holds half a character.
    """

    __slots__ = ("_bytes",)

    def __init__(self, text: str) -> None:
        problem = _problem(text)
        if problem:
            del text  # a traceback may show the variables of this frame
            raise UsageError(problem, fix="Give another passphrase.")
        self._bytes = unicodedata.normalize("NFC", text).encode("utf-8")

    @property
    def too_short(self) -> bool:
        """Whether it is too short to protect a key."""
        return len(self._bytes.decode("utf-8").strip()) < LEAST_CHARACTERS

    def reveal(self) -> bytes:
        """Give the bytes; use them in one expression, never in a variable."""
        return self._bytes

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Passphrase):
            return NotImplemented
        return hmac.compare_digest(self._bytes, other._bytes)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return "<passphrase>"


def _problem(text: str) -> str:
    if _HALF.search(text):
        return "the passphrase holds bytes that are no text in the terminal's encoding"
    # Bounded before it is normalised too, since that takes time for long texts.
    if len(text) > MOST_BYTES or len(unicodedata.normalize("NFC", text).encode()) > MOST_BYTES:
        return f"the passphrase is longer than {MOST_BYTES} bytes"
    return ""


def read_passphrase(fd: int) -> Passphrase:
    """Read one line from a file descriptor, and nothing beyond it.

    Several passphrases stand in several lines of one descriptor.

    Parameters
    ----------
    fd : int
        Number of an open file descriptor; 0 is standard input.

    Raises
    ------
    UsageError
        If it can't be read, ends before the line, or the line is empty, too long or not UTF-8.
    """
    where = f"file descriptor {fd}"
    line = bytearray()
    try:
        problem = _read_line(fd, line)
        found = None if problem else _decoded(line)
    finally:
        # A traceback may show the variables of this frame.
        line.clear()
    if found is None:
        raise UsageError(problem or "the passphrase is not UTF-8", where=where, fix=_LIKE)
    return found


_LIKE = "Give one passphrase per line, in UTF-8."


def _read_line(fd: int, line: bytearray) -> str:
    """Read up to the end of a line into ``line``; give what is wrong, empty if nothing is."""
    # Byte by byte, since what follows belongs to the next person.
    try:
        while (byte := os.read(fd, 1)) not in (b"", b"\n"):
            line += byte
            if len(line) > MOST_BYTES + 1:
                return f"the line is longer than {MOST_BYTES} bytes"
    except (OSError, OverflowError) as error:
        return f"it can't be read ({getattr(error, 'strerror', None) or error})"
    if not line and not byte:
        return "it holds no further passphrase"
    if line.endswith(b"\r"):
        del line[-1:]
    return "" if line else "the line with the passphrase is empty"


def _decoded(line: bytearray) -> Passphrase | None:
    try:
        return Passphrase(line.decode("utf-8"))
    except UnicodeDecodeError:
        return None
