"""How much may be loaded today: the number first, then what it rests on and what moves it."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.records_parts import marked_table
from flightlog.errors import FlightlogError, NotEnoughDataError
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Plan
from flightlog.reports.load_today_view import SCORE_HEAD, Asked, LoadView, kept_view, on_page
from flightlog.reports.load_today_words import (
    CAUTION,
    CHOICE_HEAD,
    EFFECT_HEAD,
    WHAT_IF_HEAD,
    WHAT_IF_SAYS,
)
from flightlog.reports.markup import escaped

UNITS = "before-load-units"
"""Where the state of the page keeps how many units are tried."""
_LAPS, _VOLTAGE, _ENTERED = "before-today-laps", "before-today-voltage", "before-today-entered"
_RESTS_ON = "before-today-rests-on"
_BIND_HEAD = ("what", "state", "numbers")
_MOST_LAPS, _MOST_VOLTS = 100, 120.0


def show(desk: Desk, plan: Plan) -> None:
    """Draw the question and its answer."""
    parts.heading("How much may we load today?")
    try:
        view = kept_view(desk, plan, asked(desk, plan))
    except NotEnoughDataError as error:
        fix = error.fix or "Enter what is missing."
        parts.nothing(f"No number is given: {on_page(error.found)}.", on_page(fix))
        _fields(desk, plan)
        return
    except FlightlogError as error:
        parts.warn(on_page(error.sentence()))
        _fields(desk, plan)
        return
    if view.reasons:
        _withheld(desk, plan, view)
    else:
        _answer(desk, plan, view)
    parts.html(f'<div class="fl-caution">{escaped(CAUTION)}</div>')


# --- what is typed


def asked(desk: Desk, plan: Plan) -> Asked:
    """Give what the fields hold, which stand below what follows from them."""
    state = st.session_state
    entered = {
        name: float(state[key])
        for name, key in ((name, _key(plan, name)) for name in _wanted(desk, plan))
        if state.get(key) is not None
    }
    return Asked(state.get(_LAPS), state.get(_VOLTAGE), entered)


def _wanted(desk: Desk, plan: Plan) -> dict[str, str]:
    """Give the numbers that the score formula asks people for, and what each means."""
    score = desk.rules(plan.rules).score if plan.rules else None
    if score is None:
        return {}
    return {
        name: f"{asked.meaning}, {asked.unit}" if asked.unit else asked.meaning
        for name, asked in score.entered.items()
    }


def _key(plan: Plan, name: str) -> str:
    return f"{_ENTERED}-{plan.rules}-{name}"


def _fields(desk: Desk, plan: Plan) -> None:
    """Ask for what only people know."""
    wanted = _wanted(desk, plan)
    laps, voltage, *others = st.columns([2, 2, *(3 for _ in wanted)], vertical_alignment="bottom")
    laps.number_input("Planned laps", 1, _MOST_LAPS, None, 1, key=_LAPS, persist_state="session")
    voltage.number_input(
        "Pack at rest, V",
        0.0,
        _MOST_VOLTS,
        None,
        0.1,
        format="%.2f",
        key=_VOLTAGE,
        placeholder="as recorded",
        persist_state="session",
    )
    for column, (name, meaning) in zip(others, wanted.items(), strict=True):
        column.number_input(
            parts.label(f"{name}: {meaning}"),
            value=None,
            key=_key(plan, name),
            persist_state="session",
        )


# --- the answer


def _answer(desk: Desk, plan: Plan, view: LoadView) -> None:
    if view.number:
        parts.html(_first(view))
    else:
        parts.warn(view.first)
    if view.beyond:
        parts.warn(view.beyond)
    parts.html(parts.picture(view.picture, view.picture_words))
    parts.html(*(f"<p>{escaped(text)}</p>" for text in view.then))
    for text in filter(None, (*view.model_says, view.no_give_up)):
        parts.note(text)
    _offer(view)
    _fields(desk, plan)
    _details(view)


def _offer(view: LoadView) -> None:
    """Offer to try the answer, or say that it is tried."""
    if not view.offers:
        return
    tried = st.session_state.get(UNITS)
    for column, (units, words) in zip(st.columns(len(view.offers)), view.offers, strict=True):
        if tried == units:
            with column:
                parts.note(f"{units} stand in the field of units below: sign the load sheet there.")
        else:
            column.button(
                parts.label(words),
                key=f"before-today-take-{units}",
                on_click=_take,
                args=(units,),
                width="stretch",
            )


def _withheld(desk: Desk, plan: Plan, view: LoadView) -> None:
    """Say why there is no number and what to do; what the model says stays folded away."""
    parts.state("not assessable", "No number is given, and why:")
    for reason in view.reasons:
        parts.warn(reason)
    _fields(desk, plan)
    with st.expander("What the model says, not to be loaded by", key="before-today-not"):
        parts.html(parts.picture(view.picture, view.picture_words))
        for text in view.model_says:
            parts.note(text)
        _details(view)


def _first(view: LoadView) -> str:
    """Give the number with its sentence, and where to give up."""
    cells = [(view.number, "at most")]
    if view.give_up:
        cells.append((view.give_up, "airborne, or give up"))
    tiles = "".join(
        f'<div class="fl-tile"><div class="fl-tile-number">{escaped(number)}</div>'
        f'<div class="fl-tile-below">{escaped(below)}</div></div>'
        for number, below in cells
    )
    says = f'<div class="fl-tile bf-says">{escaped(view.first)}</div>'
    return f'<div class="fl-tiles">{tiles}{says}</div>'


def _take(units: int) -> None:
    """Try the answer, so that the load sheet is signed with it."""
    st.session_state[UNITS] = units


def _details(view: LoadView) -> None:
    """Draw all units, what changes the number, what else binds, the score, and the model."""
    _titled("Per number of units", CHOICE_HEAD, view.choices, CHOICE_HEAD[:-1])
    if view.what_ifs:
        _titled("What would change it", WHAT_IF_HEAD, view.what_ifs, WHAT_IF_HEAD[1:])
        parts.note(WHAT_IF_SAYS)
    if view.binds:
        parts.html(f"<strong>What else binds with {escaped(view.bound_units)}</strong>")
        marked_table(_BIND_HEAD, view.binds, _BIND_HEAD[1])
    if view.scores:
        _titled("Is it worth it?", SCORE_HEAD, view.scores, SCORE_HEAD[1:])
    for text in view.score_says:
        parts.note(text)
    with st.expander("What it rests on: before any flight, and after them", key=_RESTS_ON):
        for text in view.rests_on:
            parts.note(text)
        parts.table(EFFECT_HEAD, view.effects)
        for text in view.left_out:
            parts.note(f"Nothing was learnt from {text}.")


def _titled(
    title: str,
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    numbers: Sequence[str] = (),
) -> None:
    parts.html(f"<strong>{escaped(title)}</strong>", parts.table_html(head, rows, numbers))
