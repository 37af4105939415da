"""The first thing on the page before a flight: released, ready or held; why; and what is old."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts
from flightlog.operations.desk import Desk
from flightlog.operations.next_flight import NextFlight
from flightlog.operations.positions import named
from flightlog.operations.upkeep import LATER, due
from flightlog.reports.ages import merge_line
from flightlog.reports.markup import escaped
from flightlog.reports.next_steps import (
    SECTIONS,
    Step,
    how_to_clear,
    in_short,
    state_sentence,
    steps,
)
from flightlog.reports.release_words import last_release_lines
from flightlog.team.copying import copy_line

SECTION = "before-section"
"""Where the state of the page keeps which section is open."""


def show(desk: Desk, now: NextFlight) -> None:
    """Draw the state, the reasons with what clears them, the last release, and the ages."""
    parts.state(now.word, state_sentence(now))
    for step in steps(now.reasons):
        _step(step)
    for line in last_release_lines(desk, now.last):
        parts.note(line)


def _step(step: Step) -> None:
    """Draw the reasons that are cleared in one way, and the button that leads to where."""
    rows = []
    for reason in step.reasons:
        clear = how_to_clear(reason, step)
        then = f'<div class="bf-clear">{escaped(clear)}</div>' if clear else ""
        rows.append(f'<div class="bf-reason">{escaped(in_short(reason))}{then}</div>')
    title = f"<strong>{escaped(step.title)}</strong>"
    with st.container(key=f"before-step-{step.word}", gap=None):
        if step.section:
            left, right = st.columns([11, 5], vertical_alignment="center", gap="small")
            with left:
                parts.html(title)
            right.button(
                f"{SECTIONS[step.section]} →",
                key=f"before-go-{step.word}",
                on_click=_go,
                args=(step.section,),
                width="stretch",
            )
        else:
            parts.html(title)
        parts.html(*rows)


def _go(section: str) -> None:
    """Open a section, as pressed at a reason."""
    st.session_state[SECTION] = section


def ages(desk: Desk, now: NextFlight) -> None:
    """Draw how old merge and second copy are, and what is due."""
    parts.heading("Copies, and what is due")
    parts.note(merge_line(desk))
    parts.note(copy_line(desk.ledger))
    every = due(desk, now.plan.aircraft, now.plan.pack)
    near = [item for item in every if item.state != LATER]
    later = [item for item in every if item.state == LATER]
    if near:
        parts.table(
            ["state", "what", "left"],
            [(i.state, f"{i.thing} {i.id}: {i.title}", i.details) for i in near],
        )
    else:
        parts.note("Nothing is due, and nothing soon." if every else "No file names an inspection.")
    if later:
        with st.expander(f"{len(later)} due later", key="before-due-later"):
            parts.table(
                ["what", "left"], [(f"{i.thing} {i.id}: {i.title}", i.details) for i in later]
            )


def conditions(now: NextFlight) -> None:
    """Draw all conditions with what each rests on."""
    with st.expander("All conditions, and what each rests on", key="before-conditions"):
        parts.table(
            ["condition", "", "found", "rests on"],
            [
                (
                    one.name,
                    "holds" if one.holds else "HELD",
                    one.says,
                    ", ".join(map(named, one.rests_on)),
                )
                for one in now.found
            ],
        )
