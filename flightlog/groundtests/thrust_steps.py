"""The steps of a thrust stand's file: found, and their settled parts averaged.

Stands write one of two things. Some keep one row for each settled step; their time is often how
long the step took to settle, which is no clock. Others keep a series of many rows a second, in
which the throttle was held again and again. Which of them a file is, is told by how long the
throttle stays where it is. A third thing happens: a throttle that rises with every row, within
seconds. That is a ramp: nothing in it is settled.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from flightlog.groundtests.bench_table import BenchTable, FloatArray
from flightlog.uncertain import NORMAL_95

Shape = Literal["rows", "series", "ramp", "unknown"]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

COMMANDS = ("pulse", "throttle")
LEVELS = ("speed", "electrical_speed", "current", "thrust")
"""What tells the level of the throttle where no command was written; the best first."""
SIGNALS = ("thrust", "torque", "voltage", "current", "power", "speed", "electrical_speed")

MOST_STEPS = 2000
MOST_BLOCKS = 200
"""A ramp is cut into no more blocks of rows."""
_FINEST_S = 1e-5
"""No stand writes rows closer together. [s]"""
_LARGEST = 1e10
"""No stand reads more, in any unit of the house; time may count from 1970."""
_JITTER = {"pulse": 4.0, "throttle": 0.6}
"""How far a command moves while it is held. [us], [%]"""
_LEAST_HOLD_S = 1.0
_LEAST_HOLD_ROWS = 5
_LEAST_HOLD_ROWS_WITHOUT_CLOCK = 10
_HELD_SHARE = 0.3
_FEW_ROWS = 8
_MOVES = 0.3
_STEP_CLOCK_S = 1.0
"""Rows further apart than this are no samples of a series."""
_BACKWARD_SHARE = 0.02
_LEAST_DROPPED_S = 0.3
_BLOCK_S = 0.2
_LIKE_SETTLED = 0.003
LAG_STD_S = 0.2
"""How far motor, propeller and load cell stay behind a moving throttle: some tenths of a second. It
is what a ramp is charged with. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Settled steps of one file, in its order.

    Attributes
    ----------
    shape : str
        What the file was read as: "rows", "series", "ramp", or "unknown" where nothing was found.
    clocked : bool
        Whether its time is a clock.
    command : str
        Column that told the steps: one of `COMMANDS` or `LEVELS`; "" where none did.
    level : array
        Shape (n,), its value at each step.
    first, last : array of int
        First and last row of the part that was averaged.
    settled_s : array
        How long that part is; NaN where no clock tells. [s]
    place : array
        When it was: by the clock, or by the row. [s] or rows
    mean, std, lag : mapping of str to array
        Mean of each signal, its standard uncertainty from scatter (NaN where there is no telling),
        and the effect of one standard deviation of lag (zeros unless it is a ramp).
    """

    shape: Shape
    clocked: bool
    command: str
    level: FloatArray
    first: IntArray
    last: IntArray
    settled_s: FloatArray
    place: FloatArray
    mean: Mapping[str, FloatArray]
    std: Mapping[str, FloatArray]
    lag: Mapping[str, FloatArray]

    def __len__(self) -> int:
        return len(self.level)


def cleaned(table: BenchTable) -> BenchTable:
    """Give the table with what no stand can read, and no clock can say, missing."""
    columns = {
        name: np.where(np.abs(column) <= _LARGEST, column, np.nan)
        for name, column in table.columns.items()
    }
    known = {name: column for name, column in columns.items() if np.isfinite(column).any()}
    return replace(table, columns=known)


def signals_of(table: BenchTable, arm_m: float | None = None) -> dict[str, FloatArray]:
    """Give the columns of a cleaned table that are averaged, with electrical power row by row.

    Torque comes from a force on an arm where the table has no other.
    """
    every = table.columns
    found = {name: every[name] for name in SIGNALS if name in every}
    if "torque" not in found and "arm_force" in every and arm_m is not None:
        found["torque"] = every["arm_force"] * arm_m
    if "voltage" in found and "current" in found:
        found["power"] = found["voltage"] * found["current"]
    elif "electrical_power" in every:
        found["power"] = every["electrical_power"]
    for name in ("speed", "electrical_speed"):
        if name in found and not np.nanmax(np.abs(found[name]), initial=0.0) > 0:
            del found[name]  # a sensor that was not there reads 0 all the time
    return {name: column for name, column in found.items() if np.isfinite(column).any()}


def find_steps(
    table: BenchTable, signals: Mapping[str, FloatArray], transient_s: float | None = None
) -> Steps:
    """Find the steps of a file and average what is settled of them.

    Parameters
    ----------
    table : BenchTable
        The file, cleaned.
    signals : mapping of str to array
        Of `signals_of`.
    transient_s : float, optional
        How much is dropped after each change of the throttle; found from the data without. [s]
    """
    rows = len(table)
    clock = _clock(table)
    command = next((c for c in COMMANDS if _told(table, c, signals)), "")
    if command:
        told = _filled(table.columns[command])
        holds = _holds(told, _JITTER[command], clock)
    else:
        level = next((s for s in LEVELS if _live(signals.get(s))), "")
        told = _filled(signals[level]) if level else np.zeros(rows)
        command = level
        quick = clock is not None and _spacing(clock) < _STEP_CLOCK_S and rows >= 50
        holds = _flats(told, clock) if quick and level and clock is not None else []
    held = sum(b - a for a, b in holds)
    if holds and held >= _HELD_SHARE * rows:
        return _series(signals, command, told, holds, clock, transient_s)
    if clock is not None and rows >= _FEW_ROWS and _spacing(clock) < _STEP_CLOCK_S:
        return _ramp(signals, command, told, clock)
    if rows > MOST_STEPS:
        return _made("unknown", signals, command, told, [], clock)
    return _rows(signals, command, told, clock)


def _told(table: BenchTable, command: str, signals: Mapping[str, FloatArray]) -> bool:
    """Whether a command says what the motor did: it moves, or nothing moves."""
    if command not in table.columns:
        return False
    if _live(table.columns[command]):
        return True
    moving = [signals[s] for s in ("speed", "electrical_speed", "current") if s in signals]
    return not any(np.nanmax(s) - np.nanmin(s) > _MOVES * np.nanmax(np.abs(s)) for s in moving)


def _live(column: FloatArray | None) -> bool:
    return column is not None and bool(np.nanmax(column) > np.nanmin(column))


def _filled(column: FloatArray) -> FloatArray:
    """Put the last known number where one is missing."""
    known = np.flatnonzero(np.isfinite(column))
    if not len(known):
        return np.zeros(len(column))
    at = np.searchsorted(known, np.arange(len(column)), side="right") - 1
    filled: FloatArray = column[known[np.maximum(at, 0)]]
    return filled


def _clock(table: BenchTable) -> FloatArray | None:
    """Give a clock that never goes back; None where the time of the file is none."""
    times = table.columns.get("time")
    if times is None or len(times) < 2:
        return None
    known = np.flatnonzero(np.isfinite(times))
    if len(known) < 2:
        return None
    filled = np.interp(np.arange(len(times)), known, times[known])
    ahead = np.diff(filled)
    backward = np.count_nonzero(ahead < 0)
    if not (ahead > 0).any() or backward > max(1, _BACKWARD_SHARE * len(ahead)):
        return None
    if backward:
        # Rows are in the order of the file; the clock goes on as if it had not jumped.
        ahead = np.where(ahead < 0, np.median(ahead[ahead > 0]), ahead)
        filled = np.concatenate(([0.0], np.cumsum(ahead)))
    return filled


def _spacing(clock: FloatArray) -> float:
    ahead = np.diff(clock)
    return max(_FINEST_S, float(np.median(ahead[ahead > 0])))


def _runs(flat: BoolArray) -> list[tuple[int, int]]:
    """Give first row and end of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flat.astype(np.int8), [0]))))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _long_enough(
    runs: Sequence[tuple[int, int]], clock: FloatArray | None
) -> list[tuple[int, int]]:
    if clock is None:
        return [(a, b) for a, b in runs if b - a >= _LEAST_HOLD_ROWS_WITHOUT_CLOCK]
    return [
        (a, b)
        for a, b in runs
        if b - a >= _LEAST_HOLD_ROWS and clock[b - 1] - clock[a] >= _LEAST_HOLD_S
    ]


