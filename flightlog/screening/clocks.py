"""Clocks: streams that run by another one, dates that can't be, leap seconds, late fixes."""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from flightlog.constants import WEEK_S
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.series import (
    FIGURES_OF,
    WORDS,
    Lag,
    column,
    find_lag,
    read_fixes,
    robust_std,
    unit_remedy,
)
from flightlog.screening.units import speed_ratio

if TYPE_CHECKING:
    from flightlog.recording import Recording
    from flightlog.screening.context import FlightView, LogView

# --- streams whose stamps have another unit or another zero

LEAST_ROWS = 20
"""Fewer rows are events, not a stream."""

SPAN_TOLERANCE = 0.05
"""Streams of one logger start and end within some seconds of each other: a span that is a
thousand or a million times another's within this has its stamps in another unit. [-]"""

_SCALES = (1e3, 1e6)


@dataclass(frozen=True, slots=True)
class Span:
    """First and last time of a stream, and its rows. [s]"""

    first_s: float
    last_s: float
    rows: int

    @property
    def length_s(self) -> float:
        """Last minus first. [s]"""
        return self.last_s - self.first_s


def misfit(span: Span, reference: Span) -> str:
    """Say how the times of a stream can't be those of a reference; "" when they can."""
    if min(span.length_s, reference.length_s) <= 0:
        return ""
    ratio = span.length_s / reference.length_s
    for scale in _SCALES:
        for factor in (scale, 1 / scale):
            if abs(ratio / factor - 1) <= SPAN_TOLERANCE:
                return (
                    f"span {span.length_s:.4g} s, {factor:g} times the {reference.length_s:.4g} s"
                )
    apart = max(span.first_s - reference.last_s, reference.first_s - span.last_s)
    longer = max(span.length_s, reference.length_s)
    # Two streams of one flight may follow each other when a sensor fails; not a log apart.
    if apart > longer and min(span.length_s, reference.length_s) > 10.0:
        return f"are {apart:.4g} s away from the {reference.length_s:.4g} s"
    return ""


def odd_streams(spans: Mapping[str, Span]) -> tuple[str, dict[str, str]]:
    """Tell the streams that run by another clock than most of the others.

    Returns
    -------
    reference : str
        The stream that most others agree with; of equals the first.
    odd : dict
        Stream -> how it does not fit.
    """
    agree = {n: sum(not misfit(s, r) for s in spans.values()) for n, r in spans.items()}
    reference = max(agree, key=lambda n: agree[n]) if agree else ""
    found = {n: misfit(s, spans[reference]) for n, s in spans.items() if n != reference}
    return reference, {n: how for n, how in found.items() if how}


def stream_spans(view: LogView) -> Iterable[Finding]:
    """Find streams whose stamps are in another unit or count from another zero (`mixed-clocks`)."""
    spans = {}
    for name in FIGURES_OF:
        table = view.recording.get(name)
        if table is not None and len(table) >= LEAST_ROWS:
            t = table["time_s"].to_numpy(dtype=float)
            spans[name] = Span(float(t[0]), float(t[-1]), len(t))
    reference, odd = odd_streams(spans)
    for name, how in odd.items():
        yield make_finding(
            "mixed-clocks",
            f"The times of the {WORDS[name]} {how} of the {WORDS[reference]}: they are by another "
            "clock or in another unit.",
            evidence={
                "stream": name,
                "span_s": spans[name].length_s,
                "reference": reference,
                "reference_span_s": spans[reference].length_s,
            },
            affects=FIGURES_OF[name],
        )


# --- a whole log whose times are in another unit

_CLOCK_UNITS: Mapping[float, str] = {
    1e-3: "milliseconds that were taken for seconds",
    1e-6: "microseconds that were taken for seconds",
    1e3: "seconds that were taken for milliseconds",
}
"""True time over the log's -> what its stamps look like."""

CLOCK_TOLERANCE = 0.03
"""Speed and positions of one receiver agree within 1.5 % on sound logs. [-]"""


