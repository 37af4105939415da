"""What is declared before a flight, and the release itself: two persons sign, or it is held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import cast

import streamlit as st

from flightlog.dashboard import hands, parts
from flightlog.dashboard.before_hands import who_signs
from flightlog.figures import FIGURES
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.expected import draft_expectation
from flightlog.operations.fitness import fitness_state
from flightlog.operations.limits_before import ENGINEER, LIMITS, expected_figures, figure_of
from flightlog.operations.next_flight import READY, RELEASED, NextFlight
from flightlog.operations.plan import Plan
from flightlog.operations.positions import named
from flightlog.operations.release import MOST_LANDINGS, draft_hold, draft_release, draft_withdrawal
from flightlog.operations.release_worth import PILOT, RELEASERS
from flightlog.reports.next_steps import in_short
from flightlog.reports.release_words import signature_lines

EXPECTED, RELEASE, TAKEN_BACK = "before-expect", "before-release", "before-take-back"
HOLD = "before-held"
"""Keys of what is signed here, and of what the laptop notes by itself."""


_DRAFT = "before-release-draft"
_READ_WITHIN = timedelta(minutes=10)
"""How long a release on the screen can be read and signed before it is drawn up anew."""


@dataclass(frozen=True, slots=True)
class _Kept:
    """A draft of a release that is on the screen: what it is about, and when it was made."""

    about: tuple[object, ...]
    made: datetime
    draft: Draft


def show(desk: Desk, now: NextFlight) -> None:
    """Draw the section."""
    left, right = st.columns([4, 5], gap="large")
    with left:
        _fitness(desk, now.plan)
        _expected(desk, now)
    with right:
        _release(desk, now)
        if now.is_open and now.last.release is not None:
            _withdraw(desk, now.last.release)
        parts.cautions()


# --- declarations


def _fitness(desk: Desk, plan: Plan) -> None:
    parts.heading("Fitness statement")
    state = fitness_state(desk, plan.aircraft)
    parts.html(parts.mark(state.word))
    parts.note(state.says)
    if not state.holds:
        parts.nothing(
            "It is stated at the command line.",
            "After work or inspection, by an inspector who did not do the work:",
            f"flightlog fitness sign --aircraft {plan.aircraft} --work TEXT --until DAYS --by WHO",
        )


def _expected(desk: Desk, now: NextFlight) -> None:
    """Draw what is expected, and a form for the figures that a limit asks about."""
    parts.heading("What is expected of this flight")
    figures = expected_figures(desk, now.plan)
    if not figures:
        parts.note("No limit asks for more than load sheet and pack file say.")
        return
    asked = [c for c in now.found if c.name == LIMITS and figure_of(c) in figures]
    for one in asked:
        (parts.note if one.holds else parts.warn)(in_short(one))
    said = all(one.holds for one in asked)
    with st.expander("Say it anew" if said else "Say it", not said, key="before-expect-open"):
        _expect(desk, now.plan, figures)


def _expect(desk: Desk, plan: Plan, figures: Sequence[str]) -> None:
    figure = st.selectbox(
        "Figure",
        figures,
        format_func=lambda id_: parts.option(f"{FIGURES[id_].label}, {FIGURES[id_].unit}"),
        key="before-expect-figure",
    )
    unit = parts.label(FIGURES[figure].unit)
    value, std = st.columns(2)
    expected = value.text_input(f"Expected, {unit}", key="before-expect-value", autocomplete="off")
    spread = std.text_input(f"± standard, {unit}", key="before-expect-std", autocomplete="off")
    method = st.text_input("How it was found", key="before-expect-method")
    by = who_signs(desk, (ENGINEER,), "Computed by", "before-expect-by")
    if by is None or not (expected and spread and method):
        parts.note("Fill in all three; then it is shown for signing.")
        return
    hands.signed(
        desk,
        lambda: draft_expectation(desk, plan.aircraft, figure, expected, spread, method, by),
        key=EXPECTED,
        button="Sign what is expected",
    )


def forget() -> None:
    """Empty the form: what is expected is signed, and must not be signed again by a slip."""
    for name in ("value", "std", "method"):
        st.session_state.pop(f"before-expect-{name}", None)


# --- the release


def _release(desk: Desk, now: NextFlight) -> None:
    parts.heading("Release for one flight")
    parts.html(parts.mark(now.word))
    if now.word == RELEASED and now.last.release is not None:
        parts.lines(signature_lines(desk, now.last.release))
        parts.note(
            "Spent at lift-off. Calls after it are spoken, and written down after landing: "
            f"'flightlog release calls {named(now.last.release)} --answers FILE --by WHO'."
        )
    elif now.word == READY:
        _sign(desk, now.plan)
    else:
        parts.note("Held: it can be signed when every reason at the left is cleared.")
        if st.button("Write down that it is held, and why", key="before-hold"):
            held = [one for one in now.reasons if not one.holds]
            st.session_state[f"{HOLD}-added"] = desk.append(
                draft_hold(now.plan.aircraft, held)
            ).hash
            st.rerun()


def _sign(desk: Desk, chosen: Plan) -> None:
    first, second = st.columns([2, 3])
    landings = first.number_input(
        "Landings declared", min_value=1, max_value=MOST_LANDINGS, value=1, key="before-landings"
    )
    purpose = second.text_input("What the flight is for, if any", key="before-purpose")
    first, second = st.columns(2)
    with first:
        accepts = who_signs(desk, (PILOT,), "The pilot who accepts", "before-accepts")
    if accepts is None:
        return
    with second:
        releases = who_signs(
            desk, RELEASERS, "Another who releases", "before-releases", but=(accepts,)
        )
    if releases is None:
        return
    plan = Plan(
        chosen.aircraft, chosen.pack, chosen.rules, chosen.site, int(landings), purpose.strip()
    )
    hands.signed(
        desk,
        lambda: _shown_draft(desk, plan, accepts, releases),
        key=RELEASE,
        button="Sign the release, both",
    )


def _shown_draft(desk: Desk, plan: Plan, accepts: str, releases: str) -> Draft:
    """Give the draft that is on the screen, as long as nothing but the clock went on.

    A release says when it ends and how old the weather is: made anew each second, what is signed
    would never be what was read. Whether everything still holds was asked anew before this.
    """
    about = (plan, accepts, releases, tuple(tip.hash for tip in desk.ledger.order.tips()))
    kept = cast(_Kept | None, st.session_state.get(_DRAFT))
    now = desk.ledger.now  # which may have been set back
    old = kept is None or not timedelta() <= now - kept.made <= _READ_WITHIN
    if kept is None or old or kept.about != about:
        draft = draft_release(desk, plan, accepts, releases)
        kept = st.session_state[_DRAFT] = _Kept(about, now, draft)
    return kept.draft


def _withdraw(desk: Desk, release: Entry) -> None:
    with st.expander(f"Take release {parts.label(named(release))} back", key="before-withdraw"):
        reason = st.text_input("Why", key="before-withdraw-reason", autocomplete="off")
        by = who_signs(desk, (), "Taken back by", "before-withdraw-by")
        if by is None or not reason.strip():
            parts.note("Anybody of the crew may. Say why; then it is shown for signing.")
            return
        hands.signed(
            desk,
            lambda: draft_withdrawal(desk, release, reason.strip(), by),
            key=TAKEN_BACK,
            button="Take it back",
        )
