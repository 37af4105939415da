"""The take-off model: what the next roll will be, and with what probability it keeps a limit.

The logarithm of the roll is linear in those of mass, density and what the wind leaves of the
airspeed (`takeoff_prior`), with errors that flights share (`scatter`): for any one size of the
causes all is closed form (`regression`). Which size is right, and whether the pilot's technique
changed on one of the last days, is not known, so several are held next to each other, each with
the weight that its prior and the evidence of the flights give it. What is predicted is the mean of
what they predict, which is wide as long as they disagree.

A roll that was given up says that the take-off would have been longer. It enters by drawing what
it would have been (sequential imputation: Kong, Liu & Wong 1994).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.regression import Belief, Regression, StudentT
from flightlog.prediction.scatter import Row, Scatter, covariance, roll_row, speed_rows
from flightlog.prediction.takeoff_prior import RollPrior
from flightlog.prediction.takeoffs import Setting, Takeoff, Wind, flown

Array = NDArray[np.float64]

ORDINARY = Scatter(roll=0.045, day=0.05, pilot=0.022, wind=0.6, wind_day=0.4)
WIDE = Scatter(roll=0.075, day=0.065, pilot=0.04, wind=1.2, wind_day=0.8)
"""What is usual over mown grass with a meter beside the strip, and gusty days with much scatter."""

FREEDOM = 3.0
"""How firmly the size of the scatter is believed: so many pairs of flights. [-]"""
STRONGEST_WIND = 0.4
"""Share of the airspeed at lift-off above which a wind is beyond the model. [-]"""
NOTICED, TOO_MUCH = 0.03, 0.06
"""Lift-off airspeed against that of the days before, as a share: from the first on the day counts
as flown with another technique; beyond the second no number is given until it is learnt. [-]"""
LEARNT = 3
"""Flights of a day after which its technique follows from them alone."""

_GIVEN_UP_DRAWS = 32
_USUAL_WIDE, _GUSTY_WIDE = 0.15, 0.7
_USUAL_GUSTS, _GUSTY = 0.15, 0.25
_PEAK = 2.5
"""The greatest gust of some minutes lies so many standard deviations above the mean wind."""
_CHANGE_TODAY, _CHANGE_FLOWN, _CHANGE_BEFORE, _DAYS_BACK = 0.08, 0.5, 0.03, 2
"""Probabilities of a change of technique: today; today, which one or two flights can't rule out;
on each of so many days before."""
_BISECTIONS = 60
_SMALLEST = 1e-5


@dataclass(frozen=True, slots=True)
class Effect:
    """A coefficient before and after the flights: mean and standard deviation each."""

    name: str
    prior: tuple[float, float]
    posterior: tuple[float, float]


class PredictedRoll:
    """Distribution of the next ground roll, as a mixture over what could be the case.

    Parameters
    ----------
    parts : sequence of StudentT
        Of the logarithm of the roll in metres.
    weights : array, shape (n,)
        Adding up to 1.
    """

    def __init__(self, parts: Sequence[StudentT], weights: Array) -> None:
        self._centres = np.concatenate([part.centre for part in parts])
        self._scales = np.concatenate([part.scale for part in parts])
        self._freedoms = np.repeat(
            [part.freedoms for part in parts], [part.centre.size for part in parts]
        )
        self._weights = weights
        self.median_m = self.quantile(0.5)

    def quantile(self, probability: float) -> float:
        """Roll that is not exceeded with a probability between 0 and 1. [m]"""
        from scipy.special import stdtrit

        if not 0.0 < probability < 1.0:
            raise ValueError(f"a probability between 0 and 1 is needed, got {probability!r}")
        ends = self._centres + self._scales * stdtrit(self._freedoms, probability)
        low, high = float(ends.min()), float(ends.max())
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            if not low < middle < high:
                break
            if self._below(middle) < probability:
                low = middle
            else:
                high = middle
        return math.exp(high)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Central interval. [m]"""
        return self.quantile(0.5 - 0.5 * level), self.quantile(0.5 + 0.5 * level)

    def at_most(self, bound_m: float) -> float:
        """Probability that the next roll is at most so long."""
        return self._below(math.log(bound_m)) if bound_m > 0 else 0.0

    def _below(self, bound: float) -> float:
        from scipy.special import stdtr

        each = stdtr(self._freedoms, (bound - self._centres) / self._scales)
        return float(self._weights @ each)