def _holds(told: FloatArray, jitter: float, clock: FloatArray | None) -> list[tuple[int, int]]:
    """Find where a command is held: no change in a window, and little over the whole."""
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    window = 3
    if clock is not None:
        window = int(np.clip(round(_BLOCK_S / _spacing(clock)), 3, 201))
    moved = maximum_filter1d(told, window, mode="nearest") - minimum_filter1d(
        told, window, mode="nearest"
    )
    half = window // 2
    runs = []
    for a, b in _runs(moved <= jitter):
        # The window gives away half of itself at either end, where the command had not moved yet.
        first, end = (a if a == 0 else a - half), (b if b == len(told) else b + half)
        first, end = max(first, 0), min(end, len(told))
        if np.ptp(told[a:b]) <= 3 * jitter:
            runs.append((first, end))
    return _long_enough(runs, clock)


def _flats(told: FloatArray, clock: FloatArray) -> list[tuple[int, int]]:
    """Find where a noisy level stays: the means of half a second before and after are alike."""
    width = max(3, round(0.5 / _spacing(clock)))
    if len(told) < 4 * width:
        return []
    total = np.concatenate(([0.0], np.cumsum(told - np.mean(told))))
    middle = (total[width:] - total[:-width]) / width
    change = np.abs(middle[width:] - middle[:-width])
    noise = 1.4826 * np.median(np.abs(np.diff(told))) / math.sqrt(2)
    low, high = np.percentile(told, [1, 99])
    allowed = max(5 * noise * math.sqrt(2 / width), 0.01 * float(high - low))
    if not allowed > 0:
        return []
    flat = np.zeros(len(told), dtype=bool)
    flat[width : width + len(change)] = change <= allowed
    # Near the ends nothing is compared; they go with their neighbours.
    flat[:width], flat[width + len(change) :] = flat[width], flat[width + len(change) - 1]
    return _long_enough(_runs(flat), clock)


