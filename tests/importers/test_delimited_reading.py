"""Delimited text to cells and numbers: delimiters, headers, decimal signs, damage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.importers.delimited import looks_delimited
from flightlog.importers.delimited_dialect import find_dialect
from flightlog.importers.delimited_numbers import (
    NumberStyle,
    file_decimal,
    numbers,
    plain_number,
    style_of,
)
from flightlog.importers.delimited_reading import TextTable, read_table, unix_lines
from flightlog.importers.text import DecodedText


def table(text: str, **given: object) -> TextTable:
    text = unix_lines(text)
    dialect = find_dialect(text, **given)
    assert dialect is not None
    return read_table(DecodedText(text, "utf-8"), dialect)


def rows(read: TextTable) -> list[list[str]]:
    columns = [read.cells(at) for at in range(len(read.header))]
    return [list(row) for row in zip(*columns, strict=True)]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_each_delimiter_is_found(delimiter):
    text = "t,u,i\n0,25.1,3\n1,25.0,4\n2,24.9,5\n".replace(",", delimiter)
    read = table(text)

    assert (read.dialect.delimiter, read.header) == (delimiter, ("t", "u", "i"))
    assert rows(read) == [["0", "25.1", "3"], ["1", "25.0", "4"], ["2", "24.9", "5"]]
    assert read.lines.tolist() == [2, 3, 4]


def test_decimal_commas_are_no_delimiters():
    read = table("Zeit;Spannung;Strom\n0,0;25,1;3,5\n0,1;25,0;3,6\n")

    assert read.dialect.delimiter == ";"
    assert rows(read)[1] == ["0,1", "25,0", "3,6"]


def test_the_header_is_found_behind_a_preamble_and_comments():
    text = "Card reader 3\nowner: hill farm\n# comment, with, commas\n\nt,u\n# more\n0,1\n1,2\n"
    read = table(text)

    assert (read.dialect.header_line, read.header) == (5, ("t", "u"))
    assert rows(read) == [["0", "1"], ["1", "2"]]
    assert read.lines.tolist() == [7, 8]


def test_a_preamble_of_half_the_cells_is_no_header():
    read = table(
        "Recorder;export\nAircraft;Pannier;;;\n\nZeit;Spannung;Strom;Tempo;Höhe\n"
        "0,1;25,2;1,5;0,0;2,1\n0,2;25,1;1,6;0,0;2,2\n"
    )

    assert read.header == ("Zeit", "Spannung", "Strom", "Tempo", "Höhe")
    assert len(read) == 2


def test_a_line_of_units_below_the_header_is_no_row():
    read = table("t,v,i,state\n[s],V,(mA),-\n0,25,1500,idle\n1,24,1600,run\n")

    assert read.header == ("t", "v", "i", "state")
    assert read.dialect.units == ("s", "V", "mA", "")
    assert rows(read) == [["0", "25", "1500", "idle"], ["1", "24", "1600", "run"]]


def test_a_pattern_of_times_may_stand_in_a_line_of_units():
    read = table("t,v,i\nhh:mm:ss.fff,V,A\n10:00:00.500,25,1\n10:00:01.500,24,1\n")

    assert read.dialect.units == ("", "V", "A")
    assert len(read) == 2


def test_units_above_some_columns_without_a_name_are_no_header():
    read = table("t,v,,\n[s],[V],[A],[m]\n0,25,1,2\n1,24,1,2\n")

    assert read.header == ("t", "v", "column 3", "column 4")
    assert read.dialect.units == ("s", "V", "A", "m")


@pytest.mark.parametrize(
    "first_row",
    [
        "1,2,3,4",  # numbers
        "a,b,c,d",  # none is a unit
        "A,rest,idle,x",  # one letter happens to be one
        "s,V,run,-",  # two of three are, and the third is a word of its own
    ],
)
def test_a_first_row_that_is_no_line_of_units_stays_a_row(first_row):
    read = table(f"t,v,i,state\n{first_row}\n0,25,1500,7\n1,24,1600,8\n2,24,1600,8\n")

    assert read.dialect.units == ()
    assert len(read) == 4


def test_a_header_that_is_marked_as_a_comment():
    assert table("# a b c\n# t,u\n0,1\n1,2\n").header == ("t", "u")


def test_a_file_without_a_header_numbers_its_columns():
    read = table("0,1,5\n1,2,6\n2,3,7\n")

    assert (read.dialect.header_line, read.header) == (0, ("column 1", "column 2", "column 3"))
    assert len(read) == 3


def test_names_that_stand_twice_are_told_apart():
    assert table("t,u,u,\n0,1,2,\n1,2,3,\n").header == ("t", "u", "u (2)", "column 4")


def test_short_rows_miss_cells_and_long_rows_lose_them():
    read = table("a,b,c\n1,2,3\n4,5\n6,7,8,9\n1,2,3,\n5,6,7\n")

    assert rows(read)[1:3] == [["4", "5", ""], ["6", "7", "8"]]
    assert (read.odd.short, read.odd.long, read.odd.first_line) == (1, 1, 3)


def test_fragments_are_left_out():
    header = ",".join("abcdefgh")
    read = table(f"{header}\n1,2,3,4,5,6,7,8\nxyz\n1,2,3,4,5,6,7,8\n")

    assert (len(read), read.odd.fragments) == (2, 1)


def test_a_header_in_the_middle_is_no_row():
    read = table("t,u\n0,1\n1,2\nt,u\n0,3\n")

    assert rows(read) == [["0", "1"], ["1", "2"], ["0", "3"]]
    assert (read.session_rows, read.odd.headers) == ((2,), 1)


def test_quoted_cells_may_hold_delimiters_quotes_and_ends_of_lines():
    read = table('t,u,text\n0,"3,5","say ""go"""\n1,"3,6","two\nlines"\n2,"3,7",plain\n')

    assert rows(read) == [
        ["0", "3,5", 'say "go"'],
        ["1", "3,6", "two\nlines"],
        ["2", "3,7", "plain"],
    ]


