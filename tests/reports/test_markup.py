from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.reports.markup import cell, escaped, page, spreadsheet, table

HOSTILE = '<script>alert("x")</script>'


def test_a_page_runs_nothing_that_a_text_says():
    text = page(HOSTILE, f"<p>{escaped(HOSTILE)}</p>", table([HOSTILE], [[HOSTILE]]))

    assert "<script" not in text
    assert 4 == text.count("&lt;script&gt;") - 1  # title, heading, paragraph, head and cell


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1"])
def test_a_spreadsheet_shows_what_it_would_compute(text):
    assert cell(text)[0] not in "=+-@\t\r"


def test_numbers_stay_numbers():
    assert "-2.5" == cell("-2.5")


@given(st.lists(st.lists(st.text(), min_size=2, max_size=2), max_size=5))
def test_a_table_comes_back_with_as_many_rows_and_cells(rows):
    read = list(csv.reader(io.StringIO(spreadsheet(["a", "b"], rows), newline="")))

    assert 1 + len(rows) == len(read)
    assert all(2 == len(row) for row in read)
