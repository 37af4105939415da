"""The list of log formats, and what each importer must offer.

A format is one module beside this one with two functions:

``sniff(head: bytes) -> Match``
    Pure: looks at the first bytes of the file, opens nothing, never raises.
``load(path: Path, progress: Progress | None) -> Recording``
    Reads the file. Raises `LogFileError` only when nothing at all can be read.

``MAYBE`` is for a file whose beginning is damaged, and for text that only resembles a format.

The modules are imported when they are asked, so that listing the formats costs nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, cast

if TYPE_CHECKING:
    from flightlog.recording import Recording

READING = 1
"""Raised whenever an importer gives other tables for the same file: tables that were kept by an
earlier one are then read from the log again."""

HEAD_BYTES = 65536
"""How much of a file the detectors see [bytes]."""

Progress = Callable[[float, str], None]
"""Called with the fraction done (0 to 1) and what is being done."""


def unwatched(fraction: float, text: str) -> None:
    """Take progress that nobody wants to see."""


class Match(IntEnum):
    """Whether the first bytes look like a format."""

    NO = 0
    MAYBE = 1
    YES = 2


@dataclass(frozen=True, slots=True)
class Importer:
    """One log format.

    Attributes
    ----------
    format : str
        Slug that the receipt carries.
    title : str
        For people, with what tells the format.
    module : str
        Module that holds ``sniff`` and ``load``.
    endings : tuple of str
        How names of such files usually end. No format is decided by them; a folder is searched
        with their help.
    """

    format: str
    title: str
    module: str
    endings: tuple[str, ...] = ()

    def sniff(self, head: bytes) -> Match:
        """Whether the first bytes look like this format."""
        return cast("Match", import_module(self.module).sniff(head))

    def load(self, path: Path, progress: Progress | None = None) -> Recording:
        """Read the file; see `flightlog.importers.read` for the errors."""
        return cast("Recording", import_module(self.module).load(path, progress))


IMPORTERS: tuple[Importer, ...] = (
    Importer(
        "dataflash",
        "DataFlash binary log (.bin), records that start with A3 95",
        "flightlog.importers.dataflash",
        (".bin",),
    ),
    Importer(
        "mavlink-telemetry",
        "MAVLink telemetry log (.tlog), frames that start with FE or FD after a time stamp",
        "flightlog.importers.mavlink_telemetry",
        (".tlog",),
    ),
    Importer(
        "ulog",
        "ULog (.ulg), starts with 'ULog' and 01 12 35",
        "flightlog.importers.ulog",
        (".ulg",),
    ),
    Importer(
        "dataflash-text",
        "DataFlash text log (.log), lines that start with 'FMT, 128, 89'",
        "flightlog.importers.dataflash_text",
        (".log",),
    ),
    Importer(
        "transmitter",
        "transmitter-card log (.csv), a header with Date, Time and the radio's own columns",
        "flightlog.importers.transmitter",
        (".csv",),
    ),
    Importer(
        "gpx", "GPX track (.gpx), XML whose root is 'gpx'", "flightlog.importers.gpx", (".gpx",)
    ),
    Importer(
        "nmea",
        "NMEA 0183 sentences (.nmea, .txt), lines as '$GPGGA,...*hh'",
        "flightlog.importers.nmea",
        (".nmea", ".txt"),
    ),
    Importer(
        "igc",
        "IGC flight record (.igc), 'A' record first and 'B' records of fixes",
        "flightlog.importers.igc",
        (".igc",),
    ),
)
"""All formats, in the order in which they are asked."""

ENDINGS = frozenset(ending for importer in IMPORTERS for ending in importer.endings)
"""How names of logs usually end, in small letters."""

OWN_ENDINGS = ENDINGS - {".csv", ".log", ".txt"}
"""Those that say log: a file that has one and is none was one, or should have become one. The
others are had by any text."""
