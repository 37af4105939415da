"""Where each number of a score formula comes from, before the flight that it is about."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from flightlog.figures import FIGURES
from flightlog.operations.desk import Desk
from flightlog.operations.flight_numbers import flight_numbers
from flightlog.prediction.expected_figure import FEWEST, expect_figure
from flightlog.prediction.takeoff_model import PredictedRoll

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flightlog.rules.book import ScoreRule

    Array = NDArray[np.float64]

DRAWS = 2000
MOST_FLIGHTS = 20
"""So many of the latest flights are looked at: an aircraft of last year is another one."""

MASS, LAPS, ROLL = "mass.takeoff", "laps.count", "takeoff.ground_roll"
_SEED = 20270302


@dataclass(frozen=True, slots=True)
class Carried:
    """One choice, as far as its score depends on it.

    Attributes
    ----------
    units : int
        Payload units.
    mass_kg : float
        Take-off mass. [kg]
    payload_kg : float or None
        Mass of the payload. [kg]
    nominal_wh : float or None
        Energy printed on the pack. [Wh]
    keeps : float or None
        Probability that the take-off limit holds; None where there is no such limit.
    roll : PredictedRoll or None
        Needed only where the formula uses the ground roll.
    limit_m : float or None
        Take-off limit: what scores is a roll that keeps it. [m]
    """

    units: int
    mass_kg: float
    payload_kg: float | None = None
    nominal_wh: float | None = None
    keeps: float | None = None
    roll: PredictedRoll | None = None
    limit_m: float | None = None


@dataclass(frozen=True, slots=True)
class Past:
    """What earlier flights showed.

    Attributes
    ----------
    values : mapping of str to tuple of (float or None, float)
        Figure id -> take-off mass [kg] and the figure in its own unit, of each flight that has it.
    reasons : mapping of str to str
        Figure id -> why the latest flight lacks it.
    """

    values: Mapping[str, tuple[tuple[float | None, float], ...]] = field(default_factory=dict)
    reasons: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Lack:
    """Why a number is missing, and what would bring it."""

    found: str
    fix: str


def past_flights(desk: Desk, aircraft: str, rule: ScoreRule) -> Past:
    """Gather the figures that a formula uses from an aircraft's latest flights.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file.
    rule : ScoreRule
        Whose variables are meant.
    """
    rows = flight_numbers(desk, aircraft)[-MOST_FLIGHTS:]
    values: dict[str, tuple[tuple[float | None, float], ...]] = {}
    reasons: dict[str, str] = {}
    for id_ in set(rule.variables.values()):
        values[id_] = tuple(
            (row.figures[MASS].value if MASS in row.figures else None, row.figures[id_].value)
            for row in rows
            if id_ in row.figures
        )
        if rows and rows[-1].why_lacking(id_):
            reasons[id_] = rows[-1].why_lacking(id_)
    return Past(values, reasons)


def lacking(
    rule: ScoreRule, carried: Carried, laps: int | None, entered: Mapping[str, float], past: Past
) -> list[Lack]:
    """Say what is missing for a score, with what would bring each; empty where nothing is."""
    found = list(_missing_figures(rule, carried, laps, past))
    for name, asked in rule.entered.items():
        unit = f", in {asked.unit}" if asked.unit else ""
        give = f"Give --entered {name}=VALUE."
        if name not in entered:
            found.append(Lack(f"{name} ({asked.meaning}{unit}) is not given", give))
        elif not math.isfinite(entered[name]):
            found.append(Lack(f"{name} is not a finite number", give))
    return found


def _missing_figures(
    rule: ScoreRule, carried: Carried, laps: int | None, past: Past
) -> Iterable[Lack]:
    declared = _declared(carried, laps)
    ours = {
        "payload.mass": "Write payload_unit_kg into [mass] of the aircraft's file.",
        "battery.nominal_energy": "Write nominal_wh into the pack's file.",
    }
    for name, id_ in rule.variables.items():
        if id_ in declared or (id_ == ROLL and carried.roll is not None):
            continue
        if id_ in ours:
            yield Lack(f"{name} needs {id_}, which nothing says", ours[id_])
            continue
        seen = len(past.values.get(id_, ()))
        if seen < FEWEST:
            why = f"; the latest lacks it: {past.reasons[id_]}" if id_ in past.reasons else ""
            fix = (
                "Say how many laps are planned."
                if id_ == LAPS
                else "Import the logs of more flights."
            )
            yield Lack(
                f"{name} needs {id_}, which {seen} earlier flights have and {FEWEST} are needed"
                + why,
                fix,
            )


def values_of(
    rule: ScoreRule, carried: Carried, laps: int | None, entered: Mapping[str, float], past: Past
) -> tuple[dict[str, Array], list[str]]:
    """Give every name of a formula its draws, and say where they come from.

    Raises
    ------
    KeyError
        If something is `lacking`.
    """
    import numpy as np

    declared = _declared(carried, laps)
    levels = (np.arange(DRAWS) + 0.5) / DRAWS
    drawn: dict[str, Array] = {}
    sources: list[str] = []
    # By their place in one order, so that every choice has the same draws.
    for place, id_ in enumerate(sorted(set(rule.variables.values()))):
        if id_ in declared:
            drawn[id_] = np.full(DRAWS, declared[id_])
            continue
        order = np.random.default_rng((_SEED, place)).permutation(levels)
        if id_ == ROLL and carried.roll is not None:
            drawn[id_] = _rolls(carried.roll, carried.limit_m, order)
            sources.append(f"{id_} as predicted")
        else:
            drawn[id_] = _as_before(id_, past.values[id_], carried.mass_kg, order)
            sources.append(f"{id_} from {len(past.values[id_])} earlier flights")
    if LAPS in drawn and laps is not None:
        sources.append(f"{laps} laps as planned, taken as flown")
    given = {name: np.full(DRAWS, float(entered[name])) for name in rule.entered}
    sources += [f"{name} {entered[name]:g} as entered" for name in rule.entered]
    return {name: drawn[id_] for name, id_ in rule.variables.items()} | given, sources


def _declared(carried: Carried, laps: int | None) -> dict[str, float]:
    """Give the figures that the choice itself says."""
    said = {
        "payload.units": float(carried.units),
        "payload.mass": carried.payload_kg,
        MASS: carried.mass_kg,
        "battery.nominal_energy": carried.nominal_wh,
        LAPS: float(laps) if laps is not None else None,
    }
    return {id_: value for id_, value in said.items() if value is not None}


def _rolls(roll: PredictedRoll, limit_m: float | None, levels: Array) -> Array:
    """Draw the ground roll, of those that keep the limit where there is one."""
    import numpy as np

    kept = roll.at_most(limit_m) if limit_m is not None else 1.0
    # The curve is smooth: interpolated over fewer of its points than there are draws.
    points = np.linspace(0.0, 1.0, 102)[1:-1]
    most = max(kept, 1e-6)
    lengths = np.array([roll.quantile(float(p * most)) for p in points])
    drawn: Array = np.interp(levels, points, lengths)
    return drawn


def _as_before(
    id_: str, past: tuple[tuple[float | None, float], ...], mass_kg: float, levels: Array
) -> Array:
    """Draw a figure from what earlier flights showed."""
    import numpy as np

    values = [value for _, value in past]
    # How many laps are flown is chosen, whatever is on board.
    masses = [None if id_ == LAPS else mass for mass, _ in past]
    said = expect_figure(values, masses, mass_kg)
    drawn = said.quantile(levels)
    if min(values) >= 0:
        drawn = np.maximum(drawn, 0.0)
    counted = FIGURES[id_].unit == "" and FIGURES[id_].decimals == 0
    return np.round(drawn) if counted else drawn
