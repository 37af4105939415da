"""Debriefs that are made and not entered yet, so that an interruption costs none of them."""

from __future__ import annotations

import json
import secrets
from contextlib import suppress
from pathlib import Path
from typing import Any

from flightlog.errors import FlightlogError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Attachment

SCHEMA = "flightlog.made-debrief/1"
_LARGEST = 1_000_000


class MadeDebriefs:
    """Notes of debriefs, each by the hash of all that it follows from.

    Parameters
    ----------
    folder : Path
        Of this laptop alone: who can write there says what is entered.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder / "debriefs"

    def find(self, key: str, store: AttachmentStore) -> Attachment | None:
        """Give a debrief that was made, None where there is none or its file is not whole."""
        body = self._body(key)
        try:
            kept = Attachment(body["sha256"], body["size"], body["name"])
            return kept if store.problem(kept) is None else None
        except (KeyError, TypeError, FlightlogError):
            return None

    def note(self, key: str, kept: Attachment) -> None:
        """Note a debrief that is kept; a courtesy that may fail."""
        body = {
            "schema": SCHEMA,
            "sha256": kept.sha256,
            "size": kept.size,
            "name": kept.name,
        }
        part = self._folder / f"{secrets.token_hex(8)}.part"
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            part.write_text(json.dumps(body), encoding="utf-8")
            part.replace(self._folder / f"{key}.json")
        except OSError:
            with suppress(OSError):
                part.unlink(missing_ok=True)

    def forget(self, key: str) -> None:
        """Forget a debrief that is in the record now."""
        with suppress(OSError):
            (self._folder / f"{key}.json").unlink(missing_ok=True)

    def _body(self, key: str) -> dict[str, Any]:
        path = self._folder / f"{key}.json"
        try:
            if path.stat().st_size > _LARGEST:
                return {}
            body = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return {}
        return body if isinstance(body, dict) and body.get("schema") == SCHEMA else {}
