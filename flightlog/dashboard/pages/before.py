"""Before a flight: may this aircraft be released, and what clears what holds it."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from flightlog.dashboard import (
    before_card,
    before_lists,
    before_load,
    before_release,
    before_state,
    before_weather,
    hands,
    parts,
    shell,
)
from flightlog.dashboard.shell import Chosen
from flightlog.errors import FlightlogError
from flightlog.operations.desk import Desk
from flightlog.operations.next_flight import NextFlight, next_flight
from flightlog.operations.plan import Plan
from flightlog.operations.positions import named
from flightlog.reports.look import (
    ANSWER_PX,
    GREY,
    INK,
    LARGE_PX,
    SMALL_PX,
    STEP_PX,
    TARGET_PX,
    shape,
)
from flightlog.reports.next_steps import (
    LISTS,
    LOAD,
    RELEASE,
    SECTIONS,
    WEATHER,
    first_section,
    section_words,
)

_SIGNED = {
    before_weather.SIGNED: "the weather",
    before_load.SIGNED: "the load sheet",
    before_card.SIGNED: "the flight card",
    before_release.EXPECTED: "what is expected",
    before_release.RELEASE: "the release",
    before_release.TAKEN_BACK: "that the release is taken back",
    before_release.HOLD: "by this laptop, that it is held",
}
"""Key under which something is signed on this page -> what it is."""
_CSS = f"""
.bf-reason {{ padding: 2px 0 {STEP_PX // 2}px; }}
[class*="st-key-before-step"] {{ border-left: {STEP_PX}px solid {INK};
  padding-left: {2 * STEP_PX}px; }}
.st-key-before-section button {{ min-height: {6 * STEP_PX}px; }}
.st-key-before-work .fl-lines {{ max-height: 300px; overflow-y: auto;
  border: 1px solid {GREY}; }}
.bf-clear {{ color: {GREY}; font-size: {SMALL_PX}px; }}
.bf-item {{ font-size: {ANSWER_PX}px; line-height: 1.3; font-weight: 600;
  margin: {STEP_PX // 2}px 0; }}
.fl-tile.bf-says {{ flex: 3 1 280px; font-size: {LARGE_PX}px; font-weight: 600; }}
.bf-done progress {{ width: 36%; height: {2 * STEP_PX}px; accent-color: {INK};
  vertical-align: middle; }}
[class*="st-key-before-walk-item"] button, [class*="st-key-before-big"] button
  {{ min-height: {TARGET_PX}px; }}
[class*="st-key-before-walk-item"] button p, [class*="st-key-before-big"] button p
  {{ font-size: {LARGE_PX}px; font-weight: 600; }}
"""
_TO_TOP = """<script>
document.querySelector('[data-testid="stMain"]')?.scrollTo(0, 0);
</script>"""
"""Our own words alone: what was signed changes the state, which stands at the top."""


def show() -> None:
    """Draw the page."""
    with shell.at_desk() as desk:
        if desk is None:
            return
        st.html(f"<style>{_CSS}</style>")
        chosen = shell.chosen(desk)
        if not _can_begin(chosen):
            return
        _page(desk, Plan(chosen.aircraft, chosen.pack, chosen.rules, chosen.site))


def _can_begin(chosen: Chosen) -> bool:
    """Say what is missing before anything can be asked; whether nothing is."""
    for id_, what, folder in (
        (chosen.aircraft, "aircraft", "aircraft"),
        (chosen.pack, "pack", "packs"),
    ):
        if not id_:
            parts.nothing(
                f"The record holds no {what} file yet.",
                f"Put one into {folder}/ of the team folder, then enter it, signed by two:",
                f"flightlog team enter {folder}/ID.toml --by WHO --by WHO",
            )
            return False
    return True


def _page(desk: Desk, plan: Plan) -> None:
    now = next_flight(desk, plan)
    _say_added(desk)
    left, right = st.columns([5, 9], gap="large")
    with left:
        before_state.show(desk, now)
        _tried(lambda: before_state.ages(desk, now))
    with right, st.container(key="before-work"):
        section = _section(now)
        drawn: dict[str, Callable[[], None]] = {
            WEATHER: lambda: before_weather.show(desk, plan),
            LOAD: lambda: before_load.show(desk, now),
            LISTS: lambda: before_lists.show(plan),
            RELEASE: lambda: before_release.show(desk, now),
        }
        _tried(drawn[section])
    before_state.conditions(now)
    if section != RELEASE:  # there they stand beside what is signed
        parts.cautions()


def _say_added(desk: Desk) -> None:
    """Say what was added by the button that was pressed last."""
    for key, what in _SIGNED.items():
        entry = hands.added(desk, key)
        if entry is not None:
            parts.note(f"Signed and added: {what}, {named(entry)}.")
            st.html(_TO_TOP, unsafe_allow_javascript=True)
            if key == before_weather.SIGNED:
                before_weather.forget()
            if key == before_release.EXPECTED:
                before_release.forget()


def _section(now: NextFlight) -> str:
    """Draw the row of sections with how each stands, and give the one that is open."""
    words = section_words(now)
    if st.session_state.get(before_state.SECTION) not in SECTIONS:
        st.session_state[before_state.SECTION] = first_section(now)
    found = st.segmented_control(
        "Section",
        list(SECTIONS),
        format_func=lambda one: parts.label(f"{SECTIONS[one]} {shape(words[one])} {words[one]}"),
        key=before_state.SECTION,
        required=True,
        label_visibility="collapsed",
        persist_state="session",
        width="stretch",
    )
    return str(found)


def _tried(draw: Callable[[], None]) -> None:
    """Draw a part of the page; what is at fault in it is said there, and the rest stays."""
    try:
        draw()
    except FlightlogError as error:
        parts.refused(error)
