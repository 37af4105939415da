"""Columns whose values can't be measurements: what unit they would have to be in.

Importers leave such values out, each with its count and its middle in the evidence of
`values-out-of-range`. When they are a large share, it was not damage but the unit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from flightlog.columns import TABLES
from flightlog.constants import FOOT_M
from flightlog.findings import Finding, make_finding
from flightlog.screening.series import FIGURES_OF, column, unit_remedy

if TYPE_CHECKING:
    from flightlog.recording import Recording
    from flightlog.screening.context import LogView

LEAST_SHARE = 0.05
"""Damage hits single values; a unit hits all that are large. A twentieth of the rows is far more
than the first and far less than the second. [-]"""

LEAST_COUNT = 20


@dataclass(frozen=True, slots=True)
class Suspect:
    """A column that may come in another unit.

    Attributes
    ----------
    code : str
        Slug of the finding.
    low, high : float
        What a middle value in flight is between, in the column's own unit.
    units : mapping of float to str
        Factor (true value over the one read) -> what it looks like.
    affects : tuple of str
        Figures that can't be had without the column.
    """

    code: str
    low: float
    high: float
    units: Mapping[float, str]
    affects: tuple[str, ...]


_TENTHS = {1e-3: "thousandths", 1e-2: "hundredths", 1e-1: "tenths"}
_LENGTHS = {1e-3: "millimetres", 1e-2: "centimetres", FOOT_M: "feet"}
_SPEEDS = {1e-3: "mm/s", 1e-2: "cm/s"}
_ANGLES = {math.pi / 180: "degrees", math.pi / 18000: "hundredths of a degree"}
_PLACES = {1e-7: "ten-millionths of a degree", 1e-6: "millionths of a degree", 1e-2: "ddmm.m"}
_TURNS = {1e-2: "hundredths of a degree", 57.29578: "radians"}

SUSPECTS: Mapping[tuple[str, str], Suspect] = MappingProxyType(
    {
        ("battery", "voltage_v"): Suspect(
            "scaled-integers", 3.0, 60.0, _TENTHS, ("energy.*", "battery.*")
        ),
        ("battery", "current_a"): Suspect(
            "scaled-integers",
            1.0,
            300.0,
            _TENTHS,
            ("energy.*", "charge.used", "battery.max_current", "battery.max_power"),
        ),
        ("gps", "ground_speed_m_s"): Suspect("speed-unit", 1.0, 60.0, _SPEEDS, FIGURES_OF["gps"]),
        ("gps", "latitude_deg"): Suspect("angle-unit", -90, 90, _PLACES, FIGURES_OF["gps"]),
        ("gps", "longitude_deg"): Suspect("angle-unit", -180, 180, _PLACES, FIGURES_OF["gps"]),
        ("gps", "course_deg"): Suspect(
            "angle-unit", 0, 360, _TURNS, ("takeoff.*", "flight.*", "laps.*", "wind.*")
        ),
        ("gps", "altitude_msl_m"): Suspect("height-unit", -100, 4000, _LENGTHS, ()),
        ("baro", "height_m"): Suspect(
            "height-unit", -100, 2000, _LENGTHS, ("climb.*", "flight.max_height", "takeoff.*")
        ),
        ("baro", "pressure_pa"): Suspect(
            "scaled-integers",
            60e3,
            106e3,
            {100.0: "hPa", 1000.0: "kPa", 0.1: "tenths of a pascal", 0.01: "hundredths"},
            (),
        ),
        ("airspeed", "airspeed_m_s"): Suspect(
            "speed-unit", 1.0, 60.0, _SPEEDS, FIGURES_OF["airspeed"]
        ),
        ("attitude", "roll_rad"): Suspect(
            "angle-unit", -3.2, 3.2, _ANGLES, ("flight.max_bank", "takeoff.*")
        ),
        ("attitude", "pitch_rad"): Suspect("angle-unit", -1.6, 1.6, _ANGLES, ("takeoff.*",)),
        ("attitude", "yaw_rad"): Suspect("angle-unit", -6.4, 6.4, _ANGLES, ("takeoff.*",)),
    }
)
"""(table, column) -> how to judge values outside of its range."""


@dataclass(frozen=True, slots=True)
class Outside:
    """Values outside of a column's range: how many, of how many rows, and their middle."""

    count: int
    rows: int
    middle: float

    @property
    def share(self) -> float:
        """Of the rows. [-]"""
        return self.count / self.rows if self.rows else 0.0


def outside(recording: Recording, table: str, name: str) -> Outside | None:
    """Values of a column that can't be measurements: in the table, or left out before it.

    Returns
    -------
    Outside or None
        None when there are none.
    """
    data = recording.get(table)
    if data is None:
        return None
    bounds = next(c for c in TABLES[table] if c.name == name)
    low = -np.inf if bounds.low is None else bounds.low
    high = np.inf if bounds.high is None else bounds.high
    values = column(data, name)
    with np.errstate(invalid="ignore"):
        bad = values[(values < low) | (values > high)]
    if len(bad):
        return Outside(len(bad), len(data), float(np.median(bad)))
    for finding in recording.findings:
        count = finding.evidence.get(f"{table}.{name}")
        middle = finding.evidence.get(f"{table}.{name}.middle")
        if finding.code == "values-out-of-range" and count and middle is not None:
            return Outside(int(count), len(data), float(middle))
    return None


def units_that_fit(middle: float, suspect: Suspect) -> list[str]:
    """In which units a middle value would be a usual one."""
    return [
        f"{unit} ({middle * factor:.4g})"
        for factor, unit in suspect.units.items()
        if suspect.low <= middle * factor <= suspect.high
    ]


def out_of_range(view: LogView) -> Iterable[Finding]:
    """Find columns of which a large share can't be in the unit that it was taken for.

    Raises `scaled-integers`, `speed-unit`, `height-unit` or `angle-unit`, by the column.
    """
    for (table, name), suspect in SUSPECTS.items():
        found = outside(view.recording, table, name)
        if found is None or found.count < LEAST_COUNT or found.share < LEAST_SHARE:
            continue
        units = units_that_fit(found.middle, suspect)
        if not units:
            continue
        yield make_finding(
            suspect.code,
            f"{found.count} of {found.rows} values of {table}.{name} can't be in its unit, their "
            f"middle being {found.middle:.6g}: it looks like {' or '.join(units)}.",
            evidence={
                "column": f"{table}.{name}",
                "values": found.count,
                "share": found.share,
                "middle": found.middle,
            },
            severity=None if suspect.affects else "note",
            affects=suspect.affects,
            remedy=unit_remedy(view.recording),
        )
