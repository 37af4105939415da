"""Escaping for every place where text is shown, and one plain page for paper.

Texts come from logs, notes and files of others. Each place has its own way to take a text for a
command: a browser, a spreadsheet. The terminal's is in ``plain``.
"""

from __future__ import annotations

import csv
import html
import io
from collections.abc import Iterable, Sequence

from flightlog.logbook.words import safe
from flightlog.reports.look import (
    FONT,
    GREY,
    HEADING_PX,
    INK,
    MONO,
    PAPER,
    SMALL_PX,
    TITLE_PX,
)

_FORMULA = "=+-@\t\r"
"""With one of these first, a spreadsheet computes a cell instead of showing it."""

_STYLE = f"""
body {{ font: {SMALL_PX}px/1.45 {FONT}; color: {INK}; background: {PAPER};
  margin: 2em auto; max-width: 60em; padding: 0 1em; }}
h1 {{ font-size: {TITLE_PX}px; }} h2 {{ font-size: {HEADING_PX}px; margin-top: 1.6em; }}
table {{ border-collapse: collapse; width: 100%; }} tr {{ break-inside: avoid; }}
th, td {{ border: 1px solid {GREY}; padding: .35em .5em; text-align: left; vertical-align: top; }}
.blank {{ min-width: 7em; }} .note {{ color: {GREY}; }} .mono {{ font-family: {MONO}; }}
@media print {{ body {{ margin: 0; max-width: none; font-size: 11pt; }} }}
"""


def escaped(text: object) -> str:
    """Give a text for the body or an attribute of an HTML page; hidden signs show themselves."""
    lines = str(text).split("\n")
    return "<br>".join(html.escape(safe(line), quote=True) for line in lines)


def cell(text: object) -> str:
    """Give a text for a cell of a spreadsheet: shown, never computed."""
    shown = safe(str(text).replace("\n", " "))
    return f"'{shown}" if shown[:1] and shown[0] in _FORMULA and not _is_number(shown) else shown


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def spreadsheet(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Give a table as CSV (RFC 4180) whose cells a spreadsheet shows as they are."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([cell(name) for name in head])
    writer.writerows([cell(value) for value in row] for row in rows)
    return text.getvalue()


def listed(lines: Iterable[object]) -> str:
    """Give an HTML list; nothing where there is no line."""
    items = "".join(f"<li>{escaped(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def table(head: Sequence[str], rows: Iterable[Sequence[object]], blank: Sequence[str] = ()) -> str:
    """Give an HTML table; columns named in ``blank`` are wide enough to be written into."""
    classes = ["blank" if name in blank else "" for name in head]
    top = "".join(f"<th>{escaped(name)}</th>" for name in head)
    body = "".join(
        "<tr>"
        + "".join(
            f'<td class="{name}">{escaped(value)}</td>'
            for name, value in zip(classes, row, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    return f"<table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"


def page(title: str, *parts: str, style: str = "") -> str:
    """Give a whole HTML page that needs nothing from anywhere.

    Parameters
    ----------
    title : str
        Not escaped yet.
    *parts : str
        HTML, made with ``escaped`` and ``table``.
    style : str
        A style sheet of ours, after the one that every page has.
    """
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        f"<title>{escaped(title)}</title><style>{_STYLE}{style}</style></head><body>"
        f"<h1>{escaped(title)}</h1>{''.join(parts)}</body></html>\n"
    )
