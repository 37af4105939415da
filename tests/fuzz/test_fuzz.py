"""A short seeded run of the fuzzing script: every importer, mutated pieces of samples."""

from __future__ import annotations

import time
from functools import cache

import pytest

from flightlog.importers import IMPORTERS
from flightlog.resources import data_path
from tests.fuzz.inputs import SMALL_BYTES, TABLE, Source, small_input, sources_of
from tests.fuzz.made import made_sources
from tests.fuzz.run import LONGEST_S, feed

SEED = 20270315
SAMPLES = ("headwind.bin", "position_1hz_only.bin", "radio_copy.tlog")


@cache
def sources() -> list[Source]:
    return [*made_sources(), *sources_of([data_path("sample_flights") / n for n in SAMPLES])]


def test_there_is_a_source_for_every_importer():
    assert {s.format for s in sources()} >= {i.format for i in IMPORTERS} | {TABLE}


@pytest.mark.parametrize("source", made_sources(), ids=lambda s: s.name)
def test_what_is_made_here_is_whole(source, tmp_path):
    # Else the mutations would never get beyond the first error.
    assert feed(source.format, source.content, tmp_path / "a.log", detected=False) == "recording"


@pytest.mark.parametrize("start", range(0, 600, 60))
def test_mutated_inputs_are_read_or_refused(start, tmp_path):
    for number in range(start, start + 60):
        format, content = small_input(sources(), SEED, number)
        assert len(content) <= SMALL_BYTES
        began = time.monotonic()
        came = feed(format, content, tmp_path / "a.log", detected=number % 7 == 0)
        assert came in ("recording", "LogFileError", "UnknownFormatError", "TeamFileError")
        # Not a benchmark: a hundred times what the slowest takes on a laptop is a hang.
        assert time.monotonic() - began < LONGEST_S


def test_the_same_seed_makes_the_same_input():
    assert small_input(sources(), SEED, 7) == small_input(sources(), SEED, 7)
    assert small_input(sources(), SEED, 7) != small_input(sources(), SEED + 1, 7)
