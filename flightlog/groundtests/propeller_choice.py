"""Which propeller suits a mission: which hold the limits, which nothing beats, which is best.

Candidates are drawn from the same errors (`flightlog.groundtests.draws`), so that what they share
cancels: a heavier aircraft is heavier under each of them. One beats another where it is better in
roll and in energy together with 95 %; where that is not shown, both stay on the front.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from flightlog.groundtests.draws import Sources, Spread
from flightlog.groundtests.limits_of_choice import (
    FITS,
    OUT,
    Demand,
    Judged,
    State,
    beaten_by,
    judged,
    least,
    state_of,
)
from flightlog.groundtests.propeller_performance import (
    LABELS,
    Candidate,
    Mission,
    performance,
)

Objective = Literal["energy", "roll", "current"]
OBJECTIVES: Mapping[Objective, tuple[str, str]] = {
    "energy": ("wh_per_km", "least energy per distance"),
    "roll": ("roll_m", "shortest roll"),
    "current": ("current_a", "least current at full throttle"),
}
"""Objective -> its figure, and how people say it."""


@dataclass(frozen=True, slots=True)
class PropellerLimits:
    """Bounds of the mission; None is no bound. ``shown_at`` is the probability for all of them."""

    roll_m: float | None = None
    current_a: float | None = None
    power_w: float | None = None
    tip_mach: float | None = None
    clearance_mm: float | None = None
    shown_at: float = 0.95


@dataclass(frozen=True, slots=True)
class Weighed:
    """What a candidate does, and which limits it holds.

    Attributes
    ----------
    name : str
        Of the candidate.
    figures : mapping of str to Spread
        Keys of `LABELS`.
    withheld : mapping of str to str
        Key -> why not, and what would unlock it.
    demands : tuple of Judged
        All limits.
    state : str
        What they leave of it.
    beaten_by : str
        Who is better in roll and energy, where that is shown; else "".
    """

    name: str
    figures: Mapping[str, Spread]
    withheld: Mapping[str, str]
    demands: tuple[Judged, ...]
    state: State
    beaten_by: str = ""

    @property
    def on_front(self) -> bool:
        """Whether nothing is shown to beat it, in roll and energy, of what is not ruled out."""
        return (
            self.state != OUT
            and not self.beaten_by
            and {"roll_m", "wh_per_km"} <= set(self.figures)
        )


@dataclass(frozen=True, slots=True)
class PropellerChoice:
    """The candidates for a mission.

    Attributes
    ----------
    objective : str
        What was asked for.
    candidates : tuple of Weighed
        In the order given.
    best : str
        The least in the objective of those that hold every limit; "" where none does.
    as_good : tuple of str
        Those that hold every limit too and are not shown to be worse.
    """

    objective: Objective
    candidates: tuple[Weighed, ...]
    best: str
    as_good: tuple[str, ...]


def choose_propeller(
    mission: Mission,
    candidates: Sequence[Candidate],
    limits: PropellerLimits,
    objective: Objective,
) -> PropellerChoice:
    """Weigh propellers for a mission.

    Parameters
    ----------
    mission : Mission
        Aircraft, air and task.
    candidates : sequence of Candidate
        With names of their own.
    limits : PropellerLimits
        Each has to hold with its probability.
    objective : {"energy", "roll", "current"}
        What the best has least of.
    """
    sources = Sources()
    weighed = []
    for candidate in candidates:
        figures, withheld = performance(mission, candidate, sources)
        demands = tuple(judged(d, figures, withheld) for d in _demands(limits, candidate))
        weighed.append(Weighed(candidate.name, figures, withheld, demands, state_of(demands)))
    beaten = beaten_by(
        {
            w.name: (w.figures["roll_m"], w.figures["wh_per_km"])
            for w in weighed
            if w.state != OUT and {"roll_m", "wh_per_km"} <= set(w.figures)
        }
    )
    figure = OBJECTIVES[objective][0]
    holds = {w.name: w.figures[figure] for w in weighed if w.state == FITS and figure in w.figures}
    best, as_good = least(holds)
    done = (replace(w, beaten_by=beaten.get(w.name, "")) for w in weighed)
    return PropellerChoice(objective, tuple(done), best, as_good)


def _demands(limits: PropellerLimits, candidate: Candidate) -> list[Demand]:
    """List what a candidate has to hold; the maker's speed always, others where bounded."""
    bounds: tuple[tuple[str, Literal["<=", ">="], float | None], ...] = (
        ("roll_m", "<=", limits.roll_m),
        ("current_a", "<=", limits.current_a),
        ("power_w", "<=", limits.power_w),
        ("tip_mach", "<=", limits.tip_mach),
        ("clearance_mm", ">=", limits.clearance_mm),
    )
    made = [
        Demand(figure, LABELS[figure][0], op, bound, LABELS[figure][1], limits.shown_at)
        for figure, op, bound in bounds
        if bound is not None
    ]
    label, unit, _ = LABELS["speed_rpm"]
    missing = "the maker's highest speed is not stated: add max_rpm from the maker's sheet"
    made.append(Demand("speed_rpm", label, "<=", candidate.max_rpm, unit, limits.shown_at, missing))
    return made
