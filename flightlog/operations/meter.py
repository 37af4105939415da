"""A handheld meter's file, read through a map that says what its columns are.

The end of the file counts: mean and gust of the last minutes, and the air in them. How the map is
written stands in `flightlog.team_files.meter_map`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from flightlog.constants import ZERO_CELSIUS_K
from flightlog.errors import LogFileError
from flightlog.operations.stated_columns import numbers_at, opened, place_of, unlike
from flightlog.team_files.meter_map import HOUSE, MeterColumn, MeterMap, read_meter_map

if TYPE_CHECKING:
    from flightlog.importers.delimited_file import TextFile

FloatArray = npt.NDArray[np.float64]

LARGEST_BYTES = 20_000_000
"""No meter writes a larger file [bytes]."""
LEAST_S = 30.0
"""Wind over less than this is no mean [s]."""
LEAST_SHARE = 0.5
"""So much of the rows that are averaged has to hold the wind."""
_FACTORS = {"unix seconds": 1.0, "unix milliseconds": 1e3, "unix microseconds": 1e6}
_LAST_UNIX_S = 4e9
_DAY_S = 86400.0
_EPOCH = date(1970, 1, 1).toordinal()


@dataclass(frozen=True, slots=True)
class Reading:
    """What a meter's file says at its end.

    Attributes
    ----------
    at : datetime
        Of the last row with wind, UTC.
    numbers : dict
        Keys and digits as `flightlog.operations.weather.weather_draft` takes them, as far as the
        file has them.
    rows : int
        Rows that were averaged.
    instrument : str
        As the map names it.
    """

    at: datetime
    numbers: dict[str, str]
    rows: int
    instrument: str


def check_meter_map(path: Path) -> str:
    """Check a map and give its id.

    Raises
    ------
    TeamFileError
        If it is at fault.
    """
    return read_meter_map(path).id


def read_meter(path: Path, map_path: Path) -> Reading:
    """Read a meter's file: wind and air over its last minutes.

    The mean is that of the speeds, the direction that of the mean wind vector. The gust is the
    greatest value of the column for it; without one, the highest mean over ``gust_s`` where the
    meter wrote that often, else the highest value. Mean and gust are rounded up to 0.01 m/s.

    Parameters
    ----------
    path : Path
        What the meter wrote.
    map_path : Path
        Its map.

    Raises
    ------
    TeamFileError
        If the map is at fault.
    LogFileError
        If the file can't be read, is not what the map says, or holds no wind to average.
    """
    made = read_meter_map(map_path)
    file = opened(path, made.file, LARGEST_BYTES, "a meter's file")
    if not len(file.table):
        raise _unlike(path, "holds no row")
    stamps = _stamps(file, made)
    columns = {
        name: _column(file, made, name, column) for name, column in made.columns.given().items()
    }
    there = np.isfinite(stamps) & np.isfinite(columns["wind"])
    if not there.any():
        raise _unlike(path, "holds no row with a time and a wind")
    last = float(stamps[there].max())
    recent = (stamps > last - made.mean.seconds) & (stamps <= last)
    _check_enough(stamps[recent], there[recent], path)
    good = recent & there
    numbers = _wind(stamps[good], {n: v[good] for n, v in columns.items()}, made.mean.gust_s)
    numbers["averaged"] = f"{np.ptp(stamps[good]):.0f}"
    for name, digits, factor, offset in (
        ("pressure", 2, 0.01, 0.0),
        ("temperature", 2, 1.0, -ZERO_CELSIUS_K),
        ("humidity", 1, 1.0, 0.0),
    ):
        if name in columns and np.isfinite(columns[name][recent]).any():
            mean = float(np.nanmean(columns[name][recent])) * factor + offset
            numbers[name] = f"{mean:.{digits}f}"
    at = datetime.fromtimestamp(0, UTC) + timedelta(seconds=math.floor(last))
    return Reading(at, numbers, int(good.sum()), made.instrument or made.id)


def _check_enough(stamps: FloatArray, there: npt.NDArray[np.bool_], path: Path) -> None:
    spread = float(np.ptp(stamps[there]))
    if spread < LEAST_S:
        raise _unlike(
            path,
            f"holds {spread:.0f} s of wind at its end, and {LEAST_S:.0f} s are needed",
            "Let the meter record for two minutes.",
        )
    if there.mean() < LEAST_SHARE:
        raise _unlike(path, "lacks the wind in most of its last rows", "Look at the meter.")


def _wind(stamps: FloatArray, columns: dict[str, FloatArray], gust_s: float) -> dict[str, str]:
    """Give mean, gust and direction of the wind."""
    speed = columns["wind"]
    mean = float(speed.mean())
    gusts = columns.get("gust")
    if gusts is not None and np.isfinite(gusts).any():
        gust = float(np.nanmax(gusts))
    else:
        gust = _highest_mean(stamps, speed, gust_s)
    numbers = {"wind_mean": _rounded_up(mean), "wind_gust": _rounded_up(max(gust, mean))}
    if "wind_from" in columns and np.isfinite(columns["wind_from"]).any():
        numbers["wind_from"] = f"{_direction(speed, columns['wind_from']):.1f}"
    return numbers


def _rounded_up(speed: float) -> str:
    return f"{math.ceil(speed * 100 - 1e-6) / 100:.2f}"


def _highest_mean(stamps: FloatArray, speed: FloatArray, window_s: float) -> float:
    """Give the highest mean over a window, or the highest value where rows are further apart."""
    order = np.argsort(stamps, kind="stable")
    stamps, speed = stamps[order], speed[order]
    if len(stamps) < 2 or 2 * float(np.median(np.diff(stamps))) > window_s:
        return float(speed.max())
    sums = np.concatenate(([0.0], np.cumsum(speed)))
    first = np.searchsorted(stamps, stamps - window_s, side="right")
    last = np.arange(1, len(stamps) + 1)
    return float(((sums[last] - sums[first]) / (last - first)).max())


def _direction(speed: FloatArray, origin_deg: FloatArray) -> float:
    """Give where the mean wind comes from [deg]; of winds that cancel, where the strongest does."""
    known = np.isfinite(origin_deg)
    origin = np.radians(origin_deg[known])
    east, north = (speed[known] * np.sin(origin)).mean(), (speed[known] * np.cos(origin)).mean()
    if math.hypot(east, north) < 1e-9:
        return float(origin_deg[known][speed[known].argmax()]) % 360.0
    return round(math.degrees(math.atan2(east, north)) % 360.0, 1) % 360.0


# --- the file


def _unlike(path: Path, found: str, fix: str = "Check the map and the meter.") -> LogFileError:
    return unlike(path, found, fix)


def _stamps(file: TextFile, made: MeterMap) -> FloatArray:
    """Give the time of each row, in Unix seconds."""
    from flightlog.importers.delimited_times import joined, read_moments

    time, table = made.time, file.table
    places = [place_of(file, header) for header in time.columns]
    if time.format in _FACTORS:
        stamps = _numbers(file, made, places[0], time.columns[0], "s") / _FACTORS[time.format]
    else:
        cells = table.cells(places[0])
        if len(places) == 2:
            cells = joined(cells, table.cells(places[1]))
        moments = read_moments(cells, time.order)
        stamps = moments.stamp_s
        if time.date is not None and not moments.dated:
            stamps = stamps + (time.date.toordinal() - _EPOCH) * _DAY_S
        elif not moments.dated:
            raise _unlike(file.path, "has no dates in its column of times")
        if moments.unclear:
            raise _unlike(
                file.path,
                "has dates of which none tells whether the day or the month comes first",
                'Write order = "day-month-year", or the other one, under [time] in the map.',
            )
        if not moments.zoned and time.utc_offset_h is None:
            raise _unlike(
                file.path,
                "has times of a zone that is not known",
                "Write utc_offset_h under [time] in the map: 1 for an hour ahead of UTC.",
            )
        if not moments.zoned:
            stamps = stamps - 3600.0 * (time.utc_offset_h or 0.0)
    return np.where((stamps > 0) & (stamps < _LAST_UNIX_S), stamps, np.nan)


def _column(file: TextFile, made: MeterMap, name: str, column: MeterColumn) -> FloatArray:
    from flightlog.importers.delimited_tables import to_house
    from flightlog.team_files.column_units import named_unit

    unit = named_unit(column.unit, HOUSE[name])
    values = _numbers(file, made, place_of(file, column.header), column.header, HOUSE[name], name)
    return to_house(values, unit) if unit is not None else values


def _numbers(
    file: TextFile, made: MeterMap, at: int, header: str, house: str, name: str = ""
) -> FloatArray:
    """Read a column, and see that the units in the file are those of the map."""
    from flightlog.team_files.column_units import spelled_unit

    table = file.table
    values, bad = numbers_at(file, made.file, at, header, "the map")
    if name:
        written = {*bad.units, *table.dialect.units[at : at + 1]} - {""}
        unit = getattr(made.columns, name).unit
        for text in written:
            told = spelled_unit(text, house)
            if told is not None and told.name != unit:
                raise _unlike(
                    file.path,
                    f"has {header[:60]!r} in {told.name}, and the map says {unit}",
                    "Correct the unit in the map.",
                )
    return values
