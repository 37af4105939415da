"""How full the battery was, and what of its energy may still be used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.energy import energy_between
from flightlog.analyses.packs import NO_BATTERY, VOLTAGE_SCALE_STD, Battery
from flightlog.analyses.phases import Sortie
from flightlog.analyses.power import Flow
from flightlog.estimation.frames import Array
from flightlog.figures import Answer, Figure
from flightlog.inputs import Inputs
from flightlog.uncertain import Quantity, Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

QUIET_A = 3.0
"""With less current than this the battery is as good as at rest. [A]"""

RESERVE_SHARE = 0.20
"""Of the pack's energy that stays in it, where no file says another: our own choice. [-]"""

PRINTED_STD = 0.05
"""Standard uncertainty of the energy that is printed on a pack. [-]"""

LOSS_STD = 0.5
"""Standard uncertainty of the share that is lost as heat, over the share: the slow parts of the
resistance add to it, and what is printed holds a loss as well. [-]"""

STATE_STD = 0.04
"""Least standard uncertainty of a state of charge by a rest voltage. [-]"""

RESTED_CELL_V = (3.3, 4.25)
"""A lithium-polymer cell at rest, from spent to full. [V]"""

_REST_STD_V = 0.010
_LOOK_S = 10.0
_LEAST_REST_S = 2.0
_MARGIN_S = 1.0
_CHARGED = 1.005
# Rest voltages of two kinds of cell [V]: one after Chen and Rincon-Mora (IEEE Transactions on
# Energy Conversion 21(2), 2006), one that reaches 4.2 V when full, as packs of models do.
_STATES: Array = np.linspace(0.0, 1.0, 101)
_ONE_KIND: Array = (
    -1.031 * np.exp(-35 * _STATES)
    + 3.685
    + 0.2156 * _STATES
    - 0.1178 * _STATES**2
    + 0.3201 * _STATES**3
)
_OTHER_KIND: Array = np.interp(
    _STATES,
    [0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1],
    [3.27, 3.61, 3.69, 3.73, 3.77, 3.79, 3.84, 3.87, 3.95, 4.02, 4.11, 4.20],
)


@dataclass(frozen=True, slots=True)
class Rest:
    """The whole battery at rest: ``volts`` [V] at ``time_s`` [s], log clock."""

    volts: float
    time_s: float


def voltage_of(battery: Battery) -> Flow | None:
    """Voltage of the whole battery: the sum in series, the first monitor's in parallel."""
    if not battery.monitors:
        return None
    first = battery.monitors[0].voltage
    if battery.charges_add:
        return first
    total = sum((m.voltage.at(first.time_s) for m in battery.monitors), np.zeros(first.rate.size))
    return Flow(first.time_s, total, first.total, first.counter[:0], first.counter[:0])


def state_of_charge(cell_v: float) -> Uncertain | None:
    """State of charge of a lithium-polymer cell by its rest voltage. [-]

    Between the curves of two kinds of cell, as unsure as they differ; None outside
    `RESTED_CELL_V`.
    """
    low, high = RESTED_CELL_V
    if not low * (1 - 2 * VOLTAGE_SCALE_STD) <= cell_v <= high * (1 + 2 * VOLTAGE_SCALE_STD):
        return None
    std_v = float(np.hypot(_REST_STD_V, VOLTAGE_SCALE_STD * cell_v))
    trials = np.array([cell_v - std_v, cell_v, cell_v + std_v])
    one, other = (np.interp(trials, curve, _STATES) for curve in (_ONE_KIND, _OTHER_KIND))
    value = float(0.5 * (one[1] + other[1]))
    reading = 0.25 * float(one[2] - one[0] + other[2] - other[0])
    return Uncertain(
        value,
        {
            "kind of cell": max(STATE_STD, 0.5 * abs(float(one[1] - other[1]))),
            "rest voltage": reading,
        },
        "",
    )


def rest_before(battery: Battery, sortie: Sortie) -> Rest | None:
    """Find the battery at rest before a sortie, as early as the log shows it.

    Earlier is better rested. A voltage that is higher right before the sortie tells that the
    battery was changed or charged in between: then that one counts.
    """
    voltage = voltage_of(battery)
    if voltage is None or sortie.starts != "rest":
        return None
    t = voltage.time_s
    amps = np.max([np.abs(m.current.at(t)) for m in battery.monitors], axis=0)
    quiet = np.flatnonzero((amps < QUIET_A) & (t < sortie.start_s - _MARGIN_S))
    if not quiet.size:
        return None
    rests = [
        quiet[t[quiet] <= t[quiet[0]] + _LOOK_S],
        quiet[t[quiet] >= t[quiet[-1]] - _LOOK_S],
    ]
    early, late = (
        Rest(float(np.median(voltage.rate[rows])), float(t[rows[-1]]))
        if rows.size >= 3 and np.ptp(t[rows]) >= _LEAST_REST_S
        else None
        for rows in rests
    )
    if early is None or late is None:
        return early or late
    return late if late.volts > early.volts * _CHARGED else early


