"""What is answered to "how much may we load today?": every choice with what speaks for and against.

These are numbers and plain facts only; `load_today` makes them, `reports.load_today_words` tells
them. Nothing here says that a flight is safe: an answer can be withheld, or smaller.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flightlog.logbook.entry import Entry
from flightlog.operations.flown_takeoffs import LeftOut
from flightlog.operations.plan import Plan
from flightlog.prediction.takeoff_model import PredictedRoll, TakeoffModel
from flightlog.rules.book import Limit

if TYPE_CHECKING:
    from flightlog.operations.energy_need import EnergyNeed

HOLDS, FAILS, UNKNOWN = "holds", "does not hold", "not assessable"


@dataclass(frozen=True, slots=True)
class Bind:
    """What else binds a choice.

    Attributes
    ----------
    name : str
        "mass", "balance", "climb gradient", "current", "energy", "room to stop" or "weather".
    word : str
        `HOLDS`, `FAILS` or `UNKNOWN`.
    says : str
        One sentence with numbers, and what would make it assessable.
    probability : float or None
        That it holds, where that is known.
    """

    name: str
    word: str
    says: str
    probability: float | None = None


@dataclass(frozen=True, slots=True)
class ScoreSpread:
    """The score of one choice: nothing where the take-off limit is missed.

    Attributes
    ----------
    expected, low, high : float
        Mean, and the ends of the central 95 %.
    says : str
        What was assumed: laps, entered numbers.
    """

    expected: float
    low: float
    high: float
    says: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """One number of payload units.

    Attributes
    ----------
    units : int
        How many.
    mass_kg : float
        Take-off mass by its load sheet.
    roll : PredictedRoll
        Of the next take-off with them.
    probability : float or None
        That the take-off limit holds; None without such a limit.
    binds : tuple of Bind
        What else binds.
    score : ScoreSpread or None
        By the rule book's formula.
    no_score : str
        Why there is none.
    beyond_flown : str
        Why this asks for a build-up flight first; "" where it was flown before.
    """

    units: int
    mass_kg: float
    roll: PredictedRoll
    probability: float | None
    binds: tuple[Bind, ...]
    score: ScoreSpread | None
    no_score: str
    beyond_flown: str

    @property
    def allowed(self) -> bool:
        """Whether nothing that binds fails, the take-off limit left out."""
        return all(bind.word != FAILS for bind in self.binds)


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What would change the answer.

    Attributes
    ----------
    name : str
        "1 m/s more headwind", "1 m/s less headwind", "5 °C warmer".
    units : int or None
        Largest number then; None where not even none.
    bound_m : float or None
        Roll that 95 of 100 take-offs keep then, with the units that are the answer now. [m]
    """

    name: str
    units: int | None
    bound_m: float | None


@dataclass(frozen=True, slots=True)
class LoadAnswer:
    """The whole answer.

    Attributes
    ----------
    plan : Plan
        What was asked about.
    weather : Entry
        The measurement it rests on.
    day : str
        Date in UTC.
    headwind_m_s, density_kg_m3 : float
        From that measurement.
    limit, needed : Limit or None, float
        Limit on the ground roll, and the probability it asks for before a flight.
    model : TakeoffModel
        What the flights say.
    choices : tuple of Choice
        From 0 units up.
    most, most_by_roll : int or None
        Largest number for which nothing that binds fails and which keeps the limit on the roll,
        as every smaller one does; and the largest by that limit alone.
    what_ifs : tuple of WhatIf
        What would change it.
    best_expected, safest : int or None
        Units with the largest expected score: of all that nothing else forbids, and of those of
        them that keep the limit with the probability that it asks for.
    score_slopes : tuple of (str, float)
        By what the expected score of the answer changes: "one unit more", "1 m/s more headwind",
        "one lap more".
    abort_m, no_abort : float or None, str
        Give up when not airborne so far from the start line [m]; or why there is no such point.
    energy, no_energy : EnergyNeed or None, str
        What the planned laps need; or why that is not known.
    withheld : str
        Why no number is given at all, "" where one is. Then ``choices`` are there all the same,
        as what the model says, and nothing is named that somebody could load by.
    left_out : tuple of LeftOut
        Flights from which nothing is learnt, and why.
    other_configuration : int
        Flights in other configurations, which are left out too.
    said : tuple of str
        What was taken and assumed. Sentences without a full stop.
    pack_ratio : float
        Rest voltage of the pack over that of a full one.
    judged_longer_m : float
        By how much tape or judge read a roll longer than the log: limits are so much nearer. [m]
    pack_says : str
        How full the pack was taken to be, and by what.
    looked_at : int or None
        Units at which the list of choices was cut off; None where something else ended it.
    """

    plan: Plan
    weather: Entry
    day: str
    headwind_m_s: float
    density_kg_m3: float
    limit: Limit | None
    needed: float
    model: TakeoffModel
    choices: tuple[Choice, ...]
    most: int | None
    most_by_roll: int | None
    what_ifs: tuple[WhatIf, ...]
    best_expected: int | None
    safest: int | None
    score_slopes: tuple[tuple[str, float], ...]
    abort_m: float | None
    no_abort: str
    energy: EnergyNeed | None
    no_energy: str
    withheld: str
    left_out: tuple[LeftOut, ...] = ()
    other_configuration: int = 0
    said: tuple[str, ...] = ()
    pack_ratio: float = 1.0
    judged_longer_m: float = 0.0
    looked_at: int | None = None
    pack_says: str = ""

    def choice(self, units: int | None) -> Choice | None:
        """Give one of the choices by its units."""
        return next((c for c in self.choices if c.units == units), None)

    def keeps(self, choice: Choice) -> bool:
        """Whether a choice keeps the take-off limit with the probability that it asks for."""
        return choice.probability is not None and choice.probability >= self.needed

    def may_be_loaded(self, choice: Choice) -> bool:
        """Whether a choice and every smaller one keep the limit, nothing fails, and it is given."""
        smaller = (one for one in self.choices if one.units <= choice.units)
        return not self.withheld and choice.allowed and all(map(self.keeps, smaller))

    @property
    def kept_up_to_m(self) -> float | None:
        """The longest roll by the log that keeps the limit as tape or judge read it. [m]"""
        if self.limit is None or self.limit.bound.op != "<=":
            return None
        return self.limit.bound.value - self.judged_longer_m
