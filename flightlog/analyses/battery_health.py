"""Whether the battery ages: its resistance, what follows from it, and its cells.

What "resistance at the 1 s scale" means stands in `flightlog.estimation.resistance`. It is that
of everything between the cells and the sensor of the voltage, wiring included, and compares only
with itself: the same aircraft, the same sensors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses import battery_cells
from flightlog.analyses.battery_left import QUIET_A, energy_left, state_before, voltage_of
from flightlog.analyses.battery_worn import KEY, KEY_25C, not_excluded, worn
from flightlog.analyses.packs import CURRENT_SCALE_STD, VOLTAGE_SCALE_STD, Battery, battery_of
from flightlog.analyses.phases import Sortie
from flightlog.constants import COULOMB_PER_AH, ZERO_CELSIUS_K
from flightlog.estimation.frames import Array
from flightlog.estimation.pack_temperature import AIR_IS_PACK_STD, at_25c, law_std, sensor_std
from flightlog.estimation.resistance import Resistance, fit_resistance
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding
from flightlog.inputs import Inputs
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

LEAST_STATE = 0.30
"""Below this state of charge the resistance of a sound pack rises; it is not fitted. [-]"""

LARGEST_STD = 0.035
"""With a larger standard uncertainty, scales of the sensors left out, a resistance is not
identifiable from the flight. [-]"""

_NOMINAL_CELL_V = 3.7
_LEAST_SPREAD = 0.15
_SLOW_S = 1.0
_SAG = "battery.sag"


def answer(recording: Recording, sortie: Sortie, inputs: Inputs) -> Answer:
    """Give resistance, sag, usable energy left and cell spread of the battery in one sortie.

    Parameters
    ----------
    recording, sortie
        The log and one flight of it.
    inputs : Inputs
        Pack, aircraft and air temperature, where they are given.
    """
    battery = battery_of(recording)
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    findings: list[Finding] = []
    measured = _measure(battery, sortie, inputs)
    if isinstance(measured, str):
        withheld |= dict.fromkeys((KEY, KEY_25C, _SAG), measured)
        if battery.monitors:
            findings += not_excluded(measured, inputs)
    else:
        figures[KEY] = Figure(KEY, measured.quantity, measured.method, ("battery",))
        _add_at_25c(recording, sortie, inputs, measured, figures, withheld)
        _add_sag(inputs, measured, figures, withheld)
        findings += worn(inputs, figures, sortie)
    left = energy_left(
        recording,
        sortie,
        inputs,
        battery,
        measured if isinstance(measured, str) else measured.quantity,
    )
    cells = battery_cells.answer(recording, sortie, inputs)
    return Answer(
        {**figures, **left.figures, **cells.figures},
        {**withheld, **left.withheld, **cells.withheld},
        (*findings, *cells.findings),
    )


@dataclass(frozen=True, slots=True)
class _Measured:
    """A resistance, how it was had, and the stretch that it is of [s]."""

    quantity: Uncertain
    method: str
    window_s: tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Series:
    """The whole battery: times [s], current [A], voltage [V]."""

    time_s: Array
    amps: Array
    volts: Array


def _measure(battery: Battery, sortie: Sortie, inputs: Inputs) -> _Measured | str:
    """Fit the whole battery, or say why it can't be had and what to do."""
    if battery.reason:
        return battery.reason
    series, until = _series(battery, sortie, inputs)
    fit = (
        fit_resistance(
            series.time_s, series.amps, series.volts, noise_a=_current_noise(series, sortie)
        )
        if series.time_s.size
        else None
    )
    if fit is None or not fit.ohm > 0 or fit.std_ohm > LARGEST_STD * fit.ohm:
        return _why_not(series, fit)
    return _Measured(
        _with_scales(fit, battery, series),
        _method(fit, battery, sortie, until),
        (float(series.time_s[0]), float(series.time_s[-1])),
    )


