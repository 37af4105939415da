"""The QR code says the heads, as they are typed."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import segno

from flightlog.logbook.codes import read_head
from flightlog.reports.qr_code import MOST_HEADS, head_text, qr_svg
from tests.reports.sheets import HEAD


def modules(svg):
    """Give the dark modules that a picture draws."""
    root = ElementTree.fromstring(svg)
    path = next(e.get("d") for e in root.iter() if e.tag.endswith("path"))
    drawn = set()
    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", path):
        drawn |= {(int(x) + i, int(y)) for i in range(int(length))}
    return drawn


def test_the_picture_is_the_code_of_the_text_with_a_free_border():
    matrix = segno.make(HEAD, error="m", micro=False).matrix
    dark = {(x + 4, y + 4) for y, row in enumerate(matrix) for x, m in enumerate(row) if m}

    assert dark == modules(qr_svg(HEAD))


def test_another_head_gives_another_picture():
    assert modules(qr_svg(HEAD)) != modules(qr_svg(HEAD.replace("120.", "121.")))


def test_what_it_says_can_be_typed_as_it_is():
    heads = [HEAD] * (MOST_HEADS + 2)
    said = head_text(tuple(heads)).split(" ")

    assert MOST_HEADS == len(said)
    assert 120 == read_head(said[0]).number
    # Capitals, digits and these signs are 5.5 bits each in a QR code; anything else takes 8.
    assert re.fullmatch(r"[0-9A-Z. -]+", head_text(tuple(heads)))
