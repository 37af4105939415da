from __future__ import annotations

import pytest

from tests.operations.made import HillFarm


@pytest.fixture(scope="session")
def farm_place(tmp_path_factory):
    """Where a farm is kept to be copied: making one takes seven times as long."""
    from tests.operations.released import keep

    made = HillFarm(tmp_path_factory.mktemp("made"))
    made.enter_files()
    place = tmp_path_factory.mktemp("kept")
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