def _series(battery: Battery, sortie: Sortie, inputs: Inputs) -> tuple[_Series, str]:
    """Cut current and voltage of the whole battery to what is fitted, and say to where."""
    voltage = voltage_of(battery)
    if voltage is None:
        return _Series(*[np.empty(0)] * 3), ""
    t = voltage.time_s
    flows = [m.current.at(t) for m in battery.monitors]
    amps = np.sum(flows, axis=0) if battery.charges_add else np.mean(flows, axis=0)
    start = max(sortie.search_s[0], float(t[0])) if sortie.starts == "rest" else sortie.start_s
    rows = (t >= start) & (t <= sortie.end_s)
    for monitor in battery.monitors:
        for a, b in monitor.clipped_s:
            rows &= (t < a - _SLOW_S) | (t > b + _SLOW_S)
    until = "the state of charge is not known, so no part of the flight was left out"
    capacity, state = _capacity_c(inputs), state_before(sortie, inputs, battery)
    if capacity is not None and state is not None and rows.any():
        steps = np.diff(t, prepend=t[0])
        taken = np.cumsum(np.where(rows, amps * np.minimum(steps, _SLOW_S * 10), 0.0))
        rows &= taken <= max(0.0, state.value - LEAST_STATE) * capacity
        until = f"down to {100 * LEAST_STATE:.0f} % of charge"
    return _Series(t[rows], amps[rows], voltage.rate[rows]), until


def _capacity_c(inputs: Inputs) -> float | None:
    """Capacity of the pack as printed, or as its energy tells it. [C]"""
    pack, aircraft = inputs.pack, inputs.aircraft
    if pack is not None and pack.capacity_ah:
        return pack.capacity_ah * COULOMB_PER_AH
    energy = (pack.nominal_wh if pack is not None else None) or (
        aircraft.battery_nominal_wh if aircraft is not None else None
    )
    cells = (pack.cells if pack is not None else None) or (
        aircraft.cells if aircraft is not None else None
    )
    if not energy or not cells:
        return None
    return energy / (cells * _NOMINAL_CELL_V) * COULOMB_PER_AH


def _current_noise(series: _Series, sortie: Sortie) -> float:
    """White noise of one reading of the current: at rest, else by its second differences. [A]"""
    rest = (series.time_s < sortie.start_s - 1.0) & (np.abs(series.amps) < QUIET_A)
    if rest.sum() >= 10:
        return float(np.sqrt(np.mean(np.diff(series.amps[rest], 2) ** 2) / 6))
    if series.amps.size < 10:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(series.amps, 2))) / math.sqrt(6))


def _with_scales(fit: Resistance, battery: Battery, series: _Series) -> Uncertain:
    """Add what the scales of the sensors make of it; named as in the energy, shared with it."""
    sources = {"fit": fit.std_ohm}
    rows = [max(0.0, float(np.mean(np.abs(m.current.at(series.time_s))))) for m in battery.monitors]
    total = sum(rows) or 1.0
    for monitor, level in zip(battery.monitors, rows, strict=True):
        tail = "" if monitor.instance == 0 else f" {monitor.instance + 1}"
        share = level / total
        # A current that is read too large makes the resistance too small.
        sources[f"current scale{tail}"] = -CURRENT_SCALE_STD * share * fit.ohm
        voltage_share = 1.0 if battery.charges_add else 1.0 / len(battery.monitors)
        if not battery.charges_add or monitor is battery.monitors[0]:
            sources[f"voltage scale{tail}"] = VOLTAGE_SCALE_STD * voltage_share * fit.ohm
    return Uncertain(fit.ohm, sources, "ohm")


def _method(fit: Resistance, battery: Battery, sortie: Sortie, until: str) -> str:
    words = [
        f"voltage lost in the first second after a step of the current, by 1 s means over "
        f"{fit.seconds:.0f} s with slow parts fitted beside it",
        until,
        f"the interval holds {100 * CURRENT_SCALE_STD:.1f} % (1 sigma) for the scale of the "
        "current sensor",
    ]
    if len(battery.monitors) > 1:
        joint = "parallel" if battery.charges_add else "series"
        factor = len(battery.monitors) if battery.charges_add else 1 / len(battery.monitors)
        words.append(
            f"whole battery of {len(battery.monitors)} packs in {joint}; one pack of it alike "
            f"the others {fit.ohm * factor:.4f} ohm"
        )
    if sortie.starts != "rest":
        words.append("the log does not show the rest before, so slow parts are less sure")
    return "; ".join(words)


