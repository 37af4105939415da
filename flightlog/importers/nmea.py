"""NMEA 0183: the sentences that receivers speak, as a logger wrote them down.

    $GPGGA,091405.20,1203.456,N,09807.890,E,1,09,0.8,210.4,M,46.9,M,,*6A
    $GPRMC,091405.20,A,1203.456,N,09807.890,E,22.0,084.4,020327,,,A*50

Whatever a logger writes before the dollar sign is left out. Altitudes in GGA and GNS count
from mean sea level.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.constants import GPS_EPOCH_UNIX_S, GPS_ERA_S
from flightlog.errors import LogFileError
from flightlog.importers.registry import Match, Progress, unwatched
from flightlog.importers.text import decode

if TYPE_CHECKING:
    from flightlog.importers.common import FloatArray, Notes
    from flightlog.importers.nmea_sentences import Sentences
    from flightlog.importers.tracks import Columns, Track
    from flightlog.recording import RawTable, Recording

FORMAT = "nmea"
VERSION = 1

WHAT = "fixes"

EARLIEST_S = 1262304000.0
"""2010-01-01: an earlier date is one of the era before, where that fits the file's date [s]."""

_KNOWN = re.compile(
    r"\$(?:[A-Z]{2}(?:GGA|RMC|VTG|GNS|GSA|GSV|GLL|ZDA|GST|GBS|GRS|TXT)),[^\r\n]{0,200}"
)
_FIXES = re.compile(r"\$[A-Z]{2}(?:GGA|RMC|GNS|GLL),")


def sniff(head: bytes) -> Match:
    """Tell NMEA by several lines with sentences of a receiver, one of a fix among them."""
    sample = decode(head[:8192]).text
    sentences = sum(1 for line in sample.splitlines() if _KNOWN.search(line))
    if not sentences or not _FIXES.search(sample):
        return Match.NO
    lines = sum(1 for line in sample.splitlines() if line.strip())
    return Match.YES if sentences >= 3 and sentences >= 0.2 * lines else Match.MAYBE


def load(path: Path, progress: Progress | None = None) -> Recording:
    """Read a file of sentences.

    Parameters
    ----------
    path : Path
        The file.
    progress : callable, optional
        Called with the fraction done and a text.

    Raises
    ------
    LogFileError
        If it can't be read, or no sentence in it gives a position.
    """
    from flightlog.importers.common import Notes
    from flightlog.importers.nmea_sentences import read_sentences
    from flightlog.importers.tracks import TrackFile, finish

    tell = progress or unwatched
    tell(0.0, "reading the file")
    file, notes = TrackFile.read(path), Notes()
    text = file.text()
    found = read_sentences(text, lambda done: tell(0.9 * done, "reading sentences"))
    track = _track(found, path, notes)
    _tell(found, notes)
    recording = finish(
        track,
        file,
        format=FORMAT,
        version=VERSION,
        raw=_raw(text, found),
        counts=found.lines.counts,
        notes=notes,
    )
    tell(1.0, "done")
    return recording


def _raw(text: str, found: Sentences) -> dict[str, RawTable]:
    from flightlog.importers.nmea_sentences import field_names
    from flightlog.importers.tracks import Cut, LineTable

    tables: dict[str, RawTable] = {}
    for head, starts in found.lines.starts.items():
        names = field_names(head) or tuple(f"field_{n}" for n in range(1, 21))
        cuts = {name: Cut(number) for number, name in enumerate(names, 1)}
        tables[head] = LineTable(text, starts, cuts)
    return tables


def _tell(found: Sentences, notes: Notes) -> None:
    notes.drop("damaged sentences", found.damaged)
    notes.drop("lines without a sentence", found.strange)
    notes.drop("sentences of fixes without a time", found.timeless)
    whole = sum(found.lines.counts.values())
    if found.damaged or found.strange:
        notes.find(
            "damaged-lines",
            f"Sentences that are cut or whose checksum is wrong: {found.damaged}; lines without a "
            f"sentence: {found.strange}; whole sentences: {whole}.",
            evidence={"damaged": found.damaged, "strange": found.strange, "whole": whole},
        )
    if found.unchecked:
        notes.lines.append(
            f"{found.unchecked} of {whole} sentences carry no checksum: damage in them can't be "
            "seen."
        )


