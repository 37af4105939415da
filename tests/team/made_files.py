"""A made-up crew that enters versions of a file, on two laptops, and the record read for it."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from flightlog.logbook.attachments import AttachmentStore, Files
from flightlog.logbook.entry import Attachment, Entry
from flightlog.team.files import Versions
from flightlog.team.ledger import Ledger
from tests.logbook.crew import Crew, founded
from tests.logbook.made import NOON

LAPTOP, TABLET = "laptop", "tablet"
ONE = (("mechanic", "entered"),)
TWO = (("mechanic", "entered"), ("pilot", "agreed"))


def toml(table: Mapping[str, Any], kind: str = "aircraft") -> bytes:
    """Write a table as the file of a team."""
    lines = [f'schema = "flightlog.{kind}/1"']
    lines += [f"{json.dumps(key)} = {_inline(value)}" for key, value in table.items()]
    return ("\n".join(lines) + "\n").encode()


def _inline(value: Any) -> str:
    if isinstance(value, Mapping):
        return f"{{{', '.join(f'{json.dumps(k)} = {_inline(v)}' for k, v in value.items())}}}"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(_inline, value))}]"
    if isinstance(value, (bool, str)):
        return json.dumps(value)
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


class _QuickFiles(Files):
    """A disk that is not waited for."""

    def flush(self, file: Any) -> None:
        file.flush()

    def flush_folder(self, folder: Path) -> None:
        pass


class _Book:
    """What a ledger asks of a logbook."""

    def __init__(self, crew: Crew) -> None:
        self.order, self.people, self.standing = crew.order, crew.people, crew.standing

    def now(self) -> datetime:
        return NOON


class Shelf:
    """Versions of one file, entered by a crew; the bytes lie in a store."""

    def __init__(self, root: Path, kind: str = "aircraft", id_: str = "pannier") -> None:
        self.crew = founded(LAPTOP)
        self.crew.enrol("safety")
        self.store = AttachmentStore(root / "attachments", _QuickFiles())
        self.kind, self.id = kind, id_

    def enter(
        self,
        table: Mapping[str, Any] | bytes,
        signers: Sequence[tuple[str, str]] = ONE,
        *,
        before: Entry | str | None = None,
        flag: bool | None = None,
        device: str = LAPTOP,
        attached: bool = True,
        **more: Any,
    ) -> Entry:
        """Enter a version; it says that a limit changed where ``before`` is given."""
        data = table if isinstance(table, bytes) else toml({"id": self.id, **table}, self.kind)
        sha256 = hashlib.sha256(data).hexdigest()
        content: dict[str, Any] = {
            "kind": self.kind,
            "id": self.id,
            "sha256": sha256,
            "limit_changed": before is not None if flag is None else flag,
            "changes": [],
        }
        if before is not None:
            is_text = isinstance(before, str)
            content["before"] = before if is_text else before.body.content["sha256"]
        file = self.put(data)
        return self.crew.add(
            device,
            "file-version",
            content,
            signers=[(name, meaning, "") for name, meaning in signers],
            attachments=[file] if attached else [],
            **more,
        )

    def put(self, data: bytes) -> Attachment:
        return self.store.put(io.BytesIO(data), f"{self.id}.toml")

    def path(self, entry: Entry) -> Path:
        return self.store.path(entry.body.content["sha256"])

    def versions(self, entries: Iterable[Entry] | None = None) -> Versions:
        """Read the record, or a part of it that holds all that its entries have seen."""
        crew = self.crew if entries is None else Crew(entries=list(entries))
        return Versions.of(Ledger(_Book(crew)), self.store)  # type: ignore[arg-type]

    def in_force(self) -> Entry | None:
        found = self.versions().in_force(self.kind, self.id)
        return found.entry if found is not None else None

    def why(self, entry: Entry) -> str:
        """Why an entry brings no version into force."""
        return dict(self.versions().refused).get(entry, "")
