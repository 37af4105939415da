"""Voltage and current by tens: what a pack, its cells and the height gained allow.

Integers such as millivolts or hundredths of an ampere are off by powers of ten when their scale
was lost. Three physical bounds tell: a cell's voltage, the energy that a battery can hold, and
the energy that lifting the aircraft takes. Values outside of the columns' ranges are judged in
`flightlog.screening.out_of_range`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.constants import G0_M_S2, JOULE_PER_WH
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.series import column, finite, read_fixes, samples, unit_remedy

if TYPE_CHECKING:
    from flightlog.analyses.phases import Sortie
    from flightlog.inputs import Inputs
    from flightlog.recording import Recording
    from flightlog.screening.context import LogView

TENS = (1e-3, 1e-2, 1e-1, 1e1, 1e2, 1e3)
"""Factors of a lost scale: true value over the one in the log. [-]"""

CELL_V = (2.5, 4.45)
"""A lithium cell in use, from empty under load to full of the highest kind. [V]"""

_FAR = 2.0
"""Half or twice a cell's voltage is a wrong number of cells, not a scale. [-]"""

_CURRENT_FIGURES = (*("energy.*", "charge.used", "battery.max_current", "battery.max_power"),)
_VOLTAGE_FIGURES = ("energy.*", "battery.min_voltage", "battery.max_power", "battery.resistance")


@dataclass(frozen=True, slots=True)
class Pack:
    """One battery monitor."""

    instance: int
    time_s: Array
    voltage_v: Array
    current_a: Array
    charge_c: Array

    def energy_j(self, start_s: float, end_s: float) -> float:
        """Energy taken in a window; NaN without samples. [J]"""
        good = np.isfinite(self.voltage_v) & np.isfinite(self.current_a)
        good &= (self.time_s >= start_s) & (self.time_s <= end_s)
        if good.sum() < 5:
            return float("nan")
        power, t = (self.voltage_v * self.current_a)[good], self.time_s[good]
        return float(np.sum(np.diff(t) * (power[1:] + power[:-1]) / 2))


def packs(recording: Recording) -> list[Pack]:
    """All battery monitors with a voltage or a current."""
    table = recording.get("battery")
    if table is None:
        return []
    instance = column(table, "instance") if "instance" in table else np.zeros(len(table))
    names = ("time_s", "voltage_v", "current_a", "charge_used_coulomb")
    columns = [column(table, n) for n in names]
    return [
        Pack(int(one), *(values[instance == one] for values in columns))
        for one in np.unique(instance[np.isfinite(instance)])
    ]


def cell_scale(voltage_v: float, cells: int) -> float | None:
    """Power of ten by which a pack voltage has to be multiplied to be one of so many cells.

    None when it is within twice of a cell's range as it is, or when no power of ten fits.
    """
    low, high = CELL_V[0] / _FAR, CELL_V[1] * _FAR
    if low <= voltage_v / cells <= high:
        return None
    fits = [f for f in TENS if CELL_V[0] <= voltage_v * f / cells <= CELL_V[1]]
    return fits[0] if fits else None


MOST_OF_NOMINAL = 2.0
"""No battery gives twice the energy that is printed on it. [-]"""

FLOWN_SHARE = (0.03, 1.2)
"""Share of its nominal energy that a flight takes. [-]"""


def nominal_scale(energy_j: float, nominal_j: float) -> float | None:
    """Power of ten that makes an impossible energy one that a flight takes; None if possible."""
    if energy_j <= MOST_OF_NOMINAL * nominal_j:
        return None
    low, high = FLOWN_SHARE
    fits = [f for f in (0.1, 0.01, 0.001) if low <= energy_j * f / nominal_j <= high]
    return fits[0] if fits else None


LEAST_LIFT, MOST_LIFT = 0.75, 100.0
"""Electrical energy of a climb over that of the height gained: below 1 it can't be (less a
quarter for sensors and a rising air); real aircraft need 2 to 30 times as much. [-]"""

USUAL_LIFT = (1.5, 30.0)

_LEAST_GAIN_M = 20.0
_CLIMB_S = 60.0


def lift_scale(energy_j: float, lift_j: float) -> float | None:
    """Power of ten that makes the energy of a climb a possible one; None if it is possible."""
    ratio = energy_j / lift_j
    if LEAST_LIFT <= ratio <= MOST_LIFT or ratio <= 0:
        return None
    low, high = USUAL_LIFT
    fits = [f for f in TENS if low <= ratio * f <= high]
    return min(fits, key=lambda f: abs(np.log(ratio * f / 6.0))) if fits else None


def scaled_integers(view: LogView) -> Iterable[Finding]:
    """Find voltages and currents that are off by a power of ten (`scaled-integers`)."""
    found = packs(view.recording)
    odd_voltage = [f for pack in found for f in _voltage(pack, view)]
    yield from odd_voltage
    if odd_voltage:
        return  # energies would only say the same again
    energy = list(_energy(found, view))
    yield from energy
    if not energy:
        for pack in found:
            yield from _counter(pack, view)


