"""A handheld meter's file, read through a map that says what its columns are.

The map is TOML with ``schema = "flightlog.meter/1"``::

    id
    utc_offset_min         what its clock is ahead of UTC [min], where its times name no zone
    date_order             "day first", "month first" or "year first", where dates are unclear
    [columns]
    time = "Timestamp"     the header of the column, as in the file
    wind = { header = "Wind", unit = "km/h" }
    wind_from, temperature, pressure, humidity in the same way
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field

from flightlog.errors import LogFileError, TeamFileError
from flightlog.importers.delimited_dialect import find_dialect
from flightlog.importers.delimited_reading import TextTable, read_table, unix_lines
from flightlog.importers.delimited_times import read_moments
from flightlog.importers.text import decode
from flightlog.team_files.checking import Slug, Table, Text, checked
from flightlog.team_files.reading import near_miss, read_toml

FloatArray = npt.NDArray[np.float64]

LARGEST_BYTES = 20_000_000
"""No meter writes a larger file [bytes]."""
MEAN_S = 120.0
"""Wind is averaged over the last two minutes of the file [s]."""
LEAST_S = 30.0
"""Less than this is no mean [s]."""

# Factor and offset to the unit of the record.
_UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "wind": {
        "m/s": (1.0, 0.0),
        "km/h": (1 / 3.6, 0.0),
        "kt": (1852 / 3600, 0.0),
        "mph": (0.44704, 0.0),
    },
    "wind_from": {"deg": (1.0, 0.0)},
    "temperature": {"°C": (1.0, 0.0), "°F": (5 / 9, -160 / 9), "K": (1.0, -273.15)},
    "pressure": {"hPa": (1.0, 0.0), "Pa": (0.01, 0.0), "inHg": (33.863886666667, 0.0)},
    "humidity": {"%": (1.0, 0.0), "1": (100.0, 0.0)},
}


class _Column(Table):
    header: Text = Field(description="the header of the column, as in the file")
    unit: Text = Field(description="the unit of the column")


class _Columns(Table):
    time: Text = Field(description="the header of the column of times")
    wind: _Column
    wind_from: _Column
    temperature: _Column
    pressure: _Column
    humidity: _Column


class _MapFile(Table):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    utc_offset_min: float | None = Field(
        default=None, ge=-840, le=840, description="minutes that its clock is ahead of UTC"
    )
    date_order: Literal["day first", "month first", "year first"] | None = None
    columns: _Columns


@dataclass(frozen=True, slots=True)
class Reading:
    """What a meter's file says at its end.

    Attributes
    ----------
    at : datetime
        Of the last row, UTC.
    numbers : dict
        Keys and digits as `flightlog.operations.weather.weather_draft` takes them.
    rows : int
        Rows that were averaged.
    """

    at: datetime
    numbers: dict[str, str]
    rows: int


def check_meter_map(path: Path) -> str:
    """Check a map and give its id.

    Raises
    ------
    TeamFileError
        If it is at fault.
    """
    return _map(path).id


def _map(path: Path) -> _MapFile:
    table, _ = read_toml(path, "meter")
    file = checked(_MapFile, table, str(path))
    for name, units in _UNITS.items():
        unit = getattr(file.columns, name).unit
        if unit not in units:
            raise TeamFileError(
                f"{unit[:40]!r} is no unit of it",
                where=f"{path}: [columns] {name}",
                fix=near_miss(unit, list(units)) or f"One of {', '.join(units)}.",
            )
    return file


def read_meter(path: Path, map_path: Path) -> Reading:
    """Read a meter's file: mean and greatest wind of its last two minutes, air at its end.

    The mean direction is that of the mean wind vector.

    Raises
    ------
    TeamFileError
        If the map is at fault.
    LogFileError
        If the file is, or holds no two minutes of wind.
    """
    file = _map(map_path)
    table = _table(path)
    stamps = _stamps(table, file, path)
    last = float(np.nanmax(stamps))
    recent = stamps > last - MEAN_S
    columns = {name: _column(table, name, getattr(file.columns, name), path) for name in _UNITS}
    wind, origin = columns["wind"][recent], np.radians(columns["wind_from"][recent])
    good = np.isfinite(wind) & np.isfinite(origin)
    spread = float(np.ptp(stamps[recent][good])) if good.any() else 0.0
    if spread < LEAST_S:
        raise LogFileError(
            f"holds {spread:.0f} s of wind at its end, and {LEAST_S:.0f} s are needed",
            where=str(path),
            fix="Let the meter record for two minutes.",
        )
    east, north = (wind * np.sin(origin))[good].mean(), (wind * np.cos(origin))[good].mean()
    numbers = {
        "wind_mean": f"{wind[good].mean():.2f}",
        "wind_gust": f"{wind[good].max():.2f}",
        "wind_from": f"{math.degrees(math.atan2(east, north)) % 360:.1f}",
        "averaged": f"{spread:.0f}",
    }
    for name, digits in (("pressure", 1), ("temperature", 1), ("humidity", 0)):
        values = columns[name][recent]
        if not np.isfinite(values).any():
            raise LogFileError(
                f"has no {name} at its end", where=str(path), fix="Check the map and the meter."
            )
        numbers[name] = f"{np.nanmean(values):.{digits}f}"
    at = datetime.fromtimestamp(0, UTC) + timedelta(seconds=round(last))
    return Reading(at, numbers, int(good.sum()))


def _table(path: Path) -> TextTable:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise LogFileError(
                f"is larger than {LARGEST_BYTES} bytes", where=str(path), fix="Name the right file."
            )
        content = path.read_bytes()
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or str(error)
        raise LogFileError(f"can't be read ({said})", where=str(path), fix="Check it.") from error
    decoded = decode(content)
    decoded = type(decoded)(unix_lines(decoded.text), decoded.encoding, decoded.damaged)
    dialect = find_dialect(decoded.text)
    if dialect is None or not dialect.header_line:
        raise LogFileError("is no table with a header", where=str(path), fix="Name another file.")
    return read_table(decoded, dialect)


def _cells(table: TextTable, header: str, path: Path) -> list[str]:
    if header not in table.header:
        known = [h for h in table.header if h]
        raise LogFileError(
            f"has no column {header[:60]!r}",
            where=str(path),
            fix=near_miss(header, known) or f"It has: {', '.join(known[:12])}.",
        )
    return table.cells(table.header.index(header))


def _stamps(table: TextTable, file: _MapFile, path: Path) -> FloatArray:
    moments = read_moments(_cells(table, file.columns.time, path))
    if not moments.dated or not np.isfinite(moments.stamp_s).any():
        raise LogFileError(
            "has no dates in its column of times", where=str(path), fix="Let the meter write them."
        )
    if moments.zoned:
        return moments.stamp_s
    if file.utc_offset_min is None:
        raise LogFileError(
            "writes times of a zone that is not known",
            where=str(path),
            fix="Give utc_offset_min in the map: 60 for one hour ahead of UTC.",
        )
    return moments.stamp_s - 60.0 * file.utc_offset_min


def _column(table: TextTable, name: str, column: _Column, path: Path) -> FloatArray:
    factor, offset = _UNITS[name][column.unit]
    values = [_number(cell) for cell in _cells(table, column.header, path)]
    return np.array(values) * factor + offset


def _number(cell: str) -> float:
    text = cell.strip()
    if "," in text and "." not in text:
        text = text.replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan
