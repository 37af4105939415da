"""A load in rows: numbers with two standard uncertainties, and what is on board."""

from __future__ import annotations

import pytest

from flightlog.operations.load_sheet import worked_out
from flightlog.reports.load_words import added_rows, number_rows
from tests.operations.conftest import farm, farm_place  # noqa: F401
from tests.operations.loads import weighed


@pytest.fixture
def load(farm):  # noqa: F811
    weighed(farm)
    return worked_out(farm.desk, "pannier", "pack-a", 8)[0]


def test_each_number_stands_beside_two_of_its_standard_uncertainties(load):
    rows = {what: (value, spread) for what, value, spread in number_rows(load)}
    mass = load.verdict.loaded.mass

    assert ("8.000", f"{2 * mass.std:.3f}") == rows["mass, kg"]
    assert f"{load.verdict.balance.value:.2f}" == rows["balance, % of the chord"][0]
    assert "5.000" == rows["empty, by the weighing, kg"][0]


def test_what_is_on_board_stands_with_its_whole_mass(load):
    assert [
        ("1 x pack pack-a", "0.600", "0.3800", "battery"),
        ("8 x payload unit", "2.400", "0.4700", "payload"),
    ] == added_rows(load)
