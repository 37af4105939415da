"""How far the take-off model reaches: ``python -m tests.prediction.reach [SEASONS]``.

Prints one table: coverage of the 95 % bound, whether the load that it chooses makes the limit, how
wide its intervals are against a straight line through the same flights at equal coverage, and what
becomes of it when the pilot's technique changes.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from flightlog.estimation.ground_roll import RollModel
from flightlog.prediction.takeoff_model import TakeoffModel, fit_takeoffs
from flightlog.prediction.takeoff_prior import RollPrior, prior_from_model
from flightlog.prediction.takeoffs import Setting, Takeoff, Wind
from tests.prediction import seasons as made

Array = NDArray[np.float64]
LEVEL = 0.95
UNITS = range(0, 25)
READ_STD, SPEED_STD, SENSOR_STD, SENSOR_SCALE = 0.03, 0.15, 0.3, 0.02
NONE, GROUND, SENSOR = "none", "ground speed", "airspeed sensor"


@dataclass
class Tally:
    """What came out, season by season."""

    bound_holds: list[bool] = field(default_factory=list)
    chosen: list[int] = field(default_factory=list)
    roll: list[float] = field(default_factory=list)
    z: list[tuple[float, float]] = field(default_factory=list)
    line: list[tuple[float, float] | None] = field(default_factory=list)
    wide: list[float] = field(default_factory=list)
    technique: list[float] = field(default_factory=list)
    withheld: list[bool] = field(default_factory=list)
    noticed: list[bool] = field(default_factory=list)
    makes_limit: list[bool] = field(default_factory=list)


def prior_of(s: made.Seasons, n: int) -> RollPrior:
    """Give the prior that the aircraft's file gives."""
    model = RollModel(
        mass_kg=7.4,
        density_kg_m3=1.225,
        wing_area_m2=made.AREA,
        cl_ground=made.CL_GROUND,
        cd_ground=made.CD_GROUND,
        rolling_friction=float(s.file_friction[n]),
        cl_liftoff=made.CL_MAX * float(s.file_lift[n]) / made.OVER_STALL**2,
        static_thrust_n=made.STATIC * float(s.file_thrust[n]),
        thrust_b=made.THRUST_B,
        thrust_c=made.THRUST_C,
    )
    return prior_from_model(model)


def takeoffs_of(
    s: made.Seasons, rolls: Array, speeds: Array, n: int, columns: range, speed: str = GROUND
) -> list[Takeoff]:
    """Give the flights of a season as the record has them; ``speed`` is what was logged of it."""
    rng = np.random.default_rng(10_000 + n)
    noise, felt = rng.standard_normal((2, rolls.shape[1]))
    scale = 1 + SENSOR_SCALE * rng.standard_normal()
    return [
        Takeoff(
            str(c),
            str(s.day[n, c]),
            float(rolls[n, c] * s.read[n, c]),
            float(rolls[n, c] * s.read[n, c] * READ_STD),
            float(s.mass[n, c]),
            float(s.density[n, c]),
            float(s.entered_wind[n, c]),
            liftoff_ground_speed_m_s=(
                None if speed == NONE else float(speeds[n, c] + SPEED_STD * noise[c])
            ),
            liftoff_airspeed_m_s=(
                float(scale * (speeds[n, c] + s.wind[n, c]) + SENSOR_STD * felt[c])
                if speed == SENSOR
                else None
            ),
        )
        for c in columns
    ]


def straight_line(flights: list[Takeoff], mass: float, wind: float) -> tuple[float, float] | None:
    """Predict by least squares on mass and wind: centre, and half a 95 % interval. [m]"""
    if len(flights) < 5:
        return None
    x = np.array([[1.0, f.mass_kg, f.headwind_m_s] for f in flights])
    y = np.array([f.roll_m for f in flights])
    inverse = np.linalg.pinv(x.T @ x)
    beta = inverse @ x.T @ y
    freedoms = len(y) - 3
    s2 = float(np.sum((y - x @ beta) ** 2)) / freedoms
    at = np.array([1.0, mass, wind])
    half = float(student.ppf(0.975, freedoms)) * np.sqrt(s2 * (1 + at @ inverse @ at))
    return float(at @ beta), float(half)


