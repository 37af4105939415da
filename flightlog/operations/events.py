"""What can happen to an aircraft, a pack or a component between two flights.

An event reopens the checks that name it. One that *grounds* also restricts its subject: it voids
the fitness statement and every release, until a list of its own was worked through and two
persons return the subject to service.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class EventKind:
    """A kind of event.

    Attributes
    ----------
    word : str
        As entries and check lists name it.
    label : str
        In words.
    grounds : bool
        Whether it restricts what it happened to.
    list : str
        Id of the check list that has to be worked through after it; empty where none has.
    """

    word: str
    label: str
    grounds: bool = False
    list: str = ""


FLIGHT = "flight"
"""A sortie; every sortie of the record is one, without an entry of its own."""
BATTERY_CHANGE = "battery-change"
PARAMETER_CHANGE = "parameter-change"
FIRMWARE_CHANGE = "firmware-change"
CONFIGURATION_CHANGE = "configuration-change"
HARD_LANDING = "hard-landing"
ATTEMPT = "attempt"
SURFACE_SENSE = "surface-sense"
SURFACE_PLAY = "surface-play"
VIBRATION = "vibration"
PACK_LIMIT = "pack-limit"
STRUCTURE_CHANGED = "structure-changed"

EVENTS: dict[str, EventKind] = {
    kind.word: kind
    for kind in (
        EventKind(FLIGHT, "a flight"),
        EventKind(ATTEMPT, "a roll that was given up"),
        EventKind(BATTERY_CHANGE, "the pack was changed or plugged anew"),
        EventKind("payload-change", "the payload was changed"),
        EventKind(CONFIGURATION_CHANGE, "another configuration"),
        EventKind(FIRMWARE_CHANGE, "other firmware"),
        EventKind(PARAMETER_CHANGE, "other parameters"),
        EventKind("component-change", "a component was fitted or removed"),
        EventKind("repair", "work was done on the aircraft"),
        EventKind("transport", "the aircraft was moved by road", list="after-transport"),
        EventKind("assembly", "the aircraft was put together", list="after-transport"),
        EventKind("rain", "the aircraft got wet"),
        EventKind("storage", "it was not used for 60 days or more"),
        EventKind(HARD_LANDING, "a hard landing", grounds=True, list="after-hard-landing"),
        EventKind(
            "propeller-strike",
            "the propeller touched something",
            grounds=True,
            list="after-hard-landing",
        ),
        EventKind(
            "contact",
            "it touched a bird, a branch or the ground",
            grounds=True,
            list="after-hard-landing",
        ),
        EventKind(
            "overspeed", "faster than the aircraft's limit", grounds=True, list="after-hard-landing"
        ),
        EventKind(
            "over-current",
            "more current than the pack's limit",
            grounds=True,
            list="after-hard-landing",
        ),
        EventKind(
            SURFACE_SENSE,
            "a surface went the wrong way",
            grounds=True,
            list="after-surface-fault",
        ),
        EventKind(SURFACE_PLAY, "play or a slow answer of a surface"),
        EventKind(VIBRATION, "more vibration of propeller or motor than normal"),
        EventKind(PACK_LIMIT, "a pack beyond a limit of its own", grounds=True),
        EventKind(
            STRUCTURE_CHANGED,
            "a structure that is not what it was, by a ground test",
            grounds=True,
            list="after-hard-landing",
        ),
    )
}
"""Word -> kind."""
