"""The decoded tables of a team: which log has them, and where."""

from __future__ import annotations

import json
import re
import secrets
import shutil
import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.decoded import files
from flightlog.errors import LogFileError
from flightlog.importers.registry import READING

if TYPE_CHECKING:
    from flightlog.recording import Recording

LOG_SCHEMA = "flightlog.decoded-log/1"
OLD_S = 24 * 3600.0
"""Age from which what was never finished is removed [s]."""

_HEX = re.compile(r"[0-9a-f]{64}")
_LARGEST = 10_000
_PART = ".part"


class DecodedStore:
    """Decoded tables below a folder.

    Several processes, on several machines where the folder is shared, may use it at a time: what
    it holds never changes, and appears whole.

    Parameters
    ----------
    folder : Path
        ``tables`` of a team folder; made when something is kept.
    notes : Path, optional
        Where it is noted which log has which tables; the same folder when not given. Whoever can
        write there says what a log holds: for tables that a signed entry will rest on, a folder
        of this laptop alone.
    """

    def __init__(self, folder: Path, notes: Path | None = None) -> None:
        self.folder = folder
        self._notes = notes or folder

    def keep(self, recording: Recording) -> str:
        """Keep the tables of a recording.

        Parameters
        ----------
        recording : Recording
            Of one log, or joined of several.

        Returns
        -------
        str
            Their name; "" where the folder can't be written: they are read from the log again.
        """
        part = self.folder / "decoded" / f"{secrets.token_hex(8)}{_PART}"
        try:
            part.mkdir(parents=True)
            self._remove_old(part.parent)
            name = files.write(recording, part)
            self._settle(part, self.path(name))
        except OSError:
            return ""
        finally:
            shutil.rmtree(part, ignore_errors=True)
        return name

    def note(self, sha256: str, name: str) -> None:
        """Note that the log with this SHA-256 has these tables."""
        place = self._log(sha256)
        part = place.with_name(f"{secrets.token_hex(8)}{_PART}")
        body = {"schema": LOG_SCHEMA, "reading": READING, "tables": name}
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            part.write_text(json.dumps(body), encoding="utf-8")
            part.replace(place)
        except OSError:
            pass  # the log is read again
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)

    def name_of(self, sha256: str) -> str:
        """Give the name of a log's tables; "" where there are none that this program would read.

        Parameters
        ----------
        sha256 : str
            Of the log.
        """
        place = self._log(sha256)
        try:
            if not place.is_file():  # nor a pipe, which would be waited for
                return ""
            with place.open("rb") as file:
                text = file.read(_LARGEST + 1)
            body = json.loads(text) if len(text) <= _LARGEST else None
        except (OSError, ValueError, RecursionError):
            return ""
        if not isinstance(body, dict) or body.get("schema") != LOG_SCHEMA:
            return ""
        name = body.get("tables")
        if body.get("reading") != READING or not isinstance(name, str):
            return ""
        return name if _HEX.fullmatch(name) else ""

    def take(self, name: str) -> Recording | None:
        """Give a recording by the name of its tables; None where they are missing or damaged."""
        if not _HEX.fullmatch(name):
            return None
        try:
            return files.read(self.path(name), name)
        except LogFileError:
            return None

    def of_log(self, sha256: str) -> Recording | None:
        """Give the recording of a log, None where it has to be read."""
        name = self.name_of(sha256)
        return self.take(name) if name else None

    def path(self, name: str) -> Path:
        """Give the folder of tables by their name."""
        return self.folder / "decoded" / name[:2] / name

    def _log(self, sha256: str) -> Path:
        if not _HEX.fullmatch(sha256):
            raise ValueError(f"{sha256[:80]!r} is no SHA-256")
        return self._notes / "logs" / sha256[:2] / f"{sha256}.json"

    def _remove_old(self, folder: Path) -> None:
        """Remove what processes that were killed left unfinished."""
        for part in folder.glob(f"*{_PART}"):
            with suppress(OSError):
                if time.time() - part.lstat().st_mtime > OLD_S:
                    shutil.rmtree(part)

    def _settle(self, part: Path, place: Path) -> None:
        """Move what is whole to its place; one that is damaged makes room."""
        place.parent.mkdir(parents=True, exist_ok=True)
        if place.exists():
            if self.take(place.name) is not None:
                return
            shutil.rmtree(place, ignore_errors=True)
        try:
            part.rename(place)
        except OSError:
            if self.take(place.name) is None:  # nor was another process faster
                raise
