"""What a ground test is of: an aircraft, a pack or a component by its id and serial."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from flightlog.errors import UsageError
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.ground_test import GroundTest
from flightlog.team.ledger import AIRCRAFT, PACK, THINGS


@dataclass(frozen=True, slots=True)
class GroundSubject:
    """What was tested.

    Attributes
    ----------
    thing, id : str
        "aircraft", "pack" or "component", and which.
    serial : str
        By the file in force when it was entered; empty where that names none.
    part, configuration : str
        What of it, and how it stood; empty where nobody said.
    """

    thing: str
    id: str
    serial: str = ""
    part: str = ""
    configuration: str = ""

    @property
    def text(self) -> str:
        """It in words: "aircraft pannier (PN-01), left wing tip, no pack"."""
        serial = f" ({self.serial})" if self.serial else ""
        told = (f"{self.thing} {self.id}{serial}", self.part, self.configuration)
        return ", ".join(filter(None, told))


def said_of(entry: Entry) -> GroundSubject:
    """Give what an entry says that was tested."""
    said = entry.body.content
    thing = next((thing for thing in THINGS if thing in said), "")
    told = (str(said.get(key, "")) for key in ("serial", "part", "configuration"))
    return GroundSubject(thing, str(said.get(thing, "")), *told)


def subject_of(
    desk: Desk, test: GroundTest, told: Mapping[str, str] | None = None
) -> GroundSubject:
    """Give what a test is of: as its bench file says, or as a person does.

    Parameters
    ----------
    desk : Desk
        The record, for the serial.
    test : GroundTest
        As it was reduced.
    told : mapping of str to str, optional
        "aircraft", "pack" or "component" -> id, by a person; what is empty was not said.

    Raises
    ------
    UsageError
        If nobody says it, two say different things, a test of this kind is of no such thing, or
        the record holds no file of it.
    """
    bench = test.bench
    stated = bench.subject.named if bench is not None else ("", "")
    given = [(thing, id_) for thing, id_ in (told or {}).items() if id_]
    if len(given) > 1:
        raise UsageError(
            f"{' and '.join(f'--{thing}' for thing, _ in given)} are two things",
            fix="Name the one thing that was tested.",
        )
    meant = given[0] if given else stated
    if not meant[0]:
        options = " or ".join(f"--{thing}" for thing in test.kind.things)
        raise UsageError(
            "nobody says what was tested",
            where="[subject]",
            fix=f"Name it in the bench file, or give {options}.",
        )
    if given and stated[0] and stated != meant:
        raise UsageError(
            f"the bench file says {stated[0]} {stated[1]}",
            where=f"--{meant[0]} {meant[1][:60]}",
            fix="Correct one of them.",
        )
    thing, id_ = meant
    if thing not in test.kind.things:
        raise UsageError(
            f"is a test of {' or '.join(test.kind.things)}, not of a {thing}",
            where=test.kind.label,
            fix=f"Name {' or '.join(test.kind.things)}, and with part what of it.",
        )
    part, configuration = (
        (bench.subject.part, bench.subject.configuration) if bench is not None else ("", "")
    )
    return GroundSubject(thing, id_, serial_of(desk, thing, id_), part[:200], configuration[:200])


def serial_of(desk: Desk, thing: str, id_: str) -> str:
    """Give the serial of a thing by its file in force; empty where it names none.

    Raises
    ------
    UsageError
        If the record holds no file of it.
    """
    if thing == AIRCRAFT:
        return desk.aircraft(id_).serial or ""
    return (desk.pack(id_).serial if thing == PACK else desk.component(id_).serial) or ""
