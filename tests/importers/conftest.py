"""Recordings of logs that a test writes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Protocol

import pytest

from flightlog.importers import read
from flightlog.recording import Recording


class Written(Protocol):
    """What the writers of logs offer."""

    data: bytearray


@pytest.fixture
def recorded(tmp_path: Path) -> Callable[[Written | bytes], Recording]:
    """Read what a writer wrote, from a file whose ending tells nothing."""

    def make(log: Written | bytes) -> Recording:
        path = tmp_path / "log.dat"
        path.write_bytes(log if isinstance(log, bytes) else bytes(log.data))
        return read(path)

    return make
