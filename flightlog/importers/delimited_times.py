"""Cells with dates and times of day to seconds.

    2027-03-02 10:14:59.200    2027-03-02T10:14:59Z    02.03.2027;10:14:59,2
    3/2/27 9:14:59 PM          101459                  02-Mar-2027

The order of day and month is told by a number above 12, or by points between them: 3.4.2027 is
the third of April wherever dates are written so. Else it is unclear: the clock runs, but no date
is given. Times without a date go on over midnight.

Not seen: the change to summer time, and a twelve-hour clock that writes no AM or PM.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Literal, get_args

import numpy as np

from flightlog.importers.common import FloatArray, Notes
from flightlog.importers.delimited_numbers import BLANK
from flightlog.importers.delimited_reading import IntArray

Order = Literal["year-month-day", "day-month-year", "month-day-year"]
ORDERS: tuple[Order, ...] = get_args(Order)

DAY_S = 86400.0
_EPOCH = date(1970, 1, 1).toordinal()
_PLACES: dict[Order, tuple[int, int, int]] = {
    "year-month-day": (0, 1, 2),
    "day-month-year": (2, 1, 0),
    "month-day-year": (2, 0, 1),
}
_MONTHS = "jan feb mar apr may jun jul aug sep oct nov dec".split()
_MOMENT = re.compile(
    r"\s*(?:(?P<date>\d{1,4}[-/. ](?:\d{1,2}|[A-Za-z]{3,9})[-/. ]\d{1,4}|\d{8})[T,;\s]*)?"
    r"(?:(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2}(?:[.,]\d{1,9})?))?"
    r"|(?P<run>\d{6}(?:[.,]\d{1,9})?))?"
    r"\s*(?P<half>[AaPp]\.?[Mm]\.?)?\s*(?P<zone>Z|z|UTC|GMT|[+-]\d{2}:?\d{2})?\s*"
)
_PARTS = re.compile(r"(\d{1,4})([-/. ])(\d{1,2}|[A-Za-z]{3,9})[-/. ](\d{1,4})")
_IN_NAME = re.compile(r"(?<!\d)(20\d\d)[-_.]?(0[1-9]|1[0-2])[-_.]?(0[1-9]|[12]\d|3[01])(?!\d)")

Triple = tuple[int, int, int, str]
"""The three numbers of a date as they stand, and `_YEAR` or what stands between them."""

_YEAR = "year"
"""The first number of a date has four digits."""


@dataclass(frozen=True, slots=True)
class Moments:
    """Stamps of the rows.

    Attributes
    ----------
    stamp_s : array
        Unix seconds, UTC where ``zoned`` and else of some place; seconds of the day without a
        date, going on over midnight; NaN where a row has none. [s]
    dated : bool
        Whether the cells hold dates.
    zoned : bool
        Whether they hold the zone.
    order : str
        Order in which the dates were read, "" without.
    unclear : bool
        Whether the dates could be read in another order too.
    unreadable : int
        Cells that are no time.
    row, text : int, str
        The first of them.
    """

    stamp_s: FloatArray
    dated: bool
    zoned: bool
    order: str = ""
    unclear: bool = False
    unreadable: int = 0
    row: int = -1
    text: str = ""


@dataclass(frozen=True, slots=True)
class _Parsed:
    day: Triple | None
    second: float | None
    zone_s: float | None


def read_moments(cells: Sequence[str], order: Order | None = None) -> Moments:
    """Read one cell a row that holds date and time, or either.

    Parameters
    ----------
    cells : sequence of str
        One a row; join date and time with a space where they stand in two columns.
    order : str, optional
        What the user says of the order of dates.
    """
    days: dict[Triple, int] = {}
    seconds = np.empty(len(cells))
    day_of = np.full(len(cells), -1, dtype=np.int64)
    zone = np.full(len(cells), np.nan)
    unreadable, first, text = 0, -1, ""
    for row, cell in enumerate(cells):
        parsed = _parsed(cell)
        if parsed is None or (parsed.second is None and parsed.day is None):
            seconds[row] = math.nan
            if cell.strip().casefold() not in BLANK:
                unreadable += 1
                if first < 0:
                    first, text = row, cell
            continue
        seconds[row] = 0.0 if parsed.second is None else parsed.second
        if parsed.zone_s is not None:
            zone[row] = parsed.zone_s
        if parsed.day is not None:
            day_of[row] = days.setdefault(parsed.day, len(days))
    good = np.isfinite(seconds)
    dated = bool((day_of[good] >= 0).mean() > 0.5) if good.any() else False
    if not dated:
        return Moments(over_midnight(seconds), False, False, "", False, unreadable, first, text)
    counts = np.bincount(day_of[day_of >= 0], minlength=len(days))
    chosen, unclear = find_order(dict(zip(days, counts.tolist(), strict=True)), order)
    number = np.array([*(_day(d, chosen) for d in days), np.nan])
    stamps = seconds + DAY_S * number[day_of]
    zoned = bool(np.isfinite(zone[good]).mean() > 0.5)
    if zoned:
        stamps = stamps - zone
    return Moments(stamps, True, zoned, chosen, unclear, unreadable, first, text)


def _parsed(cell: str) -> _Parsed | None:
    match = _MOMENT.fullmatch(cell) if len(cell) < 60 else None
    if match is None:
        return None
    day = _triple(match["date"]) if match["date"] else None
    if match["date"] and day is None:
        return None
    second = _second(match)
    if second is None and (match["h"] or match["run"]):
        return None
    return _Parsed(day, second, _zone(match["zone"]))


def _second(match: re.Match[str]) -> float | None:
    """Second of the day; None where no time is, or none that a clock shows."""
    if match["h"]:
        hour, minute = int(match["h"]), int(match["m"])
        second = float((match["s"] or "0").replace(",", "."))
    elif match["run"]:
        run = match["run"].replace(",", ".")
        hour, minute, second = int(run[:2]), int(run[2:4]), float(run[4:])
    else:
        return None
    if match["half"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if match["half"][0] in "pP" else 0)
    if hour > 23 or minute > 59 or second >= 61:
        return None
    return hour * 3600.0 + minute * 60.0 + second


def _zone(text: str | None) -> float | None:
    if not text:
        return None
    if text[0] not in "+-":
        return 0.0
    digits = text[1:].replace(":", "")
    seconds = int(digits[:2]) * 3600.0 + int(digits[2:]) * 60.0
    return seconds if text[0] == "+" else -seconds


@lru_cache(maxsize=1024)
def _triple(text: str) -> Triple | None:
    if len(text) == 8 and text.isdecimal():
        return int(text[:4]), int(text[4:6]), int(text[6:]), _YEAR
    match = _PARTS.fullmatch(text)
    if match is None:
        return None
    first, between, middle, last = match.groups()
    kind = _YEAR if len(first) == 4 else between
    if middle.isdecimal():
        return int(first), int(middle), int(last), kind
    month = middle[:3].casefold()
    if month not in _MONTHS:
        return None
    # A month by name stands in the middle of either order; 99 marks that it can be no day.
    return int(first), 100 + _MONTHS.index(month) + 1, int(last), kind


def find_order(days: dict[Triple, int], given: Order | None = None) -> tuple[Order, bool]:
    """Find the order in which dates are written.

    Parameters
    ----------
    days : dict of triple to int
        The different dates and how often each stands there.
    given : str, optional
        What the user says.

    Returns
    -------
    order : str
        The order.
    unclear : bool
        Whether another one fits as well and gives other days.
    """
    if given is not None:
        return given, False
    if all(day[3] == _YEAR for day in days):
        return "year-month-day", False
    fits = {order: sum(n for d, n in days.items() if not math.isnan(_day(d, order)))
            for order in ORDERS}  # fmt: skip
    most = max(fits.values())
    best = [order for order in ORDERS if fits[order] == most]
    # Years of two digits in front are rare: only with hyphens, or where nothing else fits.
    if len(best) > 1 and not any(day[3] == "-" for day in days):
        best = [order for order in best if order != "year-month-day"]
    # Where dates are written with points, the day comes first.
    if all(day[3] == "." for day in days) and "day-month-year" in best:
        best = ["day-month-year"]
    preferred: tuple[Order, ...] = ("day-month-year", "month-day-year", "year-month-day")
    chosen = next(order for order in preferred if order in best)
    rivals = [order for order in best if order != chosen]
    unclear = any(_day(d, order) != _day(d, chosen) for order in rivals for d in days)
    return chosen, unclear


def _day(day: Triple, order: Order) -> float:
    """Days since 1970-01-01; NaN for what is no date in that order."""
    at_year, at_month, at_day = _PLACES[order]
    numbers: tuple[int, int, int] = day[:3]
    year, month, number = numbers[at_year], numbers[at_month], numbers[at_day]
    if (at_year == 2 and day[3] == _YEAR) or 100 <= year < 1000:
        return math.nan
    if month > 100:
        month -= 100
    if year < 100:
        year += 2000 if year < 80 else 1900
    try:
        return float(date(year, month, number).toordinal() - _EPOCH)
    except ValueError:
        return math.nan


def over_midnight(second_s: FloatArray) -> FloatArray:
    """Times of day that go on where they fall by more than half a day."""
    out = second_s.copy()
    good = np.isfinite(out)
    values = out[good]
    if len(values) > 1:
        falls = np.diff(values, prepend=values[0]) < -DAY_S / 2
        out[good] = values + DAY_S * np.cumsum(falls)
    return out


def date_in_name(name: str) -> float | None:
    """Unix seconds of the day that a file's name holds, as in ``pannier-2027-03-02.csv``."""
    match = _IN_NAME.search(name)
    if match is None:
        return None
    try:
        day = date(int(match[1]), int(match[2]), int(match[3]))
    except ValueError:
        return None
    return (day.toordinal() - _EPOCH) * DAY_S


def joined(dates: Iterable[str], times: Iterable[str]) -> list[str]:
    """Date and time of two columns as one cell a row."""
    return [f"{d} {t}" for d, t in zip(dates, times, strict=True)]


def tell_moments(moments: Moments, lines: IntArray, notes: Notes) -> None:
    """Say what can't be read and what is unclear of the stamps."""
    if moments.unreadable:
        line = int(lines[moments.row]) if moments.row < len(lines) else 0
        notes.find(
            "unreadable-cells",
            f"{moments.unreadable} cells of the time hold no time; the first is "
            f"{moments.text[:40]!r} in line {line}.",
            evidence={"cells": moments.unreadable, "line": line, "column": "time"},
        )
    if moments.unclear:
        notes.find(
            "date-order-unclear",
            "No date tells whether the day or the month comes first; times within the day are "
            f"right, and the date is not given (read as {moments.order} for the clock).",
            evidence={"order": moments.order},
        )
