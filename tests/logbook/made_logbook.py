"""A logbook of 50 entries: two devices, persons' signatures, attachments, relations."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Sequence
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any

from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.canonical import quantity
from flightlog.logbook.check_report import Report
from flightlog.logbook.checking import check_rows
from flightlog.logbook.entry import Attachment, Entry, Occurred
from flightlog.logbook.layout import ATTACHMENTS, RECORD
from flightlog.logbook.store import Store
from tests.logbook.made import NOON, Maker, rows_of

PHOTO = b"made-up bytes of a photo of an aileron horn"
PHOTO_ATTACHMENT = Attachment(hashlib.sha256(PHOTO).hexdigest(), len(PHOTO), "horn.jpg")

_PILOT = ("pilot", "stated", "pilot")
_MECHANIC = ("mechanic", "performed", "mechanic")


@cache
def made_logbook(entries: int = 50) -> tuple[Entry, ...]:
    """Give the entries in the order received: each after all that it has seen."""
    maker = Maker()
    founding = maker.found("laptop")
    maker.add("tablet", "chain-start", {"reason": "first write here"}, seen=[founding])
    defect = maker.add(
        "laptop",
        "made-up-flaw",
        {"text": "Left aileron horn loose", "play": quantity("0.8", "mm")},
        signers=[("pilot", "reported", "pilot")],
        seen=[maker.last["tablet"]],
        effect=("restricts", "aircraft Pannier"),
        attachments=[PHOTO_ATTACHMENT],
    )
    repair = maker.add(
        "laptop",
        "repair",
        {"text": "Horn glued anew and screwed — dry after 24 h"},
        signers=[_MECHANIC],
        relations=[("cites", defect)],
        occurred=Occurred(NOON - timedelta(hours=2), 7_380, "No laptop on the field"),
    )
    maker.add(
        "tablet",
        "made-up-look",
        {"text": "Horn holds 40 N", "force": quantity("40.0", "N")},
        signers=[("pilot", "inspected", "")],
        seen=[repair],
        relations=[("inspects", repair), ("ends", defect)],
    )
    while len(maker.entries) < entries:
        _more(maker)
    return tuple(maker.entries)


def _more(maker: Maker) -> None:
    """Three entries: a remark, its correction on the other device, one of the device alone."""
    tablet, laptop = maker.last["tablet"], maker.last["laptop"]
    remark = maker.add(
        "laptop", "remark", {"text": "Battery 3 is warm"}, signers=[_PILOT], seen=[tablet]
    )
    maker.add(
        "tablet",
        "correction",
        {"text": "It was battery 4"},
        signers=[("mechanic", "stated", "")],
        seen=[remark],
        relations=[("corrects", remark)],
    )
    maker.add("tablet", "import", {"log": "r25.bin", "rows": 18_204}, seen=[])
    _ = laptop


def attachment_problem(attachment: Attachment) -> str | None:
    """An attachment store that holds the photo."""
    return None if attachment == PHOTO_ATTACHMENT else "the file is missing"


def checked(entries: Sequence[Entry], **options: Any) -> Report:
    """Check entries as if they had been received in this order."""
    return check_rows(rows_of(entries), attachment_problem=attachment_problem, **options)


def stored(folder: Path, entries: Sequence[Entry] | None = None) -> Path:
    """Make a logbook's folder with entries and the photo."""
    folder.mkdir()
    source = folder / "horn.jpg"
    source.write_bytes(PHOTO)
    AttachmentStore(folder / ATTACHMENTS).put(source)
    source.unlink()
    with Store.create(folder / RECORD) as store, store.writing() as writing:
        for entry in made_logbook() if entries is None else entries:
            writing.add(entry)
    return folder


def change_file(folder: Path, *statements: str) -> None:
    """Change a record behind the back of its triggers, and put them back."""
    connection = sqlite3.connect(folder / RECORD)
    triggers = connection.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall()
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    for statement in (*statements, *(sql for _, sql in triggers)):
        connection.execute(statement)
    connection.commit()
    connection.close()


def without(entries: Sequence[Entry], *places: int) -> list[Entry]:
    """Give entries without those at some places."""
    return [entry for place, entry in enumerate(entries) if place not in places]
