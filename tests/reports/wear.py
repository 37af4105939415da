"""Debriefs with figures of what is wearing out, made by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from flightlog.contract import to_json
from flightlog.debriefing import Debrief
from flightlog.figures import Figure
from flightlog.findings import make_finding
from tests.made_debriefs import figure, made

WORN: dict[str, tuple[float, float]] = {
    "battery.max_power": (1023.0, 26.0),
    "battery.resistance": (0.0312, 0.0004),
    "battery.energy_left": (52.1, 3.0),
    "supply.min_voltage": (4.92, 0.02),
    "landing.sink_rate": (0.67, 0.07),
    "landing.peak_load_factor": (2.48, 0.04),
    "link.range_exponent": (2.04, 0.11),
    "vibration.cruise": (3.1, 0.2),
    "motor.max_speed": (6893.0, 12.0),
    "surface.elevator.trim": (-1.2, 0.3),
    "surface.elevator.play": (1.6, 0.2),
    "surface.elevator.lag": (0.061, 0.004),
    "surface.elevator.gain": (2.31, 0.05),
    "surface.elevator.saturation": (0.0, 0.0),
    "surface.left_aileron_outer.reversals": (1.22, 0.05),
    "surface.left_aileron_outer.lag": (0.048, 0.006),
}
"""Figure id -> value and standard uncertainty."""

SLOW = "Play in linkages (aileron) cannot be excluded: outputs at 5 Hz; log them at 25 Hz"


def worn_figures() -> dict[str, Figure]:
    return {id_: figure(id_, *number) for id_, number in WORN.items()}


def worn(*outcomes: Any, withheld: dict[str, str] | None = None) -> Debrief:
    """Give a debrief whose sortie has such figures, a finding, and a fault that stays open."""
    debrief = made(*outcomes, withheld=withheld)
    (sortie,) = debrief.sorties
    found = make_finding("repeated-fixes", "1200 rows repeat", affects=("surface.elevator.play",))
    open_ = make_finding("not-excluded", f"{SLOW}.", evidence={"fault": "surface-play"})
    figures = {**sortie.figures, **worn_figures()}
    return replace(debrief, sorties=(replace(sortie, figures=figures, findings=(found, open_)),))


def told_of_wear(*outcomes: Any, withheld: dict[str, str] | None = None) -> dict[str, Any]:
    """Give what the stored debrief says of that sortie."""
    item = to_json(worn(*outcomes, withheld=withheld))["sorties"][0]
    return {key: item[key] for key in ("figures", "outcomes", "withheld", "findings")}
