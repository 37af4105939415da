"""Made-up answers to how much may be loaded: rolls that grow with the units, a limit of 40 m."""

from __future__ import annotations

import math
from functools import cache
from types import SimpleNamespace
from typing import Any, cast

import numpy as np

from flightlog.logbook.entry import Entry
from flightlog.operations.load_answer import HOLDS, Bind, Choice, LoadAnswer, WhatIf
from flightlog.operations.plan import Plan
from flightlog.prediction.regression import StudentT
from flightlog.prediction.takeoff_model import PredictedRoll, TakeoffModel, fit_takeoffs
from flightlog.prediction.takeoff_prior import prior_from_flights
from flightlog.prediction.takeoffs import Takeoff
from flightlog.rules.book import Limit
from flightlog.rules.outcomes import Bound

LIMIT = Limit(
    id="takeoff-roll",
    figure="takeoff.ground_roll",
    bound=Bound("<=", 40.0, "m"),
    kind="rule",
    source="clause 4.2",
    enforced="both",
)
ENTRY = cast(Entry, SimpleNamespace(hash="0" * 64, body=SimpleNamespace(number=7)))


def roll(median_m: float, spread: float = 0.08) -> PredictedRoll:
    part = StudentT(np.array([math.log(median_m)]), np.array([spread]), 20.0)
    return PredictedRoll([part], np.array([1.0]))


def choice(units: int, *, beyond: str = "", binds: tuple[Bind, ...] = (), **more: Any) -> Choice:
    found = roll(16.0 * 1.09**units)
    said: dict[str, Any] = {"probability": found.at_most(40.0), "score": None, "no_score": "none"}
    said |= more
    mass = Bind("mass", HOLDS, f"{5.6 + 0.3 * units:.2f} kg, at most 12 kg")
    return Choice(
        units, 5.6 + 0.3 * units, found, binds=(mass, *binds), beyond_flown=beyond, **said
    )


@cache
def model() -> TakeoffModel:
    flights = [
        Takeoff(f"f{n}", f"2027-03-{10 + n}", 22.0 + n, 0.5, 7.0 + 0.2 * n, 1.2, 1.0)
        for n in range(4)
    ]
    return fit_takeoffs(prior_from_flights(flights, 7.4, 12.5), flights, day="2027-03-20")


def answer(*choices: Choice, most: int | None = 9, **more: Any) -> LoadAnswer:
    """Give an answer; with 0 to 14 units where no choices are given."""
    said: dict[str, Any] = {
        "weather": ENTRY,
        "day": "2027-03-20",
        "headwind_m_s": 2.0,
        "density_kg_m3": 1.21,
        "limit": LIMIT,
        "needed": 0.95,
        "most": most,
        "most_by_roll": most,
        "what_ifs": (WhatIf("1 m/s more headwind", 10, 33.1),),
        "best_expected": None,
        "safest": None,
        "score_slopes": (),
        "abort_m": 36.0,
        "no_abort": "",
        "energy": None,
        "no_energy": "no laps are planned: give --laps N",
        "withheld": "",
    }
    every = choices or tuple(choice(n, beyond="never so heavy" * (n > 11)) for n in range(15))
    plan = Plan("pannier", "pack-a", "club-trial-2027", "top-field")
    return LoadAnswer(plan=plan, model=model(), choices=every, **(said | more))
