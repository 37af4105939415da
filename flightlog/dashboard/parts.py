"""The pieces that all pages are made of. What they are given is shown as it is, never as markup."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable, Iterable, Sequence
from html import escape

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from flightlog.errors import FlightlogError
from flightlog.logbook.words import safe
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.look import page_css, screen_css, shape, state_class
from flightlog.reports.markup import escaped
from flightlog.reports.plain import plain

_MARKDOWN = re.compile(r"([\\`*_{}\[\]<>()#+\-.!|~:$&])")
_AFTERWARDS = re.compile(r"(?<=[:@])(?=\S)|(?<=[-<>~])(?=[-=>])|(?<=www)(?=\.)", re.IGNORECASE)
"""Places within what Streamlit turns into links, icons and arrows although it was escaped."""
_JOINT = "\u2060"
"""Holds two signs together and is none itself, so that neither is read with the other."""
_MIME = {
    "html": "text/html",
    "pdf": "application/pdf",
    "csv": "text/csv",
    "json": "application/json",
    "toml": "application/toml",
}


def label(text: object) -> str:
    """Give a text for labels, options and captions, where Streamlit reads Markdown."""
    shown = _AFTERWARDS.sub(_JOINT, safe(str(text).replace("\n", " ")))
    return _MARKDOWN.sub(r"\\\1", shown)


def option(text: object) -> str:
    """Give a text for the options of a select box, which shows them as they are."""
    return safe(str(text).replace("\n", " "))


def html(*parts: str) -> None:
    """Show HTML that was made with ``escaped``."""
    st.html(f'<div class="fl">{"".join(parts)}</div>')


def style() -> None:
    """Give the page its look."""
    st.html(f"<style>{page_css()}{screen_css()}</style>")


def title(text: str, says: str = "") -> None:
    """Show what the page is, and the question that it answers."""
    below = f'<p class="fl-says">{escaped(says)}</p>' if says else ""
    html(f'<h1 class="fl-title">{escaped(text)}</h1>{below}')


def heading(text: str, anchor: str = "") -> None:
    """Begin a section; ``anchor`` is where links within the page lead."""
    place = f' id="{escaped(anchor)}"' if anchor else ""
    html(f'<h2 class="fl-heading"{place}>{escaped(text)}</h2>')


def state(word: str, says: str = "") -> None:
    """Show a state: its shape and word in a block, and one sentence below."""
    below = f'<div class="fl-state-says">{escaped(says)}</div>' if says else ""
    html(
        f'<div class="fl-state {state_class(word)}" role="status">'
        f"{shape(word)} {escaped(word)}</div>{below}"
    )


def mark(word: str) -> str:
    """Give a state as a small block within a line, as HTML."""
    return f'<span class="fl-mark {state_class(word)}">{shape(word)} {escaped(word)}</span>'


def note(text: str) -> None:
    """Show something that is good to know."""
    html(f'<div class="fl-note">{escaped(text)}</div>')


def warn(text: str) -> None:
    """Show something that nobody may miss."""
    html(f'<div class="fl-warn" role="alert">! {escaped(text)}</div>')


def nothing(what: str, do: str, command: str = "") -> None:
    """Say that there is nothing here, and what to do first."""
    typed = f"<p><code>{escaped(command)}</code></p>" if command else ""
    html(f'<div class="fl-empty"><strong>{escaped(what)}</strong><p>{escaped(do)}</p>{typed}</div>')


def table(
    head: Sequence[str], rows: Iterable[Sequence[object]], numbers: Sequence[str] = ()
) -> None:
    """Show a table; the columns named in ``numbers`` stand to the right."""
    html(table_html(head, rows, numbers))


def table_html(
    head: Sequence[str], rows: Iterable[Sequence[object]], numbers: Sequence[str] = ()
) -> str:
    """Give a table as HTML."""
    sides = [' class="number"' if name in numbers else "" for name in head]
    top = "".join(f"<th{s}>{escaped(n)}</th>" for n, s in zip(head, sides, strict=True))
    body = "".join(
        "<tr>"
        + "".join(f"<td{s}>{escaped(v)}</td>" for v, s in zip(row, sides, strict=True))
        + "</tr>"
        for row in rows
    )
    return (
        f'<div class="fl-wide"><table><thead><tr>{top}</tr></thead><tbody>{body}</tbody>'
        "</table></div>"
    )


def download(
    column: DeltaGenerator,
    label: str,
    data: str | Callable[[], str | bytes],
    name: str,
    *,
    key: str,
) -> None:
    """Offer a file: an HTML page, a PDF, a table or a text of ours, by the ending of its name.

    Parameters
    ----------
    column : DeltaGenerator
        Where the button stands.
    label : str
        What it is called.
    data : str or callable
        What the file holds; a callable is asked when it is pressed.
    name : str
        Of the file, with an ending of ``_MIME``.
    key : str
        Of the button; unique on the page.
    """
    column.download_button(
        label,
        data,
        file_name=name,
        mime=_MIME[name.rpartition(".")[2]],
        key=key,
        on_click="ignore",
        width="stretch",
    )


def lines(text: Iterable[str]) -> None:
    """Show lines of a report as they are, with what they are set in by, in letters of one width."""
    shown = "\n".join(escape(plain(line), quote=True) for line in text)
    html(f'<pre class="fl-lines">{shown}</pre>')


def picture(svg: str, says: str) -> str:
    """Give an ``<svg>`` as HTML: as an image, since markup within a page is cleaned of drawings.

    Parameters
    ----------
    svg : str
        A whole picture that needs nothing from anywhere.
    says : str
        The same in words, for who can't see it.
    """
    data = b64encode(svg.encode()).decode("ascii")
    return f'<img class="fl-picture" alt="{escaped(says)}" src="data:image/svg+xml;base64,{data}">'


def refused(error: FlightlogError) -> None:
    """Show what was refused or is at fault, where, and what to do."""
    warn(error.sentence())


def cautions() -> None:
    """Show what stands below every release and sheet."""
    html('<div class="fl-caution">', *(f"<p>{escaped(text)}</p>" for text in CAUTIONS), "</div>")
