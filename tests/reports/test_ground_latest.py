"""What was measured last on the ground: one row for each kind and thing, with its age."""

from __future__ import annotations

from flightlog.operations.positions import named
from flightlog.reports.ground_latest import latest_on_ground, latest_rows
from tests.operations.conftest import farm, farm_place
from tests.operations.released import charged, weighed
from tests.operations.test_ground_entry import enter, ring

__all__ = ["farm", "farm_place"]  # fixtures


def test_only_the_newest_of_each_kind_and_thing_is_told(farm, tmp_path):
    weighing = weighed(farm)
    charged(farm)
    charge = charged(farm)
    test = enter(farm, ring(tmp_path))
    farm.clock.later(days=2)
    farm.desk.refresh()

    rows = latest_rows(farm.desk, latest_on_ground(farm.desk))

    day = "2027-03-15, 2 days ago"
    assert [
        ("Ring-down, bench test", "aircraft pannier", day, named(test)),
        ("charge", "pack pack-a", day, named(charge)),
        ("weighing", "aircraft pannier", day, named(weighing)),
    ] == rows


def test_what_lies_ahead_of_the_clock_says_so(farm):
    weighed(farm)
    farm.clock.later(days=-1)
    farm.desk.refresh()

    ((_, _, when, _),) = latest_rows(farm.desk, latest_on_ground(farm.desk))
    assert "ahead of this laptop's clock" in when
