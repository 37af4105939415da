"""One recording as a folder of Parquet files, and back, without a change to any value.

Numbers are float64 or int64 as in memory; what is missing is null in the files, so that any tool
that reads Parquet sees it as missing, and NaN in memory. What UTF-8 can't write, as in some names
of files, becomes a question mark.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from flightlog.columns import TABLES
from flightlog.disk import read_small
from flightlog.errors import LogFileError
from flightlog.findings import Finding
from flightlog.recording import Receipt, Recording

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa
    import pyarrow.parquet as pq

SCHEMA = "flightlog.decoded/1"
RECEIPT = "receipt.json"
LARGEST_RECEIPT = 64_000_000
"""No receipt is larger [bytes]."""

FEWEST_CELLS = 1_000_000
"""So many cells the tables of any log may have."""
CELLS_PER_BYTE = 2
"""And so many more for each byte of the log. Those of real logs have 0.5 at the most, as IGC; a
text of few short columns can have more, since a table has every column of the dictionary."""
LARGEST_LOG = 512 * 1024 * 1024
"""No log in the record is larger [bytes]."""

_CELL_BYTES = 16
"""No file of a table takes more for each cell [bytes], packed or not."""
_ENDING = ".parquet"
_HEX = re.compile(r"[0-9a-f]{64}")
_LEVEL = 1
"""Of zstd: higher levels take several times as long for a few percent."""


def write(recording: Recording, folder: Path) -> str:
    """Write a recording into a folder that is there and empty.

    Parameters
    ----------
    recording : Recording
        Its message types (``raw``) are not kept: they are in the log.
    folder : Path
        Where to.

    Returns
    -------
    str
        SHA-256 of the receipt, which holds those of all tables: the name of the whole.
    """
    import pyarrow.parquet as pq

    written = {}
    for name in sorted(recording):
        table = _to_arrow(recording[name], _texts(name))
        path = folder / f"{name}{_ENDING}"
        texts = [n for n, kind in zip(table.schema.names, table.schema.types, strict=True)
                 if kind == "string"]  # fmt: skip
        pq.write_table(
            table, path, compression="zstd", compression_level=_LEVEL, use_dictionary=texts
        )
        written[name] = {"sha256": _sha256(path), "size": path.stat().st_size}
    body = {
        "schema": SCHEMA,
        "tables": written,
        "order": list(recording),
        "receipt": dataclasses.asdict(recording.receipt),
        "findings": [dataclasses.asdict(finding) for finding in recording.findings],
    }
    data = json.dumps(body, default=_plain, ensure_ascii=False).encode("utf-8", "replace")
    (folder / RECEIPT).write_bytes(data)
    return hashlib.sha256(data).hexdigest()


def read(folder: Path, sha256: str, log_bytes: int | None = None) -> Recording:
    """Read a recording from its folder.

    A small file can hold a table that no memory has room for, and the hash of such a file holds as
    well. So what a table would take is looked at before it is made: as many rows as the receipt
    says, columns of the dictionary, and no more cells than a log of this size gives.

    Parameters
    ----------
    folder : Path
        Where `write` put it.
    sha256 : str
        What `write` gave: every byte is held against it.
    log_bytes : int, optional
        Size of the log, or of all that it was joined of [bytes]. Without it the receipt is
        believed, up to `LARGEST_LOG` for each.

    Returns
    -------
    Recording
        As it was, without message types of the log.

    Raises
    ------
    LogFileError
        If a file is missing or is not what was written.
    """
    data = _bytes(folder / RECEIPT, sha256, LARGEST_RECEIPT)
    try:
        return _recording(folder, json.loads(data), log_bytes)
    except LogFileError:
        raise
    except Exception as error:  # others' parsers, and what somebody wrote by hand
        raise _other(folder / RECEIPT) from error


def _recording(folder: Path, body: dict[str, Any], log_bytes: int | None) -> Recording:
    if body["schema"] != SCHEMA:
        raise _other(folder / RECEIPT)
    of_receipt, of_findings = _adapters()
    receipt: Receipt = of_receipt.validate_python(body["receipt"])
    most = _most_cells(receipt, log_bytes)
    tables = {}
    for name in body["order"]:
        tables[name], cells = _table(folder, name, body["tables"][name], receipt, most)
        most -= cells
    findings = tuple(of_findings.validate_python(body["findings"]))
    return Recording(tables, receipt, findings=findings)


def _most_cells(receipt: Receipt, log_bytes: int | None) -> int:
    """Give how many cells all tables of a log may have together."""
    if log_bytes is None:
        # What partners' sizes are is not in the receipt of a joined one.
        log_bytes = min(receipt.size, LARGEST_LOG) + len(receipt.partners) * LARGEST_LOG
    return FEWEST_CELLS + CELLS_PER_BYTE * log_bytes


def _table(
    folder: Path, name: str, written: dict[str, Any], receipt: Receipt, most: int
) -> tuple[pd.DataFrame, int]:
    """Read a table, of at most so many cells; give it and how many they are."""
    import pandas as pd
    import pyarrow as pa
    import pyarrow.parquet as pq

    path = folder / f"{name}{_ENDING}"
    if name not in TABLES or not _HEX.fullmatch(written["sha256"]):
        raise _other(folder / RECEIPT)
    data = _bytes(path, written["sha256"], min(written["size"], _CELL_BYTES * most))
    # Each text once, however many rows repeat it.
    file = pq.ParquetFile(pa.BufferReader(data), read_dictionary=list(_texts(name)))
    cells = _cells(file, name, most)
    if file.metadata.num_rows != receipt.rows.get(name):
        raise _other(path)
    table = file.read(use_threads=False)
    columns = {c: _to_numpy(table.column(c)) for c in table.schema.names}
    # Else pandas guesses that objects which are all text are its own kind of text.
    objects = {c: pd.Series(v, dtype=object) for c, v in columns.items() if v.dtype == object}
    return pd.DataFrame({**columns, **objects}, copy=False), cells


def _cells(file: pq.ParquetFile, name: str, most: int) -> int:
    """Count the cells of a table by its footer, numbers of lists among them.

    Raises
    ------
    ValueError
        If it has other columns than the dictionary, or would be larger than so many cells.
    """
    names, known = file.schema_arrow.names, {column.name for column in TABLES[name]}
    if len(set(names)) != len(names) or not known.issuperset(names):
        raise ValueError("columns that are not in the dictionary")
    if not all(_is_kept(field.type) for field in file.schema_arrow):
        raise ValueError("columns of other types")
    footer = file.metadata
    cells = unpacked = 0
    for group in map(footer.row_group, range(footer.num_row_groups)):
        for chunk in map(group.column, range(group.num_columns)):
            cells += max(chunk.num_values, 0)
            unpacked += max(chunk.total_uncompressed_size, 0)
    if cells > most or unpacked > _CELL_BYTES * most:
        raise ValueError("more than a log of this size gives")
    return cells


def _is_kept(kind: pa.DataType) -> bool:
    """Whether `write` makes columns of this type, as texts are when each is read once."""
    import pyarrow as pa

    if pa.types.is_list(kind) or pa.types.is_dictionary(kind):
        kind = kind.value_type
        return bool(pa.types.is_float64(kind) or pa.types.is_string(kind))
    return bool(pa.types.is_floating(kind) or pa.types.is_integer(kind))


# --- columns


def _texts(name: str) -> frozenset[str]:
    return frozenset(column.name for column in TABLES[name] if column.text)


def _to_arrow(table: pd.DataFrame, texts: frozenset[str]) -> pa.Table:
    import pyarrow as pa

    arrays = {}
    for name in table.columns:
        values = table[name].to_numpy()
        if name in texts:
            arrays[name] = pa.array([_text(v) for v in values], pa.string())
        elif values.dtype == object:
            arrays[name] = pa.array([_numbers(v) for v in values], pa.list_(pa.float64()))
        else:
            arrays[name] = pa.array(values, from_pandas=True)
    return pa.table(arrays)


def _text(value: object) -> str | None:
    """Give a text as Parquet can hold it; None for what is missing."""
    return value.encode("utf-8", "replace").decode("utf-8") if isinstance(value, str) else None


def _numbers(value: object) -> list[float] | None:
    """Give the numbers of a cell that holds several; None for what is missing."""
    if value is None or isinstance(value, float):
        return None
    numbers: list[float] = np.asarray(value, dtype=np.float64).tolist()
    return numbers


def _to_numpy(column: pa.ChunkedArray) -> np.ndarray[Any, np.dtype[Any]]:
    import pyarrow as pa

    if pa.types.is_dictionary(column.type):
        parts = [np.empty(0, dtype=object), *map(_repeated, column.chunks)]
        return np.concatenate(parts)
    if pa.types.is_list(column.type):
        values = np.empty(len(column), dtype=object)
        for index, value in enumerate(column.to_pylist()):
            values[index] = tuple(value) if isinstance(value, list) else value
        return values
    return np.asarray(column.to_numpy())


def _repeated(chunk: pa.DictionaryArray) -> np.ndarray[Any, np.dtype[Any]]:
    """Give texts, each of them one object however many rows have it."""
    words = np.array([*chunk.dictionary.to_pylist(), None], dtype=object)
    at = chunk.indices.fill_null(len(words) - 1).to_numpy(zero_copy_only=False)
    return np.asarray(words[at])


# --- bytes


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _bytes(path: Path, sha256: str, most: int) -> bytes:
    """Read a file that has this hash and is not larger than ``most`` bytes."""
    try:
        data = read_small(path, most)
    except OSError as error:
        raise LogFileError(
            f"can't be read ({error.strerror})", where=str(path), fix="Read the log again."
        ) from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise _other(path)
    return data


def _other(path: Path) -> LogFileError:
    return LogFileError(
        "is not what was written", where=str(path), fix="Remove the folder; the log is read again."
    )


def _plain(value: object) -> object:
    """Give what JSON has for numpy's numbers and other mappings."""
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} has no place in a receipt")


@cache
def _adapters() -> tuple[Any, Any]:
    from pydantic import TypeAdapter

    return TypeAdapter(Receipt), TypeAdapter(list[Finding])
