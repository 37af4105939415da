"""Why an aircraft is held, grouped by what is to be done about it, in the order of a morning."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from flightlog.figures import FIGURES
from flightlog.operations.limits_before import DECLARED, LIMITS, figure_of
from flightlog.operations.next_flight import HELD, READY, RELEASED, NextFlight
from flightlog.operations.plan import Condition
from flightlog.operations.release_conditions import NO_OPEN_RELEASE
from flightlog.reports.release_words import plan_text

WEATHER, LOAD, LISTS, RELEASE = "weather", "load", "lists", "release"
SECTIONS = {WEATHER: "Weather", LOAD: "Load", LISTS: "Lists", RELEASE: "Release"}
"""Section of the page before a flight -> its title, in the order in which they are worked."""
HOLDS = "holds"

_GROUPS: dict[str, tuple[str, str]] = {
    "files": ("Put files and record in order", ""),
    "care": ("Mend, inspect, charge", ""),
    "fitness": ("State the aircraft fit", RELEASE),
    WEATHER: ("Measure the weather", WEATHER),
    LOAD: ("Weigh and load", LOAD),
    LISTS: ("Walk the lists", LISTS),
    "expect": ("Say what is expected", RELEASE),
    RELEASE: ("Settle the release", RELEASE),
}
"""Word of a group -> what is to be done, and the section where it is done."""
_OF = {
    **dict.fromkeys(("files", "parameters", "record"), "files"),
    **dict.fromkeys(("defects", "deferrals", "service", "inspections", "life", "pack"), "care"),
    "fitness": "fitness",
    "weather": WEATHER,
    **dict.fromkeys(("weighing", "load"), LOAD),
    **dict.fromkeys(("daily-list", "flight-list", "event-lists", "acceptances"), LISTS),
    **dict.fromkeys((NO_OPEN_RELEASE, "release"), RELEASE),
}
"""Name of a condition -> word of its group; those of limits are told by their figure."""
_FEWEST_WORDS = 3
"""Less than this says no more than the title of the group."""
_TO_DO = " items to do: "
_COMMAND = re.compile(r"(?: with|:)? ?'flightlog [^']*'")


@dataclass(frozen=True, slots=True)
class Step:
    """Reasons that are cleared in one way.

    Attributes
    ----------
    word : str
        A word for the group.
    title : str
        What is to be done.
    section : str
        The section of the page where it is done; empty where it is done elsewhere.
    reasons : tuple of Condition
        What does not hold.
    """

    word: str
    title: str
    section: str
    reasons: tuple[Condition, ...]


def steps(reasons: Sequence[Condition]) -> tuple[Step, ...]:
    """Group the reasons why an aircraft is held by what is to be done about them."""
    by_group: dict[str, list[Condition]] = {word: [] for word in _GROUPS}
    for reason in reasons:
        by_group[_group_of(reason)].append(reason)
    return tuple(
        Step(word, *_GROUPS[word], tuple(group)) for word, group in by_group.items() if group
    )


def _group_of(condition: Condition) -> str:
    if condition.name == LIMITS:
        return LOAD if figure_of(condition) in DECLARED else "expect"
    return _OF.get(condition.name, "files")


def state_sentence(now: NextFlight) -> str:
    """Say the state in a sentence: for what, until when, or how much is to be done."""
    if now.word == RELEASED and now.last.until is not None and now.last.plan is not None:
        until = f"{now.last.until:%Y-%m-%d %H:%M} UTC"
        return f"For one flight, until {until}: {plan_text(now.last.plan)}."
    if now.word == READY:
        return f"Everything holds, and nobody has signed yet: {plan_text(now.plan)}."
    count = len(now.reasons)
    return f"{count} {'reason' if count == 1 else 'reasons'}, and what clears each:"


def section_words(now: NextFlight) -> dict[str, str]:
    """Give each section with how it stands: "held" or "holds"; that of the release its own word."""
    held = {step.section for step in steps(now.reasons)}
    words = {section: HELD if section in held else HOLDS for section in SECTIONS}
    words[RELEASE] = now.word
    return words


def first_section(now: NextFlight) -> str:
    """Give the section to begin with: the first in which something is to be done."""
    words = section_words(now)
    return next((section for section in SECTIONS if words[section] == HELD), RELEASE)


def in_short(condition: Condition) -> str:
    """Say a reason without the items of a list, which the list itself shows, and without ids."""
    head, cut, _ = condition.says.partition(_TO_DO)
    if cut:
        return f"{head}{_TO_DO.rstrip(': ')}"
    kind = FIGURES.get(figure_of(condition)) if condition.name == LIMITS else None
    return condition.says.replace(kind.id, kind.label.lower(), 1) if kind else condition.says


def how_to_clear(condition: Condition, step: Step) -> str:
    """Say what clears a reason: whole, or without the command where the page itself does it."""
    if not step.section or step.word == "fitness":
        return condition.clear
    left = _COMMAND.sub("", condition.clear).strip(" .;:")
    return f"{left}." if len(left.split()) >= _FEWEST_WORDS else ""
