"""What a sheet leaves out is counted in its place."""

from __future__ import annotations

import pytest

from flightlog.reports.look import SHAPES
from flightlog.reports.sheet_content import (
    Words,
    cut_block,
    more_text,
    shortened,
    state_look,
    state_shape,
)
from tests.reports.sheets import table


@pytest.mark.parametrize(
    ("most", "share", "kept", "more"),
    [(0, 0.1, 20, 0), (20, 1.0, 20, 0), (19, 1.0, 20, 0), (18, 1.0, 18, 2), (20, 0.5, 10, 10)],
)
def test_rows_that_are_left_out_are_counted(most, share, kept, more):
    cut = cut_block(table(20, most), share)

    assert (kept, more) == (len(cut.rows), cut.more)
    assert more_text(more) == (f"and {more} more, see the record" if more else "")


def test_a_block_keeps_at_least_a_row_and_few_rows_stay_longest():
    assert 1 == len(cut_block(table(20, 20), 0.01).rows)
    assert 3 == len(cut_block(table(3, 20), 0.3).rows)


def test_a_text_that_is_too_long_says_how_much_of_it_is_missing():
    assert "a" * 600 == shortened("a" * 600)
    cut = cut_block(Words("", ("b" * 1000,)))

    assert cut.lines[0].startswith("b" * 600)
    assert cut.lines[0].endswith("(and 400 more characters, see the record)")


@pytest.mark.parametrize("word", SHAPES)
def test_states_have_the_shapes_of_all_screens(word):
    assert SHAPES[word] == state_shape(word) == state_shape(f"of it: {word}")


def test_what_must_not_be_missed_is_heavy():
    for word in ("held", "not met", "FLOWN WITHOUT A RELEASE", "fitness: void", "overdue"):
        assert "heavy" == state_look(word), word
    assert "plain" == state_look("fitness: holds")
    assert "broken" == state_look("release not clear")
