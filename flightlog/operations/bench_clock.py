"""Times of a bench file that are written as on a clock: 10:14:59, 2:05.5, or with the date.

Numbers need a unit; these do not. Times of day go on over midnight.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from flightlog.groundtests.bench_table import FloatArray
from flightlog.importers.common import Notes
from flightlog.importers.delimited_numbers import BLANK, Unreadable
from flightlog.importers.delimited_times import over_midnight, read_moments
from flightlog.importers.row_clock import spread_seconds

TIME_OF_DAY, MINUTES = "time of day", "mm:ss"
"""How the cells of a clock are read, beside units of numbers."""

_SPELLED = {
    TIME_OF_DAY: (TIME_OF_DAY, "hh:mm:ss", "h:m:s", "hh:mm", "h:mm", "date and time"),
    MINUTES: (MINUTES, "m:ss", "min:s", "min:sec"),
}
_TWO = re.compile(r"\s*\d{1,4}:\d{2}\s*")
_TWO_EXACT = re.compile(r"\s*\d{1,4}:\d{2}[.,]\d{1,9}\s*")
_ELAPSED = re.compile(r"\s*(?:(\d{1,4}):)?(\d{1,4}):(\d{2}(?:[.,]\d{1,9})?)\s*")
_LAST_HOUR = 23


def is_clock(cells: Sequence[str]) -> bool:
    """Whether most cells are written as a clock shows them."""
    filled = [cell for cell in cells if cell.strip().casefold() not in BLANK]
    return bool(filled) and 2 * sum(":" in cell for cell in filled) > len(filled)


def spelled_clock(text: str) -> str:
    """Give what a unit says of a clock: `TIME_OF_DAY`, `MINUTES`, or "" for neither."""
    folded = " ".join(text.casefold().split())
    return next((how for how, words in _SPELLED.items() if folded.startswith(words)), "")


def clock_of(cells: Sequence[str], said: str) -> str:
    """Say how cells are to be read.

    Parameters
    ----------
    cells : sequence of str
        Some of them.
    said : str
        What header or bench file say beside it.

    Returns
    -------
    str
        `TIME_OF_DAY` or `MINUTES`; "" where 12:34 may be either, or the cells are no clock's.
    """
    if not is_clock(cells):
        return ""
    if said:
        return spelled_clock(said)
    filled = [cell for cell in cells if cell.strip()]
    if 2 * sum(bool(_TWO_EXACT.fullmatch(cell)) for cell in filled) > len(filled):
        return MINUTES
    return "" if 2 * sum(bool(_TWO.fullmatch(cell)) for cell in filled) > len(filled) else (
        TIME_OF_DAY
    )  # fmt: skip


def clock_seconds(
    cells: Sequence[str], how: str, lines: NDArray[np.int64]
) -> tuple[FloatArray, Unreadable, int]:
    """Read a column of a clock.

    Parameters
    ----------
    cells : sequence of str
        One a row.
    how : str
        `TIME_OF_DAY` or `MINUTES`.
    lines : array of int
        Line of each row.

    Returns
    -------
    seconds : array
        Since the first row, for `MINUTES` since zero; NaN where a cell is blank or no time. [s]
    bad : Unreadable
        Cells that are no time.
    shared : int
        Rows to a second, where the clock shows whole seconds only and they were spread; else 0.
    """
    plain = _plain(cells) if how == TIME_OF_DAY else None
    if plain is not None:
        seconds, bad = plain - plain[0], Unreadable(filled=plain.size)
    elif how == MINUTES or _beyond_a_day(cells):
        seconds, bad = _elapsed(cells, lines)
    else:
        moments = read_moments(cells)
        seconds = moments.stamp_s
        good = seconds[np.isfinite(seconds)]
        if good.size:
            seconds = seconds - good[0]
        bad = Unreadable(moments.unreadable, int(good.size) + moments.unreadable)
        if moments.unreadable:
            bad.line, bad.text = int(lines[moments.row]), moments.text
    seconds, shared = _spread(seconds)
    return seconds, bad, shared


def _plain(cells: Sequence[str]) -> FloatArray | None:
    """Read many cells that are all as long as 10:14:59 or 10:14:59.250 at once; else None."""
    length = len(cells[0]) if cells else 0
    whole = "".join(cells)
    if length < len("10:14:59") or len(whole) != length * len(cells) or not whole.isascii():
        return None
    if any(len(cell) != length for cell in cells):
        return None
    signs = np.frombuffer(whole.encode("ascii"), np.uint8).reshape(len(cells), length)
    digits = signs - np.uint8(ord("0"))  # what stands below it turns over, to far above 9
    marks = [2, 5, *([8] if length > len("10:14:59") else [])]
    numbers = np.delete(digits, marks, axis=1)
    apart = (signs[:, [2, 5]] == ord(":")).all() and np.isin(signs[:, marks[2:]], (44, 46)).all()
    if not apart or (numbers > 9).any():
        return None
    hours, minutes, seconds = (10.0 * digits[:, k] + digits[:, k + 1] for k in (0, 3, 6))
    if (hours > _LAST_HOUR).any() or (minutes > 59).any() or (seconds > 59).any():
        return None
    for k in range(9, length):
        seconds += digits[:, k] * 10.0 ** (8 - k)
    return over_midnight(3600 * hours + 60 * minutes + seconds)


def _beyond_a_day(cells: Iterable[str]) -> bool:
    """Whether hours go on beyond those of a day: the time since the start."""
    return any(
        (m := _ELAPSED.fullmatch(cell)) is not None and m[1] and int(m[1]) > _LAST_HOUR
        for cell in cells
    )


def _elapsed(cells: Sequence[str], lines: NDArray[np.int64]) -> tuple[FloatArray, Unreadable]:
    out = np.full(len(cells), np.nan)
    bad = Unreadable()
    for row, cell in enumerate(cells):
        if cell.strip().casefold() in BLANK:
            continue
        bad.filled += 1
        match = _ELAPSED.fullmatch(cell)
        if match is None:
            bad.count += 1
            if bad.count == 1:
                bad.line, bad.text = int(lines[row]), cell
            continue
        hours, minutes, seconds = int(match[1] or 0), int(match[2]), match[3].replace(",", ".")
        out[row] = 3600.0 * hours + 60.0 * minutes + float(seconds)
    return out, bad


def _spread(seconds: FloatArray) -> tuple[FloatArray, int]:
    good = np.isfinite(seconds)
    out, whole = spread_seconds(seconds, good, Notes(), "rows")
    count = np.unique(seconds[good]).size
    return out, round(good.sum() / count) if whole and count else 0
