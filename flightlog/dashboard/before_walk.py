"""Walking one list on the screen: who is at the laptop, what is before them, what is signed.

What was pressed is taken first, so that what is drawn below knows it already. Each item is signed
when it is judged, by the key of the person at the laptop; nothing passes by itself.
"""

from __future__ import annotations

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from flightlog.dashboard import before_answers, before_item, hands, parts
from flightlog.errors import FlightlogError
from flightlog.logbook.unlocking import Unlocked
from flightlog.operations.check_drafts import begun_draft, in_hand
from flightlog.operations.checks import ItemState, ListState
from flightlog.operations.desk import Desk
from flightlog.operations.lists_now import ListNow, about_of, state_now
from flightlog.operations.plan import Plan
from flightlog.operations.positions import named
from flightlog.operations.walk import before, done_by_role, done_of, shares
from flightlog.reports.check_words import (
    about_line,
    papers_lines,
    progress_text,
    state_text,
    who_line,
)
from flightlog.reports.markup import escaped

ONE, ALL = "One item at a time", "As a list"
_MODE = "before-walk-mode"


def show(desk: Desk, plan: Plan, chosen: ListNow, head: DeltaGenerator) -> None:
    """Draw a list in hand; first take what was pressed.

    Parameters
    ----------
    desk : Desk
        The team's.
    plan : Plan
        What is chosen for the flight.
    chosen : ListNow
        The list.
    head : DeltaGenerator
        Where its title and how far it is are drawn.
    """
    state = state_now(desk, plan, chosen.id)
    begun = in_hand(desk, chosen.id, about_of(desk, plan, chosen.id))
    if begun is None:
        _head(desk, state, head)
        _begin(desk, plan, state)
        _items(state)
        return
    if before_answers.take(desk, chosen.id, begun):
        state = state_now(desk, plan, chosen.id)
        if state.complete:
            hands.hand_over(chosen.id)
        if state.complete or before_answers.was_fail():
            st.rerun()  # what stands above changes with it
    _head(desk, state, head)
    before_answers.show_said()
    if state.complete:
        parts.state("complete", "Every item is done; the list holds until something reopens it.")
    else:
        _at_laptop(desk, state, chosen.id)
    if state.about.aircraft:
        with st.expander("Read aloud: fitness, defects, deferrals", key="before-papers"):
            parts.lines(papers_lines(desk, plan))
    _items(state)


def _head(desk: Desk, state: ListState, place: DeltaGenerator) -> None:
    done, whole = done_of(state)
    with place:
        parts.html(
            f'<div class="bf-walk"><strong>{escaped(state.checklist.title)}</strong>, version '
            f"{escaped(state.checklist.version)}, {escaped(about_line(desk, state.about))}"
            f'<div class="bf-done"><progress value="{done}" max="{whole}"></progress> '
            f"<strong>{escaped(progress_text(state))}</strong></div></div>"
        )


def _begin(desk: Desk, plan: Plan, state: ListState) -> None:
    """Offer to take the list in hand; the laptop notes that, nobody signs."""
    list_id = state.checklist.id
    if state.complete and not state.checklist.anew:
        parts.state("complete", "Every item is done; nothing has reopened it.")
        return
    with st.container(key=f"before-big-begin-{list_id}"):
        if not st.button(
            f"Begin: {parts.label(state.checklist.title)}",
            key=f"before-begin-{list_id}",
            type="primary",
            width="stretch",
        ):
            return
    try:
        desk.append(begun_draft(desk, list_id, about_of(desk, plan, list_id)))
    except FlightlogError as error:
        parts.refused(error)
        return
    st.rerun()


def _at_laptop(desk: Desk, state: ListState, list_id: str) -> None:
    every = sorted(shares(desk, state), key=lambda share: -share.items)
    if not every:
        parts.nothing(
            "Nobody of the crew holds a role of this list.",
            "Two others give roles to a person.",
            "flightlog team crew grant WHO ROLE --by WHO --by WHO",
        )
        return
    keys = [share.hand.key for share in every]
    present = hands.at_laptop(desk, list_id, keys, f"before-walk-{list_id}")
    if present is not None:
        _mine(desk, state, present)
    counts = [f"{desk.crew.label_of_key(s.hand.key)}: {s.items}" for s in every]
    parts.note(f"Items that each can do now: {'; '.join(counts)}.")


def _mine(desk: Desk, state: ListState, present: Unlocked) -> None:
    """Draw what is before the person at the laptop."""
    list_id = state.checklist.id
    later = before_answers.left_for_later(list_id, present.key)
    todo = before(desk, state, present.key, later)
    if not todo:
        parts.note("Nothing more of this list is yours now. Hand over, or put the list away.")
        _again(desk, state, present.key)
        return
    left, right = st.columns([3, 4], vertical_alignment="center")
    mode = left.segmented_control(
        "How",
        [ONE, ALL],
        default=ONE,
        key=_MODE,
        required=True,
        label_visibility="collapsed",
        persist_state="session",
    )
    with right:
        keys = "Keys stand on the buttons; Tab and Enter reach all." if mode == ONE else ""
        parts.html(f'<div class="bf-clear">{len(todo)} left for you. {keys}</div>')
    for item in todo[:1] if mode == ONE else todo:
        before_item.show(desk, list_id, item, present.key, state.about, keys=mode == ONE)
    _again(desk, state, present.key)


def _again(desk: Desk, state: ListState, key: str) -> None:
    """Offer what is done to be done once more: what was signed stays, the later one counts."""
    done = {item.item.id: item for item in done_by_role(desk, state, key)}
    if not done:
        return
    chosen = st.selectbox(
        "After a slip, do an item again",
        list(done),
        index=None,
        placeholder="None",
        format_func=lambda id_: parts.option(f"{id_}: {done[id_].item.text}"),
        key=f"before-again-{state.checklist.id}-{key[:8]}",
    )
    if chosen is not None:
        before_item.show(desk, state.checklist.id, done[chosen], key, state.about, keys=False)


def _items(state: ListState) -> None:
    """Draw how all items stand."""
    with st.expander("All items, and how they stand", key=f"before-items-{state.checklist.id}"):
        parts.table(["item", "what", "who", "stands", "by"], [_row(item) for item in state.items])


def _row(one: ItemState) -> tuple[str, str, str, str, str]:
    by = named(one.result) if one.result is not None else ""
    return one.item.id, one.item.text, who_line(one.item), state_text(one), by
