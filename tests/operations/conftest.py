from __future__ import annotations

import pytest

from tests.operations.made import HillFarm


@pytest.fixture
def farm(tmp_path):
    """A founded record with the sample files in force, on a morning of the sample season."""
    made = HillFarm(tmp_path)
    made.enter_files()
    yield made
    made.close()