def test_a_quote_that_never_closes_swallows_nothing():
    lines = [f"{n},{'inch 5' + chr(34) if n == 3 else 'x'},1" for n in range(1000)]
    read = table("t,text,u\n" + "\n".join(lines) + "\n")

    assert len(read) == 1000
    assert read.odd.quotes == 1
    assert read.cells(1)[3] == 'inch 5"'


def test_a_very_long_line_is_one_row():
    read = table("a,b\n1,2\n" + "x" * 3_000_000 + ",5\n3,4\n")

    assert len(read) == 3
    assert read.cells(1) == ["2", "5", "4"]


def test_lines_of_nothing_but_delimiters_cost_no_memory():
    read = table("a,b\n1,2\n2,3\n" + "," * 1_000_000 + "\n")

    assert len(read.header) == 2
    assert len(read) == 3


def test_a_wide_header_over_short_rows_is_not_filled_up():
    header = ",".join(f"n{n}" for n in range(1000))
    read = table(header + "\n" + "1,2\n" * 20_000)

    assert len(read) == 0
    assert read.odd.fragments == 20_000


@pytest.mark.parametrize(
    ("cells", "decimal", "unclear"),
    [
        (["3,5", "12,25"], ",", False),
        (["3.5", "12.25"], ".", False),
        (["1,234.5", "2,000.0"], ".", False),
        (["1.234,5", "2.000,0"], ",", False),
        (["1,234,567"], ".", False),
        (["1.234.567"], ",", False),
        (["1,234", "12.5"], ".", False),
        (["1,234", "2,345"], ",", True),
        (["0,234", "2,345"], ",", False),
        (["12", "13"], ".", False),
        (["3,5 V", "12,25 V"], ",", False),
        (["yes, of course"], ".", False),
    ],
)
def test_the_decimal_sign_of_a_column(cells, decimal, unclear):
    assert style_of(cells) == NumberStyle(decimal, unclear)


def test_thousands_that_could_be_decimals_follow_the_rest_of_the_file():
    assert style_of(["1,234"], elsewhere=".") == NumberStyle(".")
    assert style_of(["1,234"], elsewhere=",") == NumberStyle(",")
    assert style_of(["1.234"], elsewhere=",") == NumberStyle(",")


