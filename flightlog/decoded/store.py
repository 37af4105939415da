"""The decoded tables of a team: which log has them, and where."""

from __future__ import annotations

import json
import re
import shutil
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.decoded import files
from flightlog.disk import (
    PART,
    is_link,
    own_folder,
    part_in,
    patiently,
    read_small,
    remove_old,
    write_whole,
)
from flightlog.errors import LogFileError
from flightlog.importers.registry import READING

if TYPE_CHECKING:
    from flightlog.recording import Recording

LOG_SCHEMA = "flightlog.decoded-log/1"
OLD_S = 24 * 3600.0
"""Age from which what was never finished is removed [s]."""

_HEX = re.compile(r"[0-9a-f]{64}")
_LARGEST = 10_000


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
        part = None
        try:
            folder = own_folder(self.folder, "decoded")
            remove_old(folder, PART, OLD_S)  # of processes that were killed
            part = part_in(folder)
            part.mkdir()
            name = files.write(recording, part)
            self._settle(part, name)
        except OSError:
            return ""
        finally:
            if part is not None:
                shutil.rmtree(part, ignore_errors=True)
        return name

    def note(self, sha256: str, name: str) -> None:
        """Note that the log with this SHA-256 has these tables."""
        place = self._log(sha256)
        body = {"schema": LOG_SCHEMA, "reading": READING, "tables": name}
        with suppress(OSError):  # then the log is read again
            folder = own_folder(self._notes, "logs", place.parent.name)
            remove_old(folder, PART, OLD_S)
            write_whole(place, json.dumps(body).encode("utf-8"))

    def name_of(self, sha256: str) -> str:
        """Give the name of a log's tables; "" where there are none that this program would read.

        Parameters
        ----------
        sha256 : str
            Of the log.
        """
        place = self._log(sha256)
        try:
            body = json.loads(read_small(place, _LARGEST))
        except (OSError, ValueError, RecursionError):
            return ""
        if not isinstance(body, dict) or body.get("schema") != LOG_SCHEMA:
            return ""
        name = body.get("tables")
        if body.get("reading") != READING or not isinstance(name, str):
            return ""
        return name if _HEX.fullmatch(name) else ""

    def take(self, name: str, log_bytes: int | None = None) -> Recording | None:
        """Give a recording by the name of its tables; None where they are missing or damaged.

        Parameters
        ----------
        name : str
            From `keep`.
        log_bytes : int, optional
            Size of the log, or of all that it was joined of [bytes]: tables that are larger than
            such a log gives are not read.
        """
        if not _HEX.fullmatch(name):
            return None
        try:
            return files.read(self.path(name), name, log_bytes)
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

    def _settle(self, part: Path, name: str) -> None:
        """Move what is whole to its place; one that is damaged makes room."""
        place = self.path(name)
        own_folder(self.folder, "decoded", place.parent.name)
        if place.exists() and not is_link(place):
            if self.take(name) is not None:
                return
            shutil.rmtree(place, ignore_errors=True)
        try:
            patiently(lambda: part.rename(place))
        except OSError:
            if is_link(place) or self.take(name) is None:  # nor was another process faster
                raise