def _voltage(pack: Pack, view: LogView) -> Iterable[Finding]:
    volts = pack.voltage_v[np.isfinite(pack.voltage_v)]
    if len(volts) < 5:
        return
    middle = float(np.median(volts))
    cells = view.inputs.aircraft.cells if view.inputs.aircraft is not None else None
    if cells is not None:
        scale = cell_scale(middle, cells)
        what = f"{cells} cells"
    else:
        # No cell that lifts an aircraft stays under 2.5 V, full or empty.
        low = bool(view.sorties) and float(np.max(volts)) < CELL_V[0]
        scale = next((f for f in (10.0, 100.0) if middle * f >= CELL_V[0]), None) if low else None
        what = "any battery that flew"
    if scale is None:
        return
    yield make_finding(
        "scaled-integers",
        f"The voltage of pack {pack.instance} is {middle:.4g} V in the middle, impossible for "
        f"{what}: {scale:g} times as much, {middle * scale:.4g} V, would fit.",
        evidence={"column": "battery.voltage_v", "middle_v": middle, "scale": scale},
        affects=_VOLTAGE_FIGURES,
        remedy=unit_remedy(view.recording),
    )


def _energy(found: list[Pack], view: LogView) -> Iterable[Finding]:
    for sortie in view.sorties:
        energy = _energy_of(found, sortie.start_s, sortie.end_s)
        nominal = _nominal_j(view.inputs)
        scale = nominal_scale(energy, nominal) if nominal is not None else None
        if scale is not None and nominal is not None:
            why = (
                f"flight {sortie.number} took {energy / JOULE_PER_WH:.4g} Wh of a battery of "
                f"{nominal / JOULE_PER_WH:.4g} Wh"
            )
            yield _current_finding(view, scale, why, energy / nominal)
            return
        climbed = _lift(view, sortie, found)
        scale = lift_scale(*climbed) if climbed is not None else None
        if scale is not None and climbed is not None:
            ratio = climbed[0] / climbed[1]
            why = (
                f"the first climb of flight {sortie.number} took {ratio:.3g} times the energy of "
                "the height gained"
            )
            yield _current_finding(view, scale, why, ratio)
            return


def _current_finding(view: LogView, scale: float, why: str, ratio: float) -> Finding:
    return make_finding(
        "scaled-integers",
        f"By battery.current_a {why}, which can't be: {scale:g} times the current would fit.",
        evidence={"column": "battery.current_a", "ratio": ratio, "scale": scale},
        affects=_CURRENT_FIGURES,
        remedy=unit_remedy(view.recording),
    )


def _energy_of(found: list[Pack], start_s: float, end_s: float) -> float:
    parts = [pack.energy_j(start_s, end_s) for pack in found]
    whole = [p for p in parts if np.isfinite(p)]
    return sum(whole) if whole else float("nan")


def _nominal_j(inputs: Inputs) -> float | None:
    nominal = inputs.aircraft.battery_nominal_wh if inputs.aircraft is not None else None
    return nominal * JOULE_PER_WH if nominal else None


def _lift(view: LogView, sortie: Sortie, found: list[Pack]) -> tuple[float, float] | None:
    """Electrical energy and energy of the height gained in the first minute. [J], [J]"""
    kg = view.inputs.mass.kg if view.inputs.mass is not None else None
    if kg is None and view.inputs.aircraft is not None:
        kg = view.inputs.aircraft.reference_kg
    heights = _heights(view.recording)
    if kg is None or heights is None:
        return None
    t, h = heights
    inside = (t >= sortie.start_s) & (t <= min(sortie.end_s, sortie.start_s + _CLIMB_S))
    if inside.sum() < 5:
        return None
    t, h = t[inside], h[inside]
    # Where nearly all of the height is gained: what comes after is cruise.
    top = int(np.argmax(h >= h[0] + 0.95 * (h.max() - h[0])))
    gain = float(h[top] - h[0])
    energy = _energy_of(found, float(t[0]), float(t[top]))
    if gain < _LEAST_GAIN_M or not np.isfinite(energy):
        return None
    return energy, kg * G0_M_S2 * gain


def _heights(recording: Recording) -> tuple[Array, Array] | None:
    baro = recording.one("baro")
    if baro is not None:
        t, h = samples(baro, "height_m")
    else:
        fixes = read_fixes(recording)
        if fixes is None:
            return None
        t, h = finite(fixes.time_s, fixes.altitude_m)
    return (t, h) if len(t) >= 5 else None


COUNTER_TOLERANCE = 0.1
_LEAST_CHARGE_C = 36.0  # 10 mAh
_COULOMB_PER_MAH = 3.6


def counter_scale(counted_c: float, summed_c: float) -> float | None:
    """Power of ten, or 3.6, by which a counter is off the sum of its own currents; None if not."""
    if min(abs(counted_c), abs(summed_c)) <= 0:
        return None
    ratio = counted_c / summed_c
    factors = (*TENS, _COULOMB_PER_MAH, 1 / _COULOMB_PER_MAH)
    return next((f for f in factors if abs(ratio / f - 1) <= COUNTER_TOLERANCE), None)


def _counter(pack: Pack, view: LogView) -> Iterable[Finding]:
    good = np.isfinite(pack.charge_c) & np.isfinite(pack.current_a)
    if good.sum() < 20:
        return
    t, amps, charge = pack.time_s[good], pack.current_a[good], pack.charge_c[good]
    summed = float(np.sum(np.diff(t) * (amps[1:] + amps[:-1]) / 2))
    counted = float(charge[-1] - charge[0])
    if max(abs(summed), abs(counted)) < _LEAST_CHARGE_C:
        return
    scale = counter_scale(counted, summed)
    if scale is None:
        return
    yield make_finding(
        "scaled-integers",
        f"The charge counter of pack {pack.instance} moved by {counted:.4g} C while its current "
        f"sums up to {summed:.4g} C, {scale:.3g} times as much: one of them is in another unit.",
        evidence={"counted_c": counted, "summed_c": summed, "scale": scale},
        affects=_CURRENT_FIGURES,
        remedy=unit_remedy(view.recording),
    )
