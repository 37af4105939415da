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

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.predicted_roll import MoreCareful, PredictedRoll
from flightlog.prediction.regression import StudentT
from flightlog.prediction.scatter import Row, Scatter, roll_row
from flightlog.prediction.takeoff_cases import (
    LEARNT,
    NAMES,
    NOTICED,
    TOO_MUCH,
    WIDE,
    Case,
    Fitted,
    odd_ones,
    prior_numbers,
    speed_change,
    usual_scatters,
    weigh,
)
from flightlog.prediction.takeoff_prior import STRONGEST_WIND, RollPrior
from flightlog.prediction.takeoffs import Setting, Takeoff, Wind, flown

__all__ = ["Effect", "PredictedRoll", "TakeoffModel", "fit_takeoffs"]

Array = NDArray[np.float64]

_FAR = 3.0
"""Effects this many prior standard deviations away from what physics says are wrong entries."""


@dataclass(frozen=True, slots=True)
class Effect:
    """A coefficient before and after the flights: mean and standard deviation each."""

    name: str
    prior: tuple[float, float]
    posterior: tuple[float, float]


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
        Weight of the cases in which the lift-off speed is another one since today or one of the
        last days; high on purpose until `LEARNT` flights of today are known.
    liftoff_speed_change : float or None
        Of today's airspeeds at lift-off against those of the days before, as a share [-]; None
        without both.
    noticed : bool
        Whether it is so much that the day counts as flown with another technique.
    flights, given_up, today : int
        That it learnt from; ``today`` of the flights were on the day that is asked about.
    beyond : int
        Flights and rolls given up that it could not learn from: in winds beyond the law.
    doubted : tuple of Takeoff
        Flights that do not go with the others. What is predicted is the more careful of what
        follows with them and without them.
    """

    def __init__(
        self,
        prior: RollPrior,
        takeoffs: Sequence[Takeoff],
        day: str,
        surface: str,
        fitted: Sequence[Fitted],
        beyond: int = 0,
        doubted: Sequence[Takeoff] = (),
        without: TakeoffModel | None = None,
    ) -> None:
        self.doubted = tuple(doubted)
        self._without = without
        self.beyond = beyond
        self.prior = prior
        self.takeoffs = tuple(takeoffs)
        self.flights = len(flown(takeoffs))
        self.given_up = len(takeoffs) - self.flights
        self._day, self._surface = day, surface
        self.wide = _share(fitted, lambda case: case.scatter is WIDE)
        self.technique = _share(fitted, lambda case: case.since is not None)
        self.liftoff_speed_change = speed_change(prior, takeoffs, day)
        self.today = sum(t.day == day for t in flown(takeoffs))
        change = self.liftoff_speed_change or 0.0
        self.noticed = change > NOTICED and self.today < LEARNT
        # Until it is learnt, what is predicted is what holds if the technique did change.
        kept = [one for one in fitted if not self.noticed or one.case.since == day] or fitted
        self._fitted = tuple(kept)
        weights = np.concatenate([one.weights for one in self._fitted])
        self._weights = weights / weights.sum()
        self.effects = self._effects()

    @property
    def withheld(self) -> str:
        """Why no number may be relied on now; "" where one may."""
        strange = _strange(self.effects)
        if strange:
            return strange
        if self._without is not None and self._without.withheld:
            return self._without.withheld
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
        if not self.prior.holds_for(setting):
            airspeed = self.prior.airspeed_m_s
            raise NotEnoughDataError(
                f"a wind of {setting.headwind_m_s:.1f} m/s along the runway is above "
                f"{STRONGEST_WIND:g} of the lift-off airspeed of {airspeed:.1f} m/s",
                fix="No number can be given for it: wait for less wind.",
            )
        parts = [self._of_case(one, setting) for one in self._fitted]
        said = PredictedRoll(parts, self._weights)
        if self._without is None:
            return said
        return MoreCareful(said, self._without.predict(setting))

    def _of_case(self, one: Fitted, setting: Setting) -> StudentT:
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
        before, before_std = prior_numbers(self.prior)
        return tuple(
            Effect(name, (float(b), float(bs)), (float(m), float(s)))
            for name, b, bs, m, s in zip(NAMES, before, before_std, mean, std, strict=True)
        )


def _share(fitted: Sequence[Fitted], of: Callable[[Case], bool]) -> float:
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
    if model.doubted:
        told = "; ".join(
            f"{t.name}, {t.roll_m:.1f} m with {t.mass_kg:.2f} kg in {t.headwind_m_s:+.1f} m/s"
            for t in model.doubted
        )
        yield (
            f"Not like the others, so that its mass, wind or roll may be wrong: {told}. The "
            "numbers are the more careful of those with and without it."
        )
    if model.beyond:
        yield (
            f"{model.beyond} of the take-offs were in winds above {STRONGEST_WIND:g} of the "
            "lift-off airspeed, which teach nothing."
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
    elif 0 < model.today < LEARNT:
        yield (
            f"Until {LEARNT} flights of today the numbers allow for a lift-off that is later than "
            "on the days before."
        )


def _strange(effects: Sequence[Effect]) -> str:
    """Say which effect can't be as the flights have it; "" where all can."""
    for effect in effects:
        mean, std = effect.prior
        found = effect.posterior[0]
        # Wind that is measured badly flattens its effect, so that only its sign tells.
        far = abs(found - mean) > _FAR * std and effect.name in ("mass", "density")
        if far or (effect.name == "wind" and found <= 0):
            return (
                f"by the flights the roll goes with {effect.name} to the power of {found:.1f}, and "
                f"{mean:.1f} ± {std:.1f} is what physics allows: a mass, a wind or a roll of the "
                "record is wrong"
            )
    return ""


def _shared(one: Row, other: Row) -> float:
    return sum(load * other.loads.get(name, 0.0) for name, load in one.loads.items())


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
    every, takeoffs = takeoffs, [t for t in takeoffs if prior.holds_for(t)]
    held = scatters if scatters is not None else usual_scatters(winds)

    def fitted_to(known: Sequence[Takeoff]) -> list[Fitted]:
        return weigh(prior, known, day=day, surface=surface, scatters=held, technique=technique)

    fitted, beyond = fitted_to(takeoffs), len(every) - len(takeoffs)
    odd = odd_ones(takeoffs, fitted)
    if not odd:
        return TakeoffModel(prior, takeoffs, day, surface, fitted, beyond)
    others = [t for t in takeoffs if t not in odd]
    without = TakeoffModel(prior, others, day, surface, fitted_to(others))
    return TakeoffModel(prior, takeoffs, day, surface, fitted, beyond, odd, without)