def usable_energy_wh(nominal_wh: float, use_share: float, loss_share: float) -> float:
    """Energy that a battery gives until the reserve is left. [Wh]

    Parameters
    ----------
    nominal_wh : float
        Printed energy. [Wh]
    use_share : float
        What is used of it: state of charge less the reserve. [-]
    loss_share : float
        Current times resistance over the voltage without load. [-]
    """
    return nominal_wh * use_share * (1 - loss_share)


def energy_left(
    recording: Recording,
    sortie: Sortie,
    inputs: Inputs,
    battery: Battery,
    resistance: Quantity | str,
) -> Answer:
    """Give battery.energy_left at the end of a sortie.

    Parameters
    ----------
    recording, sortie, inputs, battery
        The log, its flight, the pack that was flown, its monitors.
    resistance : Quantity or str
        Of the whole battery [ohm], or why it isn't known.
    """
    id_ = "battery.energy_left"
    pack, aircraft = inputs.pack, inputs.aircraft
    nominal = pack.nominal_wh if pack is not None else None
    if nominal is None and aircraft is not None:
        nominal = aircraft.battery_nominal_wh
    if battery.reason or "battery" not in recording:
        return Answer(withheld={id_: battery.reason or NO_BATTERY})
    if nominal is None:
        return Answer(
            withheld={id_: "nothing says the battery's energy; write nominal_wh into its file"}
        )
    state, why = _state_before(sortie, inputs, battery)
    if state is None:
        return Answer(withheld={id_: why})
    rest, full = state
    if isinstance(resistance, str):
        return Answer(withheld={id_: f"the loss in the battery is not known: {resistance}"})
    used = energy_between(recording, rest.time_s, sortie.end_s)
    if not isinstance(used, Uncertain):
        return Answer(
            withheld={id_: "too long a part since the rest before the flight has no current"}
        )
    reserve = pack.reserve_share if pack is not None else None
    by = "by the pack file" if reserve is not None else "our own choice; the pack file may say it"
    reserve = RESERVE_SHARE if reserve is None else reserve
    loss = _loss_share(battery, sortie, resistance.value, rest.volts)
    whole = usable_energy_wh(nominal, full.value - reserve, loss)
    sources = {
        "printed energy": PRINTED_STD * whole,
        "loss": LOSS_STD * loss * nominal * (full.value - reserve),
        **{n: nominal * (1 - loss) * e for n, e in full.sources.items()},
    }
    method = (
        f"{nominal:.1f} Wh as printed, {100 * full.value:.0f} % full at {rest.volts:.2f} V before "
        f"the flight (± {200 * full.std:.0f} %), less {100 * reserve:.0f} % reserve ({by}), "
        f"{100 * loss:.1f} % lost in the resistance and {used.value:.1f} Wh used since"
    )
    quantity = Uncertain(whole, sources, "Wh") - used
    return Answer({id_: Figure(id_, quantity, method, ("battery", "declared"))})


def _state_before(
    sortie: Sortie, inputs: Inputs, battery: Battery
) -> tuple[tuple[Rest, Uncertain] | None, str]:
    """How full the battery was, and when; or why that is not known."""
    pack, aircraft = inputs.pack, inputs.aircraft
    cells = pack.cells if pack is not None else None
    if cells is None and aircraft is not None:
        cells = aircraft.cells
    if not cells:
        return None, "nothing says how many cells the battery has; write cells into its file"
    rest = rest_before(battery, sortie)
    if rest is None:
        return None, (
            "the log shows no rest before the flight, so nothing says how full the battery was; "
            "start the log at least 10 s before the throttle is opened"
        )
    full = state_of_charge(rest.volts / cells)
    if full is None:
        return None, (
            f"{rest.volts:.2f} V at rest is no voltage of {cells} lithium-polymer cells; check "
            "cells in the file"
        )
    return (rest, full), ""


def state_before(sortie: Sortie, inputs: Inputs, battery: Battery) -> Uncertain | None:
    """State of charge before a sortie [-]; None where nothing says it."""
    state, _ = _state_before(sortie, inputs, battery)
    return None if state is None else state[1]


def _loss_share(battery: Battery, sortie: Sortie, ohm: float, volts: float) -> float:
    """Share of the energy that becomes heat: means of I² R over means of I V without load."""
    first = battery.monitors[0].current
    rows = (first.time_s >= sortie.start_s) & (first.time_s <= sortie.end_s)
    t = first.time_s[rows]
    if not t.size:
        return 0.0
    flows = [m.current.at(t) for m in battery.monitors]
    amps = np.sum(flows, axis=0) if battery.charges_add else np.mean(flows, axis=0)
    total = float(np.sum(np.abs(amps)))
    return min(0.5, float(np.sum(amps**2)) / total * ohm / volts) if total > 0 else 0.0