@dataclass(frozen=True, slots=True)
class _Case:
    """One way things may be: sizes of the causes, and since which day the technique is new."""

    scatter: Scatter
    since: str | None
    log_weight: float


@dataclass(frozen=True, slots=True)
class _Fitted:
    """A case after the flights: one version, or one for each draw of the rolls given up.

    ``weights`` are those of the versions, shape (d,).
    """

    case: _Case
    rows: tuple[Row, ...]
    fit: Regression
    weights: Array


class TakeoffModel:
    """What the flights say; made by `fit_takeoffs`.

    Attributes
    ----------
    prior : RollPrior
        From which it started.
    takeoffs : tuple of Takeoff
        That it learnt from.
    effects : tuple of Effect
        Prior against posterior.
    wide : float
        Probability that take-offs scatter more than is usual.
    technique : float
        Probability that the lift-off speed is another one since one of the last days.
    liftoff_speed_change : float or None
        Of today's airspeeds at lift-off against those of the days before, as a share [-]; None
        without both.
    noticed : bool
        Whether it is so much that the day counts as flown with another technique.
    flights, given_up : int
        That it learnt from.
    """

    def __init__(
        self,
        prior: RollPrior,
        takeoffs: Sequence[Takeoff],
        day: str,
        surface: str,
        fitted: Sequence[_Fitted],
    ) -> None:
        self.prior = prior
        self.takeoffs = tuple(takeoffs)
        self.flights = len(flown(takeoffs))
        self.given_up = len(takeoffs) - self.flights
        self._day, self._surface = day, surface
        self.wide = _share(fitted, lambda case: case.scatter is WIDE)
        self.technique = _share(fitted, lambda case: case.since is not None)
        self.liftoff_speed_change = speed_change(prior, takeoffs, day)
        today = sum(t.day == day for t in flown(takeoffs))
        change = self.liftoff_speed_change or 0.0
        self.noticed = change > NOTICED and today < LEARNT
        # Until it is learnt, what is predicted is what holds if the technique did change.
        kept = [one for one in fitted if not self.noticed or one.case.since == day] or fitted
        self._fitted = tuple(kept)
        weights = np.concatenate([one.weights for one in self._fitted])
        self._weights = weights / weights.sum()
        self.effects = self._effects()

    @property
    def withheld(self) -> str:
        """Why no number may be relied on now; "" where one may."""
        change = self.liftoff_speed_change
        if not self.noticed or change is None or change <= TOO_MUCH:
            return ""
        return (
            f"today the aircraft lifted off {100 * change:.1f} % faster than on the days before: "
            "its rolls are not those that the model learnt from. Look for the reason (pilot, "
            f"elevator, balance, wind entry), and fly lightly loaded until {LEARNT} flights of "
            "today show what it needs"
        )

    @property
    def says(self) -> tuple[str, ...]:
        """What a reader must know of it, a sentence each."""
        return tuple(_sayings(self))

    def predict(self, setting: Setting) -> PredictedRoll:
        """Predict the next roll.

        Raises
        ------
        NotEnoughDataError
            If the wind is above `STRONGEST_WIND` of the airspeed at lift-off.
        """
        airspeed = self.prior.airspeed_at(setting.mass_kg, setting.density_kg_m3)
        if abs(setting.headwind_m_s) > STRONGEST_WIND * airspeed:
            raise NotEnoughDataError(
                f"a wind of {setting.headwind_m_s:.1f} m/s along the runway is above "
                f"{STRONGEST_WIND:g} of the lift-off airspeed of {airspeed:.1f} m/s",
                fix="No number can be given for it: wait for less wind.",
            )
        parts = [self._of_case(one, setting) for one in self._fitted]
        return PredictedRoll(parts, self._weights)

    def _of_case(self, one: _Fitted, setting: Setting) -> StudentT:
        case = one.case
        changed = case.since is not None
        row = roll_row(self.prior, case.scatter, setting, "next", self._surface, changed)
        shared = np.array([_shared(row, other) for other in one.rows])
        own = row.own + sum(load * load for load in row.loads.values())
        unit = case.scatter.roll**2
        said = one.fit.next(row.x, shared / unit, own / unit)
        return StudentT(said.centre - row.y, said.scale, said.freedoms)

    def _effects(self) -> tuple[Effect, ...]:
        means = np.concatenate([one.fit.belief.mean for one in self._fitted], axis=1)
        stds = np.concatenate([one.fit.belief.stds for one in self._fitted], axis=1)
        mean = means @ self._weights
        std = np.sqrt((stds**2 + (means - mean[:, None]) ** 2) @ self._weights)
        before, before_std = _prior_numbers(self.prior)
        return tuple(
            Effect(name, (float(b), float(bs)), (float(m), float(s)))
            for name, b, bs, m, s in zip(_NAMES, before, before_std, mean, std, strict=True)
        )


