"""Debriefs that are made and not entered yet, so that an interruption costs none of them."""

from __future__ import annotations

import json
import re
from contextlib import suppress
from pathlib import Path
from typing import Any

from flightlog.disk import PART, own_folder, read_small, remove_old, write_whole
from flightlog.errors import FlightlogError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Attachment

SCHEMA = "flightlog.made-debrief/1"
OLD_S = 30 * 24 * 3600.0
"""Age from which the note of a debrief that was never entered is removed [s]: other releases, or
another version of the analyses, gave it another key, and nobody asks for this one again."""
OLD_PART_S = 24 * 3600.0
"""Age from which a note that was never finished is removed [s]."""

_LARGEST = 1_000_000
_NOTE = re.compile(r"[0-9a-f]{64}\.json")


class MadeDebriefs:
    """Notes of debriefs, each by the hash of all that it follows from.

    Parameters
    ----------
    folder : Path
        Of this laptop alone: who can write there says what is entered.
    """

    def __init__(self, folder: Path) -> None:
        self._top = folder
        self._folder = folder / "debriefs"
        self._tidy = False

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
        with suppress(OSError):
            own_folder(self._top, self._folder.name)
            self._remove_old()
            write_whole(self._folder / f"{key}.json", json.dumps(body).encode("utf-8"))

    def forget(self, key: str) -> None:
        """Forget a debrief that is in the record now."""
        with suppress(OSError):
            (self._folder / f"{key}.json").unlink(missing_ok=True)

    def _body(self, key: str) -> dict[str, Any]:
        try:
            body = json.loads(read_small(self._folder / f"{key}.json", _LARGEST))
        except (OSError, ValueError, RecursionError):
            return {}
        return body if isinstance(body, dict) and body.get("schema") == SCHEMA else {}

    def _remove_old(self) -> None:
        """Remove what nobody will ask for, once: it is not worth a look for each debrief."""
        if not self._tidy:
            self._tidy = True
            remove_old(self._folder, _NOTE, OLD_S)
            remove_old(self._folder, PART, OLD_PART_S)
