"""A delimited text from disk: bytes to cells, its raw columns, and the recording at the end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.errors import LogFileError
from flightlog.importers.common import AnyArray, Notes, make_receipt, read_bytes, sha256_of
from flightlog.importers.delimited_clock import FileClock
from flightlog.importers.delimited_dialect import Dialect, find_dialect
from flightlog.importers.delimited_numbers import file_decimal, numbers, style_of
from flightlog.importers.delimited_reading import TextTable, read_table, tell_odd_rows, unix_lines
from flightlog.importers.text import WESTERN, DecodedText, decode
from flightlog.recording import Recording

if TYPE_CHECKING:
    import pandas as pd

TEXT_SHARE = 0.1
"""A raw column with more cells than this share that are no numbers stays text."""


@dataclass(frozen=True, slots=True)
class TextFile:
    """A delimited text that was read.

    Attributes
    ----------
    path : Path
        Where it is.
    size, sha256 : int, str
        Bytes, and hash of the content.
    decoded : DecodedText
        Encoding and damage; the text itself is not kept.
    table : TextTable
        Its cells.
    decimal : str or None
        Decimal sign, where the cells show it.
    """

    path: Path
    size: int
    sha256: str
    decoded: DecodedText
    table: TextTable
    decimal: str | None


def open_text(
    path: Path,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    header_line: int | None = None,
    skip_lines: int = 0,
    comments: tuple[str, ...] | None = None,
) -> TextFile:
    """Read a delimited text into cells; what is not given is found.

    Raises
    ------
    LogFileError
        If it can't be read, or is no table.
    """
    content = read_bytes(path).tobytes()
    sha256, size = sha256_of(content), len(content)

    def found_in(decoded: DecodedText) -> Dialect | None:
        return find_dialect(
            decoded.text,
            delimiter=delimiter,
            header_line=header_line,
            skip_lines=skip_lines,
            comments=comments,
        )

    decoded = _decoded(content, encoding)
    dialect = found_in(decoded)
    if encoding is None and dialect is not None and _broken_names(decoded, dialect):
        # A sign or two that is no UTF-8 among the names is a code page, not damage.
        decoded = _decoded(content, WESTERN)
        dialect = found_in(decoded)
    del content
    if dialect is None:
        raise LogFileError(
            "the text holds no table: no line has the same number of cells as the others",
            where=path.name,
            fix="Open it in an editor; say delimiter and header line in a column map.",
        )
    table = read_table(decoded, dialect)
    decoded = replace(decoded, text="")
    samples = [table.some(at, 50) for at in range(len(table.header))]
    return TextFile(path, size, sha256, decoded, table, file_decimal(samples, dialect.delimiter))


def _decoded(content: bytes, encoding: str | None) -> DecodedText:
    decoded = decode(content, encoding)
    return replace(decoded, text=unix_lines(decoded.text))


def _broken_names(decoded: DecodedText, dialect: Dialect) -> bool:
    """Whether the header holds characters that could not be decoded."""
    if not decoded.damaged or decoded.encoding != "utf-8":
        return False
    return "\ufffd" in "".join(decoded.text[:200_000].split("\n")[: dialect.header_line])


class RawColumns:
    """Columns of the file under its own names, numbers where they are numbers.

    Parameters
    ----------
    table : TextTable
        The file.
    decimal : str or None
        Its decimal sign, where known.
    units : mapping of str to str
        Unit per column, where the header states it.
    """

    def __init__(
        self, table: TextTable, decimal: str | None, units: Mapping[str, str] | None = None
    ) -> None:
        self._table = table
        self._decimal = decimal
        self._units = dict(units or {})

    @property
    def columns(self) -> tuple[str, ...]:
        """Headers in the file's order."""
        return self._table.header

    @property
    def units(self) -> Mapping[str, str]:
        """Unit text per column."""
        return self._units

    @cached_property
    def _places(self) -> Mapping[str, int]:
        return {name: place for place, name in enumerate(self._table.header)}

    def __len__(self) -> int:
        return len(self._table)

    def __getitem__(self, column: str) -> AnyArray:
        at = self._places[column]
        style = style_of(self._table.some(at), elsewhere=self._decimal)
        if not style.unclear:
            values, bad = numbers(self._table, at, style)
            if bad.filled and bad.count <= TEXT_SHARE * bad.filled:
                return values
        out = np.empty(len(self._table), dtype=object)
        out[:] = self._table.cells(at)
        return out


def recording_of(
    file: TextFile,
    *,
    format: str,
    importer_version: int,
    tables: Mapping[str, pd.DataFrame],
    clock: FileClock,
    notes: Notes,
    units: Mapping[str, str] | None = None,
) -> Recording:
    """Write the receipt and put everything together."""
    tell_odd_rows(file.table, file.decoded, notes)
    receipt = make_receipt(
        path=file.path,
        size=file.size,
        sha256=file.sha256,
        format=format,
        importer_version=importer_version,
        tables=tables,
        message_counts={"rows": len(file.table)},
        notes=notes,
        time_origin=clock.origin,
        utc=clock.utc,
        seams=clock.seams,
        clock=clock.words,
    )
    raw = {"rows": RawColumns(file.table, file.decimal, units)}
    return Recording(tables, receipt, raw, tuple(notes.findings))
