"""The log's clock against UTC: leap seconds that arrive, and dates that can't be."""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from flightlog.constants import GPS_ERA_S, WEEK_S
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.series import column, robust_std

if TYPE_CHECKING:
    from flightlog.screening.context import LogView


@dataclass(frozen=True, slots=True)
class UtcStep:
    """A jump of the receiver's UTC against the log's clock."""

    time_s: float
    seconds: int
    rows_before: int
    rows_after: int


_SIDE = 10
_STEADY_S = 0.2
_MOST_LEAP_S = 18


def utc_steps(time_s: Array, utc_s: Array) -> list[UtcStep]:
    """Find jumps of UTC against a log's clock by whole seconds, 1 to 18.

    Parameters
    ----------
    time_s, utc_s : array
        Log clock and UTC of fixes, in the order of time, without a restart between. [s]

    Notes
    -----
    Both sides have to be steady to 0.2 s over ten fixes: a receiver's lateness is 0.1 to 0.3 s
    and constant to a few hundredths, so that a whole second can't be taken for it.
    """
    good = np.isfinite(time_s) & np.isfinite(utc_s)
    t, difference = time_s[good], (utc_s - time_s)[good]
    if len(t) < 2 * _SIDE:
        return []
    whole = np.round(difference - np.median(difference))
    starts = np.flatnonzero(np.diff(whole) != 0) + 1
    bounds = np.concatenate([[0], starts, [len(t)]])
    runs = [(int(a), int(z)) for a, z in pairwise(bounds.tolist())]
    runs = [(a, z) for a, z in runs if z - a >= _SIDE and robust_std(difference[a:z]) < _STEADY_S]
    found = []
    for (a, z), (b, y) in pairwise(runs):
        step = float(np.median(difference[b:y]) - np.median(difference[a:z]))
        if 0.5 < abs(step) < _MOST_LEAP_S + 0.5 and abs(step - round(step)) < _STEADY_S:
            found.append(UtcStep(float(t[b]), round(step), z - a, y - b))
    return found


def leap_seconds(view: LogView) -> Iterable[Finding]:
    """Find a receiver that corrected its leap seconds (`utc-leap-seconds`).

    Nothing but the stated UTC of the log's start depends on it, and that goes by the median of
    all fixes: the message says whether that one is before or after the jump.
    """
    gps = view.recording.one("gps")
    if gps is None:
        return
    t, utc = column(gps, "time_s"), column(gps, "time_utc")
    bounds = [-math.inf, *view.recording.receipt.seams, math.inf]
    offset = view.recording.receipt.utc.unix_offset_s
    for low, high in pairwise(bounds):
        rows = (t >= low) & (t < high)
        for step in utc_steps(t[rows], utc[rows]):
            yield _leap_finding(step, t, utc, offset)


def _leap_finding(step: UtcStep, time_s: Array, utc_s: Array, offset_s: float | None) -> Finding:
    after = time_s >= step.time_s
    settled = float(np.nanmedian((utc_s - time_s)[after]))
    wrong = offset_s is not None and abs(offset_s - settled) > 0.5
    said = (
        f"the stated UTC of the log is by the time before it, {abs(step.seconds)} s off"
        if wrong
        else "the stated UTC of the log is by the time after it"
    )
    return make_finding(
        "utc-leap-seconds",
        f"At {step.time_s:.1f} s the receiver's UTC jumps by {step.seconds:+d} s, as when the leap "
        f"seconds arrive; {said}.",
        evidence={
            "step_s": step.seconds,
            "at_s": step.time_s,
            "stated_off_s": -step.seconds if wrong else 0,
        },
    )


EARLIEST: Mapping[str, str] = {
    "dataflash": "2010-01-01",
    "dataflash-text": "2010-01-01",
    "mavlink-telemetry": "2009-01-01",
    "ulog": "2016-01-01",
    "transmitter": "2011-01-01",
    "igc": "1995-01-01",
    "gpx": "2001-01-01",
}
"""Format -> about when its first public description appeared: nothing was logged in it before.
For tracks the receivers' own first years count. [UTC]"""

_FUTURE_S = GPS_ERA_S / 2
"""A date so far ahead is nearer to another era than to today. A smaller lead may as well be the
fault of this computer, whose clock nobody checks in the field. [s]"""


def impossible_date(view: LogView, now_s: float | None = None) -> Iterable[Finding]:
    """Find a start date before the format, or an era after today (`gps-week-rollover`).

    Nothing is corrected: which era is meant can't be known without the date of the flight.

    Parameters
    ----------
    view : LogView
        The recording.
    now_s : float, optional
        Unix seconds of now; the computer's clock when not given. [s]
    """
    receipt = view.recording.receipt
    offset = receipt.utc.offset_s
    if offset is None or any(f.code == "gps-week-rollover" for f in view.recording.findings):
        return
    now = time.time() if now_s is None else now_s
    earliest = EARLIEST.get(receipt.format)
    born = datetime.fromisoformat(earliest).replace(tzinfo=UTC).timestamp() if earliest else None
    if born is not None and offset < born:
        why = f"{receipt.format} logs exist since {str(earliest)[:4]}"
    elif offset > now + _FUTURE_S:
        why = f"this computer's date is {_date(now)}"
    else:
        return
    weeks = 1024 * _eras_off(offset, born or 0.0, now)
    guess = ""
    if weeks:
        way = "later" if weeks > 0 else "earlier"
        guess = (
            f"; {abs(weeks)} weeks {way} would be {_date(offset + weeks * WEEK_S)}: perhaps the "
            "receiver's week counter ran over"
        )
    yield make_finding(
        "gps-week-rollover",
        f"The log says that it starts on {_date(offset)}, and {why}{guess}.",
        evidence={"start_unix_s": offset, "weeks_off": weeks},
    )


def _eras_off(offset_s: float, born_s: float, now_s: float) -> int:
    """Eras to add for the latest date that can be; 0 when none fits."""
    eras = [k for k in range(-3, 4) if born_s <= offset_s + k * GPS_ERA_S <= now_s + 86400.0]
    return eras[-1] if eras else 0


def _date(unix_s: float) -> str:
    try:
        return datetime.fromtimestamp(unix_s, UTC).date().isoformat()
    except (OverflowError, OSError, ValueError):
        return f"Unix second {unix_s:.6g}"
