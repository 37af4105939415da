"""Blocks of a sheet within a page: their look there, strips as pictures, and charts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from flightlog.dashboard import parts
from flightlog.reports.chart import Chart
from flightlog.reports.look import STEP_PX
from flightlog.reports.sheet_content import Block, Strips
from flightlog.reports.sheet_html import SHEET_CSS, block_html

_PLOT = {"displaylogo": False, "scrollZoom": False, "showTips": False}
"""The wheel scrolls the page everywhere; a chart is zoomed by its tools, or by drawing a box."""
STYLE = f"""<style>{SHEET_CSS}
.fl .headline {{ margin: 0; }} .fl h2 {{ margin-top: {STEP_PX}px; }}
.fl .strip {{ grid-template-columns: 128px 1fr 240px; padding: {STEP_PX // 2}px 0;
  gap: 0 {2 * STEP_PX}px; }}
</style>"""
"""Stands once on a page that shows blocks."""


def blocks(*shown: Block) -> None:
    """Show blocks below each other."""
    parts.html(*(block_html(drawn(b) if isinstance(b, Strips) else b) for b in shown))


def drawn(strips: Strips) -> Strips:
    """Give strips with pictures that a page within the server shows."""
    rows = tuple(
        replace(row, svg=parts.picture(row.svg, f"{row.word}: {row.says}")) for row in strips.rows
    )
    return replace(strips, rows=rows)


def chart(one: Chart, figure: Any, key: str) -> None:
    """Show a chart under its title; one that lacks a sensor says which."""
    parts.heading(one.title)
    if figure is None:
        parts.note(one.lacking)
        return
    st.plotly_chart(figure, theme=None, config=_PLOT, key=key)