def _track(found: Sentences, path: Path, notes: Notes) -> Track:
    """Make one row of each epoch: the position that counts, its time, what else is known."""
    from flightlog.importers.tracks import Track

    epochs = found.epochs
    fix = _fix(epochs)
    position = _positions(epochs, fix)
    known = np.isfinite(position["latitude_deg"])
    if not known.any():
        whole = sum(found.lines.counts.values())
        raise LogFileError(
            f"none of its {whole} whole sentences gives a valid position ({found.damaged} more "
            "are damaged)",
            where=path.name,
            fix="Let the receiver find its satellites before the flight; log GGA and RMC.",
        )
    first = int(np.argmax(known))
    rows = np.isfinite(fix)
    rows[:first] = False
    notes.drop("times before the first position", first)
    notes.drop("times without a sentence of a fix", int((~rows[first:]).sum()))
    estimated = int((fix[rows] == 1).sum())
    if estimated:
        notes.find(
            "values-missing",
            f"{estimated} of {int(rows.sum())} positions are estimated, entered or simulated, not "
            "measured; they were left out.",
            evidence={"estimated": estimated},
        )
    stamp_s, dated, source = _stamps(epochs, path.stat().st_mtime, notes)
    gps = position | _motion(epochs, fix) | _quality(epochs, fix)
    gps = {name: values[rows] for name, values in gps.items() if np.isfinite(values[rows]).any()}
    _note_sources(epochs, gps, source, dated, notes)
    return Track(WHAT, stamp_s[rows], {"gps": gps}, dated, source)


def _fix(epochs: Columns) -> FloatArray:
    """Kind of fix per epoch; NaN where no sentence tells. One that says "invalid" is believed."""
    told = [epochs[f"{kind}_fix"] for kind in ("gga", "gns", "rmc", "gll")]
    lowest = np.fmin.reduce(told)
    fix = np.where(lowest < 2, lowest, _first(*told))
    mode = epochs["gsa_fix"]
    return np.where(np.isfinite(fix), np.fmin(fix, np.where(mode < 3, mode, np.nan)), np.nan)


def _first(*choices: FloatArray) -> FloatArray:
    """Take each row from the first that has it."""
    chosen = choices[0].copy()
    for values in choices[1:]:
        chosen = np.where(np.isfinite(chosen), chosen, values)
    return chosen


def _positions(epochs: Columns, fix: FloatArray) -> dict[str, FloatArray]:
    # Latitude and longitude of a row from one sentence: they differ in digits.
    lat, lon = (np.full(len(epochs), np.nan) for _ in range(2))
    for kind in ("gga", "gns", "rmc", "gll"):
        take = np.isnan(lat) & np.isfinite(epochs[f"{kind}_lat"]) & (fix >= 2)
        lat = np.where(take, epochs[f"{kind}_lat"], lat)
        lon = np.where(take, epochs[f"{kind}_lon"], lon)
    height = _first(epochs["gga_alt"], epochs["gns_alt"])
    return {
        "latitude_deg": lat,
        "longitude_deg": lon,
        # A flat fix holds the last height.
        "altitude_msl_m": np.where(fix >= 3, height, np.nan),
    }


def _motion(epochs: Columns, fix: FloatArray) -> dict[str, FloatArray]:
    speed = _first(epochs["rmc_speed"], epochs["vtg_speed"])
    course = _first(epochs["rmc_course"], epochs["vtg_course"])
    return {
        "ground_speed_m_s": np.where(fix >= 2, speed, np.nan),
        "course_deg": np.where(fix >= 2, course, np.nan),
    }


def _quality(epochs: Columns, fix: FloatArray) -> dict[str, FloatArray]:
    return {
        "hdop": _first(epochs["gga_hdop"], epochs["gns_hdop"], epochs["gsa_hdop"]),
        "satellites": _first(epochs["gga_sats"], epochs["gns_sats"]),
        "fix": fix,
    }


