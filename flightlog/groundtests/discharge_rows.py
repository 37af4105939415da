"""The rows of a discharge made fit to be integrated: clock, sign and zero of the current.

Nothing is mended in silence: what was dropped, turned round or taken off is a finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array
from flightlog.estimation.second_means import find_spikes
from flightlog.findings import Finding
from flightlog.ground_findings import ground_finding
from flightlog.groundtests.bench_table import BenchTable

Mask = NDArray[np.bool_]
Index = NDArray[np.integer[Any]]

QUIET_SHARE = 0.05
"""With less than this share of the load's current the load is taken to be off. [-]"""

LEAST_REST_S = 3.0
"""A shorter rest does not tell the zero of the current. [s]"""

ZERO_UNKNOWN_STD_A = 0.3
"""Standard uncertainty of a current zero that no rest shows, as allowed in flights. [A]"""

ONE_REST_SHARE = 0.25
"""Share of a zero by which it may have moved where only one end of the test shows it. [-]"""

MOST_DROPPED = 0.02
"""With more of its rows dropped a clock tells no charge. [-]"""

MOST_V, MOST_A = 200.0, 5000.0
"""Beyond these no pack is: such rows were misread. [V], [A]"""

_ALL = ("discharge.*",)
_STEP_SHARE = 0.10
_TOLD_ZERO = 0.005
_MARGIN_S = 1.0
_LEAST_CHARGING_A = 0.05
_NOTHING_V, _APART_SHARE = 0.5, 0.3
_TAIL_S = 10.0
_MOST_IMPOSSIBLE = 0.2
_LEAST_LEVELS = 6
_DECIMALS = (0.1, 0.01, 0.001)


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """The rows of one file that can be used, all of shape (n,).

    Attributes
    ----------
    name : str
        Of the file.
    time_s, volts : array
        Rising times [s], voltage of the pack [V].
    amps, raw_amps : array
        Current with its zero taken off, and as it was read; discharge positive. [A]
    cells : mapping of str to array
        Voltages of single cells, NaN where missing. [V]
    temperature_k, counter_c, counter_j : array or None
        As the logger wrote them, NaN where missing. [K], [C], [J]
    high_a : float
        The usual current of the load; 0 where there is none. [A]
    zero_std_a : float
        Standard uncertainty of the zero that all rows share. [A]
    zero_shown : bool
        Whether a rest shows the zero.
    noise_a, noise_v : float
        White noise of one reading. [A], [V]
    grain_a, grain_v : float
        Steps in which the readings come. [A], [V]
    step_s : float
        Usual spacing of the rows. [s]
    loaded, charging : array of bool
        Rows with the load on, and rows in which the pack was charged.
    apart : array of bool
        Rows without the pack, as when its protection opened: no current flows, and the voltage is
        a straight line over them. Empty where there are none.
    """

    name: str
    time_s: Array
    volts: Array
    amps: Array
    raw_amps: Array
    cells: Mapping[str, Array]
    temperature_k: Array | None
    counter_c: Array | None
    counter_j: Array | None
    high_a: float
    zero_std_a: float
    zero_shown: bool
    noise_a: float
    noise_v: float
    grain_a: float
    grain_v: float
    apart: Mask = field(default_factory=lambda: np.zeros(0, dtype=bool))

    step_s: float = field(init=False)
    loaded: Mask = field(init=False)
    charging: Mask = field(init=False)

    def __post_init__(self) -> None:
        step = float(np.median(np.diff(self.time_s))) if self.time_s.size > 1 else 0.0
        back = max(0.02 * self.high_a, 4 * self.noise_a + self.grain_a, _LEAST_CHARGING_A)
        object.__setattr__(self, "step_s", step)
        object.__setattr__(self, "loaded", self.amps > QUIET_SHARE * self.high_a)
        object.__setattr__(self, "charging", self.amps < -back)

    @property
    def gap_s(self) -> float:
        """Spacing from which on rows are missing. [s]"""
        return max(2.0, 5.0 * self.step_s)


