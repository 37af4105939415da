"""Texts in labels: shown as they are, though Streamlit reads them as Markdown and more."""

from __future__ import annotations

import re

import pytest

from flightlog.dashboard import parts

MADE_OF_ESCAPED = ("www.", "://", "@x", ":material", ":streamlit", "->", "<-", "--", ">=", "~=")
"""What Streamlit still makes a link, an icon or another sign of where it stands in one piece."""


@pytest.mark.parametrize(
    "text",
    [
        *("http://x.invalid/a", "WWW.x.invalid", "www.x.invalid", "me@x.invalid"),
        *(":material/home:", ":streamlit:", "a -> b <- c", "a -- b", "a <-> b", ">= 3 ~= 3 <= 3"),
        *("**a** [b](c) ![d](e) <i>f</i>", "$x^2$ :red[y]", "plain words, 3.5 m: all well"),
    ],
)
def test_a_label_holds_nothing_that_is_read_as_more_than_text(text):
    given = parts.label(text)

    bare = re.sub(r"\\(.)", r"\1", given)
    assert not any(sign in bare.lower() for sign in MADE_OF_ESCAPED)
    assert bare.replace("\u2060", "") == text


def test_hidden_signs_of_others_show_themselves():
    assert "2060" in parts.label("a\u2060b")
