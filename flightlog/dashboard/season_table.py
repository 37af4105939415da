"""The table of sorties: filtered, sorted, one of them in short, and a download."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.grid import grid
from flightlog.operations.desk import Desk
from flightlog.operations.season_table import RELEASES, SeasonRow, Wanted, wanted
from flightlog.reports.flights import flight_lines
from flightlog.reports.season_words import DECIMALS, HEAD, in_order, season_csv, season_texts
from flightlog.reports.stored_words import WORST_FIRST

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
    right.download_button(
        "Table as CSV",
        season_csv(in_order(found, *_sorted_by())),
        file_name="season.csv",
        mime="text/csv",
        key="season-csv",
        on_click="ignore",
        width="stretch",
    )
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
    aircraft = of_aircraft.selectbox(
        "Aircraft",
        [_ANY, *sorted({r.record.aircraft for r in rows if r.record.aircraft})],
        format_func=_any,
        key="season-aircraft",
        persist_state="session",
    )
    pack = of_pack.selectbox(
        "Pack",
        [_ANY, *sorted({r.record.pack for r in rows if r.record.pack})],
        format_func=_any,
        key="season-pack",
        persist_state="session",
    )
    released = by_release.selectbox(
        "Release",
        [_ANY, *RELEASES],
        format_func=_any,
        key="season-release",
        persist_state="session",
    )
    outcome = by_outcome.selectbox(
        "With a limit that is",
        [_ANY, *WORST_FIRST],
        format_func=_any,
        key="season-outcome",
        persist_state="session",
    )
    since = begin.date_input(
        "From", None, key="season-from", format="YYYY-MM-DD", persist_state="session"
    )
    until = end.date_input(
        "To", None, key="season-to", format="YYYY-MM-DD", persist_state="session"
    )
    text = words.text_input(
        "Holds the words", key="season-text", placeholder="a word", persist_state="session"
    )
    return Wanted(
        aircraft or "", pack or "", since, until, released or "", outcome or "", text or ""
    )


def _any(one: str) -> str:
    return parts.option(one) or "any"


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
