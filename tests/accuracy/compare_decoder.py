"""Compare the DataFlash decoder with pymavlink, record by record and value by value.

Run: ``python tests/accuracy/compare_decoder.py LOG...`` (default: every DataFlash file of the
folder that FLIGHTLOG_CORPUS names). Exit code 1 when anything differs.
"""

from __future__ import annotations

import array
import contextlib
import io
import math
import os
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np

from flightlog.importers.dataflash import decode_file


def reference(path: Path) -> dict[str, dict[str, list[Any]]]:
    """Every field of every message as pymavlink gives it."""
    from pymavlink.DFReader import DFReader_binary

    tables: dict[str, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
    with contextlib.redirect_stderr(io.StringIO()), contextlib.redirect_stdout(io.StringIO()):
        reader = DFReader_binary(str(path))
        while (message := reader.recv_msg()) is not None:
            table = tables[message.get_type()]
            table["(rows)"].append(1)
            for name in message.get_fieldnames():
                table[name].append(getattr(message, name))
        reader.filehandle.close()
    return tables


def same(ours: Any, theirs: Any) -> bool:
    """Whether two values are the same bit for bit; NaN is the same as NaN."""
    if isinstance(theirs, array.array):
        return list(ours) == theirs.tolist()
    if isinstance(theirs, bytes):
        return bytes(ours) == theirs
    if isinstance(theirs, float):
        if math.isnan(theirs):
            return math.isnan(ours)
        return float(ours) == theirs and math.copysign(1.0, ours) == math.copysign(1.0, theirs)
    return type(theirs)(ours) == theirs


def differences(path: Path) -> tuple[list[str], int, int]:
    """What differs, and how many messages and values were compared."""
    log = decode_file(path)
    expected = reference(path)
    found = []
    values = 0
    if set(log) != set(expected):
        found.append(f"types {sorted(set(log) ^ set(expected))}")
    for name in sorted(set(log) & set(expected)):
        table, columns = log[name], expected[name]
        rows = len(columns.pop("(rows)"))
        if len(table) != rows:
            found.append(f"{name}: {len(table)} rows, expected {rows}")
            continue
        if set(table.columns) != set(columns):
            found.append(f"{name}: fields {sorted(set(table.columns) ^ set(columns))}")
        for column in set(table.columns) & set(columns):
            ours = table[column]
            theirs = columns[column]
            values += len(theirs)
            if ours.ndim == 1 and ours.dtype != object:
                ours = np.array(ours.tolist(), dtype=object)
            bad = [i for i, (a, b) in enumerate(zip(ours, theirs, strict=True)) if not same(a, b)]
            if bad:
                i = bad[0]
                found.append(
                    f"{name}.{column}: {len(bad)} values, first row {i}: {ours[i]!r}, "
                    f"expected {theirs[i]!r}"
                )
    return found, len(log.starts), values


def corpus_files() -> list[Path]:
    """Every DataFlash file of the corpus, smallest first."""
    root = os.environ.get("FLIGHTLOG_CORPUS")
    if not root:
        return []
    files = [*Path(root, "dataflash").glob("*.bin"), *Path(root, "runway").glob("*.bin")]
    return sorted(files, key=lambda p: p.stat().st_size)


def main(arguments: list[str]) -> int:
    """Compare and print one line a file."""
    failed = False
    for path in [Path(a) for a in arguments] or corpus_files():
        found, messages, values = differences(path)
        print(f"{path.name}: {messages} messages, {values} values, {len(found)} differences")
        for line in found[:20]:
            print("   ", line)
        failed |= bool(found)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
