"""One item of a list before the person at the laptop: what to do, and large buttons to answer."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from flightlog.dashboard import before_answers, parts
from flightlog.dashboard.before_answers import Pressed
from flightlog.logbook.flying_kinds import DEFERRED, FAIL, NOT_APPLICABLE, PASS
from flightlog.operations.check_drafts import in_hand
from flightlog.operations.check_worth import FAILED
from flightlog.operations.checklists import CHECK, CHOICE, MEASURED, PHOTO, Item
from flightlog.operations.checks import About, ItemState
from flightlog.operations.desk import Desk
from flightlog.operations.photos import LARGEST_BYTES
from flightlog.operations.positions import named
from flightlog.operations.walk import deferrals_for, is_second_look
from flightlog.reports.check_words import item_head, number_label, state_text
from flightlog.reports.markup import escaped

_MOST_DIGITS = 9
_LARGEST_MB = LARGEST_BYTES // 1_000_000


def show(desk: Desk, list_id: str, state: ItemState, key: str, about: About, *, keys: bool) -> None:
    """Draw an item.

    Parameters
    ----------
    desk : Desk
        The team's.
    list_id : str
        The list in hand.
    state : ItemState
        The item as it stands.
    key : str
        Of the person at the laptop.
    about : About
        What the list is walked for.
    keys : bool
        Whether letters and digits answer it: only where one item is shown.
    """
    item = state.item
    stamp = state.result.hash[:8] if state.result is not None else "new"
    stem = f"before-item-{list_id}-{item.id}-{key[:8]}-{stamp}"
    before_answers.shown(stem)
    with st.container(key=f"before-walk-item-{item.id}", border=True):
        _text(state)
        how = before_answers.opened(stem)
        if how:
            _reason(desk, list_id, item, stem, how, about)
            return
        ways = _ways(state)
        if item.kind == CHECK and not item.instrument:
            first, *rest = st.columns([2 + len(ways), *(2 for _ in ways), 1.6])
            with first:
                _sign(Pressed(list_id, item.id, stem, PASS), "Pass", "P" if keys else "")
        else:
            _fields(list_id, item, stem, keys=keys)
            rest = st.columns(len(ways) + 1)
        _others(Pressed(list_id, item.id, stem), key, ways, rest, keys=keys)


def _text(state: ItemState) -> None:
    item = state.item
    passes = f'<div class="bf-clear">passes with {escaped(item.acceptance)}</div>'
    stands = f'<div class="bf-clear">{escaped(state_text(state))}</div>' if state.result else ""
    if state.state == FAILED:
        why = f" {escaped(state.why)}" if state.why else ""
        stands = f"<div>{parts.mark('fail')}{why}</div>"
    second = ""
    if is_second_look(state):
        second = "<div><strong>Look at it afresh: another person has done it.</strong></div>"
    parts.html(
        f'<div class="bf-clear">{escaped(item_head(item))}</div>'
        f'<div class="bf-item">{escaped(item.text)}</div>',
        passes if item.acceptance else "",
        stands,
        second,
    )


# --- answers


def _fields(list_id: str, item: Item, stem: str, *, keys: bool) -> None:
    """Draw what the item asks for, and the button or buttons that sign it."""
    if item.instrument and item.kind != MEASURED:
        st.text_input("Instrument, like MM\\-2", key=f"{stem}-instrument", autocomplete="off")
    if item.kind == MEASURED:
        _measurement(list_id, item, stem)
    elif item.kind == CHOICE:
        _choices(list_id, item, stem, keys=keys)
    elif item.kind == PHOTO:
        kinds = ["jpg", "jpeg", "png", "webp"]
        key = f"{stem}-photo"
        st.file_uploader("Photo", type=kinds, key=key, max_upload_size=_LARGEST_MB)
        _sign(Pressed(list_id, item.id, stem, PASS), "Sign with this photo", "")
    else:
        _sign(Pressed(list_id, item.id, stem, PASS), "Pass", "P" if keys else "")


def _measurement(list_id: str, item: Item, stem: str) -> None:
    with st.form(f"{stem}-form", border=False):
        columns = st.columns(2 if item.instrument else 1)
        columns[0].text_input(
            parts.label(number_label(item)), key=f"{stem}-value", autocomplete="off"
        )
        if item.instrument:
            columns[1].text_input(
                "Instrument, like MM\\-2", key=f"{stem}-instrument", autocomplete="off"
            )
        st.form_submit_button(
            "Sign the number",
            key=f"{stem}-sign",
            type="primary",
            width="stretch",
            on_click=before_answers.press,
            args=(Pressed(list_id, item.id, stem),),
        )


def _choices(list_id: str, item: Item, stem: str, *, keys: bool) -> None:
    for number, choice in enumerate(dict.fromkeys(item.choices), start=1):
        _sign(
            Pressed(list_id, item.id, stem, "", choice),
            parts.label(choice),
            str(number) if keys and number <= _MOST_DIGITS else "",
        )


def _sign(pressed: Pressed, words: str, shortcut: str) -> None:
    # A choice may be called like a button or a field of ours.
    name = f"choice-{pressed.choice}" if pressed.choice else pressed.result
    st.button(
        words,
        key=f"{pressed.stem}-{name}",
        type="primary",
        width="stretch",
        shortcut=shortcut or None,
        on_click=before_answers.press,
        args=(pressed,),
    )


def _ways(state: ItemState) -> list[tuple[str, str, str]]:
    """Give the other ways that an item can go: words, result, letter."""
    item, second = state.item, is_second_look(state)
    ways = [("Fail …", FAIL, "F")]
    if item.not_applicable and not second:
        ways.append(("Does not apply …", NOT_APPLICABLE, "N"))
    if item.deferrable and not second:
        ways.append(("Put off …", DEFERRED, "D"))
    return ways


def _others(
    at: Pressed,
    key: str,
    ways: Sequence[tuple[str, str, str]],
    columns: Sequence[DeltaGenerator],
    *,
    keys: bool,
) -> None:
    """Draw the other ways, and "later"."""
    for (words, how, shortcut), column in zip(ways, columns, strict=False):
        column.button(
            words,
            key=f"{at.stem}-to-{how}",
            width="stretch",
            shortcut=shortcut if keys else None,
            on_click=before_answers.open_form,
            args=(at.stem, how),
        )
    columns[-1].button(
        "Later",
        key=f"{at.stem}-later",
        width="stretch",
        shortcut="L" if keys else None,
        on_click=before_answers.leave,
        args=(at.list_id, key, at.item_id),
    )


def _reason(desk: Desk, list_id: str, item: Item, stem: str, how: str, about: About) -> None:
    """Draw the form for a fail, for what does not apply, and for what is put off."""
    asked = {FAIL: "What is wrong", NOT_APPLICABLE: "Why it does not apply"}
    words = {
        FAIL: "Sign as failed",
        NOT_APPLICABLE: "Sign: does not apply",
        DEFERRED: "Sign: put off",
    }
    if how == DEFERRED and not _deferral(desk, list_id, stem, about):
        st.button("Back", key=f"{stem}-back", on_click=before_answers.open_form, args=(stem, ""))
        return
    with st.form(f"{stem}-reason-form", border=False):
        if how in asked:
            st.text_input(asked[how], key=f"{stem}-reason", autocomplete="off")
        if how == FAIL and item.kind == MEASURED:
            st.text_input(
                parts.label(f"{number_label(item)} (may be empty)"),
                key=f"{stem}-value-failed",
                autocomplete="off",
            )
        st.form_submit_button(
            words[how],
            key=f"{stem}-sign-{how}",
            type="primary",
            width="stretch",
            on_click=before_answers.press,
            args=(Pressed(list_id, item.id, stem, how),),
        )
    st.button("Back", key=f"{stem}-back", on_click=before_answers.open_form, args=(stem, ""))


def _deferral(desk: Desk, list_id: str, stem: str, about: About) -> bool:
    """Ask by which deferral; whether there is one."""
    begun = in_hand(desk, list_id, about)
    found = deferrals_for(desk, begun) if begun is not None else ()
    if not found:
        parts.nothing(
            "No deferral is in force.",
            "Report the defect and defer it first.",
            "flightlog defect defer DEFECT --reason TEXT --risk TEXT --limitation TEXT --until DAY",
        )
        return False
    texts = {named(d): f"{named(d)}: {d.body.content['limitation']}" for d in found}
    st.selectbox(
        "Put off by which deferral",
        list(texts),
        format_func=lambda name: parts.option(texts[name]),
        key=f"{stem}-deferral",
    )
    return True