def run(
    kind: made.Kind,
    days: tuple[int, ...],
    count: int,
    seed: int,
    *,
    today: int = 1,
    later: float = 1.0,
    speed: str = GROUND,
) -> Tally:
    """Predict the last flight of each season from all before it."""
    s = made.seasons(kind, days, count, seed, today=today, later=later)
    flights = s.mass.shape[1]
    pairs = [s.roll(c, s.mass[:, c]) for c in range(flights)]
    rolls, speeds = (np.column_stack(one) for one in zip(*pairs, strict=True))
    last = flights - 1
    tally = Tally()
    tested = rolls[:, last]
    for n in range(count):
        known = [
            t for t in takeoffs_of(s, rolls, speeds, n, range(last), speed) if np.isfinite(t.roll_m)
        ]
        day = str(s.day[n, last])
        wind = float(s.entered_wind[n, last])
        winds = [Wind(max(w, 0.0), g) for w, g in zip(s.entered_wind[n], s.gust[n], strict=True)]
        model = fit_takeoffs(prior_of(s, n), known, day=day, winds=winds)
        density = float(s.density[n, last])

        def setting(units: int) -> Setting:
            return Setting(made.EMPTY_KG + units * made.UNIT_KG, density, wind, day)

        # The longest list of units that begins at none: the probability falls with each.
        most, fails = -1, UNITS.stop
        while fails - most > 1:
            units = (most + fails) // 2
            if model.predict(setting(units)).at_most(made.LIMIT_M) >= LEVEL:
                most = units
            else:
                fails = units
        mass = float(s.mass[n, last])
        here = model.predict(Setting(mass, density, wind, day))
        low, high = here.interval(LEVEL)
        tally.z.append((here.median_m, 0.5 * np.log(high / low)))
        tally.line.append(straight_line(known, mass, wind))
        tally.bound_holds.append(bool(tested[n] <= here.quantile(LEVEL)))
        tally.roll.append(float(tested[n]))
        tally.chosen.append(most)
        tally.wide.append(model.wide)
        tally.technique.append(model.technique)
        tally.withheld.append(bool(model.withheld))
        tally.noticed.append(model.noticed)
    masses = made.EMPTY_KG + made.UNIT_KG * np.array(tally.chosen)
    really, _ = s.roll(last, masses)
    tally.makes_limit = [bool(r <= made.LIMIT_M) for r in really]
    return tally


def narrower(tally: Tally) -> float | None:
    """Give by which share the mean interval is narrower than the straight line's, equal coverage."""
    known = [n for n, line in enumerate(tally.line) if line is not None]
    if not known:
        return None
    roll = np.array([tally.roll[n] for n in known])
    ours = np.array([tally.z[n] for n in known])
    line = np.array([tally.line[n] for n in known])
    factor = np.quantile(np.abs(np.log(roll / ours[:, 0])) / ours[:, 1], LEVEL)
    width = ours[:, 0] * (np.exp(factor * ours[:, 1]) - np.exp(-factor * ours[:, 1]))
    plain = np.quantile(np.abs(roll - line[:, 0]) / line[:, 1], LEVEL)
    return float(1 - width.mean() / (2 * plain * line[:, 1]).mean())


def line_of(name: str, tally: Tally) -> str:
    """Give a row of the table."""
    loads = [(m, c) for m, c in zip(tally.makes_limit, tally.chosen, strict=True) if c >= 0]
    given = [h for h, w in zip(tally.bound_holds, tally.withheld, strict=True) if not w]
    share = narrower(tally)
    return (
        f"{name:34s} {np.mean(tally.bound_holds):8.3f} {np.mean(given) if given else np.nan:8.3f} "
        f"{np.mean(tally.withheld):8.3f} "
        f"{np.mean([m for m, _ in loads]):8.3f} {np.mean([c for _, c in loads]):6.1f} "
        f"{1 - len(loads) / len(tally.chosen):6.3f} "
        f"{'' if share is None else format(share, '.2f'):>8s} {np.mean(tally.wide):6.2f} "
        f"{np.mean(tally.noticed):7.3f}"
    )


def main(count: int = 2000) -> None:
    """Print the table."""
    print(
        f"{count} seasons each\n{'':34s} {'bound':>8s} {'given':>8s} {'withheld':>8s} "
        f"{'chosen':>8s} {'units':>6s} {'none':>6s} {'narrower':>8s} {'wide':>6s} {'noticed':>7s}"
    )
    eight, twenty = (2, 2, 2, 2), (3, 3, 3, 3, 2, 2, 2, 2)
    began = time.monotonic()
    for name, kind, days, more in (
        ("ordinary, no flights", made.ORDINARY, (), {}),
        ("ordinary, 3 flights on 2 days", made.ORDINARY, (2, 1), {}),
        ("ordinary, 8 flights on 4 days", made.ORDINARY, eight, {}),
        ("  without speeds at lift-off", made.ORDINARY, eight, {"speed": NONE}),
        ("  with an airspeed sensor too", made.ORDINARY, eight, {"speed": SENSOR}),
        ("ordinary, 20 flights on 8 days", made.ORDINARY, twenty, {}),
        ("gentle, 8 flights", made.GENTLE, eight, {}),
        ("rough, 8 flights", made.ROUGH, eight, {}),
        ("rough, 20 flights", made.ROUGH, twenty, {}),
        ("ordinary, 8 + first of today", made.ORDINARY, eight, {"today": 2}),
        ("  technique new today", made.ORDINARY, eight, {"today": 2, "later": 1.04}),
        ("  technique new, 2 flown today", made.ORDINARY, eight, {"today": 3, "later": 1.04}),
        ("  the first two, with a sensor", made.ORDINARY, eight, {"today": 2, "speed": SENSOR}),
        (
            "  technique new, with a sensor",
            made.ORDINARY,
            eight,
            {"today": 2, "later": 1.04, "speed": SENSOR},
        ),
        (
            "  the same, 2 flown today",
            made.ORDINARY,
            eight,
            {"today": 3, "later": 1.04, "speed": SENSOR},
        ),
        ("  technique new, 20 flights before", made.ORDINARY, twenty, {"today": 2, "later": 1.04}),
    ):
        print(line_of(name, run(kind, days, count, 7, **more)), flush=True)
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
