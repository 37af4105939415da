"""How far the take-off model reaches: ``python -m tests.prediction.reach [SEASONS [SEED]]``.

Prints one table, a row for each kind of season:

bound     share in which the next roll keeps the 95 % bound, at the mass that is flown next
chosen    share in which the largest load that is said to keep the limit does keep it
units     that load, on average; ``none``: share in which not even an empty aircraft keeps it
narrower  by how much the mean 95 % interval is narrower than that of a straight line through the
          same flights on mass and wind, once either is stretched to hold exactly 95 %
wide      mean probability of the wider setting
noticed   share in which another technique is noticed; ``withheld``: no number is given
given     as ``bound``, of the seasons in which a number is given
doubted   share in which a flight is held to be unlike the others, though none is entered wrongly
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from flightlog.estimation.ground_roll import RollModel
from flightlog.prediction.takeoff_model import TakeoffModel, fit_takeoffs
from flightlog.prediction.takeoff_prior import RollPrior, prior_from_flights, prior_from_model
from flightlog.prediction.takeoffs import Setting, Takeoff, Wind
from tests.prediction import seasons as made

Array = NDArray[np.float64]
LEVEL, MOST_UNITS = 0.95, 25
FILE_KG = 7.4
STALL_M_S = float(np.sqrt(2 * FILE_KG * made.G / (1.225 * made.AREA * made.CL_MAX)))
READ_STD, SPEED_STD, SENSOR_STD, SENSOR_SCALE = 0.03, 0.15, 0.3, 0.02
NONE, GROUND, SENSOR = "nothing", "ground speed", "airspeed sensor"
EIGHT, TWENTY = (2, 2, 2, 2), (3, 3, 3, 3, 2, 2, 2, 2)


@dataclass(frozen=True)
class Case:
    """A row of the table: flights before today, how many today, and what is known of them.

    ``held`` leaves only the level to the flights, and holds all effects at those of the closed
    form: a fit of thrust, friction and lift-off speed to rolls alone comes to the same, since they
    move a roll alike. Without ``thrust`` in the aircraft's file the level comes from the flights.
    ``later`` is today's lift-off speed over that of the days before; ``speed`` what was logged.
    """

    name: str
    kind: made.Kind
    days: tuple[int, ...]
    today: int = 1
    later: float = 1.0
    speed: str = GROUND
    held: bool = False
    thrust: bool = True


@dataclass(frozen=True)
class Outcome:
    """What became of one season; rolls in metres, ``line`` with half its interval."""

    roll: float
    bound: float
    median: float
    half: float
    line: tuple[float, float] | None
    units: int
    wide: float
    noticed: bool
    withheld: bool
    doubted: bool


CASES = (
    Case("ordinary, no flights", made.ORDINARY, ()),
    Case("ordinary, 3 flights on 2 days", made.ORDINARY, (2, 1)),
    Case("ordinary, 8 flights on 4 days", made.ORDINARY, EIGHT),
    Case("  without speeds at lift-off", made.ORDINARY, EIGHT, speed=NONE),
    Case("  with an airspeed sensor too", made.ORDINARY, EIGHT, speed=SENSOR),
    Case("  effects held at the closed form", made.ORDINARY, EIGHT, held=True),
    Case("  no thrust in the aircraft's file", made.ORDINARY, EIGHT, thrust=False),
    Case("ordinary, 20 flights on 8 days", made.ORDINARY, TWENTY),
    Case("  effects held at the closed form", made.ORDINARY, TWENTY, held=True),
    Case("gentle, 8 flights", made.GENTLE, EIGHT),
    Case("rough, 8 flights", made.ROUGH, EIGHT),
    Case("rough, 20 flights", made.ROUGH, TWENTY),
    Case("ordinary, 8 + first of today", made.ORDINARY, EIGHT, today=2),
    Case("  technique new today", made.ORDINARY, EIGHT, today=2, later=1.04),
    Case("  the same, 2 flown today", made.ORDINARY, EIGHT, today=3, later=1.04),
    Case("  the same, 3 flown today", made.ORDINARY, EIGHT, today=4, later=1.04),
    Case("with a sensor, 8 + first of today", made.ORDINARY, EIGHT, today=2, speed=SENSOR),
    Case("  technique new today", made.ORDINARY, EIGHT, today=2, later=1.04, speed=SENSOR),
    Case("  the same, 2 flown today", made.ORDINARY, EIGHT, today=3, later=1.04, speed=SENSOR),
    Case("  the same, 3 flown today", made.ORDINARY, EIGHT, today=4, later=1.04, speed=SENSOR),
)


def file_prior(held: bool = False) -> RollPrior:
    """Give the prior of the aircraft's file, which no season's aircraft is quite like."""
    model = RollModel(
        mass_kg=FILE_KG,
        density_kg_m3=1.225,
        wing_area_m2=made.AREA,
        cl_ground=made.CL_GROUND,
        cd_ground=made.CD_GROUND,
        rolling_friction=0.05,
        cl_liftoff=made.CL_MAX / made.OVER_STALL**2,
        static_thrust_n=made.STATIC,
        thrust_b=made.THRUST_B,
        thrust_c=made.THRUST_C,
    )
    prior = prior_from_model(model)
    if not held:
        return prior
    effects = {key: (getattr(prior, key)[0], 0.01) for key in ("mass", "density", "wind")}
    return replace(prior, **effects)


def takeoffs_of(s: made.Seasons, rolls: Array, speeds: Array, n: int, speed: str) -> list[Takeoff]:
    """Give all but the last flight of a season as the record has them."""
    rng = np.random.default_rng(10_000 + n)
    noise, felt = rng.standard_normal((2, rolls.shape[1]))
    scale = 1 + SENSOR_SCALE * rng.standard_normal()
    flights = []
    for c in range(rolls.shape[1] - 1):
        ground, air = speeds[n, c], speeds[n, c] + s.wind[n, c]
        flight = Takeoff(
            name=str(c),
            day=str(s.day[n, c]),
            roll_m=float(rolls[n, c] * s.read[n, c]),
            roll_std_m=float(rolls[n, c] * s.read[n, c] * READ_STD),
            mass_kg=float(s.mass[n, c]),
            density_kg_m3=float(s.density[n, c]),
            headwind_m_s=float(s.entered_wind[n, c]),
        )
        if speed != NONE:
            flight = replace(flight, liftoff_ground_speed_m_s=float(ground + SPEED_STD * noise[c]))
        if speed == SENSOR:
            flight = replace(flight, liftoff_airspeed_m_s=float(scale * air + SENSOR_STD * felt[c]))
        if np.isfinite(flight.roll_m):  # else it never lifted off
            flights.append(flight)
    return flights


def straight_line(flights: list[Takeoff], at: Setting) -> tuple[float, float] | None:
    """Predict by least squares on mass and wind: centre, and half a 95 % interval. [m]"""
    freedoms = len(flights) - 3
    if freedoms < 2:
        return None
    x = np.array([[1.0, f.mass_kg, f.headwind_m_s] for f in flights])
    y = np.array([f.roll_m for f in flights])
    inverse = np.linalg.pinv(x.T @ x)
    beta = inverse @ x.T @ y
    s2 = float(np.sum((y - x @ beta) ** 2)) / freedoms
    row = np.array([1.0, at.mass_kg, at.headwind_m_s])
    half = float(student.ppf(0.975, freedoms)) * np.sqrt(s2 * (1 + row @ inverse @ row))
    return float(row @ beta), float(half)


def most_units(keeps: Callable[[int], float]) -> int:
    """Give the largest number that keeps the limit as surely as asked, -1 where not even none.

    It is looked for by halves: the probability falls with each unit.
    """
    most, fails = -1, MOST_UNITS
    while fails - most > 1:
        units = (most + fails) // 2
        if keeps(units) >= LEVEL:
            most = units
        else:
            fails = units
    return most


def outcome(model: TakeoffModel, flights: list[Takeoff], at: Setting, roll: float) -> Outcome:
    """Ask a model about the next flight."""

    def keeps(units: int) -> float:
        mass = made.EMPTY_KG + units * made.UNIT_KG
        return model.predict(replace(at, mass_kg=mass)).at_most(made.LIMIT_M)

    said = model.predict(at)
    low, high = said.interval(LEVEL)
    return Outcome(
        roll=roll,
        bound=said.quantile(LEVEL),
        median=said.median_m,
        half=0.5 * float(np.log(high / low)),
        line=straight_line(flights, at),
        units=most_units(keeps),
        wide=model.wide,
        noticed=model.noticed,
        withheld=bool(model.withheld),
        doubted=bool(model.doubted),
    )


def run(case: Case, count: int, seed: int) -> tuple[list[Outcome], Array]:
    """Predict the last flight of each season from all before it.

    Returns
    -------
    outcomes : list of Outcome
        One for each season.
    chosen : array, shape (count,)
        The roll with the load that was chosen; NaN where none was. [m]
    """
    s = made.seasons(case.kind, case.days, count, seed, today=case.today, later=case.later)
    flown = [s.roll(c, s.mass[:, c]) for c in range(s.mass.shape[1])]
    rolls, speeds = (np.column_stack(one) for one in zip(*flown, strict=True))
    prior, last = file_prior(case.held), s.mass.shape[1] - 1
    outcomes = []
    for n in range(count):
        flights = takeoffs_of(s, rolls, speeds, n, case.speed)
        at = Setting(
            mass_kg=float(s.mass[n, last]),
            density_kg_m3=float(s.density[n, last]),
            headwind_m_s=float(s.entered_wind[n, last]),
            day=str(s.day[n, last]),
        )
        winds = [Wind(max(w, 0.0), g) for w, g in zip(s.entered_wind[n], s.gust[n], strict=True)]
        if not case.thrust:
            prior = prior_from_flights(flights, FILE_KG, STALL_M_S)
        model = fit_takeoffs(prior, flights, day=at.day, winds=winds)
        outcomes.append(outcome(model, flights, at, float(rolls[n, last])))
    units = np.array([one.units for one in outcomes])
    chosen, _ = s.roll(last, made.EMPTY_KG + made.UNIT_KG * units)
    return outcomes, np.where(units >= 0, chosen, np.nan)


def narrower(outcomes: list[Outcome]) -> float | None:
    """Give by which share the mean interval is narrower than the line's, at equal coverage."""
    known = [(one, one.line) for one in outcomes if one.line is not None]
    if not known:
        return None
    roll = np.array([one.roll for one, _ in known])
    median, half = (np.array([getattr(one, key) for one, _ in known]) for key in ("median", "half"))
    centre, across = np.array([line for _, line in known]).T
    ours = np.quantile(np.abs(np.log(roll / median)) / half, LEVEL)
    plain = np.quantile(np.abs(roll - centre) / across, LEVEL)
    width = median * (np.exp(ours * half) - np.exp(-ours * half))
    return float(1 - width.mean() / (2 * plain * across).mean())


