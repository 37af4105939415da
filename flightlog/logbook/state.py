"""The state of a record as one digest of all its entries.

Everything that is read out of a record follows from the set of its entries. So what was read out
once still holds where the digest is the same, and telling that takes neither reading a body nor
checking a signature: only hashing the bytes that are stored, all of them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Entry
from flightlog.logbook.layout import RECORD
from flightlog.logbook.store import Row, Store


def state_of(entries: Iterable[Entry]) -> str:
    """Give the digest of a set of entries: 64 hexadecimal digits, whatever their order."""
    return _digest((e.hash, e.hash, e.body.device, e.body.number, e.body.previous) for e in entries)


def stored_state(folder: Path) -> str:
    """Give the digest of the record that a logbook's folder holds, read from its bytes.

    Hashes are those of the bytes. What the columns claim goes in beside them, so that a file in
    which the two disagree has another state than any set of entries. Nothing is judged: whether
    the record is whole is for ``Logbook.open`` to say.

    Parameters
    ----------
    folder : Path
        The logbook's own folder; only read.

    Returns
    -------
    str
        As ``state_of`` its entries; "" where the record can't be read, or holds what is no entry.
    """
    try:
        with Store(folder / RECORD, read_only=True) as store:
            return _digest(map(_told, store.rows()))
    except (FlightlogError, TypeError):
        return ""


def _told(row: Row) -> tuple[object, ...]:
    if row.received < 1:
        raise TypeError("no program gives such a place")
    # A column may hold a text where bytes belong, which no hash takes.
    digest = hashlib.sha256(row.data)
    digest.update(row.device_signature)
    digest.update(row.people_signatures)
    return digest.hexdigest(), row.hash, row.device, row.number, row.previous


def _digest(told: Iterable[tuple[object, ...]]) -> str:
    lines = sorted(repr(one) for one in told)
    return hashlib.sha256("\n".join(lines).encode("utf-8", "surrogatepass")).hexdigest()
