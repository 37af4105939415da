from __future__ import annotations

import pytest

from flightlog.errors import UsageError
from flightlog.logbook.flying_kinds import GROUPS
from flightlog.team_files.hangar import COMPONENT_GROUPS


def test_the_files_in_force_are_read_from_the_record(farm):
    aircraft = farm.desk.aircraft("pannier")

    assert "cargo-2" == aircraft.configuration
    assert {"payload", "battery"} == set(aircraft.stations)
    assert 0.6 == farm.desk.pack("pack-a").mass_kg


def test_an_id_that_is_near_is_offered(farm):
    with pytest.raises(UsageError, match="'pack-a'"):
        farm.desk.pack("pack-aa")


def test_groups_of_components_have_the_same_words_in_files_and_in_the_record():
    assert GROUPS == COMPONENT_GROUPS