def read_rows(table: BenchTable, zero_std_a: float | None) -> tuple[Rows | None, list[Finding]]:
    """Make the rows of a file fit to be integrated.

    Parameters
    ----------
    table : BenchTable
        With time, voltage and current.
    zero_std_a : float or None
        Standard uncertainty of the zero of the current that the bench file states. [A]

    Returns
    -------
    Rows or None
        None where fewer than four rows are left.
    list of Finding
        What was done.
    """
    findings: list[Finding] = []
    keep = _believable(table, findings)
    columns = {name: np.asarray(c, dtype=float)[keep] for name, c in table.columns.items()}
    in_order = _in_order(columns["time"])
    findings += _clock_findings(table, keep, in_order)
    columns = _one_row_an_instant({name: c[in_order] for name, c in columns.items()})
    if columns["time"].size < 4:
        return None, findings
    lonely = find_spikes(columns["current"]) | find_spikes(columns["voltage"])
    if lonely.any():
        findings.append(_left_out(table.name, int(lonely.sum()), "stand alone far from both sides"))
        columns = {name: c[~lonely] for name, c in columns.items()}
    apart = _apart(columns["voltage"], columns["current"])
    if apart.any():
        why = "have no voltage and no current: the pack was off; they count as rest"
        findings.append(_left_out(table.name, int(apart.sum()), why))
        row = np.arange(apart.size)
        columns["voltage"] = np.interp(row, row[~apart], columns["voltage"][~apart])
    time_s, raw = columns["time"], columns["current"]
    if _reversed(time_s, raw, columns["voltage"]):
        raw = -raw
        findings.append(
            ground_finding(
                "discharge-current-reversed",
                f"{table.name}: the voltage falls when the current is read more negative, so "
                "that its sign was turned round.",
            )
        )
    high = _usual_load(time_s, raw)
    zero, std, shown, found = _zero(table.name, time_s, raw, high, zero_std_a)
    findings += found
    loaded = raw - zero > QUIET_SHARE * high
    rows = Rows(
        table.name,
        time_s,
        columns["voltage"],
        raw - zero,
        raw,
        {n: columns[n] for n in sorted(columns, key=_cell_number) if n.startswith("cell")},
        columns.get("temperature"),
        columns.get("charge"),
        columns.get("energy"),
        high,
        std,
        shown,
        _noise(raw, loaded),
        _noise(columns["voltage"], loaded),
        grain(raw),
        grain(columns["voltage"]),
        apart if apart.any() else apart[:0],
    )
    return rows, findings


def _cell_number(name: str) -> int:
    tail = name.rpartition("_")[2]
    return int(tail) if tail.isdigit() else 0


def _believable(table: BenchTable, findings: list[Finding]) -> Mask:
    """Rows in which time, voltage and current are numbers that a pack can have."""
    time_s, volts, amps = (table.columns[n] for n in ("time", "voltage", "current"))
    there = np.isfinite(time_s) & np.isfinite(volts) & np.isfinite(amps)
    with np.errstate(invalid="ignore"):
        can_be = (volts > 0) & (volts <= MOST_V) & (np.abs(amps) <= MOST_A)
        # Without the pack a voltmeter reads about nothing.
        can_be |= (np.abs(volts) <= _NOTHING_V) & (np.abs(amps) <= _quiet_a(volts, amps))
        can_be &= np.abs(time_s) < 1e12
    impossible = int((there & ~can_be).sum())
    if impossible:
        why = f"hold what no pack can have (0 to {MOST_V:.0f} V, to {MOST_A:.0f} A)"
        most = impossible > _MOST_IMPOSSIBLE * int(there.sum())
        why += "; look at the units of voltage and current" if most else ""
        findings.append(_left_out(table.name, impossible, why, stop=most))
    return there & can_be


def _quiet_a(volts: Array, amps: Array) -> float:
    """Current below which next to nothing flows. [A]"""
    known = np.abs(amps[np.isfinite(amps) & (volts > _NOTHING_V) & (np.abs(amps) <= MOST_A)])
    return 2 * QUIET_SHARE * float(np.quantile(known, 0.95)) if known.size else 0.0


