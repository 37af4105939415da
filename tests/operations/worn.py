"""A season in which things wear: made-up debriefs whose figures follow known lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

import numpy as np
import pytest

from flightlog.operations.sorties import SortieRecord
from tests.operations.logs import imported
from tests.operations.made import HillFarm
from tests.operations.released import copied, keep, new_folder

FIRST = datetime(2027, 4, 1, 9, tzinfo=UTC)
SEED = 20270616
RESISTANCE, TRIM, PLAY, SINK = (
    "battery.resistance_25c",
    "surface.elevator.trim",
    "surface.elevator.play",
    "landing.sink_rate",
)


def number(value: float, std: float) -> dict[str, float]:
    """Give a figure as a debrief has it."""
    return {"value": value, "low": value - 1.959964 * std, "high": value + 1.959964 * std}


def flew(
    farm: HillFarm, count: int, figures: Mapping[str, float], *, pack: str = "pack-a"
) -> SortieRecord:
    """Let the aircraft fly for the nth time, each time on another day."""
    each = {
        "figures": {id_: number(value, 0.01 * abs(value)) for id_, value in figures.items()},
        "withheld": {},
    }
    at = FIRST + timedelta(days=count)
    (flight,) = imported(farm, at, each=each, pack=pack, file=f"flight-{count}.bin")
    return flight


def season(count: int = 20) -> list[dict[str, float]]:
    """Give figures: resistance grows by 2 % a flight, trim and play stay, flight 4 has no play."""
    chance = np.random.default_rng(SEED)
    found = []
    for k in range(count):
        figures: dict[str, float] = {
            RESISTANCE: 0.030 * (1 + 0.02 * k) * (1 + 0.015 * chance.normal()),
            TRIM: -1.0 + 0.1 * chance.normal(),
            PLAY: 0.4 + 0.03 * chance.normal(),
            SINK: 0.7 + 0.05 * chance.normal(),
        }
        if k == 3:
            del figures[PLAY]
        found.append(figures)
    return found


def flown(farm: HillFarm, every: Sequence[Mapping[str, Any]]) -> HillFarm:
    """Fly a season."""
    for count, figures in enumerate(every):
        flew(farm, count, figures)
    return farm


@pytest.fixture(scope="session")
def worn_place(farm_place, tmp_path_factory):
    """Where a farm is kept that flew twenty times with a pack that ages."""
    return _worn_place(farm_place, tmp_path_factory.getbasetemp())


@cache  # once, though the fixture is made anew for each module that imports it
def _worn_place(farm_place, base):
    farm = copied(farm_place[0], new_folder(base), farm_place[1])
    flown(farm, season())
    place = new_folder(base)
    now = keep(farm, place)
    farm.close()
    return place, now


@pytest.fixture
def worn_farm(worn_place, tmp_path):
    """A farm of its own that flew twenty times."""
    farm = copied(worn_place[0], tmp_path / "season", worn_place[1])
    yield farm
    farm.close()
