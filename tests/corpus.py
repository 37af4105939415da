"""The real logs outside the project: where they are, and what the tests call them.

Files are called by their path below the folder that FLIGHTLOG_CORPUS names. Some bear names of
products or places; the tests know them by their content and call them by what they hold.
"""

from __future__ import annotations

import hashlib
import os
from functools import cache
from pathlib import Path

import flightlog
from flightlog.debriefing import Debrief

ROOT = os.environ.get("FLIGHTLOG_CORPUS")

CALLED = {
    # first 16 digits of the SHA-256 -> what the tests call the file
    "0d2651e1aa829756": "tracks/igc/glide-2019.igc",
    "d12628f094efeac2": "tracks/igc/soaring-2023.igc",
    "55449c024fb4d1cd": "tracks/igc/glide-2020.igc",
    "2d92614ad605119b": "tracks/igc/without-barometer-2022.igc",
    "134bfb6f99c93102": "tracks/igc/without-barometer-2023.igc",
    "d5e6fb001203f451": "tracks/gpx/lake-without-elevations.gpx",
    "de901607a7b0e02b": "tracks/gpx/lake-without-times.gpx",
    "0930a1aeac69675b": "tracks/gpx/waypoint-with-extension.gpx",
}


@cache
def files() -> dict[str, Path]:
    """Name -> place, of every file of the folder; empty without one."""
    if not ROOT:
        return {}
    root = Path(ROOT)
    places = sorted(p for p in root.rglob("*") if p.is_file())
    return {_name(place, root): place for place in places}


def _name(place: Path, root: Path) -> str:
    if "tracks" in place.parts:
        digits = hashlib.sha256(place.read_bytes()).hexdigest()[:16]
        if digits in CALLED:
            return CALLED[digits]
    return place.relative_to(root).as_posix()


def log(name: str) -> Path:
    """Place of a file by its name here."""
    return files()[name]


@cache
def debriefed(name: str) -> Debrief:
    """The debrief of a file with nothing given beside it; made once for all tests that look at it.

    Raises
    ------
    LogFileError
        If it is no log.
    """
    return flightlog.debrief(flightlog.read(log(name)))
