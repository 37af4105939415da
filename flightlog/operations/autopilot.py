"""Which aircraft a log is of: what the log says of itself, against the aircraft's own files."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flightlog.errors import UsageError
from flightlog.inputs import load_aircraft
from flightlog.operations.desk import Desk
from flightlog.recording import OWN_ID

if TYPE_CHECKING:
    from flightlog.recording import Recording

OTHER_CRAFT = {
    "multicopters": ("arducopter", "apm:copter"),
    "ground vehicles": ("ardurover", "apm:rover"),
    "boats under water": ("ardusub",),
}
"""What open autopilot firmware calls itself where it is built for what has no wing."""
_COPTERS = {"MOT_SPIN_ARM", "MOT_SPIN_ARMED", "PILOT_VELZ_MAX", "PILOT_SPEED_UP"}
"""Parameters of such firmware for multicopters, which that for aeroplanes has under other names,
also for those that take off vertically."""

_MOST_TEXTS = 5000
_LONGEST = 200
_FEWEST_SIGNS = 3


@dataclass(frozen=True, slots=True)
class Whose:
    """Of which aircraft a log is.

    Attributes
    ----------
    aircraft : str
        Id of its file; empty where it is not known.
    autopilot : str
        What the log says of itself that names an aircraft; empty where nothing does.
    says : str
        How that was found, or why not. A clause.
    """

    aircraft: str
    autopilot: str
    says: str


def whose(desk: Desk, recording: Recording, given: str = "") -> Whose:
    """Find the aircraft of a log.

    Parameters
    ----------
    desk : Desk
        The aircraft files in force.
    recording : Recording
        What the log says.
    given : str
        Id that a person named; stands above what the log says.

    Raises
    ------
    UsageError
        If ``given`` is no aircraft of the record.
    """
    return whose_by(desk, said_in(recording, wanted_ids(desk)), given)


def whose_by(desk: Desk, found: Sequence[tuple[str, str]], given: str = "") -> Whose:
    """Find the aircraft of a log by what was found in it; see `whose` and `said_in`."""
    if given:
        desk.version("aircraft", given)
        text = next((text for id_, text in found if id_ == given), found[0][1] if found else "")
        return Whose(given, text, "named by --aircraft")
    ids = list(dict.fromkeys(id_ for id_, _ in found))
    if len(ids) == 1:
        return Whose(ids[0], found[0][1], f"the log says of itself {found[0][1]!r}")
    if ids:
        return Whose("", found[0][1], f"what the log says fits {' and '.join(ids)}")
    return Whose("", "", "nothing in the log names an aircraft of the record")


def other_craft(recording: Recording) -> str:
    """Give what a log's firmware is built for, where that is no aeroplane; "" otherwise.

    Its name tells, else names of its parameters.
    """
    said = recording.receipt.firmware.casefold()
    for kind, names in OTHER_CRAFT.items():
        if any(name in said for name in names):
            return kind
    table = recording.get("parameters")
    has = set(table["name"]) if not said and table is not None and "name" in table else set()
    return "multicopters" if has & _COPTERS else ""


def asked(desk: Desk, log: str, found: Whose) -> UsageError:
    """Make the error that asks for the aircraft, with the reason and the choice."""
    ids = desk.versions.ids("aircraft")
    if not ids:
        fix = "Enter the file of the aircraft first: 'flightlog team enter FILE'."
        return UsageError("the record holds no aircraft file", where=log, fix=fix)
    told = [f"{id_} ({_autopilot(desk, id_) or 'no autopilot_id'})" for id_ in ids]
    return UsageError(
        f"of which aircraft it is can't be told: {found.says}",
        where=log,
        fix=f"Nothing was entered. Give --aircraft ID, one of: {', '.join(told)}.",
    )


def wanted_ids(desk: Desk) -> dict[str, str]:
    """Give each aircraft in force that names its autopilot, with that name."""
    return {id_: text for id_ in desk.versions.ids("aircraft") if (text := _autopilot(desk, id_))}


def said_in(recording: Recording, wanted: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Give each aircraft whose ``autopilot_id`` a log says of itself, with what it says.

    Parameters
    ----------
    recording : Recording
        What the log says.
    wanted : mapping of str to str
        From `wanted_ids`.
    """
    if not wanted:
        return ()
    found = []
    texts = list(dict.fromkeys(_texts(recording)))
    for id_, text in wanted.items():
        said = next((t for t in texts if _says(t, text)), "")
        if said:
            found.append((id_, said[:_LONGEST]))
    # An id that is part of another one, as "PN-1" of "PN-1 spare", is not what the log says.
    return tuple(one for one in found if not _is_part(one, found, wanted))


def _autopilot(desk: Desk, id_: str) -> str:
    version = desk.versions.in_force("aircraft", id_)
    text = desk.loaded(version, load_aircraft).autopilot_id.strip() if version else ""
    return text if len(text) >= _FEWEST_SIGNS else ""


def _texts(recording: Recording) -> Iterator[str]:
    """Give what a log says in words: of its firmware, of its processor, in its messages."""
    receipt = recording.receipt
    if receipt.firmware:
        yield receipt.firmware
    yield from (n.removeprefix(OWN_ID) for n in receipt.notes if n.startswith(OWN_ID))
    messages = recording.get("messages")
    if messages is not None and "text" in messages:
        yield from (str(text) for text in messages["text"].head(_MOST_TEXTS))


def _says(text: str, wanted: str) -> bool:
    """Whether a text holds an id as words of its own."""
    pattern = rf"(?<![\w-]){re.escape(wanted)}(?![\w-])"
    return re.search(pattern, text, re.IGNORECASE) is not None


def _is_part(
    one: tuple[str, str], found: Iterable[tuple[str, str]], wanted: Mapping[str, str]
) -> bool:
    id_, text = one
    return any(
        other != id_
        and said == text
        and wanted[id_] != wanted[other]
        and _says(wanted[other], wanted[id_])
        for other, said in found
    )
