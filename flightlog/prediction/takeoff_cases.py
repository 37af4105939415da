"""The ways things may be: how large the scatter is, and since when the technique is a new one.

Each case is fitted by itself, in closed form, and weighs as much as its prior and the evidence of
the flights give it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flightlog.prediction.regression import Belief, Regression
from flightlog.prediction.scatter import ROLL, Row, Scatter, covariance, roll_row, speed_rows
from flightlog.prediction.takeoff_prior import RollPrior
from flightlog.prediction.takeoffs import Takeoff, Wind, flown

Array = NDArray[np.float64]

ORDINARY = Scatter(roll=0.043, day=0.046, pilot=0.02, wind=0.56, wind_day=0.37)
WIDE = Scatter(roll=0.075, day=0.065, pilot=0.04, wind=1.2, wind_day=0.8)
"""What is usual over mown grass with a meter beside the strip, and gusty days with much scatter.

Of the orders of size that flight tests of light aircraft show, and such that the 95 % bound holds
in 93 to 97 % of simulated seasons whose truth is another one (``tests/prediction/reach.py``).
"""

FREEDOM = 3.0
"""How firmly the size of the scatter is believed: so many pairs of flights. [-]"""
NOTICED, TOO_MUCH = 0.02, 0.08
"""Lift-off airspeed against that of the days before, as a share: from the first on the day counts
as flown with another technique; beyond the second no number is given until it is learnt. [-]"""
LEARNT = 3
"""Flights of a day after which its technique follows from them alone."""

ODD, FEWEST_TO_DOUBT = 0.05, 4
"""Probability below which a flight is doubted, by chance anywhere in a record; and flights without
which none is."""

_GIVEN_UP_DRAWS = 32
_USUAL_WIDE, _GUSTY_WIDE = 0.15, 0.7
_USUAL_GUSTS, _GUSTY = 0.15, 0.25
_PEAK = 2.5
"""The greatest gust of some minutes lies so many standard deviations above the mean wind."""
_CHANGE_TODAY, _CHANGE_FLOWN, _CHANGE_BEFORE, _DAYS_BACK = 0.05, 0.8, 0.03, 2
"""Probabilities of a change of technique: today; today, once the day's first flights are there to
tell it, held high on purpose, since one or two of them can't rule it out; on each of so many days
before."""
_SMALLEST = 1e-5
NAMES = ("level", "mass", "density", "wind", "lift-off airspeed")
"""Names of the coefficients."""


@dataclass(frozen=True, slots=True)
class Case:
    """One way things may be: sizes of the causes, and since which day the technique is new."""

    scatter: Scatter
    since: str | None
    log_weight: float


@dataclass(frozen=True, slots=True)
class Fitted:
    """A case after the flights: one version, or one for each draw of the rolls given up.

    ``weights`` are those of the versions, shape (d,).
    """

    case: Case
    rows: tuple[Row, ...]
    fit: Regression
    weights: Array


def weigh(
    prior: RollPrior,
    takeoffs: Sequence[Takeoff],
    *,
    day: str,
    surface: str,
    scatters: Sequence[tuple[Scatter, float]],
    technique: bool,
) -> list[Fitted]:
    """Fit all cases, and weigh them against each other.

    Parameters
    ----------
    prior : RollPrior
        What is believed before the take-offs.
    takeoffs : sequence of Takeoff
        In the order in which they were flown, in winds that the law holds for.
    day, surface : str
        Of the take-off that is asked about.
    scatters : sequence of (Scatter, probability)
        Sizes of the causes.
    technique : bool
        Whether a change of the pilot's technique is thought of.

    Returns
    -------
    list of Fitted
        Those that count, with weights adding up to about 1; among them those of a technique that
        is new today, however little they weigh.
    """
    changes = _changes(prior, takeoffs, day) if technique else [(None, 1.0)]
    cases = [
        Case(scatter, since, math.log(weight * p))
        for scatter, weight in scatters
        for since, p in changes
    ]
    fitted = [_fit(prior, takeoffs, surface, case) for case in cases]
    highest = max(float(one.weights.max()) for one in fitted)
    whole = sum(float(np.exp(one.weights - highest).sum()) for one in fitted)
    weighed = [replace(one, weights=np.exp(one.weights - highest) / whole) for one in fitted]
    return [one for one in weighed if one.weights.sum() > _SMALLEST or one.case.since == day]


def odd_ones(takeoffs: Sequence[Takeoff], fitted: Sequence[Fitted]) -> list[Takeoff]:
    """Give the flights whose roll does not go with all the others.

    One that is so far off comes by chance in fewer than `ODD` of records of this length, in the
    mean over the cases.
    """
    rolled = flown(takeoffs)
    if len(rolled) < FEWEST_TO_DOUBT:
        return []
    likely = np.zeros(len(rolled))
    for one in fitted:
        rolls = [n for n, row in enumerate(one.rows) if row.what == ROLL][: len(rolled)]
        likely += one.fit.oddness()[rolls] @ np.broadcast_to(one.weights, one.fit.belief.b.shape)
    whole = sum(float(one.weights.sum()) for one in fitted)
    return [t for t, p in zip(rolled, likely / whole, strict=True) if p * len(rolled) < ODD]


def usual_scatters(winds: Sequence[Wind]) -> tuple[tuple[Scatter, float], ...]:
    """Hold the usual sizes and the wide ones next to each other, as gusty as the winds are."""
    wide = _USUAL_WIDE
    blown = [w for w in winds if w.mean_m_s >= 1.0]  # with less wind a gust says little
    if blown:
        gusts = float(np.mean([(w.gust_m_s / w.mean_m_s - 1) / _PEAK for w in blown]))
        wide = float(np.interp(gusts, [_USUAL_GUSTS, _GUSTY], [_USUAL_WIDE, _GUSTY_WIDE]))
    return ((ORDINARY, 1 - wide), (WIDE, wide))


def _changes(
    prior: RollPrior, takeoffs: Sequence[Takeoff], day: str
) -> list[tuple[str | None, float]]:
    """Give since when the technique may be a new one, each with its probability."""
    days = list(dict.fromkeys(t.day for t in takeoffs if t.day != day))
    if not days:
        return [(None, 1.0)]  # nothing that it could be a change from
    flown_today = any(t.day == day for t in flown(takeoffs))
    since: list[tuple[str | None, float]] = [(day, _CHANGE_FLOWN if flown_today else _CHANGE_TODAY)]
    for past in days[1:][-_DAYS_BACK:]:
        noticed = (speed_change(prior, takeoffs, past) or 0.0) > NOTICED
        since.append((past, _CHANGE_TODAY if noticed else _CHANGE_BEFORE))
    return [*since, (None, 1 - sum(p for _, p in since))]


def _fit(prior: RollPrior, takeoffs: Sequence[Takeoff], surface: str, case: Case) -> Fitted:
    """Fit one case; ``weights`` are logarithms here."""
    scatter = case.scatter
    unit = scatter.roll**2
    days = list(dict.fromkeys(t.day for t in takeoffs))
    new = set(days[days.index(case.since) :]) if case.since in days else set()
    seen: list[Row] = []
    unseen: list[Row] = []
    for number, t in enumerate(takeoffs):
        changed = t.day in new
        row = roll_row(prior, scatter, t, str(number), surface, changed)
        (unseen if t.given_up else seen).append(row)
        if not t.given_up:
            seen += speed_rows(prior, scatter, t, str(number), changed)
    rows = (*seen, *unseen)
    r = covariance(rows) / unit
    x = np.array([row.x for row in rows]).reshape(-1, len(NAMES))
    draws = _GIVEN_UP_DRAWS if unseen else 1
    y = np.repeat(np.array([[row.y] for row in seen]).reshape(-1, 1), draws, axis=1)
    belief = Belief.before(*prior_numbers(prior), FREEDOM, scatter.roll)
    fit = Regression(belief, x[: len(seen)], y, r[: len(seen), : len(seen)])
    weights = case.log_weight - math.log(draws) + fit.log_evidence
    for m, row in enumerate(unseen):
        at = len(seen) + m
        said = fit.next(x[at], r[at, :at], float(r[at, at]))
        beyond = np.maximum(1 - said.below(row.y), 1e-300)
        weights = weights + np.log(beyond)
        # Evenly spread, and each roll in an order of its own.
        place = ((np.arange(draws) * (2 * m + 1) + 0.5) / draws) % 1.0
        level = np.minimum(1 - beyond * (1 - place), 1 - 1e-12)
        y = np.vstack([y, np.maximum(said.quantile(level), row.y)])
        fit = Regression(belief, x[: at + 1], y, r[: at + 1, : at + 1])
    if weights.size != fit.belief.b.size:  # no data: one belief for all draws
        weights = np.broadcast_to(weights, fit.belief.b.shape)
    return Fitted(case, rows, fit, np.asarray(weights))


def prior_numbers(prior: RollPrior) -> tuple[Array, Array]:
    """Give mean and standard deviation of the coefficients, shape (5,) each."""
    pairs = (prior.mass, prior.density, prior.wind, (0.0, prior.airspeed_std))
    means = [prior.level, *(mean for mean, _ in pairs)]
    stds = [prior.level_std, *(std for _, std in pairs)]
    return np.array(means), np.array(stds)


def speed_change(prior: RollPrior, takeoffs: Sequence[Takeoff], day: str) -> float | None:
    """Compare airspeeds at lift-off with those of the days before, at equal mass and air.

    Returns
    -------
    float or None
        Mean of the day over mean before, less 1 [-]; None where either has none.
    """
    days = list(dict.fromkeys(t.day for t in takeoffs))
    earlier = set(days[: days.index(day)] if day in days else days)
    now: list[float] = []
    before: list[float] = []
    for t in takeoffs:
        seen = t.airspeed_m_s
        if seen is not None and (t.day == day or t.day in earlier):
            ratio = seen / prior.airspeed_at(t.mass_kg, t.density_kg_m3)
            (now if t.day == day else before).append(ratio)
    if not now or not before:
        return None
    return float(np.mean(now) / np.mean(before) - 1)