def _apart(volts: Array, amps: Array) -> Mask:
    """Rows in which the pack was off the logger: next to no voltage, and no current."""
    quiet = _quiet_a(volts, amps)
    carried = volts[(np.abs(amps) > quiet) & (volts > _NOTHING_V)]
    if not carried.size:
        return np.zeros(volts.size, dtype=bool)
    return np.asarray((volts < _APART_SHARE * np.median(carried)) & (np.abs(amps) <= quiet))


def _left_out(name: str, rows: int, why: str, *, stop: bool = False) -> Finding:
    return ground_finding(
        "discharge-rows-left-out",
        f"{name}: {rows} rows {why}.",
        evidence={"rows": rows},
        affects=_ALL if stop else None,
        severity="stop" if stop else "note",
    )


# --- the clock


def _in_order(time_s: Array) -> Mask:
    """Rows whose times do not go back.

    A time that stands ahead of both neighbours is at fault itself; after any other step back
    the rows wait until the clock has caught up, which leaves a hole.
    """
    keep = np.ones(time_s.size, dtype=bool)
    if time_s.size > 2:
        keep[1:-1] = ~((time_s[1:-1] > time_s[2:]) & (time_s[2:] >= time_s[:-2]))
    latest = np.maximum.accumulate(np.where(keep, time_s, -np.inf)) if time_s.size else time_s
    return keep & (time_s >= latest)


def _clock_findings(table: BenchTable, there: Mask, in_order: Mask) -> list[Finding]:
    dropped = int((~in_order).sum())
    if not dropped:
        return []
    share = dropped / in_order.size
    lines = table.lines[there][~in_order] if table.lines.size == there.size else np.empty(0)
    where = f", the first on line {lines[0]:.0f}" if lines.size else ""
    broken = share > MOST_DROPPED
    told = "; such a clock tells no charge" if broken else ""
    message = (
        f"{table.name}: the clock goes back, and {dropped} of {in_order.size} rows were dropped "
        f"for it{where}{told}."
    )
    return [
        ground_finding(
            "discharge-clock-back",
            message,
            evidence={"rows": dropped, "share": share},
            affects=_ALL if broken else None,
            severity="stop" if broken else "degrade",
        )
    ]


def _one_row_an_instant(columns: dict[str, Array]) -> dict[str, Array]:
    """Rows of one time as their mean, for a clock coarser than the rows."""
    time_s = columns["time"]
    if not time_s.size or (np.diff(time_s) > 0).all():
        return columns
    first = np.concatenate([[0], np.flatnonzero(np.diff(time_s) > 0) + 1])
    count = np.diff(np.append(first, time_s.size))
    return {name: np.asarray(np.add.reduceat(c, first) / count) for name, c in columns.items()}


# --- the current


def _reversed(time_s: Array, amps: Array, volts: Array) -> bool:
    """Whether the current counts the other way.

    Its steps tell it, by what the voltage does at once; without steps the trend of the voltage.
    """
    large = np.flatnonzero(np.abs(np.diff(amps)) > _STEP_SHARE * float(np.max(np.abs(amps))))
    # Seen over a second to either side, since the one can be read later than the other.
    around = 0.5 * (time_s[large] + time_s[large + 1])
    wide = max(_MARGIN_S, float(np.median(np.diff(time_s))))
    step_a, step_v = (
        np.interp(around + wide, time_s, c) - np.interp(around - wide, time_s, c)
        for c in (amps, volts)
    )
    products = step_a * step_v
    if abs(float(products.sum())) > 0.5 * float(np.abs(products).sum()):
        return float(products.sum()) > 0
    charge = np.append(0.0, np.cumsum(0.5 * (amps[1:] + amps[:-1]) * np.diff(time_s)))
    return float((charge - charge.mean()) @ (volts - volts.mean())) > 0


def _usual_load(time_s: Array, amps: Array) -> float:
    """Current that carries the charge, however short the load was on. [A]"""
    top = float(np.max(amps))
    if top <= 0:
        return 0.0
    part = np.clip(amps / top, 0.0, None)
    weight = np.gradient(time_s) if time_s.size > 1 else np.ones(1)
    return float(top * np.sum(weight * part**3) / np.sum(weight * part**2))


