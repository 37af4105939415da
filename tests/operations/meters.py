"""A handheld meter's file and its map, made for tests: rows a second, winds that are known."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from pathlib import Path

BEGIN = datetime(2027, 3, 15, 7, 55, 0)
"""By the meter's clock, an hour ahead of UTC."""

MAP = """\
schema = "flightlog.meter/1"
id = "pole-meter"
instrument = "AM-1"
[file]
missing = ["---", -99]
[time]
columns = ["Datum", "Zeit"]
format = "date and time"
utc_offset_h = 1.0
[columns.wind]
header = "Wind"
unit = "km/h"
[columns.wind_from]
header = "Richtung"
unit = "deg"
[columns.pressure]
header = "Druck"
unit = "hPa"
[columns.temperature]
header = "Luft"
unit = "degC"
[columns.humidity]
header = "Feuchte"
unit = "%"
"""
HEADER = "Datum;Zeit;Wind;Richtung;Druck;Luft;Feuchte"


def steady(second: int) -> float:
    """3.6 km/h are 1 m/s: 3 m/s, with a gust of 6 m/s for three seconds at the end."""
    return 21.6 if second in (220, 221, 222) else 10.8


def rows(
    speeds: Callable[[int], float] = steady, *, seconds: int = 240, step: int = 1
) -> Iterable[str]:
    for second in range(0, seconds, step):
        at = BEGIN + timedelta(seconds=second)
        speed = f"{speeds(second):.1f}".replace(".", ",")
        yield f"{at:%d.%m.%Y};{at:%H:%M:%S};{speed};70;1009,5;17,25;60"


def written(
    root: Path, lines: Iterable[str] | None = None, map_text: str = MAP
) -> tuple[Path, Path]:
    """Write a meter's file and its map."""
    file, map_file = root / "meter.csv", root / "pole-meter.toml"
    file.write_text("\n".join([HEADER, *(lines if lines is not None else rows())]), "utf-8")
    map_file.write_text(map_text, "utf-8")
    return file, map_file
