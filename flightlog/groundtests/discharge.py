"""To come."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from flightlog.groundtests.answer import GroundAnswer
from flightlog.groundtests.bench_table import BenchTable


@dataclass(frozen=True, slots=True)
class Setup:
    """What the reduction has to know besides the files."""


def reduce(tables: Sequence[BenchTable], setup: Setup) -> GroundAnswer:
    """Reduce the files of one test."""
    return GroundAnswer()
