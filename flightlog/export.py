"""Tables of a recording as files that other programs read: Parquet or CSV.

One file a table, with `receipt.json` beside them that says what they were read from, what was
dropped and found, and what each column means. Nothing that exists is overwritten.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Literal

import numpy as np
import numpy.typing as npt

from flightlog.columns import TABLES
from flightlog.errors import OutputError
from flightlog.recording import RawTable, Recording

if TYPE_CHECKING:
    import pandas as pd

Kind = Literal["parquet", "csv"]


def write_tables(
    recording: Recording, folder: Path, kind: Kind, *, raw: bool = False
) -> list[Path]:
    """Write the tables of a recording and its receipt into a folder.

    Parameters
    ----------
    recording : Recording
        What to write.
    folder : path
        Made if it is not there.
    kind : {"parquet", "csv"}
        CSV is UTF-8 with a comma, a header, and numbers at full precision; a list within a
        cell (cell voltages) is separated by spaces.
    raw : bool, default False
        Whether to write the log's own message types too, as ``raw-TYPE``.

    Returns
    -------
    list of Path
        The files written, the receipt last.

    Raises
    ------
    OutputError
        If one of the files is there already, or the folder can't be written. Nothing is left
        half written.
    """
    targets = _targets(recording, folder, kind, raw)
    receipt_path = folder / "receipt.json"
    _refuse_existing([*targets.values(), receipt_path])
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for (name, is_raw), path in targets.items():
            table = _raw_frame(recording.raw[name]) if is_raw else recording[name]
            with path.open("xb") as file:
                written.append(path)
                _write(table, file, kind)
        text = json.dumps(
            _receipt(recording, targets), indent=1, ensure_ascii=False, allow_nan=False
        )
        with receipt_path.open("x", encoding="utf-8", newline="\n") as out:
            written.append(receipt_path)
            out.write(text + "\n")
    except FileExistsError as error:
        _remove(written)
        raise OutputError(
            "something of that name is there already",
            where=str(error.filename),
            fix="Name a new folder.",
        ) from None
    except OSError as error:
        _remove(written)
        raise OutputError(
            f"the tables can't be written ({error.strerror or error})",
            where=str(folder),
            fix="Name a folder that may be written, on a disk with free space.",
        ) from error
    except BaseException:
        _remove(written)
        raise
    return written


def _targets(
    recording: Recording, folder: Path, kind: Kind, raw: bool
) -> dict[tuple[str, bool], Path]:
    """Give a path to every table: (name, whether raw) -> file."""
    targets = {(name, False): folder / f"{name}.{kind}" for name in recording}
    taken: set[str] = set()
    for name in recording.raw if raw else ():
        # Type names come from the log: only letters and digits may reach the disk.
        base = "raw-" + (re.sub(r"[^A-Za-z0-9_.-]", "_", name) or "_")
        stem, number = base, 1
        while stem.lower() in taken:
            number += 1
            stem = f"{base}-{number}"
        taken.add(stem.lower())
        targets[name, True] = folder / f"{stem}.{kind}"
    return targets


def _refuse_existing(paths: Iterable[Path]) -> None:
    for path in paths:
        if path.exists():
            raise OutputError(
                f"{path.name} is there already; nothing was written",
                where=str(path.parent),
                fix="Name a new folder.",
            )


def _remove(paths: Iterable[Path]) -> None:
    """Take back what this run has made."""
    for path in paths:
        path.unlink(missing_ok=True)


def _write(table: pd.DataFrame, file: BinaryIO, kind: Kind) -> None:
    if kind == "parquet":
        table.to_parquet(file, index=False)
        return
    lists = [c for c in table.columns if table[c].dtype == object and _holds_lists(table[c])]
    if lists:
        table = table.assign(**{c: [_spaced(cell) for cell in table[c]] for c in lists})
    table.to_csv(file, index=False, encoding="utf-8", lineterminator="\n")


def _holds_lists(column: pd.Series[Any]) -> bool:
    return any(isinstance(cell, list | np.ndarray) for cell in column)


def _spaced(cell: object) -> str:
    if not isinstance(cell, list | np.ndarray):
        return ""
    return " ".join(str(value) for value in np.asarray(cell).tolist())


def _raw_frame(table: RawTable) -> pd.DataFrame:
    """All columns of a message type; arrays become one list a row."""
    import pandas as pd

    columns: dict[str, Any] = {}
    for name in table.columns:
        values: npt.NDArray[Any] = table[name]
        columns[name] = values if values.ndim == 1 else pd.Series(list(values), dtype=object)
    return pd.DataFrame(columns)


def _receipt(recording: Recording, targets: Mapping[tuple[str, bool], Path]) -> dict[str, Any]:
    """Give the receipt, the findings and the meaning of each column, fit for JSON."""
    tables = {
        name: {
            "file": path.name,
            "columns": {c.name: {"unit": c.unit, "meaning": c.meaning} for c in TABLES[name]},
        }
        for (name, is_raw), path in targets.items()
        if not is_raw
    }
    raw = {
        name: {
            "file": path.name,
            "columns": {
                c: {"unit": recording.raw[name].units.get(c, "")}
                for c in recording.raw[name].columns
            },
        }
        for (name, is_raw), path in targets.items()
        if is_raw
    }
    return {
        "schema": "flightlog.receipt/1",
        "receipt": _plain(dataclasses.asdict(recording.receipt)),
        "findings": [_plain(dataclasses.asdict(finding)) for finding in recording.findings],
        "tables": tables,
        "raw": raw,
    }


def _plain(value: object) -> object:
    """Values that JSON can hold: no numpy types, no NaN or infinity."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
