"""Damaged records end in a result or in words; ``tests.logbook.mutated`` tries many more."""

from __future__ import annotations

import pytest

from tests.logbook.mutated import Trials, outcome

# Among them are files in which pages lead in a circle (10, 16), and one in which what SQLite says
# of it is no text (12).
SEEDS = range(20)


@pytest.fixture(scope="module")
def trials(tmp_path_factory):
    return Trials(tmp_path_factory.mktemp("mutated"))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_damaged_record_ends_in_a_result_or_in_words(trials, seed):
    steps = trials.steps(seed)

    assert {"merge", "check", "export"} == {name for name, step in steps.items() if outcome(step)}
