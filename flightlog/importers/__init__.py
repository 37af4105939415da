"""Log formats: bytes in, `Recording` out. Format is decided by content, never by the name."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.errors import LogFileError, UnknownFormatError
from flightlog.importers.registry import HEAD_BYTES, IMPORTERS, Importer, Match, Progress

if TYPE_CHECKING:
    from flightlog.recording import Recording

__all__ = ["IMPORTERS", "Importer", "Match", "Progress", "detect", "read"]


def read(
    path: str | os.PathLike[str],
    *,
    columns: str | os.PathLike[str] | None = None,
    progress: Progress | None = None,
) -> Recording:
    """Read one log file.

    Parameters
    ----------
    path : path
        The file. Its ending is not looked at.
    columns : path, optional
        A column map (TOML, ``flightlog.columns/1``): the file is then read as delimited text
        by that map, whatever else it resembles. `flightlog.importers.delimited` lists its keys.
    progress : callable, optional
        Called with the fraction done (0 to 1) and what is being done. An exception that it
        raises, and a keyboard interrupt, end the reading and reach the caller.

    Returns
    -------
    Recording
        Tables in SI units, the receipt, and what was noticed. A damaged file gives what
        could be read of it, with findings.

    Raises
    ------
    UnknownFormatError
        If no importer recognises the content.
    LogFileError
        If the file is missing, no regular file, empty, not readable, or holds nothing of use.
    TeamFileError
        If the column map is at fault.
    """
    place = Path(path)
    head = read_head(place)
    if columns is not None:
        from flightlog.importers import delimited

        return delimited.load_by_map(place, Path(columns), progress)
    return detect(head, where=place.name).load(place, progress)


def read_head(path: Path) -> bytes:
    """Read the first bytes of a log file.

    Raises
    ------
    LogFileError
        If the file is missing, no regular file, empty or not readable.
    """
    where = path.name or str(path)
    try:
        # Before it is opened: a pipe would be waited for, and a device may have no end.
        kind = path.stat().st_mode
        if stat.S_ISDIR(kind):
            raise LogFileError("this is a folder", where=where, fix="Name one log file in it.")
        if not stat.S_ISREG(kind):
            raise LogFileError(
                "this is no regular file, but a pipe or a device",
                where=where,
                fix="Write what comes out of it to a file, and name that.",
            )
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
    except FileNotFoundError:
        raise LogFileError(
            "there is no such file", where=str(path), fix="Check the name and the folder."
        ) from None
    except PermissionError:
        raise LogFileError(
            "the file may not be read", where=where, fix="Ask for permission, or copy it first."
        ) from None
    except (OSError, ValueError) as error:
        raise LogFileError(
            f"the file can't be read ({error})", where=where, fix="Copy it to this disk first."
        ) from error
    if not head:
        raise LogFileError(
            "the file is empty", where=where, fix="Copy it from the aircraft's card again."
        )
    return head


def detect(head: bytes, *, where: str = "") -> Importer:
    """Choose the importer by the first bytes of a file.

    Parameters
    ----------
    head : bytes
        The first `HEAD_BYTES` of the file, or all of a shorter one.
    where : str, optional
        File name for the error.

    Raises
    ------
    UnknownFormatError
        If no importer says yes or maybe, or if several claim the file equally.
    """
    answers = [(importer.sniff(head), importer) for importer in IMPORTERS]
    best = max(match for match, _ in answers)
    claims = [importer for match, importer in answers if match is best]
    if best is Match.NO:
        from flightlog.importers.delimited import looks_delimited

        if looks_delimited(head):
            raise UnknownFormatError(
                "no known log format, but a table as text",
                where=where,
                fix="'flightlog explain FILE' shows its columns and writes a first column map, to "
                "correct and to give with --columns.",
            )
        known = "; ".join(importer.title for importer in IMPORTERS)
        raise UnknownFormatError(
            f"no known log format (it starts with {head[:8].hex(' ')})",
            where=where,
            fix=f"These can be read: {known}.",
        )
    if len(claims) > 1:
        names = " and ".join(importer.format for importer in claims)
        raise UnknownFormatError(
            f"the content could be {names}", where=where, fix="Cut off what was put before the log."
        )
    return claims[0]