def clock_unit(view: LogView) -> Iterable[Finding]:
    """Find a log whose times are off by thousands, by its positions and speeds (`mixed-clocks`).

    One second of flight moves the positions by the speed; with another unit of time, and only
    then, both agree.
    """
    fixes = read_fixes(view.recording)
    if fixes is None:
        return
    for factor, looks in _CLOCK_UNITS.items():
        ratio = speed_ratio(replace(fixes, time_s=fixes.time_s * factor))
        if ratio is None or abs(ratio.value - 1) > CLOCK_TOLERANCE:
            continue
        yield make_finding(
            "mixed-clocks",
            f"Positions and speeds agree (ratio {ratio.told()}) only when the times of the log, "
            f"{fixes.time_s[-1] - fixes.time_s[0]:.4g} s from first to last fix, are "
            f"{looks}.",
            evidence={"factor": factor, "ratio": ratio.value, "ratio_std": ratio.std},
            affects=tuple(dict.fromkeys(p for of in FIGURES_OF.values() for p in of)),
            remedy=unit_remedy(view.recording),
        )
        return


# --- streams that are shifted against each other

ALLOWED_S = (-0.3, 0.6)
"""Lags that prove nothing: by METHODS 0.3 s either way, and the 0.3 s that a receiver, a filter
or a speed controller may really take. [s]"""

SURPLUS = 25.0
"""Chi squared over the best allowed lag that a shift has to bring: 5 sigma, because a dozen
pairs in a thousand logs are asked. [-]"""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two series that answer to one cause.

    Attributes
    ----------
    first, second : str
        Tables of cause and answer.
    what : str
        The answer, in words.
    least_r : float
        Least correlation of the changes: for the current that of a throttle and no surface, which
        may move after it by habit; for a heading that of an aircraft that flies where it points;
        for vertical speeds what noise leaves. [-]
    affects : tuple of str
        Figures that need both.
    """

    first: str
    second: str
    what: str
    least_r: float
    affects: tuple[str, ...]


_THROTTLE = Pair(
    "outputs",
    "battery",
    "the current answers the throttle",
    0.75,
    ("energy.*", "charge.used"),
)
_HEIGHT = Pair(
    "baro",
    "gps",
    "the receiver's vertical speed follows the barometer",
    0.4,
    ("climb.*", "takeoff.*"),
)
_TURN = Pair(
    "attitude",
    "gps",
    "the course follows the heading",
    0.8,
    ("takeoff.*",),
)


def stream_shifts(view: LogView) -> Iterable[Finding]:
    """Find streams that answer before their cause, or far too late (`mixed-clocks`)."""
    for pair, lag in (
        (_THROTTLE, throttle_lag(view.recording)),
        (_HEIGHT, climb_lag(view.recording)),
        (_TURN, turn_lag(view.recording)),
    ):
        if lag is None or lag.r < pair.least_r or not is_shifted(lag):
            continue
        yield make_finding(
            "mixed-clocks",
            f"By their changes {pair.what} {abs(lag.value_s):.2f} s (± {1.96 * lag.std_s:.2f}) "
            f"{'late' if lag.value_s > 0 else 'early'} (r = {lag.r:.2f}): the clock of the "
            f"{WORDS[pair.second]} is not that of the {WORDS[pair.first]}.",
            evidence={
                "first": pair.first,
                "second": pair.second,
                "lag_s": lag.value_s,
                "lag_std_s": lag.std_s,
                "r": lag.r,
            },
            affects=pair.affects,
        )


def is_shifted(lag: Lag) -> bool:
    """Whether a lag is outside of what proves nothing, beyond doubt."""
    low, high = ALLOWED_S
    beyond = max(low - lag.value_s, lag.value_s - high)
    return lag.surplus >= SURPLUS and beyond > 2 * lag.std_s


_LEAST_PULSE_US = 150.0


def throttle_lag(recording: Recording) -> Lag | None:
    """How late the battery's current is behind the output that it follows best."""
    battery, outputs = recording.one("battery"), recording.get("outputs")
    if battery is None or outputs is None:
        return None
    current = column(battery, "time_s"), column(battery, "current_a")
    channel = column(outputs, "channel")
    time_s, pulse = column(outputs, "time_s"), column(outputs, "pulse_us")
    best: Lag | None = None
    for one in np.unique(channel[np.isfinite(channel)])[:16]:
        rows = channel == one
        if not np.nanmax(pulse[rows], initial=0) - np.nanmin(pulse[rows], initial=0):
            continue
        spread = np.nanpercentile(pulse[rows], 99) - np.nanpercentile(pulse[rows], 1)
        if spread < _LEAST_PULSE_US:
            continue
        lag = find_lag((time_s[rows], pulse[rows]), current, ALLOWED_S)
        if lag is not None and (best is None or lag.r > best.r):
            best = lag
    return best


