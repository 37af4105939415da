from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.reports.plain import json_printable, plain, printable


@pytest.mark.parametrize(
    ("hostile", "harmless"),
    [
        ("\x1b[31mred\x1b[0m", "red"),
        ("\x1b]0;title\x07text", "text"),
        ("\x1b]8;;http://x\x1b\\link", "link"),
        ("never closed \x1b]0;but seen", "never closed ]0;but seen"),
        ("\x9b2Jcleared", "cleared"),
        ("two\nlines\r\nof text\t!", "two lines of text !"),
        ("bell\x07 back\x08space", "bell backspace"),
        ("right\u202eleft", "rightleft"),
        ("lone \udc80 byte", "lone ? byte"),
        ("[red]not markup[/red]", "[red]not markup[/red]"),
        ("line\u2028separator", "line separator"),
    ],
)
def test_text_from_outside_becomes_one_harmless_line(hostile, harmless):
    assert harmless == plain(hostile)


def test_a_long_text_is_cut_and_says_so():
    assert "aaaaaaa..." == plain("a" * 4000, 10)


@given(st.text(max_size=200))
def test_whatever_comes_in_what_goes_out_is_printable(text):
    assert plain(text).isprintable()


@given(st.text(max_size=100), st.sampled_from(["ascii", "cp1252", "cp437", "utf-8", "no-such"]))
def test_every_encoding_can_take_its_own_printable_text(text, encoding):
    shown = printable(plain(text), encoding)

    shown.encode("ascii" if encoding == "no-such" else encoding)


def test_signs_are_spelt_where_the_screen_lacks_them():
    assert "a +/- b <= c -> d deg" == printable("a ± b ≤ c → d deg", "ascii")
    assert "± <=" == printable("± ≤", "cp1252")


@given(st.text(max_size=50))
def test_escaped_json_means_the_same(text):
    written = json.dumps({"text": text}, ensure_ascii=False)

    assert {"text": text} == json.loads(json_printable(written, "ascii"))
    json_printable(written, "ascii").encode("ascii")