def coverage(outcomes: list[Outcome]) -> float:
    """Give the share in which the next roll keeps its 95 % bound."""
    return float(np.mean([one.roll <= one.bound for one in outcomes]))


def success(chosen: Array) -> float:
    """Give the share in which the chosen load keeps the limit."""
    return float(np.mean(chosen[~np.isnan(chosen)] <= made.LIMIT_M))


def row(case: Case, count: int, seed: int) -> str:
    """Give a row of the table."""
    outcomes, chosen = run(case, count, seed)
    given = [one for one in outcomes if not one.withheld]
    share = narrower(outcomes)
    loads = [one.units for one in outcomes if one.units >= 0]
    return (
        f"{case.name:34s} {coverage(outcomes):7.3f} {success(chosen):7.3f} {np.mean(loads):6.1f} "
        f"{np.mean(np.isnan(chosen)):6.3f} {'' if share is None else format(share, '.2f'):>8s} "
        f"{np.mean([one.wide for one in outcomes]):6.2f} "
        f"{np.mean([one.noticed for one in outcomes]):7.3f} {1 - len(given) / count:8.3f} "
        f"{coverage(given):7.3f} {np.mean([one.doubted for one in outcomes]):7.3f}"
    )


def main(count: int = 2000, seed: int = 7) -> None:
    """Print the table."""
    print(
        f"{count} seasons each, seed {seed}\n{'':34s} {'bound':>7s} {'chosen':>7s} {'units':>6s} "
        f"{'none':>6s} {'narrower':>8s} {'wide':>6s} {'noticed':>7s} {'withheld':>8s} "
        f"{'given':>7s} {'doubted':>7s}"
    )
    began = time.monotonic()
    for case in CASES:
        print(row(case, count, seed), flush=True)
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3]))
