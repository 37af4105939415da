"""Sheets for tests: made-up content, and what a PDF says."""

from __future__ import annotations

import io
from datetime import UTC, datetime

from pypdf import PdfReader

from flightlog.reports.sheet_content import Facts, SheetContent, Table, Words, wide

HEAD = "120.KWP9Y-B4Z5J-FJS7S-CKWP9-YB4Z5-CF"
MADE = datetime(2027, 4, 6, 15, 0, tzinfo=UTC)


def sheet(*blocks, parts=None, **more):
    """Give a sheet with these blocks."""
    told = {
        "title": "Flight 12.H3MED",
        "subtitle": "pannier",
        "team": "Hill farm",
        "headline": "Ground roll 28.1 m.",
        "top": (),
        "parts": parts or ((wide(*blocks),),),
        "notes": ("A note.",),
        "heads": (HEAD,),
        "made": MADE,
    }
    return SheetContent(**(told | more))


def table(count, most=0):
    """Give a table of so many rows."""
    rows = tuple((str(i), f"row number {i}") for i in range(1, count + 1))
    return Table("Rows", ("number", "what"), rows, (0, 1), most=most)


def pages_of(pdf):
    """Give the text of each page, with one space for all white space."""
    reader = PdfReader(io.BytesIO(pdf))
    return [" ".join(page.extract_text().split()) for page in reader.pages]


def text_of(pdf):
    """Give the text of a PDF."""
    return " ".join(pages_of(pdf))


def all_of(content):
    """Give all texts of a sheet's content, a line each."""
    found = [content.title, content.subtitle, content.headline, *content.notes, *content.heads]
    blocks = [b for part in content.parts for band in part for c in band.columns for b in c]
    for block in (*content.top, *blocks):
        found.append(getattr(block, "title", ""))
        found.append(getattr(block, "none", ""))
        if isinstance(block, Words):
            found += block.lines
        elif isinstance(block, Table | Facts):
            found += [" | ".join(row) for row in block.rows]
        elif hasattr(block, "rows"):
            found += [
                " | ".join(str(getattr(row, n)) for n in row.__slots__ if n != "svg")
                for row in block.rows
            ]
        else:
            found += [getattr(block, n, "") for n in ("word", "says", "lacking")]
    return "\n".join(found)
