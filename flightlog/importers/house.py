"""The last steps of every importer: tables of the house's dictionary, and which sensor is used."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flightlog.columns import TABLES
from flightlog.importers.common import BoolArray, FloatArray, Notes, distinct

if TYPE_CHECKING:
    import pandas as pd

CONSTANT_ROWS = 10
"""So many rows of one value are a sensor that is not there rather than a coincidence."""


def house_table(
    name: str, columns: Mapping[str, npt.NDArray[Any]], notes: Notes | None = None
) -> pd.DataFrame:
    """Make a table with every column of the dictionary, in its order.

    Parameters
    ----------
    name : str
        Table in `flightlog.columns.TABLES`.
    columns : mapping of str to array
        ``time_s`` among them. What is not given is filled with NaN, ``instance`` with 0 and
        texts with "". Rows come out in the order of time.
    notes : Notes, optional
        Where values outside a column's range are told; they become missing. Without it the
        values stay as they are.
    """
    import pandas as pd

    time_s = np.asarray(columns["time_s"], dtype=np.float64)
    rows = len(time_s)
    given = dict(columns)
    if notes is not None:
        leave_out_impossible(name, given, notes)
    order = None
    if rows > 1 and (np.diff(time_s) < 0).any():
        order = np.argsort(time_s, kind="stable")
    data: dict[str, Any] = {}
    for column in TABLES[name]:
        values = given.get(column.name)
        if values is None:
            values = _filler(column.name, column.text, rows)
        values = values if order is None else values[order]
        # Objects stay objects: left to itself pandas 3 makes texts of a column of None.
        as_is = values.dtype != object
        data[column.name] = values if as_is else pd.Series(values, dtype=object)
    return pd.DataFrame(data, copy=False)


def _filler(name: str, text: bool, rows: int) -> npt.NDArray[Any]:
    if name == "instance":
        return np.zeros(rows, dtype=np.int64)
    if text:
        return np.full(rows, "", dtype=object)
    if name == "cell_voltages":
        return np.full(rows, None, dtype=object)
    return np.full(rows, np.nan)


def leave_out_impossible(name: str, columns: dict[str, npt.NDArray[Any]], notes: Notes) -> None:
    """Set values outside their column's range to NaN, in place of the mapping; tell it.

    The evidence holds their number, and the least, middle and greatest of them, from which the
    screening recognises a column in another unit.
    """
    counts: dict[str, int] = {}
    first: dict[str, float] = {}
    evidence: dict[str, float | int | str] = {}
    for column in TABLES[name]:
        values = columns.get(column.name)
        if values is None or values.dtype.kind != "f" or column.low is None or column.high is None:
            continue
        low, high = np.nanmin(values, initial=np.inf), np.nanmax(values, initial=-np.inf)
        if low >= column.low and high <= column.high:
            continue
        with np.errstate(invalid="ignore"):
            bad = (values < column.low) | (values > column.high)
        if not bad.any():  # nothing but NaN
            continue
        counts[column.name] = int(bad.sum())
        first[column.name] = float(values[bad][0])
        evidence[f"{name}.{column.name}"] = counts[column.name]
        finite = values[bad & np.isfinite(values)]
        if finite.size:
            spread = zip(
                ("least", "middle", "greatest"),
                np.quantile(finite, [0, 0.5, 1], method="inverted_cdf"),
                strict=True,
            )
            evidence |= {f"{name}.{column.name}.{word}": float(v) for word, v in spread}
        columns[column.name] = np.where(bad, np.nan, values)
    if counts:
        which = ", ".join(
            f"{n} {column} (first {first[column]:.6g})" for column, n in counts.items()
        )
        notes.find(
            "values-out-of-range",
            f"The table {name} held values that can't be measurements: {which}.",
            evidence=evidence,
        )


def healthiest(instance: npt.NDArray[Any], good: npt.NDArray[np.bool_]) -> int | None:
    """Choose the lowest instance that has nearly the most good rows.

    Returns
    -------
    int or None
        The lowest instance with at least 90 % of the good rows of the best; None when there
        is only one.
    """
    every = distinct(instance)
    if len(every) < 2:
        return None
    counts = np.array([int(np.count_nonzero(good & (instance == one))) for one in every])
    return int(every[int(np.flatnonzero(counts >= 0.9 * counts.max())[0])])


def choose_instances(tables: Mapping[str, pd.DataFrame]) -> dict[str, int]:
    """Choose the sensor that analyses use, for tables that hold several."""
    chosen: dict[str, int] = {}
    for name, table in tables.items():
        if "instance" not in table:
            continue
        instance = table["instance"].to_numpy()
        if len(distinct(instance)) < 2:
            continue
        if name == "rotation":
            # The propeller's, not an idle channel's.
            speed = np.nan_to_num(table["speed_rad_s"].to_numpy())
            chosen[name] = int(instance[np.argmax(speed)])
            continue
        best = healthiest(instance, _good_rows(name, table))
        if best is not None:
            chosen[name] = best
    return chosen


def _good_rows(name: str, table: pd.DataFrame) -> BoolArray:
    """Rows in which a sensor gave what it is there for."""
    if name == "gps":
        fixed = table["fix"].to_numpy() >= 3
        return np.asarray(fixed & np.isfinite(table["latitude_deg"].to_numpy()), dtype=bool)
    key = {
        "battery": "current_a" if table.get("current_a") is not None else "voltage_v",
        "baro": "pressure_pa",
        "airspeed": "airspeed_m_s",
        "imu": "accel_x_m_s2",
    }[name]
    if name == "battery" and not np.isfinite(table[key].to_numpy()).any():
        key = "voltage_v"
    if name == "imu":
        gyro = np.isfinite(table["gyro_x_rad_s"].to_numpy())
        return np.asarray(gyro & np.isfinite(table[key].to_numpy()), dtype=bool)
    return np.asarray(np.isfinite(table[key].to_numpy()), dtype=bool)


def is_stuck(values: FloatArray, *at: float) -> bool:
    """Whether a channel stands at one of some values throughout."""
    return len(values) >= CONSTANT_ROWS and any(
        bool((np.abs(values - value) < 1e-9).all()) for value in at
    )
