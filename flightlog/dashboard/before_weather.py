"""Weather before a flight: what was measured last, and a form for what is measured now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import cast

import streamlit as st

from flightlog.dashboard import hands, parts
from flightlog.dashboard.before_hands import who_signs
from flightlog.errors import FlightlogError
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Plan
from flightlog.operations.weather import (
    FIELDS,
    ROLE,
    elevation_of,
    impossible,
    latest_weather,
    weather_draft,
)
from flightlog.reports.markup import escaped
from flightlog.reports.weather_words import (
    air_line,
    head_line,
    limit_rows,
    measured_lines,
    runway_of,
    wind_rows,
)

SIGNED = "before-weather"
"""Key of what is signed here."""
_TYPED = "before-weather-looked-at"
_SIGNED_WITHIN = timedelta(minutes=10)
"""How long what was looked at can be signed: the entry says that it was measured when it is."""
_FIELDS = (
    ("wind_mean", "Mean wind", ""),
    ("wind_gust", "Greatest gust", ""),
    ("wind_from", "Wind from", "of true north"),
    ("averaged", "Mean over", "if known"),
    ("pressure", "Pressure", "at the strip itself"),
    ("temperature", "Temperature", "in the shade"),
    ("humidity", "Humidity", "relative"),
    ("mast_height", "Meter height", "above the ground"),
)
"""Number of the form, its name, and what else there is to know; units are those of the record."""


@dataclass(frozen=True, slots=True)
class _LookedAt:
    """What was typed, and when somebody asked to look at it."""

    typed: dict[str, str]
    when: datetime


def show(desk: Desk, plan: Plan) -> None:
    """Draw the section."""
    left, right = st.columns(2, gap="large")
    with left:
        _form(desk, plan)
    with right:
        looked_at = cast(_LookedAt | None, st.session_state.get(_TYPED))
        if looked_at is not None:
            _to_sign(desk, plan, looked_at)
        _latest(desk, plan)


def _form(desk: Desk, plan: Plan) -> None:
    parts.heading("Measure now")
    with st.form("before-weather-form", border=False):
        columns = [column for _ in _FIELDS[::2] for column in st.columns(2)]
        for column, (name, words, more) in zip(columns, _FIELDS, strict=True):
            column.text_input(
                parts.label(f"{words}, {FIELDS[name].unit}"),
                key=f"before-weather-{name}",
                placeholder=more,
                persist_state="session",
                autocomplete="off",
            )
        st.text_input(
            "Read off which instrument, like AM\\-1",
            key="before-weather-instrument",
            persist_state="session",
            autocomplete="off",
        )
        if not plan.site:
            st.text_input("Where", key="before-weather-place", persist_state="session")
        if st.form_submit_button(
            "Look at it before signing", key="before-weather-look", width="stretch"
        ):
            st.session_state[_TYPED] = _LookedAt(_typed(plan), desk.ledger.now)
    parts.note(
        "Two minutes, 1.5 m up or higher. A meter's own file is read by 'flightlog weather read'."
    )


def _typed(plan: Plan) -> dict[str, str]:
    """Give what stands in the form; a field that was left empty is not among it."""
    names = [name for name, _, _ in _FIELDS] + ["instrument", "place"]
    typed = {n: str(st.session_state.get(f"before-weather-{n}") or "").strip() for n in names}
    typed["place"] = plan.site or typed["place"]
    return {name: text for name, text in typed.items() if text}


def _draft(desk: Desk, typed: dict[str, str], key: str) -> Draft:
    numbers = {name: text for name, text in typed.items() if name in FIELDS}
    place = typed.get("place", "")
    return weather_draft(
        place,
        typed.get("instrument", ""),
        numbers,
        key,
        elevation_m=elevation_of(desk, place),
    )


def _to_sign(desk: Desk, plan: Plan, looked_at: _LookedAt) -> None:
    """Draw what was typed as it would stand, and let an engineer sign it."""
    parts.heading("To be signed")
    if not timedelta() <= desk.ledger.now - looked_at.when <= _SIGNED_WITHIN:
        parts.warn("What was typed is older than ten minutes. Measure again, then look at it.")
        return
    typed = looked_at.typed
    by = who_signs(desk, (ROLE,), "Measured by", "before-weather-by")
    if by is None:
        return
    try:
        draft = _draft(desk, typed, by)
    except FlightlogError as error:
        parts.refused(error)
        return
    _against(desk, plan, draft, str(typed.get("place", "")))
    hands.signed(desk, lambda: _draft(desk, typed, by), key=SIGNED, button="Sign the weather")


def forget() -> None:
    """Empty the form: what was typed is signed."""
    st.session_state.pop(_TYPED, None)
    for name, _, _ in _FIELDS:
        # Set, not left out: a browser shows what was typed until it is told another text.
        st.session_state[f"before-weather-{name}"] = ""


def _latest(desk: Desk, plan: Plan) -> None:
    parts.heading("Measured last")
    entry = latest_weather(desk, plan.site)
    if entry is None:
        parts.nothing("Nobody measured it here yet.", "Measure, type it in at the left, sign it.")
        return
    parts.note(head_line(desk, entry, minutes=True))
    parts.html("".join(f"<div>{escaped(line)}</div>" for line in measured_lines(entry)))
    _against(desk, plan, entry, str(entry.body.content["place"]))


def _against(desk: Desk, plan: Plan, entry: Entry | Draft, place: str) -> None:
    """Draw the wind on the runway and the limits of the aircraft."""
    wrong = impossible(entry)
    if wrong:
        parts.warn(f"Not to be used: {wrong}.")
        return
    heading = runway_of(desk, place)
    about = f"runway {heading:g}°, m/s" if heading is not None else "no runway known, m/s"
    parts.table([about, "mean", "gusts"], wind_rows(entry, heading), numbers=("mean", "gusts"))
    rows = limit_rows(desk, plan.aircraft, entry, heading)
    if not rows:
        parts.warn(f"The file of {plan.aircraft} sets no limits for the weather.")
    marks = [parts.mark("within" if judged.holds else "beyond") for judged in rows]
    body = "".join(
        f"<tr><td>{mark}</td><td>{escaped(judged.says)}</td></tr>"
        for mark, judged in zip(marks, rows, strict=True)
    )
    parts.html(f"<table><tbody>{body}</tbody></table>", f"<div>{escaped(air_line(entry))}</div>")
