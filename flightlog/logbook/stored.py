"""Rows of the record as they are stored, checked one by one: bytes, columns, signatures.

What is checked here needs no other row. A row is *genuine* if its bytes are an entry and all
signatures fit them: then the entry is what was signed, whatever the columns beside it say. Checking
signatures is left to several threads, which the library that does it lets run at once.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice
from typing import Protocol

from flightlog.errors import LogbookError, SignatureError
from flightlog.logbook.canonical import LARGEST_INTEGER
from flightlog.logbook.entry import Entry, entry_name
from flightlog.logbook.rulings import founds
from flightlog.logbook.signatures import Purpose, split_signatures, verify

_CHUNK = 128
_HEX = re.compile(r"[0-9a-f]{64}")


class StoredRow(Protocol):
    """A row of the record: place in the order received, and the entry as stored."""

    @property
    def received(self) -> int:
        """Place in the order in which this folder received its entries."""

    @property
    def hash(self) -> str:
        """Hash of the entry, as stored."""

    @property
    def device(self) -> str:
        """Public key of the device, as stored."""

    @property
    def number(self) -> int:
        """Place in the chain of the device, as stored."""

    @property
    def previous(self) -> str | None:
        """Hash of the entry before, as stored."""

    @property
    def data(self) -> bytes:
        """The body."""

    @property
    def device_signature(self) -> bytes:
        """The device's signature."""

    @property
    def people_signatures(self) -> bytes:
        """Signatures of persons, one after the other."""


@dataclass(frozen=True, slots=True)
class CheckedRow:
    """What one row by itself comes to.

    Parameters
    ----------
    row : StoredRow
        As it was given.
    entry : Entry or None
        What its bytes say; None if they can't be read.
    genuine : bool
        Whether all signatures fit the bytes.
    problems : tuple of str
        What is wrong with it; empty if nothing is.
    founds : bool
        Whether it is of the form of an entry that founds a team.
    """

    row: StoredRow
    entry: Entry | None
    genuine: bool
    problems: tuple[str, ...]
    founds: bool = False

    @property
    def name(self) -> str:
        """How messages call it: by what was signed, else by what is stored beside it."""
        if self.entry is not None and self.genuine:
            return self.entry.name
        return f"{stored_name(self.row.number, self.row.device)} as stored"


Known = dict[StoredRow, CheckedRow]
"""Rows that were checked before; rows are compared with all that they hold."""


def stored_name(number: object, device: object) -> str:
    """Name an entry by columns that may be damaged."""
    shown = number if isinstance(number, int) else "?"
    if isinstance(device, str) and _HEX.fullmatch(device):
        return entry_name(int(shown), device) if shown != "?" else f"an {entry_name(0, device)}"
    return f"entry {shown} of a device that can't be read"


def check_stored(
    rows: Iterable[StoredRow],
    *,
    known: Known | None = None,
    threads: int | None = None,
    tell: Callable[[int], None] | None = None,
) -> list[CheckedRow]:
    """Check each row by itself.

    Parameters
    ----------
    rows : iterable of StoredRow
        Read to the end before the first result.
    known : dict, optional
        Results of earlier checks; rows in it are not checked again, new ones are added.
    threads : int, optional
        How many to use; as many as there are processors, at most 8, when not given.
    tell : callable, optional
        Called now and then with the number of rows that are done.

    Returns
    -------
    list of CheckedRow
        In the order given.
    """
    if known is None:
        return list(_checked(list(rows), threads, tell))
    listed = [(row, known.get(row)) for row in rows]
    fresh = _checked([row for row, before in listed if before is None], threads, tell)
    results = [next(fresh) if before is None else before for _, before in listed]
    for (row, before), checked in zip(listed, results, strict=True):
        if before is None:
            known[row] = checked
    return results


def _checked(
    rows: list[StoredRow], threads: int | None, tell: Callable[[int], None] | None
) -> Iterator[CheckedRow]:
    if len(rows) <= _CHUNK:
        yield from map(check_row, rows)
        return
    waiting = iter(rows)
    chunks = list(iter(lambda: list(islice(waiting, _CHUNK)), []))
    pool = ThreadPoolExecutor(threads or min(8, os.cpu_count() or 1))
    done = 0
    try:
        for results in pool.map(lambda chunk: [check_row(row) for row in chunk], chunks):
            done += len(results)
            if tell is not None:
                tell(done)
            yield from results
    finally:
        pool.shutdown(cancel_futures=True)


def check_row(row: StoredRow) -> CheckedRow:
    """Check one row by itself."""
    strange = _strange_columns(row)
    if strange:
        return CheckedRow(row, None, False, strange)
    people = split_signatures(row.people_signatures)
    problems = []
    entry = None
    try:
        entry = Entry(row.data, row.device_signature, people)
        digest = entry.hash
    except LogbookError as error:
        problems.append(f"{error.where}: {error.found}" if error.where else error.found)
        digest = hashlib.sha256(row.data + row.device_signature + row.people_signatures).hexdigest()
    if digest != row.hash:
        problems.append("its hash does not fit what is stored")
    if entry is None:
        return CheckedRow(row, None, False, tuple(problems))
    wrong = _wrong_signatures(entry)
    problems += _wrong_columns(row, entry)
    problems += _wrong_place(row.received)
    return CheckedRow(row, entry, not wrong, (*wrong, *problems), founds(entry.body))


def _strange_columns(row: StoredRow) -> tuple[str, ...]:
    kinds: tuple[tuple[str, object, type | tuple[type, ...]], ...] = (
        ("hash", row.hash, str),
        ("device", row.device, str),
        ("number", row.number, int),
        ("previous", row.previous, (str, type(None))),
        ("data", row.data, bytes),
        ("device_signature", row.device_signature, bytes),
        ("people_signatures", row.people_signatures, bytes),
    )
    return tuple(
        f"the column {name!r} holds {type(value).__name__}"
        for name, value, kind in kinds
        if not isinstance(value, kind)
    )


def _wrong_signatures(entry: Entry) -> list[str]:
    wrong = []
    try:
        verify(entry.body.device, Purpose.DEVICE, entry.by_device, entry.device_signature)
    except SignatureError as error:
        wrong.append(error.found)
    signed = list(zip(entry.body.signers, entry.people_signatures, strict=True))
    for number, (signer, signature) in enumerate(signed, start=1):
        try:
            verify(signer.key, Purpose.PERSON, entry.data, signature)
        except SignatureError:
            which = (
                f"signature {number} of {len(signed)} persons"
                if len(signed) > 1
                else ("the person's signature")
            )
            wrong.append(f"{which} does not fit the bytes")
    return wrong


def _wrong_place(received: object) -> list[str]:
    if isinstance(received, int) and 1 <= received <= LARGEST_INTEGER:
        return []
    return [f"its place in the order received is {str(received)[:20]}, which no program gives"]


def _wrong_columns(row: StoredRow, entry: Entry) -> list[str]:
    said = (
        ("device", row.device, entry.body.device),
        ("number", row.number, entry.body.number),
        ("hash of the entry before", row.previous, entry.body.previous),
    )
    return [
        f"the {name} stored beside it is not the one in its bytes"
        for name, stored, signed in said
        if stored != signed or isinstance(stored, bool)
    ]
