"""What a log holds of its flights: how many, what came before, what is missing of them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.series import FIGURES_OF, WORDS, Mask, column

if TYPE_CHECKING:
    from flightlog.analyses.phases import Sortie
    from flightlog.recording import Recording
    from flightlog.screening.context import FlightView, LogView

# --- several flights, and attempts before them


def several_sorties(view: LogView) -> Iterable[Finding]:
    """Say that a log holds more than one flight (`several-sorties`)."""
    if len(view.sorties) < 2:
        return
    which = ", ".join(f"{s.number} from {s.start_s:.0f} s" for s in view.sorties)
    yield make_finding(
        "several-sorties",
        f"{len(view.sorties)} flights are in this log: {which}.",
        evidence={"sorties": len(view.sorties)},
    )


def attempts_first(view: LogView) -> Iterable[Finding]:
    """Say which rolls came before a take-off without becoming one (`attempts-first`)."""
    since = -np.inf
    for sortie in view.sorties:
        before = [a for a in view.attempts if since <= a.start_s <= sortie.start_s]
        since = sortie.start_s
        if not before:
            continue
        said = ", ".join(f"{a.peak_ground_speed_m_s:.1f} m/s at {a.start_s:.0f} s" for a in before)
        count = "1 attempt" if len(before) == 1 else f"{len(before)} attempts"
        yield make_finding(
            "attempts-first",
            f"{count} without lift-off came before this take-off, up to {said}: the ground roll is "
            f"that of try {len(before) + 1}.",
            evidence={"attempts": len(before)},
            start_s=sortie.start_s,
            end_s=sortie.end_s,
        )


# --- a log that ends in the air

LAST_S = 5.0
"""The end of a log in which a supply that fails shows. [s]"""

SAG_SHARE = 0.85
"""Voltage at the end over the least of the minute before: a battery's own sag under the same
load changes by a few percent in a minute. [-]"""

CELL_BROWN_OUT_V = 3.0
"""A lithium cell below this under load is empty, and falls on within seconds. [V]"""

_BEFORE_S = 60.0


@dataclass(frozen=True, slots=True)
class Ending:
    """Voltage at the end of a log: its last value, and the least of the minute before. [V]"""

    last_v: float
    lowest_v: float
    before_v: float


def voltage_at_end(time_s: Array, voltage_v: Array, end_s: float) -> Ending | None:
    """Voltage in the last seconds against the minute before them; None without samples."""
    good = np.isfinite(voltage_v) & (time_s <= end_s)
    t, v = time_s[good], voltage_v[good]
    late, early = t > end_s - LAST_S, (t <= end_s - LAST_S) & (t > end_s - LAST_S - _BEFORE_S)
    if not late.any() or early.sum() < 5:
        return None
    return Ending(float(v[late][-1]), float(v[late].min()), float(np.percentile(v[early], 5)))


def power_lost(view: FlightView) -> Iterable[Finding]:
    """Look for a failing supply where the log ends in the air (`power-lost`).

    That the flight was not landed is `ends-in-air`'s to say and to withhold; this tells why.
    """
    battery = view.recording.one("battery")
    if view.sortie.ends != "air" or battery is None:
        return
    end = view.sortie.end_s
    voltage = voltage_at_end(column(battery, "time_s"), column(battery, "voltage_v"), end)
    if voltage is None:
        return
    aircraft = view.inputs.aircraft
    cells = aircraft.cells if aircraft is not None else None
    fell = voltage.lowest_v < SAG_SHARE * voltage.before_v
    empty = cells is not None and voltage.lowest_v < CELL_BROWN_OUT_V * cells
    if not fell and not empty:
        return
    a_cell = f", {voltage.lowest_v / cells:.2f} V a cell" if cells else ""
    height = _height_at(view, end)
    high = f", {height:.0f} m up" if height is not None else ""
    yield make_finding(
        "power-lost",
        f"The log ends in the air at {end:.1f} s{high}, with the voltage down to "
        f"{voltage.lowest_v:.2f} V{a_cell}, from {voltage.before_v:.2f} V in the minute before: "
        "the supply may have failed.",
        evidence={
            "lowest_v": voltage.lowest_v,
            "last_v": voltage.last_v,
            "before_v": voltage.before_v,
        },
        start_s=max(view.sortie.start_s, end - LAST_S),
        end_s=end,
    )


def _height_at(view: FlightView, time_s: float) -> float | None:
    path = view.path
    if path is None or path.height_m is None:
        return None
    known = np.isfinite(path.height_m) & (path.time_s <= time_s)
    return float(path.height_m[known][-1]) if known.any() else None


# --- gaps of single streams

LEAST_GAP_S = 2.0
"""Shorter silences than this are within what every analysis bridges. [s]"""

GAP_STEPS = 3.0
"""And a gap is longer than three usual steps of its stream (METHODS 14, L3). [-]"""

_TOGETHER = 0.5


@dataclass(frozen=True, slots=True)
class Gaps:
    """Silences of one stream within a window.

    Attributes
    ----------
    start_s, end_s : array
        Last sample before and first after each. [s]
    missing_share : float
        Of the window's samples. [-]
    """

    start_s: Array
    end_s: Array
    missing_share: float

    @property
    def longest_s(self) -> float:
        """The longest of them. [s]"""
        return float((self.end_s - self.start_s).max())


def find_gaps(time_s: Array, start_s: float, end_s: float) -> Gaps | None:
    """Silences of a stream that are longer than three usual steps and 2 s; None without one."""
    if len(time_s) < 3 or end_s <= start_s:
        return None
    step = np.diff(time_s)
    if step.max() <= LEAST_GAP_S:
        return None
    usual = float(np.median(step[step > 0])) if (step > 0).any() else 0.0
    long = step > max(LEAST_GAP_S, GAP_STEPS * usual)
    long &= (time_s[1:] > start_s) & (time_s[:-1] < end_s)
    at = np.flatnonzero(long)
    if not at.size:
        return None
    begin, stop = np.maximum(time_s[at], start_s), np.minimum(time_s[at + 1], end_s)
    missing = float(np.sum(np.maximum(stop - begin - usual, 0.0)) / (end_s - start_s))
    return Gaps(time_s[at], time_s[at + 1], missing)


_TOLD = ("gps", "baro", "airspeed", "imu", "attitude", "outputs", "rotation")
"""The battery's gaps are told with its energy (`battery-gap`), those of the radio link with where
the aircraft was (`link-dropout`)."""

MOST_MISSING = 0.2
"""With more of a stream missing, what was greatest in a flight may not have been seen. [-]"""

_EXTREMES = {
    "imu": ("flight.max_load_factor", "flight.min_load_factor", "flight.min_stall_margin"),
    "attitude": ("flight.max_bank",),
    "airspeed": ("flight.max_airspeed", "flight.min_stall_margin"),
}


def stream_gaps(view: LogView) -> Iterable[Finding]:
    """Find streams that fall silent in a flight while others go on (`log-gap`).

    Distances, heights, laps and energies know their holes and are wider or withheld by
    themselves; extremes only know what they saw, and are withheld when `MOST_MISSING` of their
    stream is.
    """
    times = _times(view.recording)
    for sortie in view.sorties:
        for name in _TOLD:
            gaps = find_gaps(times[name], sortie.start_s, sortie.end_s) if name in times else None
            if gaps is None:
                continue
            others = [t for other, t in times.items() if other != name]
            alone = _went_on(gaps, others)
            if alone.any():
                yield _gap_finding(name, gaps, alone, sortie)


def _gap_finding(name: str, gaps: Gaps, alone: Mask, sortie: Sortie) -> Finding:
    begin, stop = gaps.start_s[alone], gaps.end_s[alone]
    longest, share = float((stop - begin).max()), gaps.missing_share
    lost = share > MOST_MISSING and name in _EXTREMES
    return make_finding(
        "log-gap",
        f"The {WORDS[name]} fell silent {_times_in_words(len(begin))} in flight {sortie.number} "
        f"while others went on, for up to {longest:.1f} s; {100 * share:.0f} % of it is missing.",
        evidence={
            "stream": name,
            "gaps": len(begin),
            "longest_s": longest,
            "missing_share": share,
        },
        severity="stop" if lost else None,
        affects=_EXTREMES[name] if lost else FIGURES_OF[name],
        start_s=max(float(begin[0]), sortie.start_s),
        end_s=min(float(stop[-1]), sortie.end_s),
    )


def _times_in_words(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _times(recording: Recording) -> dict[str, Array]:
    """Times of every stream with samples. [s]"""
    return {
        name: recording[name]["time_s"].to_numpy(dtype=float)
        for name in (*_TOLD, "battery", "link")
        if name in recording and len(recording[name]) > 2
    }


def silences(view: LogView) -> Iterable[Finding]:
    """Find stretches in which nothing at all was logged (`log-gap`), once for the log.

    Restarts are told by themselves, and so are gaps that the importer saw.
    """
    if any(f.code == "log-gap" for f in view.recording.findings):
        return
    times = _times(view.recording)
    if not times:
        return
    busiest = max(times.values(), key=len)
    gaps = find_gaps(busiest, float(busiest[0]), float(busiest[-1]))
    if gaps is None:
        return
    quiet = ~np.array(
        [any(_inside(t, a, z) for t in times.values()) for a, z in _pairs(gaps)], dtype=bool
    )
    seams = np.array(view.recording.receipt.seams)
    for at, (a, z) in enumerate(_pairs(gaps)):
        quiet[at] &= not ((seams >= a - 1.0) & (seams <= z + 1.0)).any()
    if not quiet.any():
        return
    begin, stop = gaps.start_s[quiet], gaps.end_s[quiet]
    silent = float((stop - begin).sum())
    share = silent / float(busiest[-1] - busiest[0])
    yield make_finding(
        "log-gap",
        f"Nothing at all was logged {_times_in_words(len(begin))}, for up to "
        f"{float((stop - begin).max()):.1f} s; {100 * share:.0f} % of the log is missing.",
        evidence={
            "gaps": len(begin),
            "longest_s": float((stop - begin).max()),
            "missing_share": share,
        },
        start_s=float(begin[0]) if len(begin) == 1 else None,
        end_s=float(stop[0]) if len(begin) == 1 else None,
    )


LEAST_SILENT_END_S = 10.0
"""Loggers stop with the motor, and the last messages of a flight come some seconds later. [s]"""

_EVENTS = ("arming", "modes", "messages")


def silent_end(view: LogView) -> Iterable[Finding]:
    """Say that a log goes on without any sensor (`log-gap`): what happened then is not in it.

    No figure depends on it, because every flight ends with its sensors: a note.
    """
    times = _times(view.recording)
    if not times:
        return
    last = max(float(t[-1]) for t in times.values())
    ends = {
        name: float(column(view.recording.get(name), "time_s")[-1])
        for name in _EVENTS
        if name in view.recording
    }
    later = {name: end for name, end in ends.items() if end - last > LEAST_SILENT_END_S}
    if not later or not math.isfinite(max(later.values())):
        return
    until = max(later.values())
    yield make_finding(
        "log-gap",
        f"All sensors end at {last:.1f} s, and the log goes on for {until - last:.1f} s with "
        f"{' and '.join(later)} alone: what happened meanwhile was not logged.",
        evidence={"last_sensor_s": last, "silent_s": until - last},
        severity="note",
        affects=(),
        start_s=last,
        end_s=until,
    )


def _pairs(gaps: Gaps) -> list[tuple[float, float]]:
    return list(zip(gaps.start_s.tolist(), gaps.end_s.tolist(), strict=True))


def _inside(time_s: Array, start_s: float, end_s: float) -> bool:
    """Whether a stream has a sample strictly within a window."""
    first = int(np.searchsorted(time_s, start_s, side="right"))
    return first < len(time_s) and bool(time_s[first] < end_s)


def _went_on(gaps: Gaps, others: list[Array]) -> Mask:
    """Whether any other stream had samples in each gap, at no less than half its usual rate."""
    alone = np.zeros(len(gaps.start_s), dtype=bool)
    for t in others:
        if len(t) < 3:
            continue
        step = np.diff(t)
        usual = float(np.median(step[step > 0])) if (step > 0).any() else 0.0
        inside = np.searchsorted(t, gaps.end_s) - np.searchsorted(t, gaps.start_s, side="right")
        alone |= inside * usual >= _TOGETHER * (gaps.end_s - gaps.start_s)
    return alone


# --- a copy of the radio link

SLOW_HZ = 5.0
"""A transmitter shows what the link carried; the aircraft itself logs faster than this. [Hz]"""


def radio_copy(view: LogView) -> Iterable[Finding]:
    """Say that a transmitter's log is a slow copy (`radio-copy`)."""
    recording = view.recording
    if recording.receipt.format != "transmitter":
        return
    if any(f.code == "radio-copy" for f in recording.findings):
        return
    rates = {name: _rate(recording, name) for name in ("gps", "battery", "attitude", "baro")}
    # Five a second by a clock of whole milliseconds is not slower.
    slow = {name: rate for name, rate in rates.items() if 0 < rate < 0.99 * SLOW_HZ}
    if not slow:
        return
    said = ", ".join(f"{WORDS[name]} {rate:.2g} Hz" for name, rate in slow.items())
    yield make_finding(
        "radio-copy",
        f"This is a copy from the radio link at {said}: peaks and times are limited.",
        evidence={f"{name}_hz": rate for name, rate in slow.items()},
    )


def _rate(recording: Recording, name: str) -> float:
    """Usual rate of a stream's samples; 0 without one. [Hz]"""
    table = recording.get(name)
    steps = np.diff(column(table, "time_s"))
    steps = steps[steps > 0]
    return float(1 / np.median(steps)) if len(steps) else 0.0