def _stamps(epochs: Columns, file_unix_s: float, notes: Notes) -> tuple[FloatArray, bool, str]:
    """Stamp of each epoch; whether it is UTC with a date; what it is in words."""
    from flightlog.importers.tracks import day_unwrapped

    since_s = day_unwrapped(epochs["time_of_day_s"])
    day = unrolled_days(epochs["day_unix_s"], file_unix_s, notes)
    dated = np.isfinite(day)
    if not dated.any():
        notes.lines.append(
            "The sentences tell the time of day and no date: when the flight was, is not known."
        )
        return since_s, False, "NMEA time of day"
    # An epoch without a date stands on the day of the dated one before it, else of the first.
    at = np.maximum.accumulate(np.where(dated, np.arange(len(day)), -1))
    at = np.where(at < 0, int(np.argmax(dated)), at)
    offset_s = (day + epochs["time_of_day_s"] - since_s)[at]
    return since_s + offset_s, True, "NMEA time and date, UTC"


def unrolled_days(day_unix_s: FloatArray, file_unix_s: float, notes: Notes) -> FloatArray:
    """Move dates of a week counter that started again to the era of the file's date.

    Parameters
    ----------
    day_unix_s : array
        Midnight of the date, NaN where there is none. [s]
    file_unix_s : float
        When the file was last written, in Unix seconds. [s]
    notes : Notes
        Receives the finding.

    Notes
    -----
    A date before `EARLIEST_S` is moved by as many times 1024 weeks as still give a date that
    is not after the file's, by a day at most. A receiver that knows no date yet gives the
    first day of an era; that is no date.
    """
    since_s = day_unix_s - GPS_EPOCH_UNIX_S
    day = np.where((since_s == 0) | (since_s == GPS_ERA_S), np.nan, day_unix_s)
    eras = np.floor((file_unix_s + 86400.0 - day) / GPS_ERA_S)
    moved = day + eras * GPS_ERA_S
    wrong = (day < EARLIEST_S) & (eras >= 1) & (moved >= EARLIEST_S)
    if not wrong.any():
        return day
    before, after = _date(day[wrong][0]), _date(moved[wrong][0])
    weeks = int(eras[wrong][0]) * 1024
    notes.find(
        "gps-week-rollover",
        f"The receiver's date {before} is {weeks} weeks off; corrected to {after}, assumed by the "
        "date of the file.",
        evidence={"rows": int(wrong.sum()), "weeks": weeks},
    )
    return np.where(wrong, moved, day)


def _date(unix_s: float) -> str:
    return f"{datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=float(unix_s)):%Y-%m-%d}"


def _note_sources(
    epochs: Columns, gps: dict[str, FloatArray], source: str, dated: bool, notes: Notes
) -> None:
    from flightlog.importers.tracks import note_source

    def given(*names: str) -> str:
        """Name the sentences that hold such a field, in the order in which they are asked."""
        return ", ".join(n.split("_")[0].upper() for n in names if np.isfinite(epochs[n]).any())

    position = given("gga_lat", "gns_lat", "rmc_lat", "gll_lat")
    speed, course = given("rmc_speed", "vtg_speed"), given("rmc_course", "vtg_course")
    fixes = given("gga_fix", "gns_fix", "rmc_fix", "gll_fix", "gsa_fix")
    sources = {
        "latitude_deg": (position, "deg", "degrees and minutes, by the format"),
        "longitude_deg": (position, "deg", "degrees and minutes, by the format"),
        "altitude_msl_m": (given("gga_alt", "gns_alt"), "m", "above mean sea level, by the format"),
        "ground_speed_m_s": (speed, "kn", "the format"),
        "course_deg": (course, "deg", "the format: from true north"),
        "hdop": (given("gga_hdop", "gns_hdop", "gsa_hdop"), "", "the format"),
        "satellites": (given("gga_sats", "gns_sats"), "", "the format"),
        "fix": (fixes, "", "quality, status and mode"),
    }
    for column, (name, unit, why) in sources.items():
        if column in gps:
            note_source(notes, column, name, unit, why)
    if dated:
        note_source(notes, "time_utc", source, "s", "the format: UTC")
    if not np.isfinite(epochs["gsa_fix"]).any():
        notes.lines.append("No GSA sentence: a flat fix can't be told from a full one.")
