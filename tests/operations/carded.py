"""Flight cards of the hill farm, out of a prediction that is a plain normal distribution."""

from __future__ import annotations

from datetime import datetime, timedelta
from statistics import NormalDist
from types import SimpleNamespace
from typing import Any

import pytest

from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import FLIGHT_CARD
from flightlog.operations.cards import draft_card
from flightlog.operations.load_answer import Choice, LoadAnswer
from flightlog.operations.plan import Plan
from flightlog.operations.point_files import PlannedPoint, PointFile
from flightlog.operations.positions import newest
from flightlog.operations.weather import latest_weather
from tests.logbook.made import public_of
from tests.operations.logs import imported, release
from tests.operations.made import HillFarm
from tests.operations.released import PLAN, loaded, weighed, wind

POINTS = PointFile(
    "build-up",
    "Build-up",
    "ab" * 32,
    (
        PlannedPoint("roll", "full power", "ground roll", "swerve"),
        PlannedPoint("climb", "full power", "best climb", "below 1 m/s"),
    ),
)
ENGINEER, PILOT = ("observer", "computed", "engineer"), ("pilot", "accepted", "pilot")


class NormalRoll:
    """Stands for a predicted roll."""

    def __init__(self, mean_m: float, std_m: float) -> None:
        self._normal = NormalDist(mean_m, std_m)
        self.quantile = self._normal.inv_cdf
        self.at_most = self._normal.cdf
        self.median_m = mean_m


def answer(
    farm: HillFarm,
    mean_m: float = 30.0,
    std_m: float = 2.0,
    *,
    units: int = 4,
    plan: Plan = PLAN,
    **other: Any,
) -> LoadAnswer:
    """Give an answer to what may be loaded, in which one number of units was looked at."""
    farm.desk.refresh()
    sheet = farm.desk.ledger.last("load-sheet", aircraft=plan.aircraft)
    weather = latest_weather(farm.desk, plan.site)
    assert sheet is not None
    assert weather is not None
    mass_kg = float(sheet.body.content["mass"]["value"])
    roll: Any = NormalRoll(mean_m, std_m)
    choice = Choice(units, mass_kg, roll, roll.at_most(40.0), (), None, "no formula", "")
    said: dict[str, Any] = {
        "plan": plan,
        "weather": weather,
        "day": "2027-03-15",
        "headwind_m_s": 3.2984,
        "density_kg_m3": 1.22467,
        "limit": None,
        "needed": 0.95,
        "model": SimpleNamespace(flights=8, given_up=1),
        "choices": (choice,),
        "most": units,
        "most_by_roll": units,
        "what_ifs": (),
        "best_expected": None,
        "safest": None,
        "score_slopes": (),
        "abort_m": 33.28,
        "no_abort": "",
        "energy": None,
        "no_energy": "no laps are planned",
        "withheld": "",
    }
    return LoadAnswer(**(said | other))


def carded(
    farm: HillFarm, given: LoadAnswer | None = None, *, points: PointFile | None = None
) -> Entry:
    """Have a card signed for the load sheet and weather in force."""
    draft = draft_card(
        farm.desk,
        given or answer(farm),
        4,
        points,
        computed_by=public_of("observer"),
        accepted_by=public_of("pilot"),
    )
    farm.clock.later(minutes=1)
    farm.desk.refresh()
    return farm.sign(draft, "observer", "pilot")


def foreign_card(farm: HillFarm, *signers: tuple[str, str, str], **said: Any) -> Entry:
    """Add a card as another program may have written it: like ours, but for what is said."""
    draft = draft_card(
        farm.desk,
        answer(farm),
        4,
        None,
        computed_by=public_of("observer"),
        accepted_by=public_of("pilot"),
    )
    cites = [e for r in draft.relations if (e := farm.desk.ledger.order.get(r.entry)) is not None]
    who = signers or (ENGINEER, PILOT)
    return farm.add(FLIGHT_CARD, {**draft.content, **said}, *who, cites=cites)


def released_by_card(farm: HillFarm, at: datetime | None = None, **more: Any) -> Entry:
    """Add a release that rests on the load sheet and the weather in force."""
    ledger = farm.desk.ledger
    rests_on = [e for kind in ("load-sheet", "weather") for e in newest(ledger, ledger.of(kind))]
    return release(farm, at, cites=rests_on, **more)


def flown_after(farm: HillFarm, number: int = 0, roll_m: float = 31.0, **figures: float) -> Any:
    """Import the log of a flight that was flown some minutes after now."""
    start = farm.clock.now + timedelta(minutes=5)
    figures = {"takeoff.ground_roll": roll_m, **figures}
    each = {"figures": {id_: _figure(value) for id_, value in figures.items()}}
    (flight,) = imported(farm, start, file=f"flight-{number}.bin", each=each)
    return flight


def _figure(value: float) -> dict[str, float]:
    return {"value": value, "low": value - 1.0, "high": value + 1.0}


@pytest.fixture
def planned(farm: HillFarm) -> HillFarm:
    """A farm with a load sheet and weather."""
    weighed(farm)
    loaded(farm)
    wind(farm)
    return farm
