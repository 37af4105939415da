"""Numbers out of cells of text: the same doubles as Python reads."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.importers.text_numbers import read_integers, read_numbers


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("-37.9596764", -37.9596764),
        ("0.1", 0.1),
        ("1e-05", 1e-5),
        ("-2.5E+3", -2500.0),
        (" +4 ", 4.0),
        (".5", 0.5),
        ("5.", 5.0),
        ("123456789012345678", 123456789012345678.0),
        ("9007199254740993", 9007199254740993.0),
        ("0.30000000000000004", 0.30000000000000004),
        ("1" * 40, float("1" * 40)),
        ("inf", math.inf),
        ("-0.00", -0.0),
    ],
)
def test_a_cell_is_the_number_that_python_reads(cell, value):
    content = np.frombuffer(f"x,{cell},y".encode(), dtype=np.uint8)
    read_ = read_numbers(content, np.array([2]), np.array([2 + len(cell)]))

    assert read_.values[0] == value
    assert math.copysign(1, read_.values[0]) == math.copysign(1, value)
    assert not read_.unreadable[0]


@pytest.mark.parametrize(
    "cell",
    [
        *("", " ", "-", ".", "1.2.3", "--1", "1_000", "0x10", "12a", "1,5", "1" * 65, "\xff1"),
        *("inf(ind)", "nan(inf", "1.#INF"),
    ],
)
def test_a_cell_without_a_number_is_missing_and_counted(cell):
    raw = cell.encode("latin-1")
    content = np.frombuffer(b"x," + raw + b",y", dtype=np.uint8)
    numbers = read_numbers(content, np.array([2]), np.array([2 + len(raw)]))
    integers = read_integers(content, np.array([2]), np.array([2 + len(raw)]))

    assert np.isnan(numbers.values[0])
    assert numbers.unreadable[0]
    assert integers.unreadable[0]


@pytest.mark.parametrize("cell", ["nan", "-nan(ind)", "qNaN", "nan(inf)"])
def test_a_cell_that_says_so_itself_is_no_number_and_no_damage(cell):
    content = np.frombuffer(f"x,{cell},y".encode(), dtype=np.uint8)
    read_ = read_numbers(content, np.array([2]), np.array([2 + len(cell)]))

    assert np.isnan(read_.values[0])
    assert not read_.unreadable[0]


@given(
    st.lists(
        st.one_of(
            st.floats(allow_nan=False, allow_infinity=False).map(repr),
            st.floats(-1e6, 1e6).map(lambda x: f"{x:.7f}"),
            st.integers(-(2**63), 2**63 - 1).map(str),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_any_printed_numbers_are_read_as_python_reads_them(cells):
    content = np.frombuffer(",".join(cells).encode(), dtype=np.uint8)
    ends = np.cumsum([len(c) + 1 for c in cells]) - 1
    starts = ends - [len(c) for c in cells]

    assert read_numbers(content, starts, ends).values.tolist() == [float(c) for c in cells]
    whole = [c for c in cells if c.lstrip("-").isdigit()]
    integers = read_integers(content, starts, ends)
    kept = [v for v, c in zip(integers.values.tolist(), cells, strict=True) if c in whole]
    assert kept == [int(c) for c in whole]