_STEP_S = 0.1
_FASTER_M_S = 4.0


def climb_lag(recording: Recording) -> Lag | None:
    """How late the receiver's vertical speed is behind that of the barometer."""
    baro, gps = recording.one("baro"), recording.one("gps")
    if baro is None or gps is None:
        return None
    t, h = column(baro, "time_s"), column(baro, "height_m")
    good = np.isfinite(h)
    if good.sum() < LEAST_ROWS:
        return None
    t, h = t[good], h[good]
    grid = np.arange(t[0], min(t[-1], t[0] + 86_400.0), _STEP_S)
    rate = np.interp(grid + 0.5, t, h) - np.interp(grid - 0.5, t, h)
    return find_lag((grid, rate), (column(gps, "time_s"), column(gps, "climb_m_s")), ALLOWED_S)


def turn_lag(recording: Recording) -> Lag | None:
    """How late the course over ground is behind the heading."""
    attitude, fixes = recording.get("attitude"), read_fixes(recording)
    if attitude is None or fixes is None:
        return None
    fast = np.isfinite(fixes.course_deg) & (fixes.speed_m_s > _FASTER_M_S)
    t, yaw = column(attitude, "time_s"), column(attitude, "yaw_rad")
    good = np.isfinite(yaw)
    if fast.sum() < LEAST_ROWS or good.sum() < LEAST_ROWS:
        return None
    return find_lag(
        (t[good], np.unwrap(yaw[good])),
        (fixes.time_s[fast], np.unwrap(np.radians(fixes.course_deg[fast]))),
        ALLOWED_S,
    )


# --- the log's clock against UTC


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


ERA_S = 1024 * WEEK_S
"""After so long a week counter of ten bits starts again. [s]"""

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

_FUTURE_S = ERA_S / 2
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
            f" {abs(weeks)} weeks {way} would be {_date(offset + weeks * WEEK_S)}: perhaps the "
            "receiver's week counter ran over."
        )
    yield make_finding(
        "gps-week-rollover",
        f"The log says that it starts on {_date(offset)}, and {why}.{guess}",
        evidence={"start_unix_s": offset, "weeks_off": weeks},
    )


def _eras_off(offset_s: float, born_s: float, now_s: float) -> int:
    """Eras to add for the latest date that can be; 0 when none fits."""
    eras = [k for k in range(-3, 4) if born_s <= offset_s + k * ERA_S <= now_s + 86400.0]
    return eras[-1] if eras else 0


def _date(unix_s: float) -> str:
    try:
        return datetime.fromtimestamp(unix_s, UTC).date().isoformat()
    except (OverflowError, OSError, ValueError):
        return f"Unix second {unix_s:.6g}"


# --- late fixes

LATE_S = 0.1
"""A fix as old as this moves a place at flying speed by more than its own noise. [s]"""


def late_fixes(view: FlightView) -> Iterable[Finding]:
    """Tell the measured age of the fixes (`gps-late`) where it is surely above 0.1 s.

    Roll and path have taken it out, and their intervals hold its uncertainty.
    """
    latency, std = view.takeoff.latency_s, view.takeoff.latency_std_s
    if latency is None or std is None or latency - 1.645 * std <= LATE_S:
        return
    yield make_finding(
        "gps-late",
        f"Position fixes are {latency:.2f} s (± {1.96 * std:.2f}) old when they are written; that "
        "was taken out.",
        evidence={"latency_s": latency, "latency_std_s": std},
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
    )
