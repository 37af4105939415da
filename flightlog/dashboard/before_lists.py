"""The lists before a flight: which are to be walked now, how each stands, and the one in hand.

All of it is a fragment: an answer to an item draws these lists anew and leaves the rest of the page
alone, until a list is complete or an item failed, which changes the state above.
"""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import before_walk, hands, parts, shell
from flightlog.operations.desk import Desk
from flightlog.operations.lists_now import ListNow, lists_now
from flightlog.operations.plan import Plan
from flightlog.operations.walk import done_of
from flightlog.reports.markup import escaped

IN_HAND = "before-list"
"""Where the state of the page keeps which list is in hand."""


@st.fragment
def show(plan: Plan) -> None:
    """Draw the section."""
    with shell.at_desk(again=True) as desk:
        if desk is None:
            return
        every = lists_now(desk, plan)
        wanted = st.session_state.get(IN_HAND, "")
        chosen = next((one for one in every if one.id == wanted and one.state is not None), None)
        if chosen is None:
            _overview(desk, every)
            return
        with st.container(horizontal=True, vertical_alignment="center"):
            st.button("← All lists", key="before-lists-back", on_click=_take_up, args=("",))
            head = st.empty()
        before_walk.show(desk, plan, chosen, head)


def _take_up(list_id: str) -> None:
    """Take a list in hand, or put it away, which ends the unlock for it."""
    before = str(st.session_state.get(IN_HAND, ""))
    if before and before != list_id:
        hands.hand_over(before)
    st.session_state[IN_HAND] = list_id


def _overview(desk: Desk, every: tuple[ListNow, ...]) -> None:
    parts.heading("Lists that the next flight asks for")
    for one in every:
        if one.needed:
            _row(one)
    others = [one for one in every if not one.needed]
    if others:
        with st.expander("Other lists", key="before-lists-other"):
            for one in others:
                _row(one)
    parts.note(
        "Printed and filled in by hand: 'flightlog checks print' and 'flightlog checks enter'. "
        "Calls are written down after landing: 'flightlog release calls'."
    )


def _row(one: ListNow) -> None:
    left, right = st.columns([3, 1], vertical_alignment="center")
    with left:
        if one.state is None:
            parts.html(f"{parts.mark('open')} <strong>{escaped(one.id)}</strong>")
            if one.fault is not None:
                parts.refused(one.fault)
            return
        done, whole = done_of(one.state)
        mark = parts.mark("complete" if one.state.complete else "open")
        parts.html(
            f"{mark} <strong>{escaped(one.title)}</strong>, {done} of {whole} done"
            f'<div class="bf-clear">{escaped(one.why)}</div>'
        )
    with right, st.container(key=f"before-big-{one.id}"):
        st.button(
            "Look at it" if one.state.complete else "Walk it",
            key=f"before-take-{one.id}",
            on_click=_take_up,
            args=(one.id,),
            type="primary" if one.needed and not one.state.complete else "secondary",
            width="stretch",
        )
