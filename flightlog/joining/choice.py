"""Which of two sources a table is taken from, and why."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from flightlog.joining.sketch import EVENTS, is_radio

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

KEYS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "gps": (("latitude_deg", "position"), ("ground_speed_m_s", "speed over ground")),
    "baro": (),
    "airspeed": (("airspeed_m_s", "airspeed"),),
    "imu": (("accel_z_m_s2", "acceleration"), ("gyro_x_rad_s", "rotation rate")),
    "attitude": (("pitch_rad", "pitch"),),
    "battery": (("current_a", "current"), ("voltage_v", "voltage")),
    "outputs": (("pulse_us", "pulse"),),
    "inputs": (("pulse_us", "pulse"),),
    "link": (("quality_pct", "link quality"),),
    "rotation": (("speed_rad_s", "speed"),),
}
"""Table -> columns without which it is of little use, the most important first."""

CELL_S = 5.0
"""A stretch of this length is covered when it holds a value [s]."""

MORE = 0.2
"""So much more of the time has to be covered before a table is taken from a partner."""

FASTER = 2.0
"""Or its rate has to be so many times as high."""


def why_partner(name: str, mine: Recording, other: pd.DataFrame, partner: Recording) -> str:
    """Say why a table should come from the partner; "" when it should not.

    Parameters
    ----------
    name : str
        Table.
    mine : Recording
        Whose clock is used.
    other : DataFrame
        The partner's table on that clock, cut to what is shared.
    partner : Recording
        Where it is from.
    """
    own = mine.get(name)
    file = mine.receipt.file
    if own is None:
        return f"{file} has none"
    if name in EVENTS:
        return ""
    key = next((c for c in KEYS.get(name, ()) if not _has(own, c[0]) and _has(other, c[0])), None)
    if key is not None:
        return f"{file} measured no {key[1]}"
    for column, _ in KEYS.get(name, ()):
        if _has(own, column) and not _has(other, column):
            return ""
    start, end = float(own["time_s"].iloc[0]), float(own["time_s"].iloc[-1])
    low = min(start, float(other["time_s"].iloc[0]))
    high = max(end, float(other["time_s"].iloc[-1]))
    ours, theirs = _covered(own, name, low, high), _covered(other, name, low, high)
    if theirs >= ours + MORE:
        return f"{100 * theirs:.0f} % of the time instead of {100 * ours:.0f} %"
    # A radio repeats and thins out what was measured: its rows say little of a rate.
    if is_radio(partner) or theirs < ours - MORE:
        return ""
    rate_own, rate_other = _rate_hz(own), _rate_hz(other)
    if rate_other >= FASTER * rate_own > 0:
        return f"{rate_other:.3g} Hz instead of {rate_own:.3g} Hz"
    return ""


def _has(table: pd.DataFrame, column: str) -> bool:
    return column in table and bool(table[column].notna().any())


def _covered(table: pd.DataFrame, name: str, low_s: float, high_s: float) -> float:
    """Share of the time in which the table holds values."""
    columns = [c for c, _ in KEYS.get(name, ()) if _has(table, c)][:1]
    rows = table.dropna(subset=columns) if columns else table
    time_s = rows["time_s"].to_numpy(dtype=np.float64)
    cells = max(1.0, np.ceil((high_s - low_s) / CELL_S))
    return float(len(np.unique(np.floor((time_s - low_s) / CELL_S))) / cells)


def _rate_hz(table: pd.DataFrame) -> float:
    steps = np.diff(np.unique(table["time_s"].to_numpy(dtype=np.float64)))
    return float(1.0 / np.median(steps)) if len(steps) else 0.0
