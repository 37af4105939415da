"""Days of flying whose rolls follow one law, with everything in the record that is learnt from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

import pytest

from flightlog.operations.importing import Told, finish
from flightlog.operations.plan import Plan
from flightlog.operations.sorties import SortieRecord
from tests.operations.logs import load_sheet, recording, release, stored_debrief
from tests.operations.made import HillFarm
from tests.operations.released import charged, copied, keep, new_folder, weighed, wind
from tests.operations.test_season_table import weather

PLAN = Plan("pannier", "pack-a", "club-trial-2027", "top-field")
FIRST = datetime(2027, 3, 16, 9, tzinfo=UTC)
TODAY = datetime(2027, 3, 24, 8, tzinfo=UTC)
HEADING_DEG = 68.0
MASSES_KG = (6.8, 7.1, 7.4, 7.4, 7.7, 8.0)
WINDS = ("1.0", "2.5", "0.5", "3.0", "2.0", "1.0")
OFF_BY = (0.02, -0.015, -0.02, 0.01, 0.015, -0.01)
"""Logarithms by which the rolls scatter."""


def law_m(mass_kg: float, headwind_m_s: float) -> float:
    """Give the roll that all flights here follow. [m]"""
    return 26.0 * (mass_kg / 7.4) ** 2.35 * (1 - headwind_m_s / 13.5) ** 1.85


def head_m_s(wind_m_s: float, from_deg: float = 70.0) -> float:
    return wind_m_s * math.cos(math.radians(from_deg - HEADING_DEG))


def number(value: float, std: float) -> dict[str, float]:
    return {"value": value, "low": value - 1.959964 * std, "high": value + 1.959964 * std}


def figures(mass_kg: float, roll_m: float | None, ground_m_s: float) -> dict[str, Any]:
    found = {
        "mass.takeoff": number(mass_kg, 0.0),
        "takeoff.liftoff_ground_speed": number(ground_m_s, 0.15),
        "battery.max_current": number(45.0 + mass_kg / 10, 0.2),
        "climb.gradient": number(1.74 / mass_kg - 0.1, 0.003),
        # The log's own wind is another one, and not to be used.
        "wind.speed": number(9.0, 0.2),
    }
    return found if roll_m is None else {**found, "takeoff.ground_roll": number(roll_m, 0.6)}


def flew(
    farm: HillFarm,
    at: datetime,
    mass_kg: float,
    wind_m_s: str,
    *,
    roll_m: float | None = None,
    faster: float = 1.0,
    pack: str = "pack-a",
    said: Mapping[str, Any] | None = None,
    attempts: tuple[Mapping[str, Any], ...] = (),
) -> SortieRecord:
    """Charge, load, measure, release and fly; the roll is that of the law where none is given."""
    farm.clock.now = at - timedelta(minutes=40)
    charged(farm, pack)
    sheet = load_sheet(farm, f"{mass_kg:g}", pack=pack)
    measured = weather(farm, wind_mean=wind_m_s, wind_gust=f"{1.3 * float(wind_m_s):.1f}")
    release(farm, at - timedelta(minutes=10), pack=pack, cites=[sheet, measured])
    head = head_m_s(float(wind_m_s))
    airspeed = 13.5 * math.sqrt(mass_kg / 7.4) * faster
    roll = law_m(mass_kg, head) if roll_m is None else roll_m
    each = said or {"figures": figures(mass_kg, roll, airspeed - head)}
    farm.clock.now = at + timedelta(minutes=6)
    file = f"{at:%d-%H%M}.bin"
    body = stored_debrief(at, file=file, each=each, attempts=len(attempts))
    for attempt, more in zip(body["attempts"], attempts, strict=True):
        attempt.update(more)
    return finish(farm.desk, recording(farm, body), Told(pack=pack)).flights[0]


def in_the_morning(farm: HillFarm, now: datetime = TODAY) -> HillFarm:
    """Charge and measure on the day that is asked about."""
    farm.clock.now = now
    charged(farm)
    wind(farm, wind_mean="2.0", wind_gust="2.6")
    return farm


@pytest.fixture(scope="session")
def season_place(farm_place, tmp_path_factory):
    """Where a farm is kept that flew six times, and that asks on the day after."""
    return _season_place(farm_place, tmp_path_factory.getbasetemp())


@cache  # once, though the fixture is made anew for each module that imports it
def _season_place(farm_place, base):
    farm = copied(farm_place[0], new_folder(base), farm_place[1])
    weighed(farm)
    for n, (mass, blew, off) in enumerate(zip(MASSES_KG, WINDS, OFF_BY, strict=True)):
        at = FIRST + timedelta(days=n // 2, hours=2 * (n % 2))
        flew(farm, at, mass, blew, roll_m=law_m(mass, head_m_s(float(blew))) * math.exp(off))
    in_the_morning(farm)
    place = new_folder(base)
    now = keep(farm, place)
    farm.close()
    return place, now


@pytest.fixture
def season_farm(season_place, tmp_path):
    """A farm of its own that flew six times."""
    farm = copied(season_place[0], tmp_path / "season", season_place[1])
    yield farm
    farm.close()
