"""What the map of a handheld meter's file may hold: how it is written and what its columns are.

::

    schema = "flightlog.meter/1"
    id = "pole-meter"
    instrument = "AM-1, checked 2027-01"   # as entries name it

    [file]                      # as in a column map; all may be left out: it is found
    delimiter = ";"
    decimal = ","
    missing = ["---"]           # cells that stand for "not measured"

    [time]                      # as in a column map
    columns = ["Date", "Time"]
    format = "date and time"    # or "unix seconds" and the like; "time of day" with its date
    order = "day-month-year"
    utc_offset_h = 1.0          # hours that its clock is ahead of UTC

    [columns.wind]              # the speed; the others may be left out and given by hand
    header = "Wind"
    unit = "km/h"
    [columns.gust]              # left out: the highest mean over gust_s of the speed
    [columns.wind_from]
    [columns.pressure]          # at the meter itself, not reduced to sea level
    [columns.temperature]
    [columns.humidity]

    [mean]
    seconds = 120               # the end of the file that is averaged
    gust_s = 3                  # a gust lasts so long
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from flightlog.errors import TeamFileError
from flightlog.team_files.checking import Slug, Table, Text, checked
from flightlog.team_files.column_map import FileSection, TimeSection, check_file, check_time
from flightlog.team_files.column_units import named_unit, spelled_unit, units_for
from flightlog.team_files.reading import near_miss, read_toml

KIND = "meter"
HOUSE = {
    "wind": "m/s",
    "gust": "m/s",
    "wind_from": "deg",
    "pressure": "Pa",
    "temperature": "K",
    "humidity": "%",
}
"""Name of a column -> unit in which it is computed with."""
_NO_DAY = ("seconds", "milliseconds", "microseconds", "gps week")


class MeterColumn(Table):
    """``[columns.NAME]``."""

    header: Annotated[str, Field(min_length=1, max_length=200)] = Field(
        description="the header of the column as the file has it, in quotes"
    )
    unit: Text = Field(description="the unit that the file's numbers are in")


class MeterColumns(Table):
    """``[columns]``."""

    wind: MeterColumn = Field(description="the table [columns.wind] with header and unit")
    gust: MeterColumn | None = None
    wind_from: MeterColumn | None = None
    pressure: MeterColumn | None = None
    temperature: MeterColumn | None = None
    humidity: MeterColumn | None = None

    def given(self) -> dict[str, MeterColumn]:
        """Give the columns that the file has, by name."""
        every = {name: getattr(self, name) for name in HOUSE}
        return {name: column for name, column in every.items() if column is not None}


class MeanSection(Table):
    """``[mean]``."""

    seconds: float = Field(
        default=120.0, ge=30, le=3600, description="seconds that are averaged, 30 to 3600"
    )
    gust_s: float = Field(default=3.0, ge=1, le=10, description="seconds of a gust, 1 to 10")


class MeterMap(Table):
    """The map of a meter's file."""

    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    instrument: Text = ""
    time: TimeSection = Field(description="the table [time] with columns and format")
    columns: MeterColumns = Field(description="the table [columns] with what it measures")
    file: FileSection = FileSection()
    mean: MeanSection = MeanSection()


def read_meter_map(path: Path) -> MeterMap:
    """Read the map of a meter's file.

    Raises
    ------
    TeamFileError
        Naming the table and key, or the line, what was found there, and what to do.
    """
    table, _ = read_toml(path, KIND)
    made = checked(MeterMap, table, str(path))
    check_file(made.file, f"{path}: [file]")
    check_time(made.time, f"{path}: [time]")
    undated = made.time.format == "time of day" and made.time.date is None
    if made.time.format in _NO_DAY or undated:
        raise TeamFileError(
            f"is {made.time.format!r}, which does not tell the day",
            where=f"{path}: [time] format",
            fix='Weather has to be dated: "date and time", "unix seconds", or "time of day" with '
            "date.",
        )
    for name, column in made.columns.given().items():
        _check_unit(name, column.unit, str(path))
    return made


def _check_unit(name: str, unit: str, path: str) -> None:
    house = HOUSE[name]
    if named_unit(unit, house) is not None:
        return
    units = [u.name for u in units_for(house)]
    other = spelled_unit(unit, house)
    hint = f"Write {other.name!r}." if other else near_miss(unit, units)
    raise TeamFileError(
        f"is {unit[:40]!r}, which is no unit of it",
        where=f"{path}: [columns.{name}] unit",
        fix=hint or f"Units that fit: {', '.join(units)}.",
    )
