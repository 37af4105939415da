"""Whether a battery's resistance says that it is worn."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from flightlog.analyses.phases import Sortie
from flightlog.estimation.pack_temperature import AIR_IS_PACK_STD
from flightlog.figures import Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import Inputs
from flightlog.uncertain import NORMAL_95

KEY, KEY_25C = "battery.resistance", "battery.resistance_25c"

HIGH = 1.5
"""Resistance over that of the new pack, or of the baseline, from which a pack is worn. [-]"""


@dataclass(frozen=True, slots=True)
class _Reference:
    """What a resistance is compared with [ohm], its 1 sigma [ohm], and where it comes from."""

    ohm: float
    std_ohm: float
    source: str


def worn(inputs: Inputs, figures: Mapping[str, Figure], sortie: Sortie) -> list[Finding]:
    """Tell a resistance that is surely `HIGH` times the baseline's or the new pack's.

    Parameters
    ----------
    inputs : Inputs
        Aircraft with its baseline, pack.
    figures : mapping
        battery.resistance, and that at 25 °C where it could be had.
    sortie : Sortie
        The flight.
    """
    at_25c = KEY_25C in figures
    quantity = figures[KEY_25C if at_25c else KEY].quantity
    # A resistance of unknown temperature grows by a half when the pack is 20 K colder.
    std = quantity.std if at_25c else math.hypot(quantity.std, AIR_IS_PACK_STD * quantity.value)
    for reference in _references(inputs, KEY_25C if at_25c else KEY):
        times = quantity.value / reference.ohm
        doubt = math.hypot(std, times * reference.std_ohm) / reference.ohm
        if times - NORMAL_95 * doubt > HIGH:
            return [
                make_finding(
                    "resistance-high",
                    f"The battery's resistance is {times:.2f} (± {NORMAL_95 * doubt:.2f}) times "
                    f"the {1e3 * reference.ohm:.1f} mΩ of {reference.source}; from {HIGH:.1f} "
                    "times on it is worn.",
                    evidence={
                        "ohm": quantity.value,
                        "reference_ohm": reference.ohm,
                        "times": times,
                        "times_std": doubt,
                    },
                    start_s=sortie.start_s,
                    end_s=sortie.end_s,
                )
            ]
    return []


def not_excluded(why: str, inputs: Inputs) -> list[Finding]:
    """Say that a worn pack can't be told, where a reference to compare with was given."""
    if not any(_references(inputs, id_) for id_ in (KEY, KEY_25C)):
        return []
    return [
        make_finding(
            "not-excluded",
            f"A worn battery cannot be excluded: {why}.",
            evidence={"fault": "worn-battery"},
        )
    ]


def _references(inputs: Inputs, id_: str) -> list[_Reference]:
    """What a figure can be compared with."""
    found = []
    line = inputs.aircraft.baseline.get(id_) if inputs.aircraft is not None else None
    if line is not None and line.value > 0:
        found.append(_Reference(line.value, line.spread, "the baseline in the aircraft file"))
    pack = inputs.pack
    if pack is not None and pack.resistance_ohm:
        found.append(_Reference(pack.resistance_ohm, 0.0, "the new pack in its file"))
    return found
