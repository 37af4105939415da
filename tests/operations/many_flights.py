"""A record of very many flights, as imports on one laptop leave it, made without reading a log.

Recordings and sorties are entries that the device alone signs, each log with its stored debrief.
They are written straight into the store: asking the rules for each of them would take longer than
all that is to be measured.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flightlog.figures import FIGURES
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import (
    CITES,
    Attachment,
    Body,
    ClaimedTime,
    Entry,
    Relation,
    sorted_seen,
    write_body,
    write_utc,
)
from flightlog.logbook.layout import ATTACHMENTS, RECORD
from flightlog.logbook.order import Order
from flightlog.logbook.signatures import Purpose, sign
from flightlog.logbook.store import Store
from flightlog.team.folder import TeamFolder
from tests.logbook.made import key_of, public_of
from tests.operations.logs import stored_debrief

FIRST = datetime(2027, 4, 1, 9, tzinfo=UTC)
DEVICE = "laptop of many imports"
WITHHELD = "flight.max_airspeed"
WHY = "the log has no airspeed data"
PACKS = ("pack-a", "pack-b")


def value_of(count: int, place: int) -> float:
    """Give a figure of a flight in closed form: by the number of both."""
    return 1.0 + place + count / 7


def figure_ids() -> list[str]:
    return [id_ for id_ in FIGURES if "NAME" not in id_ and id_ != WITHHELD]


def told(id_: str, value: float) -> dict[str, Any]:
    method = "made up, in as many words as a debrief has for the way in which a number was had"
    body = {"value": value, "low": 0.9 * value, "high": 1.1 * value}
    return body | {"unit": FIGURES[id_].unit, "method": method, "sources": ["gps", "imu"]}


@dataclass
class ManyFlights:
    """Adds recordings with a flight each to the record in a team folder."""

    folder: TeamFolder
    figures: Sequence[str] = field(default_factory=figure_ids)

    def __post_init__(self) -> None:
        with Store(self.folder.logbook / RECORD, read_only=True) as store:
            entries = [row.entry() for row in store.rows()]
        self._team = entries[0].body.team
        own = [e for e in entries if e.body.device == public_of(DEVICE)]
        self._last = own[-1] if own else None
        self._seen = () if own else Order(entries).tips()
        self._store = AttachmentStore(self.folder.logbook / ATTACHMENTS)
        self._template = stored_debrief(FIRST, file="made.bin", each={"withheld": {WITHHELD: WHY}})

    def fly(self, counts: Sequence[int], *, change: Callable[[dict[str, Any]], None] | None = None,
            analyses: int = 4) -> list[Entry]:  # fmt: skip
        """Import so many logs: the nth was flown on the nth day. Give their recordings.

        ``change`` is done to each debrief before it is stored, as by other analyses.
        """
        new, recordings = self._begin(), []
        for count in counts:
            body = self._debrief(count)
            if change is not None:
                change(body)
            recording = self._add("recording", *self._recording(count, body, analyses))
            recordings.append(recording)
            new.append(recording)
            if change is None:
                cited = (Relation(CITES, recording.hash),)
                new.append(self._add("sortie", self._sortie(count), (), cited))
        with Store(self.folder.logbook / RECORD) as store, store.writing() as writing:
            for entry in new:
                writing.add(entry)
        return recordings

    def _begin(self) -> list[Entry]:
        if self._last is not None:
            return []
        return [self._add("chain-start", {"reason": "first write on this device"})]

    def _debrief(self, count: int) -> dict[str, Any]:
        at = FIRST + timedelta(days=count)
        body = deepcopy(self._template)
        body["log"]["file"] = f"flight-{count}.bin"
        body["log"]["sha256"] = hashlib.sha256(b"log %d" % count).hexdigest()
        body["log"]["utc"]["offset_s"] = at.timestamp() - 100.0
        figures = {id_: told(id_, value_of(count, n)) for n, id_ in enumerate(self.figures)}
        body["sorties"][0]["figures"] = figures
        return body

    def _keep(self, data: bytes, name: str) -> Attachment:
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._store.path(sha256)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        return Attachment(sha256, len(data), name)

    def _recording(
        self, count: int, body: dict[str, Any], analyses: int
    ) -> tuple[dict[str, Any], tuple[Attachment, ...]]:
        file = f"flight-{count}.bin"
        debrief = json.dumps(body, indent=2).encode("utf-8")
        files = (self._keep(b"log %d" % count, file), self._keep(debrief, f"{file}.debrief.json"))
        content = {
            "file": file,
            "sha256": files[0].sha256,
            "format": "dataflash",
            "analyses": analyses,
            "sorties": 1,
            "attempts": 0,
            "aircraft": "pannier",
            "start": write_utc(FIRST + timedelta(days=count)),
        }
        return content, files

    def _sortie(self, count: int) -> dict[str, Any]:
        at = FIRST + timedelta(days=count)
        return {
            "aircraft": "pannier",
            "pack": PACKS[count % 2],
            "number": 1,
            "source": "log",
            "flown": quantity("240.0", "s"),
            "landings": 1,
            "attempts": 0,
            "start": write_utc(at),
            "liftoff": write_utc(at + timedelta(seconds=4)),
            "touchdown": write_utc(at + timedelta(seconds=244)),
            "paired": "no release is near",
        }

    def _add(
        self,
        kind: str,
        content: dict[str, Any],
        attachments: Sequence[Attachment] = (),
        relations: Sequence[Relation] = (),
    ) -> Entry:
        before = self._last
        number = before.body.number + 1 if before is not None else 1
        body = Body(
            team=self._team,
            device=public_of(DEVICE),
            number=number,
            previous=before.hash if before is not None else None,
            seen=sorted_seen([e.hash for e in self._seen]),
            time=ClaimedTime(FIRST + timedelta(days=2000, seconds=number), "laptop clock"),
            kind=kind,
            content=content,
            signers=(),
            attachments=tuple(attachments),
            relations=tuple(relations),
            effect=None,
            occurred=None,
        )
        data = write_body(body)
        self._seen = ()
        self._last = Entry(data, sign(key_of(DEVICE), Purpose.DEVICE, data), ())
        return self._last


def many_flights(root: Path, flights: int) -> TeamFolder:
    """Make the farm's record with its files, and so many flights in it."""
    from tests.operations.made import HillFarm

    farm = HillFarm(root)
    farm.enter_files()
    farm.close()
    ManyFlights(farm.folder).fly(range(1, flights + 1))
    return farm.folder
