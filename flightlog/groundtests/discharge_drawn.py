"""Charge and energy of a discharge, with what each error source makes of them.

Current and power are straight lines between rows. Where rows are missing the logger's own counter
counts; without one a straight line does, and the interval says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.groundtests.discharge_rows import Index, Rows
from flightlog.groundtests.discharge_run import Drawn, Run

MOST_BLIND = 0.05
"""With more of its time without rows and without a counter a discharge tells no charge. [-]"""

BLIND_STD = 0.25
"""Standard uncertainty of a current that no row shows, over that on both sides of it. [-]"""

LEVEL_SHARE = 0.10
"""Currents that differ by less, against that of the load, are of one level. [-]"""

_COUNTED_VOLTS_STD = 0.02


def integrated(run: Run) -> Run:
    """Integrate a discharge from the load on to its end.

    Parameters
    ----------
    run : Run
        With its ends found.

    Returns
    -------
    Run
        With charge, energy, and the time under load and without rows.
    """
    rows = run.rows
    # The row before the load belongs to it: somewhere between the two the load went on.
    begin = max(run.first, run.load_on - 1)
    if rows.time_s[run.load_on] - rows.time_s[begin] > rows.gap_s:
        begin = run.load_on
    parts = _Parts.of(run, begin)
    bridge = _bridged(rows, begin, parts)
    loaded = rows.loaded[begin : begin + parts.t.size].astype(float)
    load_s = float(np.sum(0.5 * parts.steps * (loaded[1:] + loaded[:-1])))
    of_charge, of_energy = parts.sources(rows, load_s), parts.power_sources(rows, load_s)
    if run.reached and run.slope_v_s < 0:
        late = math.hypot(run.end_std_s, run.short_v / run.slope_v_s)
        of_charge["cut-off"] = run.end_a * late
        of_energy["cut-off"] = of_charge["cut-off"] * float(rows.volts[run.load_off])
    if bridge.blind_s or bridge.counted_s:
        of_charge["missing rows"], of_energy["missing rows"] = bridge.std_c, bridge.std_j
    if begin == run.load_on:
        # The load was on before the file; at least a row's time of it may be missing.
        lost = rows.step_s * abs(float(parts.amps[0])) / math.sqrt(3)
        of_charge["start"], of_energy["start"] = lost, lost * float(rows.volts[begin])
    span = slice(run.first, run.last)
    time_s, amps = rows.time_s[span], rows.amps[span]
    total = np.append(0.0, np.cumsum(0.5 * (amps[1:] + amps[:-1]) * np.diff(time_s)))
    total -= np.interp(rows.time_s[begin], time_s, total)
    return replace(
        run,
        charge=Drawn(float(parts.weight @ parts.amps) + bridge.more_c, of_charge),
        energy=Drawn(float(parts.weight @ parts.power) + bridge.more_j, of_energy),
        load_s=load_s,
        blind_s=bridge.blind_s,
        counted_s=bridge.counted_s,
        charge_at=total,
    )


@dataclass(frozen=True, slots=True)
class _Bridge:
    """What holes make of the integrals.

    ``more_c``, ``more_j``: what the counter adds to straight lines [C], [J]; ``std_c``, ``std_j``:
    1 sigma of what was bridged; ``blind_s``, ``counted_s``: time without rows, by a straight line
    and by the counter. [s]
    """

    more_c: float
    more_j: float
    std_c: float
    std_j: float
    blind_s: float
    counted_s: float


def _bridged(rows: Rows, begin: int, parts: _Parts) -> _Bridge:
    more_c = more_j = std_c = std_j = blind = counted = 0.0
    for i in parts.long.tolist():
        step = float(parts.steps[i])
        level = max(abs(float(parts.amps[i])), abs(float(parts.amps[i + 1])))
        volts = 0.5 * float(rows.volts[begin + i] + rows.volts[begin + i + 1])
        count = _counted(rows, begin + i, step)
        if count is None:
            blind += step
            std_c += BLIND_STD * level * step
            std_j += BLIND_STD * level * step * volts
            continue
        more = count - 0.5 * float(parts.amps[i] + parts.amps[i + 1]) * step
        more_c, more_j, counted = more_c + more, more_j + more * volts, counted + step
        std_j += _COUNTED_VOLTS_STD * abs(count) * volts
    return _Bridge(more_c, more_j, std_c, std_j, blind, counted)


def _weights(t: Array, t_end: float) -> Array:
    """What each row counts in the trapezoids from the first row to a time in the last interval."""
    weight = np.zeros(t.size)
    steps = np.diff(t)
    weight[:-1] += 0.5 * steps
    weight[1:] += 0.5 * steps
    if t.size > 1 and steps[-1] > 0:
        share = min(max((t_end - t[-2]) / steps[-1], 0.0), 1.0)
        weight[-2] += steps[-1] * (share - 0.5 * share**2 - 0.5)
        weight[-1] += steps[-1] * (0.5 * share**2 - 0.5)
    return weight


def _counted(rows: Rows, i: int, step_s: float) -> float | None:
    """Growth of the logger's own counter over a hole, its zero taken off. [C]"""
    counter = rows.counter_c
    if counter is None:
        return None
    growth = abs(float(counter[i + 1] - counter[i]))
    if not math.isfinite(growth) or growth == 0:
        return None
    drift = float(rows.raw_amps[i] - rows.amps[i]) * step_s
    fits = growth <= 1.5 * step_s * float(np.max(np.abs(rows.amps)))
    return growth - drift if fits else None


