"""The page: in one file, without a network, and no text of it becomes a command."""

from __future__ import annotations

import re
from html import unescape

from flightlog.reports.sheet_content import Facts, Notice, Picture, Strip, Strips, Table, Words
from flightlog.reports.sheet_html import sheet_html
from tests.reports.sheets import HEAD, sheet, table

EVIL = '<img src="http://far.example/x" onerror="a()">'


def evil_sheet():
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0h9"/></svg>'
    return sheet(
        Words(EVIL, (EVIL,), EVIL),
        Facts(EVIL, ((EVIL, EVIL),)),
        Table(EVIL, (EVIL,), ((EVIL,),), states=(0,)),
        Table(EVIL, (EVIL,), (), none=EVIL),
        Strips(EVIL, (Strip(EVIL, EVIL, EVIL, EVIL, svg),), EVIL),
        Picture(EVIL, "", EVIL),
        Notice(EVIL, EVIL),
        title=EVIL,
        subtitle=EVIL,
        team=EVIL,
        headline=EVIL,
        notes=(EVIL,),
        heads=("1.AAAAA",),
    )


def test_every_text_is_escaped():
    page = sheet_html(evil_sheet())

    assert "<img" not in page
    assert page.count("&lt;img src=") > 15


def test_nothing_is_fetched_from_anywhere():
    page = sheet_html(sheet(table(3)))

    assert "default-src 'none'" in page
    assert not re.search(r"<(?:script|link|iframe|object|embed|base)\b", page)
    for address in re.findall(r"https?://[^\"'\s<]*", page):
        assert address == "http://www.w3.org/2000/svg"  # the name of a language, never fetched
    assert not re.findall(r"""(?:src|href)\s*=|url\(|@import""", page)


def test_nothing_is_cut():
    page = sheet_html(sheet(table(500, 10), one_page_each=True))

    assert "row number 500" in page
    assert "see the record" not in page


def test_the_head_stands_there_as_text_and_as_a_code():
    page = unescape(sheet_html(sheet()))

    assert HEAD in page
    assert 'aria-label="QR code of the heads"' in page