def _why_not(series: _Series, fit: Resistance | None) -> str:
    """Say why the flight does not tell the resistance, and what to do."""
    t, amps = series.time_s, series.amps
    length = float(t[-1] - t[0]) if t.size else 0.0
    if length < 60:
        return (
            f"resistance not identifiable: {length:.0f} s of battery data above 30 % of charge, "
            "60 s are needed; log voltage and current through the whole flight"
        )
    step = float(np.median(np.diff(t)))
    if step > _SLOW_S:
        return (
            f"resistance not identifiable: battery samples are {step:.1f} s apart; log voltage "
            "and current at 5 Hz"
        )
    spread, most = float(amps.std()), float(np.abs(amps).max())
    if spread < _LEAST_SPREAD * most or most < QUIET_A:
        return (
            f"resistance not identifiable: the current hardly changes ({spread:.1f} A about "
            f"{float(amps.mean()):.1f} A); fly with more changes of power"
        )
    if fit is None or not fit.ohm > 0:
        return (
            "resistance not identifiable: the voltage does not fall when the current rises; log "
            "both at the battery, at 5 Hz"
        )
    return (
        f"resistance not identifiable: voltage and current agree too little "
        f"(± {200 * min(fit.std_ohm / fit.ohm, 9.99):.0f} %); log both with the same sensor at "
        "5 Hz, and fly with more changes of power"
    )


def _add_at_25c(
    recording: Recording,
    sortie: Sortie,
    inputs: Inputs,
    measured: _Measured,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    quantity = measured.quantity
    kelvin = _pack_temperature(recording, measured.window_s)
    if kelvin is not None:
        factor = at_25c(1.0, kelvin)
        scaled = quantity.scaled(factor, "ohm")
        scaled = scaled.widened(scaled.value * law_std(kelvin), "temperature law")
        scaled = scaled.widened(scaled.value * sensor_std(kelvin), "pack temperature")
        how = f"pack at {kelvin - ZERO_CELSIUS_K:.0f} °C by its own sensor"
    elif inputs.air is not None:
        kelvin = inputs.air.temperature_k
        scaled = quantity.scaled(at_25c(1.0, kelvin), "ohm")
        scaled = scaled.widened(AIR_IS_PACK_STD * scaled.value, "pack temperature")
        how = (
            f"pack taken to be as warm as the air, {kelvin - ZERO_CELSIUS_K:.0f} °C: 20 % "
            "(1 sigma) allowed, 10 K; log the pack's temperature"
        )
    else:
        withheld[KEY_25C] = (
            "the temperature of the pack is not known; log it, or give that of the air"
        )
        return
    figures[KEY_25C] = Figure(KEY_25C, scaled, how, ("battery",))


def _pack_temperature(recording: Recording, window_s: tuple[float, float]) -> float | None:
    """Median over the fit. [K]"""
    table = recording.get("battery")
    if table is None or "temperature_k" not in table:
        return None
    t = table["time_s"].to_numpy(dtype=float)
    kelvin = table["temperature_k"].to_numpy(dtype=float, na_value=np.nan)
    with np.errstate(invalid="ignore"):
        good = (t >= window_s[0]) & (t <= window_s[1]) & (kelvin > 230) & (kelvin < 400)
    return float(np.median(kelvin[good])) if good.sum() >= 3 else None


def _add_sag(
    inputs: Inputs, measured: _Measured, figures: dict[str, Figure], withheld: dict[str, str]
) -> None:
    amps = inputs.pack.reference_current_a if inputs.pack is not None else None
    if not amps:
        withheld[_SAG] = (
            "the reference current is not known; write reference_current_a into the pack's file "
            "and give it with --pack"
        )
        return
    figures[_SAG] = Figure(
        _SAG,
        measured.quantity.scaled(amps, "V"),
        f"battery.resistance times {amps:.0f} A of the pack file",
        ("battery", "declared"),
    )
