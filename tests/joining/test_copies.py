from __future__ import annotations

from dataclasses import replace

import pytest

from flightlog.joining import group, sketch
from flightlog.joining.copies import has_rows_of, is_beginning
from flightlog.joining.group import find_copies
from tests.joining.made import cut, digest, dressed, logger, one_flight


@pytest.fixture
def files(tmp_path):
    def write(name: str, content: bytes):
        path = tmp_path / name
        path.write_bytes(content)
        return path

    return write


@pytest.mark.parametrize(
    ("short", "long", "is_one"),
    [
        (b"abc", b"abcdef", True),
        (b"abc", b"abXdef", False),
        (b"abc", b"ab", False),
        (b"x" * 3_000_000, b"x" * 3_000_000 + b"y", True),
        (b"x" * 2_999_999 + b"z", b"x" * 3_000_000 + b"y", False),
    ],
)
def test_a_file_is_the_beginning_of_another_byte_by_byte(files, short, long, is_one):
    assert is_beginning(files("s", short), files("l", long), len(short)) is is_one


def test_a_file_that_has_grown_or_gone_meanwhile_is_no_copy(files, tmp_path):
    assert not is_beginning(files("s", b"abcd"), files("l", b"abcdef"), 3)
    assert not is_beginning(tmp_path / "gone", files("l", b"abcdef"), 3)


def described(recording, path):
    return replace(
        sketch(recording, path), size=path.stat().st_size, sha256=digest(repr(path.read_bytes()))
    )


def test_bytes_decide_where_there_are_files_even_if_no_row_was_read(files):
    empty = dressed(cut(logger(one_flight(1), "a"), 0.0, 1.0, "a"), "a")
    short = described(empty, files("short.bin", b"log of a growing file"))
    long = described(empty, files("long.bin", b"log of a growing file, and more"))
    other = described(empty, files("other.bin", b"something else, and longer than both of them"))
    copies = find_copies([short, long, other])

    assert [(c.index, c.of, c.code) for c in copies] == [(0, 1, "longer-copy")]


def test_a_chain_of_copies_leads_to_the_longest(files):
    empty = dressed(cut(logger(one_flight(1), "a"), 0.0, 1.0, "a"), "a")
    sketches = [described(empty, files(f"{n}.bin", b"0123456789"[:n])) for n in (3, 9, 6, 3)]
    copies = find_copies(sketches)

    assert {(c.index, c.of) for c in copies} == {(0, 1), (2, 1), (3, 1)}
    assert [g.members for g in group(sketches).groups] == [(1,)]


def test_rows_are_the_same_only_at_the_same_times_and_places():
    whole = logger(one_flight(1), "a.bin")
    early = cut(whole, 0.0, 150.0, "early.bin")
    moved = dressed(whole, "b.bin", clock_s=0.5)
    gps = whole["gps"]
    elsewhere = cut(whole, 0.0, 1e9, "c.bin")
    elsewhere["gps"]["latitude_deg"] = gps["latitude_deg"] + 1e-6  # a tenth of a metre
    one, short, late, away = (sketch(r) for r in (whole, early, moved, elsewhere))

    assert has_rows_of(one, short)
    assert not has_rows_of(short, one)
    assert not has_rows_of(one, late)
    assert not has_rows_of(one, away)


def test_standing_still_is_no_proof_of_a_copy():
    from tests.synthetic import Story

    parked = Story().rest(120.0)
    one, two = logger(parked, "a.bin"), logger(parked, "b.bin", seed=2)

    assert not has_rows_of(sketch(one), sketch(two))