def _zero(
    name: str, time_s: Array, raw: Array, high: float, stated_std_a: float | None
) -> tuple[Array, float, bool, list[Finding]]:
    """Zero of the current at each row [A], its 1 sigma [A], whether a rest shows it, findings."""
    loaded = np.flatnonzero(raw > 2 * QUIET_SHARE * high)
    rests = []
    if loaded.size:
        quiet = np.abs(raw) <= 2 * QUIET_SHARE * high
        first_s, last_s = time_s[loaded[0]], time_s[loaded[-1]]
        for away in (time_s < first_s - _MARGIN_S, time_s > last_s + _MARGIN_S):
            rows = _no_tail(time_s, raw, np.flatnonzero(quiet & away), -2 * QUIET_SHARE * high)
            if rows.size >= 3 and np.ptp(time_s[rows]) >= LEAST_REST_S:
                rests.append(rows)
    if not rests:
        std = ZERO_UNKNOWN_STD_A if stated_std_a is None else stated_std_a
        return np.zeros(raw.size), std, False, []
    levels = [float(np.mean(raw[rows])) for rows in rests]
    size = grain(raw)
    scatter = max(float(np.std(raw[rows])) / np.sqrt(rows.size) for rows in rests)
    # Readings that all fall on one step say no more than that they are on it.
    coarse = size / np.sqrt(12) if max(float(np.std(raw[r])) for r in rests) < 0.5 * size else 0.0
    if len(rests) == 2:
        times = [float(np.mean(time_s[rows])) for rows in rests]
        zero = np.interp(time_s, times, levels)
        moved = abs(levels[1] - levels[0]) / np.sqrt(12)
    else:
        zero = np.full(raw.size, levels[0])
        moved = ONE_REST_SHARE * abs(levels[0])
    std = float(np.sqrt(scatter**2 + coarse**2 + moved**2))
    if max(map(abs, levels)) <= _TOLD_ZERO * high:
        return zero, std, True, []
    told = " and ".join(f"{level:+.3f} A" for level in levels)
    where = "before and after the load" if len(rests) == 2 else "at rest"
    message = f"{name}: {told} {where} was taken as the zero of the current and taken off."
    evidence = {"zero_a": levels[0], "drift_a": levels[-1] - levels[0], "std_a": std}
    return zero, std, True, [ground_finding("discharge-current-zero", message, evidence=evidence)]


def _no_tail(time_s: Array, raw: Array, rows: Index, charging_a: float) -> Index:
    """Rows of a rest without the tail of a charge that dies away before it."""
    charged = np.flatnonzero(raw < charging_a)
    if charged.size < 3 or not rows.size or charged[0] > rows[-1]:
        return rows
    end = raw[rows[time_s[rows] >= time_s[rows[-1]] - _TAIL_S]]
    level = float(np.median(end))
    near = max(5 * 1.4826 * float(np.median(np.abs(end - level))), 2 * grain(raw), 1e-3)
    rows = rows[(np.abs(raw[rows] - level) <= near) & (rows > charged[0])]
    thirds = np.array_split(raw[rows], 3)
    fades = rows.size >= 9 and thirds[0].mean() < thirds[2].mean() - 0.3 * near
    return rows[:0] if fades else rows


# --- noise


def _noise(values: Array, rows: Mask) -> float:
    """White noise of single readings, by their second differences where nothing happens."""
    together = rows[:-2] & rows[1:-1] & rows[2:]
    bends = np.diff(values, 2)[together]
    if bends.size < 5:
        return 0.0
    low = float(np.median(np.abs(bends)))
    calm = bends[np.abs(bends) <= 6 * max(low, 1e-12)]
    return float(np.sqrt(np.mean(calm**2) / 6)) if calm.size else 0.0


def grain(values: Array) -> float:
    """Step in which readings come; 0 where they come in none, or are too few to tell."""
    levels = np.unique(values[np.isfinite(values)][:20_000])
    if levels.size < _LEAST_LEVELS:
        return 0.0
    steps = np.diff(levels)
    steps = steps[steps > 1e-9]
    if not steps.size:
        return 0.0
    most = 0.05 * float(levels[-1] - levels[0])
    for step in (float(steps.min()), *_DECIMALS):
        away = np.abs(steps / step - np.round(steps / step))
        if step <= most and (away < 0.02).mean() > 0.98:
            return step
    return 0.0
