"""Bytes to characters, whatever an editor or a spreadsheet made of a file."""

from __future__ import annotations

import codecs

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.importers.text import decode, head_text

WORDS = "Zeit;Höhe (m)\r\n12:00:01;3,5\r\n" * 3


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (WORDS.encode("utf-8"), "utf-8"),
        (codecs.BOM_UTF8 + WORDS.encode("utf-8"), "utf-8"),
        (codecs.BOM_UTF16_LE + WORDS.encode("utf-16-le"), "utf-16-le"),
        (codecs.BOM_UTF16_BE + WORDS.encode("utf-16-be"), "utf-16-be"),
        (WORDS.encode("utf-16-le"), "utf-16-le"),
        (WORDS.encode("utf-16-be"), "utf-16-be"),
        (codecs.BOM_UTF32_LE + WORDS.encode("utf-32-le"), "utf-32-le"),
        (WORDS.encode("cp1252"), "cp1252"),
    ],
)
def test_every_usual_encoding_gives_the_same_text(content, encoding):
    decoded = decode(content)

    assert (decoded.text, decoded.encoding, decoded.damaged) == (WORDS, encoding, 0)


def test_what_the_user_says_goes_before_the_guess_and_a_mark_before_the_user():
    assert decode("ä".encode("latin-1"), "latin-1").text == "ä"
    assert decode(codecs.BOM_UTF8 + "ä".encode(), "latin-1").text == "ä"
    with pytest.raises(LookupError):
        decode(b"x", "no-such-code")


def test_damage_costs_its_own_bytes_and_is_counted():
    content = bytearray(WORDS.encode("utf-8") * 200)
    content[1000:1003] = b"\xff\xfe\x00"
    decoded = decode(bytes(content))

    assert decoded.encoding == "utf-8"
    assert decoded.damaged == 3
    assert decoded.text.count("\n") == WORDS.count("\n") * 200


@given(st.binary(max_size=400))
def test_no_bytes_fail_and_no_zero_stays(content):
    assert "\0" not in decode(content).text
    head = head_text(content)
    assert head is None or head.strip()


def test_the_head_ends_with_a_whole_line_and_binary_is_no_text():
    assert head_text(b"a,b\n1,2\n3,") == "a,b\n1,2"
    assert head_text(b"one line only") == "one line only"
    assert head_text(bytes(range(256)) * 4) is None
    assert head_text(b" \r\n\t") is None
