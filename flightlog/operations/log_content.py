"""Which file a log is: asked before hundreds of megabytes of it are read."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from flightlog.errors import LogFileError
from flightlog.logbook.entry import MOST_ATTACHMENT_BYTES


def content_of(log: Path) -> str:
    """Give the SHA-256 of a log that could be entered, 64 hexadecimal digits.

    What can't be is refused by its kind, its size and its first bytes: a pipe is not waited for, a
    device not read, and what is larger than an attachment is not hashed to be refused afterwards.

    Parameters
    ----------
    log : Path
        As somebody named it, or as it was found.

    Raises
    ------
    LogFileError
        If it is missing, no regular file, empty, not readable, or larger than the record keeps.
    UnknownFormatError
        If no importer recognises it.
    """
    from flightlog.importers import detect, read_head
    from flightlog.importers.common import sha256_of_file

    head = read_head(log)
    size = 0
    with suppress(OSError):  # it went away meanwhile, which is told below
        size = log.stat().st_size
    if size > MOST_ATTACHMENT_BYTES:
        most = MOST_ATTACHMENT_BYTES // 2**20
        raise LogFileError(
            f"has {size / 2**20:.0f} MiB, and a log that is entered is kept, up to {most} MiB",
            where=log.name,
            fix="'flightlog debrief FILE' reads it without entering it.",
        )
    detect(head, where=log.name)
    return sha256_of_file(log)
