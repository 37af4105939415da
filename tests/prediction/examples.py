"""Worked examples: eight made-up flights of an 8 kg aircraft, and what the closed form gives.

Computed apart from the package, with numpy and scipy alone; full precision.
"""

from __future__ import annotations

import math

from flightlog.prediction.takeoff_prior import RollPrior
from flightlog.prediction.takeoffs import Takeoff

MASS_KG = (6.6, 6.6, 7.0, 7.0, 7.4, 7.4, 7.8, 7.8)
DENSITY = (1.20, 1.17, 1.19, 1.21, 1.16, 1.18, 1.20, 1.17)
HEADWIND = (1.0, 2.5, 0.5, 3.0, 2.0, 1.0, 3.5, 2.0)
ROLL_M = (19.9, 16.9, 25.3, 15.6, 24.4, 26.9, 20.9, 27.9)
DAYS = "11223334"
AIRSPEED_M_S = 1.1 * math.sqrt(2 * 7.4 * 9.80665 / (1.18 * 0.55 * 1.5))
PRIOR = RollPrior(
    mass_kg=7.4,
    density_kg_m3=1.18,
    airspeed_m_s=AIRSPEED_M_S,
    airspeed_std=0.07,
    level=math.log(26.0),
    level_std=0.5,
    mass=(2.3, 0.3),
    density=(-2.3, 0.4),
    wind=(1.85, 0.25),
    slope=3.07,
    speed=2.45,
    source="a worked example",
)

SIMPLE_MEAN = (3.450778139355358, 2.344105684184533, -2.3135309722154895, 1.8033306661538617)
SIMPLE_STD = (0.027721608420163888, 0.15912243031806916, 0.2487338617669542, 0.12589301500338876)
SIMPLE_B = 0.015411677922359947
SIMPLE_ROWS = (
    # units, kg, median, scale, q95, probability of at most 32 m
    (7, 7.25, 26.63079332117263, 0.05080200797829885, 29.123525426115762, 0.9985942641140897),
    (8, 7.40, 27.981925431656148, 0.051028769174427675, 30.61335249419914, 0.9900959807921945),
    (9, 7.55, 29.3719553502047, 0.05142283969246702, 32.156412555601385, 0.9410885559167446),
    (10, 7.70, 30.80117977565019, 0.051970530954664015, 33.75367217491035, 0.7626761108466646),
)

SHARED_MEAN = (3.4513071479541306, 2.317520737380747, -2.3033418122980844, 1.822845936325293)
SHARED_STD = (0.03694664524933745, 0.1701600471387496, 0.24025338111134532, 0.1369029940958135)
SHARED_B = 0.007895270561150707
SHARED_ROWS = (
    (6, 7.10, 25.318424617573623, 29.028639368858588, 0.9953777397419845),
    (7, 7.25, 26.616612944003062, 30.49018636379966, 0.9842020104392235),
    (8, 7.40, 27.952253648715192, 32.00079326444541, 0.9499717994625639),
    (9, 7.55, 29.325617910408074, 33.561494088384656, 0.8631594600474486),
)
SAME_DAY = {
    ("3", 7): (26.638663, 30.366202, 0.986406),
    ("3", 8): (27.975410, 31.866277, 0.954735),
    ("4", 7): (26.666429, 30.480946, 0.984625),
}


def flights() -> list[Takeoff]:
    """Give the eight flights."""
    columns = zip(DAYS, ROLL_M, MASS_KG, DENSITY, HEADWIND, strict=True)
    return [Takeoff(f"flight {n}", d, s, 0.0, m, r, w) for n, (d, s, m, r, w) in enumerate(columns)]
