"""How full a pack is comes from the newest charge or check since it flew, or from nothing."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.errors import UsageError
from flightlog.operations.checks import About
from flightlog.operations.pack_state import pack_state, typed_state
from tests.operations.conftest import farm, farm_place
from tests.operations.flown import flown
from tests.operations.released import charged, crewed, walked

__all__ = ["farm", "farm_place"]  # fixtures


def test_a_charge_says_it(farm):
    charged(farm)

    state = pack_state(farm.desk, "pack-a")
    assert 25.1 / (6 * 4.2) == pytest.approx(state.ratio)
    assert "25.1 V at rest by charge" in state.says


def test_a_check_of_the_lowest_cell_that_came_later_says_it_instead(farm):
    crewed(farm)
    charged(farm)
    walked(farm, "pre-flight", About("pannier", "pack-a"))

    state = pack_state(farm.desk, "pack-a")
    assert 4.15 / 4.2 == pytest.approx(state.ratio)
    assert "a cell of pack-a had 4.15 V" in state.says
    assert pack_state(farm.desk, "pack-b").ratio is None


def test_what_was_measured_before_it_flew_says_nothing(farm):
    charged(farm)
    flown(farm)

    state = pack_state(farm.desk, "pack-a")
    assert state.ratio is None
    assert "no rest voltage of pack-a is in the record since its last flight" == state.says
    charged(farm)
    assert pack_state(farm.desk, "pack-a").ratio is not None


def test_before_a_flight_only_what_was_measured_before_it_counts(farm):
    charged(farm)
    flown(farm)
    farm.add("charge", {"pack": "pack-a", "voltage": {"value": "24.0", "unit": "V"}},
             ("pilot", "performed", "battery"))  # fmt: skip
    from flightlog.operations.sorties import sorties

    (flight,) = sorties(farm.desk)
    assert 25.1 / 25.2 == pytest.approx(pack_state(farm.desk, "pack-a", before=flight).ratio)
    assert 24.0 / 25.2 == pytest.approx(pack_state(farm.desk, "pack-a").ratio)


def test_a_voltage_that_is_none_of_the_pack_is_not_used(farm):
    farm.add("charge", {"pack": "pack-a", "voltage": {"value": "12.0", "unit": "V"}},
             ("pilot", "performed", "battery"))  # fmt: skip

    assert pack_state(farm.desk, "pack-a").ratio is None


def test_a_typed_voltage(farm):
    assert 24.5 / 25.2 == pytest.approx(typed_state(farm.desk, "pack-a", 24.5).ratio)
    for volts in (4.15, 12.0, 26.2, 27.0):
        with pytest.raises(UsageError, match="can't be the rest voltage of 6 cells"):
            typed_state(farm.desk, "pack-a", volts)


def test_what_reads_above_full_counts_as_full(farm):
    """A meter that reads high makes no roll shorter."""
    farm.add(
        "charge",
        {"pack": "pack-a", "voltage": {"value": "25.9", "unit": "V"}},
        ("pilot", "performed", "battery"),
    )

    assert 1.0 == pack_state(farm.desk, "pack-a").ratio
    assert 1.0 == typed_state(farm.desk, "pack-a", 25.3).ratio


def test_without_a_pack_nothing_is_known(farm):
    assert pack_state(farm.desk, "").ratio is None
    farm.clock.now += timedelta(minutes=1)
    assert "yet" in pack_state(farm.desk, "pack-b").says
