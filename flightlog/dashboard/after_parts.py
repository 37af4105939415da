"""The pieces of the page about a flight: what stands on its sheet, with charts that can be read."""

from __future__ import annotations

from collections.abc import Iterator

import streamlit as st

from flightlog.dashboard import parts, sheet_parts, views
from flightlog.operations.desk import Desk
from flightlog.operations.flight_view import FlightView, stored_view
from flightlog.operations.positions import named
from flightlog.operations.sorties import SortieRecord
from flightlog.reports.figure_groups import WEAR, WEAR_TITLE
from flightlog.reports.flight_sheet import flight_sheet
from flightlog.reports.markup import escaped
from flightlog.reports.sheet_content import (
    Band,
    Block,
    Facts,
    Notice,
    Picture,
    SheetContent,
    Strips,
    Table,
)
from flightlog.reports.sheet_html import band_html, block_html, sheet_html
from flightlog.reports.sheet_pdf import sheet_pdf

_TIME = "Over time: height, speeds, attitude, power"
_BELOW = {_TIME: "time", "Laps side by side": "laps"}
"""What is drawn below, one at a time: each takes as long to draw as all above."""
_WITH_WEAR = 3
"""A sheet has so many parts where the log tells something of what is wearing out."""
_FIRST = ("Contradictions", "Signed checks")


def flight(desk: Desk, record: SortieRecord) -> None:
    """Show what a flight did, what it was flown under, and the evidence.

    The answer comes from the stored debrief and stands there before the log is read.
    """
    _answer(flight_sheet(desk, record, stored_view(desk, record)))
    sheet = st.container()
    with st.spinner("Reading the log"):
        view = views.view(desk, record)
    _pictures(desk, record, view)
    content = flight_sheet(desk, record, view)
    with sheet:
        _downloads(content, named(record.entry))
    _wear(desk, record, content)
    _evidence(content)


def _answer(content: SheetContent) -> None:
    """Show the answer: the limits, beside what the flight was flown under."""
    did, record = content.parts[:2]
    strips = [sheet_parts.drawn(b) for band in did for b in _blocks(band) if isinstance(b, Strips)]
    # What was found is read before any number.
    found = [b for b in record[0].columns[1] if isinstance(b, Table) and b.rows]
    # What speaks against a flight stands above what it rests on.
    under = sorted(record[0].columns[0], key=lambda b: getattr(b, "title", "") not in _FIRST)
    release = [b for b in under if isinstance(b, Facts)]
    beside = [b for b in under if not isinstance(b, Facts)]
    parts.html(
        sheet_parts.STYLE,
        f'<p class="headline fl-answer">{escaped(content.headline)}</p>',
        *(block_html(b) for b in content.top if isinstance(b, Notice)),
    )
    left, right = st.columns([3, 2], gap="medium")
    with left:
        parts.html(*map(block_html, strips), *map(block_html, found))
    with right:
        parts.html(*map(block_html, (*beside, *(b for b in content.top if isinstance(b, Facts)))))
        if release:
            with st.expander("All that the release says", key="after-release"):
                parts.html(*map(block_html, release))


def _wear(desk: Desk, record: SortieRecord, content: SheetContent) -> None:
    """Show what is wearing out: what was found, a chart of what is chosen, then all figures."""
    if len(content.parts) < _WITH_WEAR:
        return
    found, *rest = content.parts[_WITH_WEAR - 1]
    parts.html(band_html(found))
    telling = views.most_telling(desk, record)
    chosen = st.segmented_control(
        WEAR_TITLE,
        WEAR,
        default=telling,
        key=f"after-wear-{named(record.entry)}",
        required=True,
        label_visibility="collapsed",
    )
    _picture(views.wear_picture(desk, record, str(chosen)))
    parts.html(*(band_html(band) for band in rest if not _pictured(band)))


def _pictured(band: Band) -> bool:
    """Whether a band holds pictures, which stand above in another form."""
    return any(isinstance(block, Picture) for block in _blocks(band))


def _evidence(content: SheetContent) -> None:
    """Show the rest of the sheet: figures, laps, conditions."""
    did, record = content.parts[:2]
    told: list[Block] = []
    for block in (b for band in did for b in _blocks(band)):
        if not isinstance(block, Strips | Picture):
            told.append(block)
    told += [b for band in record[1:] for b in _blocks(band)]
    parts.html(*map(block_html, told))


def _blocks(band: Band) -> Iterator[Block]:
    for column in band.columns:
        yield from column


def _downloads(content: SheetContent, name: str) -> None:
    """Offer the sheet for paper and for a stick; made when it is asked for."""
    left, right, _ = st.columns([1, 1, 2])
    for column, ending, label, make in (
        (left, "pdf", "The sheet for paper (PDF)", lambda: sheet_pdf(content)),
        (right, "html", "The sheet as one page (HTML)", lambda: sheet_html(content)),
    ):
        parts.download(column, label, make, f"{name}.{ending}", key=f"after-sheet-{ending}")


def _pictures(desk: Desk, record: SortieRecord, view: FlightView) -> None:
    """Show the charts; one that lacks a sensor says which."""
    if view.why:
        parts.warn(view.why)
    pictures = views.pictures(desk, record)
    left, right = st.columns(2)
    with left:
        _picture(pictures["roll"])
    with right:
        _picture(pictures["track"])
    chosen = st.segmented_control(
        "Below",
        _BELOW,
        default=_TIME,
        key="after-below",
        required=True,
        label_visibility="collapsed",
        persist_state="session",
    )
    _picture(pictures[_BELOW[str(chosen)]])


def _picture(one: views.Picture) -> None:
    sheet_parts.chart(one.chart, one.figure, f"after-plot-{one.chart.id}")
