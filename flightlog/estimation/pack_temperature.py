"""How the resistance of a lithium-polymer pack goes with its temperature."""

from __future__ import annotations

import math

from flightlog.constants import ZERO_CELSIUS_K

REFERENCE_K = ZERO_CELSIUS_K + 25.0

ACTIVATION_K, ACTIVATION_STD_K = 1800.0, 500.0
"""R = R25 exp(E (1/T - 1/298.15 K)): E of lithium-polymer cells, 1500 to 3000 K. [K]"""

PACK_TEMPERATURE_STD_K = 2.0
"""Of the cells against the sensor on the pack. [K]"""

AIR_IS_PACK_STD = 0.20
"""Standard uncertainty of a resistance at 25 °C where the temperature of the pack is not known:
it is 10 K from what it is taken for, for all that is known. [-]"""


def at_25c(ohm: float, temperature_k: float, activation_k: float = ACTIVATION_K) -> float:
    """Bring a resistance from a pack's temperature to 25 °C. [ohm]"""
    return ohm * math.exp(-activation_k * (1 / temperature_k - 1 / REFERENCE_K))


def law_std(temperature_k: float) -> float:
    """Share by which the law is unsure at a temperature. [-]"""
    return ACTIVATION_STD_K * abs(1 / temperature_k - 1 / REFERENCE_K)


def sensor_std(temperature_k: float) -> float:
    """Share by which a resistance at 25 °C is unsure for the sensor of the temperature. [-]"""
    return ACTIVATION_K / temperature_k**2 * PACK_TEMPERATURE_STD_K