@dataclass(frozen=True, slots=True)
class _Parts:
    """What an integral is made of.

    ``t`` [s], ``amps`` [A], ``power`` [W]: at its rows; ``steps``: of time [s], the last cut at the
    end; ``long``: which of them are holes; ``weight``: what each row counts. [s]
    """

    t: Array
    amps: Array
    power: Array
    steps: Array
    long: Index
    weight: Array

    @classmethod
    def of(cls, run: Run, begin: int) -> _Parts:
        """Take the rows from one to the first at or after the end."""
        rows = run.rows
        t = rows.time_s[begin : run.last]
        t_end = min(max(run.end_s, float(t[0])), float(t[-1]))
        stop = int(np.searchsorted(t, t_end, side="left")) + 1
        t, amps = t[:stop], rows.amps[begin : begin + stop]
        steps = np.minimum(np.diff(t), np.maximum(t_end - t[:-1], 0.0))
        long = np.flatnonzero(steps > rows.gap_s)
        power = amps * rows.volts[begin : begin + stop]
        return cls(t, amps, power, steps, long, _weights(t, t_end))

    def _sampling(self, rate: Array, noise: float, least: float) -> float:
        """Noise of the rows, and switching of the load at unknown times between two rows."""
        jump = np.abs(np.diff(rate))
        step = np.where(jump > least, jump * self.steps, 0.0)
        step[self.long] = 0.0
        return math.sqrt(noise**2 * float(self.weight @ self.weight) + float(step @ step) / 12)

    def sources(self, rows: Rows, load_s: float) -> dict[str, float]:
        """Effects on the charge of all but the scale. [C]"""
        seconds = float(self.weight.sum())
        # A zero that is off counts for all of the time; a reading that never leaves its step is
        # off by a part of that step.
        coarse = rows.grain_a / math.sqrt(12) if rows.noise_a < 0.3 * rows.grain_a else 0.0
        return {
            "current zero": rows.zero_std_a * seconds,
            "current steps": coarse * load_s,
            "sampling": self._sampling(
                self.amps, rows.noise_a, max(LEVEL_SHARE * rows.high_a, 6 * rows.noise_a)
            ),
        }

    def power_sources(self, rows: Rows, load_s: float) -> dict[str, float]:
        """Effects on the energy of all but the scales. [J]"""
        volts = float(np.median(rows.volts))
        noise = math.hypot(rows.noise_a * volts, rows.noise_v * rows.high_a)
        least = volts * max(LEVEL_SHARE * rows.high_a, 6 * rows.noise_a)
        charge = self.sources(rows, load_s)
        return {
            "current zero": charge["current zero"] * volts,
            "current steps": charge["current steps"] * volts,
            "sampling": self._sampling(self.power, noise, least),
        }