def test_the_decimal_sign_of_a_file():
    assert file_decimal([["3,5"], ["12"]], ";") == ","
    assert file_decimal([["3.5"], ["12"]], ";") == "."
    assert file_decimal([["3.5"], ["1,25"]], ",") == "."
    assert file_decimal([["3"], ["12"]], ";") is None


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("12.5", ".", 12.5),
        ("12,5", ",", 12.5),
        ("1,234.5", ".", 1234.5),
        ("1.234,5", ",", 1234.5),
        ("1 234,5", ",", 1234.5),
        ("1'234.5", ".", 1234.5),
        ("−3.5", ".", -3.5),
        ("+3", ".", 3.0),
        (".5", ".", 0.5),
        ("1e-3", ".", 0.001),
        ("1,23", ".", None),
        ("12,34,567", ".", None),
        ("1.2.3", ".", None),
        ("1e400", ".", None),
        ("٣", ".", None),
        ("1_000", ".", None),
    ],
)
def test_numbers_as_people_write_them(text, decimal, value):
    assert plain_number(text, decimal) == value


def test_cells_that_are_no_numbers_are_missing_and_counted():
    read = table("t,u\n0,1.5\n1,--\n2,\n3,12.3 V\n4,1_000\n5,oops\n6,nan\n7,inf\n8,2\n")
    values, bad = numbers(read, 1, NumberStyle("."))

    expected = [1.5, math.nan, math.nan, 12.3, math.nan, math.nan, math.nan, math.nan, 2.0]
    assert values == pytest.approx(expected, nan_ok=True)
    # 1_000 and oops; 1.5, 12.3 V and 2 are the other filled ones
    assert (bad.count, bad.filled, bad.line, bad.text) == (2, 5, 6, "1_000")
    assert bad.units == {"V"}


@given(st.lists(st.floats(-1e9, 1e9), min_size=1, max_size=30), st.sampled_from(".,"))
@settings(max_examples=60, deadline=None)
def test_any_numbers_come_back_exactly(values, decimal):
    text = "t;u\n" + "".join(f"{n};{v!r}\n" for n, v in enumerate(values)).replace(".", decimal)
    read = table(text, delimiter=";", header_line=1)
    found, bad = numbers(read, 1, NumberStyle(decimal))

    assert bad.count == 0
    assert np.array_equal(found, np.array(values))


@given(st.text(max_size=400), st.sampled_from([",", ";", "\t", "|", None]))
@settings(max_examples=100, deadline=None)
def test_any_text_is_read_or_is_no_table(text, delimiter):
    text = unix_lines(text.replace("\0", ""))
    dialect = find_dialect(text, delimiter=delimiter)
    if dialect is None:
        return
    read = read_table(DecodedText(text, "utf-8"), dialect)
    for at in range(len(read.header)):
        values, _ = numbers(read, at, style_of(read.some(at)))
        assert len(values) == len(read) == len(read.cells(at))


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        (b"t,u\n0,1\n1,2\n", True),
        ("Zeit;Höhe\n0,1;2,5\n0,2;2,6\n".encode("utf-16"), True),
        ("Zeit;Höhe\n0,1;2,5\n0,2;2,6\n".encode("cp1252"), True),
        (b"take the blue battery\n" * 10, False),
        (b"Dear crew, please, charge.\nThen, go and fly, soon.\nThank you, all, really.\n", False),
        (b"t,u\n", False),
        (b"", False),
        (bytes(range(256)) * 4, False),
        (b"0,1\n1,2\n2,3\n", False),
        # without names: numbers alone, in three columns or more and some rows
        (b"0,1,5\n1,2,5\n2,3,5\n3,4,5\n4,5,5\n", True),
        (b"0,1,5\n1,2,5\n2,3,5\n", False),
        (b"0,a,5\n1,b,5\n2,c,5\n3,d,5\n4,e,5\n", False),
    ],
)
def test_what_looks_like_a_table(head, expected):
    assert looks_delimited(head) is expected