_NAMES = ("level", "mass", "density", "wind", "lift-off airspeed")


def _share(fitted: Sequence[_Fitted], of: Callable[[_Case], bool]) -> float:
    return float(sum(one.weights.sum() for one in fitted if of(one.case)))


def _sayings(model: TakeoffModel) -> Iterator[str]:
    if not model.flights:
        yield f"No flight yet: it rests on {model.prior.source} alone."
    if model.given_up:
        yield (
            f"{model.given_up} given-up rolls count as longer than they went."
            if model.given_up > 1
            else "A given-up roll counts as longer than it went."
        )
    if model.wide > 0.5:
        yield (
            "The take-offs, or the wind at them, scatter more than is usual (probability "
            f"{model.wide:.2f}): the wider setting is in force."
        )
    change = model.liftoff_speed_change
    if model.noticed and change is not None:
        yield (
            f"Today the aircraft lifted off {100 * change:.1f} % faster than on the days before: "
            "until that is learnt, the numbers are those for another technique, and wider."
        )
    elif model.technique > 0.6:
        yield (
            "The lift-offs since one of the last days are as if flown with another technique "
            f"(probability {model.technique:.2f}); the numbers allow for it."
        )


def _shared(one: Row, other: Row) -> float:
    return sum(load * other.loads.get(name, 0.0) for name, load in one.loads.items())


def _prior_numbers(prior: RollPrior) -> tuple[Array, Array]:
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


def fit_takeoffs(
    prior: RollPrior,
    takeoffs: Sequence[Takeoff],
    *,
    day: str,
    surface: str = "",
    winds: Sequence[Wind] = (),
    scatters: Sequence[tuple[Scatter, float]] | None = None,
    technique: bool = True,
) -> TakeoffModel:
    """Learn from take-offs.

    Parameters
    ----------
    prior : RollPrior
        What is believed before them.
    takeoffs : sequence of Takeoff
        In the order in which they were flown.
    day, surface : str
        Of the take-off that is asked about.
    winds : sequence of Wind
        Measurements of the flights and of today: how gusty it is.
    scatters : sequence of (Scatter, probability), optional
        Sizes of the causes to hold next to each other; by what ``winds`` say where left out.
    technique : bool
        Whether a change of the pilot's technique is thought of.
    """
    held = scatters if scatters is not None else _scatters(winds)
    changes = _changes(prior, takeoffs, day) if technique else [(None, 1.0)]
    cases = [
        _Case(scatter, since, math.log(weight * p))
        for scatter, weight in held
        for since, p in changes
    ]
    fitted = [_fit_case(prior, takeoffs, surface, case) for case in cases]
    highest = max(float(one.weights.max()) for one in fitted)
    whole = sum(float(np.exp(one.weights - highest).sum()) for one in fitted)
    weighed = [replace(one, weights=np.exp(one.weights - highest) / whole) for one in fitted]
    kept = [one for one in weighed if one.weights.sum() > _SMALLEST or one.case.since == day]
    return TakeoffModel(prior, takeoffs, day, surface, kept)


def _scatters(winds: Sequence[Wind]) -> tuple[tuple[Scatter, float], ...]:
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


def _fit_case(prior: RollPrior, takeoffs: Sequence[Takeoff], surface: str, case: _Case) -> _Fitted:
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
    x = np.array([row.x for row in rows]).reshape(-1, len(_NAMES))
    draws = _GIVEN_UP_DRAWS if unseen else 1
    y = np.repeat(np.array([[row.y] for row in seen]).reshape(-1, 1), draws, axis=1)
    belief = Belief.before(*_prior_numbers(prior), FREEDOM, scatter.roll)
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
    return _Fitted(case, rows, fit, np.asarray(weights))
