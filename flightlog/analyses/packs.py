"""Which battery monitors a recording has, and how their packs belong together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from flightlog.analyses.power import Flow, Monitor, monitors

if TYPE_CHECKING:
    from flightlog.recording import Recording

CURRENT_SCALE_STD = 0.025
"""Standard uncertainty of the scale of a current sensor that nobody compared with a charger:
shunts and Hall sensors of the trade are 1 to 5 % off. [-]"""

VOLTAGE_SCALE_STD = 0.005
"""The same for a voltage divider set up with a hand meter. [-]"""

NEEDS_CURRENT = (
    "energy.used",
    "charge.used",
    "energy.per_km",
    "energy.per_lap",
    "battery.max_current",
    "battery.max_power",
)
"""Figures that can't be had without current."""

NO_CURRENT = (
    "the log has no current; fit a current sensor, or set the battery monitor to measure "
    "voltage and current"
)
NO_VOLTAGE = (
    "the log has a current but no voltage of the battery; log both (a receiver's own supply is "
    "not the battery's voltage)"
)
NO_BATTERY = "the log has no battery data; connect a battery monitor and log it"

_BROKEN_ZERO_A = 5.0


@dataclass(frozen=True, slots=True)
class Battery:
    """All monitors of a recording, and how they belong together.

    Attributes
    ----------
    monitors : tuple of Monitor
        Those with current; energies add, whether in parallel or in series.
    charges_add : bool
        Whether charges add (parallel); in series every pack gives the same charge.
    reason : str
        Why no energy can be had; else "".
    """

    monitors: tuple[Monitor, ...]
    charges_add: bool
    reason: str


_CACHE: WeakKeyDictionary[Recording, Battery] = WeakKeyDictionary()


def battery_of(recording: Recording) -> Battery:
    """Give the battery's monitors, prepared once for each recording."""
    if recording not in _CACHE:
        _CACHE[recording] = _pair(monitors(recording), recording)
    return _CACHE[recording]


def _pair(found: tuple[Monitor, ...], recording: Recording) -> Battery:
    if not found:
        return Battery((), True, _nothing(recording))
    broken = [m for m in found if abs(m.zero.subtract_a) > _BROKEN_ZERO_A]
    if broken:
        reading = broken[0].zero.parked_a
        return Battery(
            (),
            True,
            f"the current sensor reads {reading:.1f} A with the motor off; calibrate its zero",
        )
    if len(found) == 1:
        return Battery(found, True, "")
    same_voltage = _alike([m.voltage for m in found], 0.02)
    same_current = _alike([m.current for m in found], 0.05)
    if same_voltage and same_current:
        return Battery(
            (),
            True,
            f"{len(found)} battery monitors read the same voltage and current: the log does not "
            "tell equal packs in parallel from one pack measured twice; log only one of them, "
            "or one at the common lead",
        )
    return Battery(found, not same_current, "")


def _nothing(recording: Recording) -> str:
    """Why no monitor can be used."""
    table = recording.get("battery")
    if table is None:
        return NO_BATTERY
    has = {c for c in ("voltage_v", "current_a") if c in table and table[c].notna().any()}
    return NO_VOLTAGE if has == {"current_a"} else NO_CURRENT


def _alike(flows: list[Flow], tolerance: float) -> bool:
    """Whether all series have the same mean level within the tolerance."""
    start = max(f.time_s[0] for f in flows)
    end = min(f.time_s[-1] for f in flows)
    if end <= start:
        return False
    levels = [float(f.up_to(end) - f.up_to(start)) / (end - start) for f in flows]
    return bool(max(levels) - min(levels) <= tolerance * abs(max(levels, key=abs)))
