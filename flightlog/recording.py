"""A recording: the tidy tables of one log file, and the receipt of how they were read."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

from flightlog.columns import TABLES
from flightlog.findings import Finding

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd


OWN_ID = "id of the autopilot: "
"""How the note of a receipt begins that says what the autopilot calls itself."""


class RawTable(Protocol):
    """All rows of one message type of the file, decoded column by column when asked.

    Numeric columns are arrays of shape (rows,), array fields (rows, length), text columns
    arrays of str. Names and scaling are the format's own.
    """

    @property
    def columns(self) -> tuple[str, ...]:
        """Field names in the file's order."""

    @property
    def units(self) -> Mapping[str, str]:
        """Unit text per field, where the file states it."""

    def __len__(self) -> int: ...

    def __getitem__(self, column: str) -> np.ndarray[Any, np.dtype[Any]]: ...


@dataclass(frozen=True, slots=True)
class UtcRelation:
    """How the log's clock maps to UTC: ``utc = time_s + offset_s``.

    Attributes
    ----------
    offset_s : float or None
        Unix seconds at ``time_s = 0``; None when the log does not tell.
    std_s : float or None
        Standard uncertainty [s].
    source : str
        Where it comes from, in a few words.
    zone_known : bool
        False where the log tells the local time of some place and not of which: ``offset_s``
        then leads to that local time, and no UTC may be printed from it.
    """

    offset_s: float | None = None
    std_s: float | None = None
    source: str = "the log does not tell"
    zone_known: bool = True

    @property
    def unix_offset_s(self) -> float | None:
        """``offset_s`` where it leads to UTC, else None."""
        return self.offset_s if self.zone_known else None


@dataclass(frozen=True, slots=True)
class ColumnSource:
    """Where one column of one table came from.

    Attributes
    ----------
    table, column : str
        In `flightlog.columns.TABLES`.
    source : str
        The file's own name for it: a header, or message and field.
    unit : str
        The unit that it was taken to be in, "" for none.
    why : str
        What told the unit and the meaning: "the header", "the column map", ...
    """

    table: str
    column: str
    source: str
    unit: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class Partner:
    """Another recording of the same flight, from which some tables were taken.

    Attributes
    ----------
    file, sha256, format : str
        As in its own receipt.
    offset_s, offset_std_s : float
        Added to its clock to be on this one's, and the standard uncertainty. [s]
    method : str
        How the offset was had, in a few words.
    tables : tuple of str
        Tables that were taken from it.
    rate_ppm : float
        What this clock gains on its, where that was taken out as well; the offset then holds in
        the middle of what they share.
    """

    file: str
    sha256: str
    format: str
    offset_s: float
    offset_std_s: float
    method: str
    tables: tuple[str, ...] = ()
    rate_ppm: float = 0.0


@dataclass(frozen=True, slots=True)
class Receipt:
    """How a file was read: what an inspector needs to trust the tables.

    Attributes
    ----------
    file, size, sha256 : str, int, str
        Name without folder, bytes, and hash of the content.
    format, importer_version : str, int
        Importer's slug and the version of its mapping.
    firmware : str
        What the log says of the firmware, or "".
    time_origin : str
        What ``time_s`` counts from: "boot" or "first row".
    duration_s : float
        Last minus first time of all tables. [s]
    utc : UtcRelation
        Relation to UTC.
    rows : mapping
        Table -> rows read.
    dropped : mapping
        Reason -> rows or bytes dropped.
    message_counts : mapping
        The log's own message types -> count.
    seams : tuple of float
        Times at which the logger restarted. [s]
    chosen_instances : mapping
        Table -> instance that analyses use, where there were several.
    notes : tuple of str
        Anything else worth keeping.
    clock : str
        In words: which clock of the file ``time_s`` is, and what was done to it.
    columns : tuple of ColumnSource
        Where each column of the tables came from.
    unused : tuple of str
        Columns of the file that feed no table.
    partners : tuple of Partner
        Other recordings of the same flight that tables were taken from.
    """

    file: str
    size: int
    sha256: str
    format: str
    importer_version: int
    firmware: str = ""
    time_origin: str = "boot"
    duration_s: float = 0.0
    utc: UtcRelation = UtcRelation()
    rows: Mapping[str, int] = field(default_factory=dict)
    dropped: Mapping[str, int] = field(default_factory=dict)
    message_counts: Mapping[str, int] = field(default_factory=dict)
    seams: tuple[float, ...] = ()
    chosen_instances: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    clock: str = ""
    columns: tuple[ColumnSource, ...] = ()
    unused: tuple[str, ...] = ()
    partners: tuple[Partner, ...] = ()