def _series(
    signals: Mapping[str, FloatArray],
    command: str,
    told: FloatArray,
    holds: list[tuple[int, int]],
    clock: FloatArray | None,
    transient_s: float | None,
) -> Steps:
    primary = next((s for s in ("thrust", *LEVELS) if s in signals), "")
    spacing = math.nan if clock is None else _spacing(clock)
    parts = []
    for a, b in holds[:MOST_STEPS]:
        first = a
        if clock is None:
            first = a + (b - a) // 3
        elif transient_s is not None:
            first = int(np.searchsorted(clock[:b], clock[a] + transient_s))
        elif primary:
            first = a + _settles(signals[primary][a:b], spacing)
        if b - first >= 2:
            parts.append((first, b))
    return _made("series", signals, command, told, parts, clock)


def _settles(y: FloatArray, spacing_s: float) -> int:
    """Give the row from which a signal is settled: as the second half of the hold is."""
    size = max(1, round(_BLOCK_S / spacing_s))
    blocks = len(y) // size
    dropped = min(math.ceil(_LEAST_DROPPED_S / spacing_s), len(y) // 2)
    if blocks < 6:
        return dropped
    # Blocks are counted from the end, so that the last rows are never left over.
    cut = y[len(y) - blocks * size :].reshape(blocks, size)
    known = np.isfinite(cut)
    mean = np.sum(np.where(known, cut, 0.0), axis=1) / np.maximum(np.sum(known, axis=1), 1)
    early, late = mean[: blocks // 2], mean[blocks // 2 :]
    middle = float(np.median(late))
    allowed = max(4.5 * float(np.std(late, ddof=1)), _LIKE_SETTLED * abs(middle))
    away = np.flatnonzero(np.abs(early - middle) > allowed)
    start = len(y) - blocks * size + (int(away[-1]) + 2) * size if len(away) else 0
    return min(max(start, dropped), len(y) - size * (blocks // 2))


def _ramp(
    signals: Mapping[str, FloatArray], command: str, told: FloatArray, clock: FloatArray
) -> Steps:
    size = -(-len(told) // MOST_BLOCKS)
    parts = [(a, min(a + size, len(told))) for a in range(0, len(told), size)]
    made = _made("ramp", signals, command, told, parts, clock)
    return _guessed_scatter(made, lagging=True)


def _rows(
    signals: Mapping[str, FloatArray], command: str, told: FloatArray, clock: FloatArray | None
) -> Steps:
    parts = [(i, i + 1) for i in range(len(told))]
    return _guessed_scatter(_made("rows", signals, command, told, parts, clock), lagging=False)


def _made(
    shape: Shape,
    signals: Mapping[str, FloatArray],
    command: str,
    told: FloatArray,
    parts: list[tuple[int, int]],
    clock: FloatArray | None,
) -> Steps:
    first = np.array([a for a, _ in parts], dtype=np.int64)
    end = np.array([b for _, b in parts], dtype=np.int64)
    mean: dict[str, FloatArray] = {}
    std: dict[str, FloatArray] = {}
    for name, column in signals.items():
        pairs = np.array([mean_of_settled(column[a:b]) for a, b in parts]).reshape(-1, 2)
        mean[name], std[name] = pairs[:, 0], pairs[:, 1]
    settled = np.full(len(parts), np.nan)
    place = (first + end - 1) / 2.0
    if clock is not None and len(parts):
        spacing = _spacing(clock)
        settled = clock[end - 1] - clock[first] + (spacing if shape != "rows" else 0.0)
        if shape == "rows":
            settled = np.concatenate((np.diff(clock[first]), [np.nan]))
        place = (clock[first] + clock[end - 1]) / 2
    level = np.array([np.median(told[a:b]) for a, b in parts])
    zeros = {name: np.zeros(len(parts)) for name in signals}
    return Steps(
        shape, clock is not None, command, level, first, end - 1, settled, place, mean, std, zeros
    )


def mean_of_settled(values: FloatArray) -> tuple[float, float]:
    """Mean of a settled part, and its standard uncertainty from scatter.

    Parameters
    ----------
    values : array
        Shape (n,), evenly spaced; what is missing is left out.

    Returns
    -------
    tuple of float
        Neighbouring rows go with each other, and so they are worth fewer than they are: n over
        the sum of autocorrelations, up to where pairs of them are no longer positive (Geyer
        1992). With few such, the standard uncertainty is made wide enough for Student's 95 %
        interval. NaN for the mean of nothing, and for the uncertainty of one row.
    """
    known = values[np.isfinite(values)]
    n = len(known)
    if not n:
        return math.nan, math.nan
    mean = float(np.mean(known))
    if n < 2:
        return mean, math.nan
    left = known - mean
    variance = float(left @ left) / n
    if not variance > 1e-24 * mean * mean:
        return mean, 0.0
    size = 1 << (2 * n - 1).bit_length()
    power = np.abs(np.fft.rfft(left, size)) ** 2
    related = np.fft.irfft(power, size)[:n] / (n * variance)
    even = n // 2 * 2
    pairs = related[:even:2] + related[1:even:2]
    positive = np.flatnonzero(pairs <= 0)
    stop = int(positive[0]) if len(positive) else len(pairs)
    time_rows = max(1.0, 2 * float(np.sum(pairs[:stop])) - 1)
    if stop > 1:
        # Each autocorrelation is too small by the variance of the mean that was taken off.
        time_rows *= 1 + 4 * stop / n
    worth = max(n / time_rows, 1.5)
    spread = variance * n / (n - 1) if worth > n / 2 else variance * worth / (worth - 1)
    return mean, math.sqrt(spread / worth) * students(max(worth - 1, 1.0))


def students(freedom: float) -> float:
    """Student's 97.5 % quantile over the Gaussian's (JCGM 100:2008, G.3). [-]"""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.975)) / NORMAL_95


def _guessed_scatter(steps: Steps, *, lagging: bool) -> Steps:
    """Give rows without neighbours at the same throttle the scatter about their neighbours.

    Each is compared with the straight line between the ones before and after (Gasser, Sroka and
    Jennen-Steinmetz 1986); a bend adds to it, so that it is rather too large.
    """
    std: dict[str, FloatArray] = {}
    lag: dict[str, FloatArray] = {}
    x = steps.level if steps.command in COMMANDS else np.arange(len(steps), dtype=float)
    for name, mean in steps.mean.items():
        guess = scatter_about_neighbours(x, mean)
        std[name] = np.fmax(steps.std[name], guess) if lagging else np.full(len(steps), guess)
        lag[name] = np.zeros(len(steps))
        if lagging and len(steps) > 2:
            apart = np.maximum(np.gradient(steps.place), 1e-9)
            smooth = np.convolve(np.pad(mean, 2, mode="edge"), np.full(5, 0.2), mode="valid")
            lag[name] = np.gradient(smooth) / apart * LAG_STD_S
    return Steps(
        steps.shape,
        steps.clocked,
        steps.command,
        steps.level,
        steps.first,
        steps.last,
        steps.settled_s,
        steps.place,
        steps.mean,
        std,
        lag,
    )


def scatter_about_neighbours(x: FloatArray, y: FloatArray) -> float:
    """Scatter of y about a smooth curve over x, by three neighbours each; NaN below 6 rows."""
    good = np.isfinite(x) & np.isfinite(y)
    x, y = x[good], y[good]
    if len(y) < 6:
        return math.nan
    left, right = x[1:-1] - x[:-2], x[2:] - x[1:-1]
    inside = left * right > 0  # not where a sweep turns
    if np.count_nonzero(inside) < 4:
        return math.nan
    share = left[inside] / (left[inside] + right[inside])
    off = (1 - share) * y[:-2][inside] + share * y[2:][inside] - y[1:-1][inside]
    worth = (1 - share) ** 2 + share**2 + 1
    freedom = np.count_nonzero(inside)
    spread = math.sqrt(float(np.mean(off**2 / worth)))
    return spread * students(max(freedom * 2 / 3, 1.0))


def sweeps(level: FloatArray, at_rest: BoolArray, given: FloatArray | None) -> IntArray:
    """Number the sweeps of a file, from 1; 0 at rest.

    Parameters
    ----------
    level : array
        Shape (n,), of the throttle at each step.
    at_rest : array of bool
        Whether the motor stood.
    given : array or None
        Number that the file gives.

    Returns
    -------
    array of int
        A sweep ends where the throttle turns, where the motor stood, and where the file's own
        number changes.
    """
    number = np.zeros(len(level), dtype=np.int64)
    scale = float(np.ptp(level)) if len(level) else 0.0
    count, way, before = 0, 0, None
    for i in range(len(level)):
        if at_rest[i]:
            way, before = 0, None
            continue
        fresh = before is None
        if before is not None:
            step = level[i] - level[before]
            turn = 0 if abs(step) <= 0.005 * scale else int(np.sign(step))
            fresh = bool(way and turn and turn != way)
            if given is not None and given[i] != given[before]:
                fresh, turn = True, 0
            way = turn if fresh or not way else way
        count += fresh
        number[i] = count
        before = i
    return number
