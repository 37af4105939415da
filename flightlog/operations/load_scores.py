"""The score over the choices, as the rule book's formula gives it, and by what it changes."""

from __future__ import annotations

from collections.abc import Mapping

from flightlog.errors import NotEnoughDataError
from flightlog.operations.desk import Desk
from flightlog.operations.load_answer import Choice, ScoreSpread
from flightlog.operations.load_sheet import PAYLOAD, Load
from flightlog.operations.plan import Plan
from flightlog.operations.score_choices import Carried, past_flights, score_of, score_slopes
from flightlog.prediction.takeoff_model import PredictedRoll
from flightlog.rules.book import Limit, RuleBook


class Scoring:
    """The score rule of a plan with what all choices share.

    Parameters
    ----------
    desk, plan
        What is asked about.
    book : RuleBook or None
        Of the plan.
    limit, offset_m : Limit or None, float
        On the ground roll, and by how much a roll is judged longer. [m]
    laps : int or None
        As planned.
    entered : mapping of str to float
        Numbers that only people know.
    """

    def __init__(
        self,
        desk: Desk,
        plan: Plan,
        book: RuleBook | None,
        limit: Limit | None,
        offset_m: float,
        laps: int | None,
        entered: Mapping[str, float],
    ) -> None:
        self._rule = book.score if book is not None else None
        self._why = "no rule book is chosen" if book is None else "the rule book has no score"
        self._limit_m = limit.bound.value - offset_m if limit is not None else None
        self._laps, self._entered = laps, entered
        self._nominal_wh = desk.pack(plan.pack).nominal_wh
        if self._rule is not None:
            self._past = past_flights(desk, plan.aircraft, self._rule)

    def of(
        self, units: int, load: Load, roll: PredictedRoll, keeps: float | None
    ) -> tuple[ScoreSpread | None, str]:
        """Give the score of a choice, or why there is none."""
        if self._rule is None:
            return None, self._why
        carried = self._carried(units, load, roll, keeps)
        try:
            found = score_of(
                self._rule, carried, laps=self._laps, entered=self._entered, past=self._past
            )
        except NotEnoughDataError as error:
            return None, error.sentence()
        return found, ""

    def slopes(
        self,
        now: tuple[Choice, Load],
        more: tuple[Choice, Load] | None,
        windier: tuple[PredictedRoll, float | None],
    ) -> tuple[tuple[str, float], ...]:
        """Say by what the expected score of a choice changes.

        Parameters
        ----------
        now, more : tuple of Choice and Load, or None
            The choice, and the one with one unit more.
        windier : tuple of PredictedRoll and float or None
            Roll, and the probability that it keeps the limit, in 1 m/s more headwind.
        """
        choice, load = now
        if self._rule is None or choice.score is None:
            return ()
        try:
            return score_slopes(
                self._rule,
                self._carried(choice.units, load, choice.roll, choice.probability),
                more=self._carried(more[0].units, more[1], more[0].roll, more[0].probability)
                if more is not None
                else None,
                windier=self._carried(choice.units, load, *windier),
                laps=self._laps,
                entered=self._entered,
                past=self._past,
            )
        except NotEnoughDataError:
            return ()

    def _carried(self, units: int, load: Load, roll: PredictedRoll, keeps: float | None) -> Carried:
        return Carried(
            units,
            load.mass_kg,
            sum(a.whole_kg for a in load.added if a.station == PAYLOAD),
            self._nominal_wh,
            keeps,
            roll,
            self._limit_m,
        )