class Recording:
    """Tidy tables in SI units, one row per sample at the sensor's own rate.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Table names and columns from `flightlog.columns`. Absent sensor = absent table.
        ``time_s`` does not decrease. Treat them as read-only.
    receipt : Receipt
        How they were read.
    raw : mapping of str to RawTable
        Every message type of the file.
    findings : iterable of Finding
        What the importer noticed.
    """

    def __init__(
        self,
        tables: Mapping[str, pd.DataFrame],
        receipt: Receipt,
        raw: Mapping[str, RawTable] | None = None,
        findings: tuple[Finding, ...] = (),
    ) -> None:
        for name, table in tables.items():
            known = {c.name for c in TABLES[name]}
            strange = [c for c in table.columns if c not in known]
            if strange:
                raise ValueError(f"table {name!r} has columns outside the dictionary: {strange}")
        self._tables = {name: t for name, t in tables.items() if len(t)}
        self._ones: dict[str, pd.DataFrame] = {}
        self.receipt = receipt
        self.raw: Mapping[str, RawTable] = raw if raw is not None else {}
        self.findings = tuple(findings)

    def __getitem__(self, name: str) -> pd.DataFrame:
        """Give the table; KeyError when the sensor is absent."""
        return self._tables[name]

    def __contains__(self, name: object) -> bool:
        return name in self._tables

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def get(self, name: str) -> pd.DataFrame | None:
        """Give the table, or None when the sensor is absent."""
        return self._tables.get(name)

    def one(self, name: str) -> pd.DataFrame | None:
        """Rows of the one instance that analyses use, without the ``instance`` column.

        The receipt's choice where it made one, else the lowest instance. Every analysis asks
        for the same few tables, so they are cut once; who sets a column does so in a frame
        of their own.
        """
        table = self._tables.get(name)
        if table is None or "instance" not in table:
            return table
        if name not in self._ones:
            chosen = self.receipt.chosen_instances.get(name, int(table["instance"].min()))
            use = table["instance"] == chosen
            rows = table if use.all() else table.loc[use]
            self._ones[name] = rows.drop(columns="instance").reset_index(drop=True)
        return self._ones[name].copy(deep=False)

    def without(self, *names: str) -> Recording:
        """Give the same recording as if it had no such tables: those that can't be used."""
        return self._with({n: table for n, table in self._tables.items() if n not in names})

    def without_column(self, name: str) -> Recording:
        """Give the same recording as if nothing was ever measured in a column, ``table.column``."""
        table, _, column = name.partition(".")
        if column not in self._tables.get(table, ()):
            return self
        blank = self._tables[table].assign(**{column: math.nan})
        return self._with({**self._tables, table: blank})

    def _with(self, tables: Mapping[str, pd.DataFrame]) -> Recording:
        """Give the same recording with other tables; what was cut from the same ones stays cut."""
        other = Recording(tables, self.receipt, self.raw, self.findings)
        same = {n: one for n, one in self._ones.items() if tables.get(n) is self._tables[n]}
        other._ones.update(same)
        return other

    def __repr__(self) -> str:
        rows = ", ".join(f"{n} {len(t)}" for n, t in self._tables.items())
        return f"<Recording {self.receipt.file!r}: {rows}>"
