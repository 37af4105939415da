from __future__ import annotations

from functools import cache

import pytest

from tests.operations.made import HillFarm


@pytest.fixture(scope="session")
def farm_place(tmp_path_factory):
    """Where a farm is kept to be copied: making one takes seven times as long."""
    return _farm_place(tmp_path_factory.getbasetemp())


# pytest makes a fixture of a session anew for each module that imports it; this is made once.
@cache
def _farm_place(base):
    from tests.operations.released import keep, new_folder

    made = HillFarm(new_folder(base))
    made.enter_files()
    place = new_folder(base)
    now = keep(made, place)
    made.close()
    return place, now


@pytest.fixture
def farm(farm_place, tmp_path):
    """A founded record with the sample files in force, on a morning of the sample season."""
    from tests.operations.released import copied

    made = copied(farm_place[0], tmp_path, farm_place[1])
    yield made
    made.close()
