"""The table of sorties: filtered, sorted, one of them in short, and a download."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from flightlog.dashboard import parts
from flightlog.dashboard.grid import grid
from flightlog.operations.desk import Desk
from flightlog.operations.season_table import RELEASES, SeasonRow, Wanted, wanted
from flightlog.reports.flights import flight_lines
from flightlog.reports.season_words import DECIMALS, HEAD, in_order, season_csv, season_texts
from flightlog.rules.outcomes import WORST_FIRST

_CHOSEN, _SORT, _MOST = "season-sortie", "season-sort", "season-most"
_FIRST_SORT = ("Date UTC", True)
_STEP = 100
_ANY = ""
_WIDTH = 100


def show(desk: Desk, rows: Sequence[SeasonRow]) -> None:
    """Draw filters, table, download and the sortie that is chosen."""
    found = wanted(rows, _filters(rows))
    left, right = st.columns([3, 1], vertical_alignment="center")
    with left:
        parts.note(
            f"{len(found)} of {len(rows)} sorties. Press a head to sort, a line to see it in short."
        )
    table = season_csv(in_order(found, *_sorted_by()))
    parts.download(right, "Table as CSV", table, "season.csv", key="season-csv")
    if not found:
        parts.nothing("No sortie fits.", "Take a filter away.")
        return
    _table(found)
    _in_short(desk, found)


# --- which ones


def _filters(rows: Sequence[SeasonRow]) -> Wanted:
    """Draw the filters and give what they ask for."""
    of_aircraft, of_pack, by_release, by_outcome, begin, end, words = st.columns(
        [3, 3, 4, 4, 4, 4, 5]
    )
    aircraft = sorted({r.record.aircraft for r in rows if r.record.aircraft})
    packs = sorted({r.record.pack for r in rows if r.record.pack})
    return Wanted(
        _one_of(of_aircraft, "Aircraft", aircraft, "season-aircraft"),
        _one_of(of_pack, "Pack", packs, "season-pack"),
        _day(begin, "From", "season-from"),
        _day(end, "To", "season-to"),
        _one_of(by_release, "Release", RELEASES, "season-release"),
        _one_of(by_outcome, "With a limit that is", WORST_FIRST, "season-outcome"),
        words.text_input(
            "Holds the words", key="season-text", placeholder="a word", persist_state="session"
        )
        or "",
    )


def _one_of(column: DeltaGenerator, label: str, options: Iterable[str], key: str) -> str:
    """Draw a filter that is one of some words, or any."""
    found = column.selectbox(
        label,
        [_ANY, *options],
        format_func=lambda one: parts.option(one) or "any",
        key=key,
        persist_state="session",
    )
    return found or _ANY


def _day(column: DeltaGenerator, label: str, key: str) -> date | None:
    """Draw a filter that is a day, or none."""
    return column.date_input(label, None, key=key, format="YYYY-MM-DD", persist_state="session")


# --- the table


def _table(found: Sequence[SeasonRow]) -> None:
    """Draw the table; a press on a line chooses its sortie, one on a head sorts."""
    head, down = _sorted_by()
    most = int(st.session_state.setdefault(_MOST, _STEP))
    listed = in_order(found, head, down)[:most]
    grid(
        HEAD,
        [season_texts(row) for row in listed],
        label="Sorties",
        numbers=tuple(DECIMALS),
        sort=(head, down),
        chosen=str(st.session_state.get(_CHOSEN) or ""),
        key="season-table",
        on_sort=_sort,
        on_line=_choose,
    )
    if len(found) > len(listed):
        st.button("Show more", key="season-more", on_click=_more)


def _sorted_by() -> tuple[str, bool]:
    found = st.session_state.get(_SORT, _FIRST_SORT)
    return found if found[0] in HEAD else _FIRST_SORT


def _sort(head: str) -> None:
    """Sort by another column, or the other way round."""
    now, down = _sorted_by()
    if head in HEAD:
        st.session_state[_SORT] = (head, not down if head == now else head in DECIMALS)


def _choose(name: str) -> None:
    st.session_state[_CHOSEN] = name


def _more() -> None:
    st.session_state[_MOST] += _STEP


# --- one of them


def _in_short(desk: Desk, found: Sequence[SeasonRow]) -> None:
    """Draw the sortie that is chosen, and the way to all of it."""
    named = {row.name: row for row in found}
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    with left:
        name = st.selectbox(
            "Sortie in short",
            list(named),
            index=None,
            format_func=lambda one: _choice(named[one]),
            placeholder="Press a line above, or choose one here",
            key=_CHOSEN,
        )
    if name is None:
        return
    with right:
        if st.button("All of it, on After", key="season-open", type="primary", width="stretch"):
            _open(name)
    parts.lines(flight_lines(desk, named[name].record, _WIDTH))


def _choice(row: SeasonRow) -> str:
    return parts.option(f"{row.name}, {row.record.began:%Y-%m-%d %H:%M} UTC, {row.record.aircraft}")


def _open(name: str) -> None:
    """Go to the page After with a sortie."""
    from flightlog.dashboard.pages import after

    st.session_state["sortie"] = name
    st.switch_page(st.Page(after.show, title="After", url_path="after"))
