"""Print a binary DataFlash log as text, by another decoder, and compare two recordings."""

from __future__ import annotations

import array
import contextlib
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from flightlog.recording import Recording

SCALED = {"c": 2, "C": 2, "e": 2, "E": 2, "L": 7}
"""Characters of the format that are printed scaled -> decimals."""


def exactly(value: float) -> str:
    """As many digits as it takes to have the same double again."""
    return repr(value)


def six_decimals(value: float) -> str:
    """As autopilots print floats."""
    return f"{value:.6f}"


def text_of(path: Path, print_float: Callable[[float], str] = exactly) -> list[str]:
    """Lines of a binary log, as text logs hold them."""
    from pymavlink.DFReader import DFReader_binary

    lines = []
    with contextlib.redirect_stderr(io.StringIO()), contextlib.redirect_stdout(io.StringIO()):
        reader = DFReader_binary(str(path))
        while (message := reader.recv_msg()) is not None:
            chars = message.fmt.format
            cells = [
                _cell(getattr(message, name), char, print_float)
                for name, char in zip(message.get_fieldnames(), chars, strict=False)
            ]
            lines.append(", ".join([message.get_type(), *cells]))
        reader.filehandle.close()
    return lines


def _cell(value: Any, char: str, print_float: Callable[[float], str]) -> str:
    if char in SCALED:
        return f"{value:.{SCALED[char]}f}"
    if isinstance(value, array.array):
        return ", ".join(str(one) for one in value)
    if isinstance(value, bytes):
        return value.split(b"\0")[0].decode("latin-1").replace("\n", " ").replace("\r", " ")
    return print_float(value) if isinstance(value, float) else str(value)


def assert_same_tables(ours: Recording, theirs: Recording) -> None:
    """Every value of every table, and what the receipts count."""
    assert list(ours) == list(theirs)
    assert ours.receipt.rows == theirs.receipt.rows
    assert ours.receipt.message_counts == theirs.receipt.message_counts
    assert ours.receipt.chosen_instances == theirs.receipt.chosen_instances
    assert ours.receipt.utc == theirs.receipt.utc
    assert ours.receipt.firmware == theirs.receipt.firmware
    assert ours.receipt.columns == theirs.receipt.columns
    for name in theirs:
        pd.testing.assert_frame_equal(ours[name], theirs[name], check_exact=True, obj=name)
