"""What the reduction of a discharge is told of pack and instruments, and what it assumes."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass

from flightlog.groundtests.discharge_rows import Rows

CURRENT_SCALE_STD, VOLTAGE_SCALE_STD = 0.025, 0.005
"""Of instruments that nobody compared with another: as in flights. [-]"""

CELL_STD_V = 0.010
"""Of the reading of one cell against another where nothing is stated: 20 mV at most. [V]"""

TEMPERATURE_STD_K = 1.0
"""Of a rise of temperature where nothing is stated: 2 K at most. [K]"""

MASS_STD = 0.005
"""Of a mass whose scales are not stated: 1 % at most. [-]"""

CAPACITY, ENERGY = "discharge.capacity", "discharge.energy"
SHARE, MEAN_V, RATE = "discharge.nominal_share", "discharge.mean_voltage", "discharge.rate"
OHM, OHM_25C = "discharge.resistance", "discharge.resistance_25c"
PER_KG, USABLE = "discharge.energy_per_kg", "discharge.usable_energy"
RISE, SPREAD = "discharge.temperature_rise", "discharge.cell_spread"
EVERY = (
    CAPACITY, ENERGY, SHARE, MEAN_V, RATE, OHM, OHM_25C, PER_KG, USABLE, RISE, SPREAD,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Setup:
    """What the reduction has to know besides the files.

    Attributes
    ----------
    cells : int or None
        In series.
    cutoff_cell_v : float or None
        Voltage per cell under load at which the discharge ends. [V]
    charged_cell_v : float or None
        Voltage per cell to which the pack was charged before. [V]
    nominal_capacity_ah : float or None
        As printed on the pack. [Ah]
    mass_kg, mass_std_kg : float or None
        Of the pack, with standard uncertainty. [kg]
    reserve_share : float or None
        Of its energy, that stays in it at landing. [-]
    ambient_c : float or None
        Temperature of the room in which the pack had lain, where none was logged. [°C]
    current_scale_std, voltage_scale_std : float or None
        Standard uncertainty of the scales of the sensors. [-]
    current_zero_std_a : float or None
        Of the zero of the current, where no rest shows it. [A]
    cell_std_v, temperature_std_k : float or None
        Standard uncertainty of a cell against another, and of a rise of temperature. [V], [K]
    """

    cells: int | None = None
    cutoff_cell_v: float | None = None
    charged_cell_v: float | None = None
    nominal_capacity_ah: float | None = None
    mass_kg: float | None = None
    mass_std_kg: float | None = None
    reserve_share: float | None = None
    ambient_c: float | None = None
    current_scale_std: float | None = None
    voltage_scale_std: float | None = None
    current_zero_std_a: float | None = None
    cell_std_v: float | None = None
    temperature_std_k: float | None = None

    @property
    def cutoff_v(self) -> float | None:
        """Cut-off of the pack. [V]"""
        if self.cells is None or self.cutoff_cell_v is None:
            return None
        return self.cells * self.cutoff_cell_v


def assumed(
    setup: Setup, every: Sequence[Rows], figures: Container[str]
) -> list[tuple[str, tuple[str, ...]]]:
    """What had to be assumed of the instruments, and which figures it widened."""
    charge = (CAPACITY, ENERGY, SHARE, RATE, PER_KG, USABLE)
    ohm = (OHM, OHM_25C)
    found: list[tuple[str, tuple[str, ...]]] = []
    if setup.current_scale_std is None:
        told = f"scale of the current: {100 * CURRENT_SCALE_STD:g} % (current_scale_std)"
        found.append((told, (*charge, *ohm)))
    if setup.voltage_scale_std is None:
        told = f"scale of the voltage: {100 * VOLTAGE_SCALE_STD:g} % (voltage_scale_std)"
        found.append((told, (ENERGY, MEAN_V, PER_KG, USABLE, *ohm)))
    if setup.current_zero_std_a is None and any(not rows.zero_shown for rows in every):
        std = max(rows.zero_std_a for rows in every if not rows.zero_shown)
        found.append((f"zero of the current: {std:g} A (current_zero_std_a)", charge))
    if setup.cell_std_v is None:
        found.append((f"cells: {1e3 * CELL_STD_V:g} mV (cell_std_v)", (SPREAD,)))
    if setup.temperature_std_k is None:
        found.append((f"temperature: {TEMPERATURE_STD_K:g} K (temperature_std_k)", (RISE,)))
    if setup.mass_std_kg is None:
        found.append((f"mass: {100 * MASS_STD:g} % (mass_std_kg)", (PER_KG,)))
    given = [(text, tuple(i for i in ids if i in figures)) for text, ids in found]
    return [(text, ids) for text, ids in given if ids]
