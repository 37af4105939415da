"""The data beside the DataFlash importer, and numbers out of messages by it.

`dataflash.toml` says which field of which message feeds which column, in which unit. A unit
that the file itself states goes before the one in the data, if it is of the same kind.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
import numpy.typing as npt

from flightlog.importers.common import FloatArray
from flightlog.importers.dataflash_formats import Messages

IntArray = npt.NDArray[np.int64]


@cache
def mapping() -> Mapping[str, Any]:
    """Read the mapping data."""
    text = files("flightlog.importers").joinpath("dataflash.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def is_number(table: Messages, field: str) -> bool:
    """Whether the message has the field and it holds one number a row."""
    return field in table.columns and table.format.field(field).char not in "anNZ"


def field_of(table: Messages, spec: Mapping[str, Any]) -> str | None:
    """Give the field that a column of the mapping names; None when the message lacks it."""
    wanted = spec["field"] if isinstance(spec["field"], list) else [spec["field"]]
    return next((f for f in wanted if is_number(table, f)), None)


def unit_of(table: Messages, field: str, spec: Mapping[str, Any]) -> tuple[str, str]:
    """Unit that a field is taken to be in, and what told it."""
    units = mapping()["units"]
    assumed = _assumed(table, field, spec)
    stated = table.units.get(field, "")
    if _says_more(units.get(stated), units[assumed]):
        multiplier = table.multipliers.get(field, 1.0)
        scaled = f" x {multiplier:g}" if multiplier != 1.0 else ""
        return f"{stated}{scaled}", "the log's own table of units"
    return assumed.replace("place", "deg"), "the description of the format"


def _assumed(table: Messages, field: str, spec: Mapping[str, Any]) -> str:
    integer = table.format.field(field).is_integer
    return str(spec.get("integer_unit", spec["unit"]) if integer else spec["unit"])


def _says_more(stated: Sequence[Any] | None, assumed: Sequence[Any]) -> bool:
    """Whether a unit that the file states is known and of the kind that is assumed."""
    return bool(stated and stated[0] and stated[0] == assumed[0])


def numbers(table: Messages, spec: Mapping[str, Any]) -> FloatArray | None:
    """Values of a field in SI units; None when the message lacks it.

    Parameters
    ----------
    table : Messages
        Rows of one message type.
    spec : mapping
        ``field``, ``unit`` and perhaps ``integer_unit``, ``sign`` and ``missing``, as in the
        data file.
    """
    field = field_of(table, spec)
    if field is None:
        return None
    factor, offset = _scale(table, field, spec)
    values = table[field].astype(np.float64, copy=False)
    if factor != 1.0:
        # Dividing by the inverse keeps round decimals round (1e-6, 0.01).
        inverse = round(1.0 / factor)
        exact = inverse > 1 and inverse * factor == 1.0
        # Nonsense becomes infinite or NaN, and then missing; a signalling NaN warns.
        with np.errstate(over="ignore", invalid="ignore"):
            values = values / inverse if exact else values * factor
    if offset:
        values = values + offset
    for sentinel in spec.get("missing", ()):
        values = np.where(values == sentinel, np.nan, values)
    return -values if spec.get("sign") == -1 else values


def _scale(table: Messages, field: str, spec: Mapping[str, Any]) -> tuple[float, float]:
    """Factor and offset to SI for a field."""
    units = mapping()["units"]
    assumed = units[_assumed(table, field, spec)]
    stated = units.get(table.units.get(field, ""))
    if _says_more(stated, assumed):
        multiplier = table.multipliers.get(field, 1.0)
        if np.isfinite(multiplier) and multiplier > 0:
            return float(stated[1] * multiplier), float(stated[2])
    return float(assumed[1]), float(assumed[2])


def boot_clock(table: Messages) -> FloatArray | None:
    """Boot clock of each row [s]; None when the message carries none."""
    clock = mapping()["clock"]
    for spec in clock["of"].get(table.format.name, clock["fields"]):
        # The mapping's unit stands: what the file states for its clock is the same, rounded.
        field = spec["field"]
        if is_number(table, field):
            per_s = 1e6 if spec["unit"] == "us" else 1e3
            seconds: FloatArray = np.divide(table[field], per_s, dtype=np.float64)
            return seconds
    return None


def instances(table: Messages, base: int = 0) -> IntArray:
    """Which sensor each row belongs to, from 0."""
    for field in mapping()["instances"]["fields"]:
        if field in table.columns and table.format.field(field).is_integer:
            return table[field].astype(np.int64) + base
    return np.full(len(table), base, dtype=np.int64)
