"""Clocks: streams that run by another one, times in another unit, late fixes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flightlog.findings import Finding, make_finding
from flightlog.screening.series import (
    FIGURES_OF,
    WORDS,
    Lag,
    column,
    find_lag,
    read_fixes,
    samples,
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
_MOST_CHANNELS = 16


def throttle_lag(recording: Recording) -> Lag | None:
    """How late the battery's current is behind the output that it follows best."""
    battery, outputs = recording.one("battery"), recording.get("outputs")
    if battery is None or outputs is None:
        return None
    current = samples(battery, "current_a")
    channel, time_s, pulse = (column(outputs, n) for n in ("channel", "time_s", "pulse_us"))
    known = np.isfinite(channel) & np.isfinite(pulse)
    best: Lag | None = None
    for one in np.unique(channel[known])[:_MOST_CHANNELS]:
        rows = known & (channel == one)
        low, high = np.percentile(pulse[rows], [1, 99])
        if high - low < _LEAST_PULSE_US:
            continue
        lag = find_lag((time_s[rows], pulse[rows]), current, ALLOWED_S)
        if lag is not None and (best is None or lag.r > best.r):
            best = lag
    return best


_STEP_S = 0.1
_FASTER_M_S = 4.0


def climb_lag(recording: Recording) -> Lag | None:
    """How late the receiver's vertical speed is behind that of the barometer."""
    t, h = samples(recording.one("baro"), "height_m")
    if len(t) < LEAST_ROWS:
        return None
    grid = np.arange(t[0], min(t[-1], t[0] + 86_400.0), _STEP_S)
    rate = np.interp(grid + 0.5, t, h) - np.interp(grid - 0.5, t, h)
    return find_lag((grid, rate), samples(recording.one("gps"), "climb_m_s"), ALLOWED_S)


def turn_lag(recording: Recording) -> Lag | None:
    """How late the course over ground is behind the heading."""
    t, yaw = samples(recording.get("attitude"), "yaw_rad")
    fixes = read_fixes(recording)
    if fixes is None:
        return None
    fast = np.isfinite(fixes.course_deg) & (fixes.speed_m_s > _FASTER_M_S)
    if fast.sum() < LEAST_ROWS or len(t) < LEAST_ROWS:
        return None
    return find_lag(
        (t, np.unwrap(yaw)),
        (fixes.time_s[fast], np.unwrap(np.radians(fixes.course_deg[fast]))),
        ALLOWED_S,
    )


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
