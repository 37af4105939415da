"""GPX 1.0 and 1.1: the track points of all tracks and segments.

    <trkpt lat="12.345678" lon="98.765432">
      <ele>210.4</ele><time>2027-03-02T09:14:05.2Z</time><speed>11.3</speed>
    </trkpt>

Routes and waypoints are plans and marks, not flights. The format says neither above what the
elevation counts, nor in what unit an extension holds speed; both are told.
"""

from __future__ import annotations

import codecs
import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.errors import LogFileError
from flightlog.importers.registry import Match, Progress, unwatched
from flightlog.importers.text import decode

if TYPE_CHECKING:
    from flightlog.importers.common import Notes
    from flightlog.importers.gpx_points import Points
    from flightlog.importers.tracks import Track
    from flightlog.recording import Recording

FORMAT = "gpx"
VERSION = 1

WHAT = "track points"

_DECLARED = re.compile(
    rb"""<\?xml[^>]{0,60}encoding=["']((?:iso-8859-|windows-125)\w{1,2})""", re.I
)
_ROOT = re.compile(r"<(?:[\w.-]{1,40}:)?gpx[\s/>]")
_POINT = re.compile(r"<(?:[\w.-]{1,40}:)?trkpt\s[^<>]{0,200}lat\s?=")
_UNITS = {
    "lat": "deg",
    "lon": "deg",
    "ele": "m",
    "time": "s",
    "speed": "m/s",
    "course": "deg",
}


def sniff(head: bytes) -> Match:
    """Tell GPX by its root element; a track point without one is only a hint."""
    from flightlog.importers.gpx_points import prolog

    text = decode(head).text
    *_, root = ("", *prolog(text))
    if _ROOT.match(root) and not text[: text.find("<")].strip():
        return Match.YES
    return Match.MAYBE if _ROOT.search(text) or _POINT.search(text) else Match.NO


def load(path: Path, progress: Progress | None = None) -> Recording:
    """Read a GPX file.

    Parameters
    ----------
    path : Path
        The file.
    progress : callable, optional
        Called with the fraction done and a text.

    Raises
    ------
    LogFileError
        If it can't be read, declares XML entities, or holds no track point with a time.
    """
    from flightlog.importers.common import Notes
    from flightlog.importers.gpx_points import read_points
    from flightlog.importers.tracks import ArrayTable, TrackFile, finish

    tell = progress or unwatched
    tell(0.0, "reading the file")
    file, notes = TrackFile.read(path), Notes()
    text = _text(file.content, notes)
    try:
        points = read_points(text, lambda done: tell(0.9 * done, "reading track points"))
    except LogFileError as error:
        raise LogFileError(error.found, where=path.name, fix=error.fix) from None
    del text
    _refuse_without_use(points, path.name)
    _tell(points, notes)
    rows = points.rows
    trkpt = {name: rows[name] for name in (*_UNITS, "hdop", "sat", "fix", "segment")}
    recording = finish(
        _track(points, notes),
        file,
        format=FORMAT,
        version=VERSION,
        raw={"trkpt": ArrayTable(trkpt, _UNITS)},
        counts=points.counts,
        notes=notes,
    )
    tell(1.0, "done")
    return recording


def _text(content: bytes, notes: Notes) -> str:
    declared = _DECLARED.match(content)
    encoding = declared.group(1).decode("ascii") if declared else None
    try:
        codecs.lookup(encoding or "utf-8")
    except LookupError:
        encoding = None
    decoded = decode(content, encoding)
    notes.drop("characters that can't be decoded", decoded.damaged)
    return decoded.text.rstrip(" \t\r\n\x1a")


def _refuse_without_use(points: Points, where: str) -> None:
    rows = points.rows
    if not len(rows):
        names = (("waypoint", "wpt"), ("route point", "rtept"), ("damaged track point", "trkpt"))
        held = [(points.counts.get(tag, 0), name) for name, tag in names]
        found = ", ".join(f"{n} {name}{'s' if n > 1 else ''}" for n, name in held if n)
        raise LogFileError(
            f"no track point in it, but {found}" if found else "no track point in it",
            where=where,
            fix="Export the recorded track; routes and waypoints are plans, not flights.",
        )
    if not np.isfinite(rows["time"]).any():
        raise LogFileError(
            f"not one of its track points ({len(rows)}) has a time",
            where=where,
            fix="Export the track with times; without them there is no speed and no flight.",
        )


def _tell(points: Points, notes: Notes) -> None:
    """Turn what was met while reading into findings."""
    from flightlog.importers.gpx_points import MOST_BREAKS

    if points.breaks or points.lost:
        notes.drop("track points whose position can't be read", points.lost)
        notes.drop("places where the file is no XML", points.breaks)
        given_up = ", where reading stopped" if points.breaks >= MOST_BREAKS else ""
        notes.find(
            "damaged-lines",
            f"Places where the file is damaged: {points.breaks}; track points without a readable "
            f"position: {points.lost}; {len(points.rows)} were read{given_up}.",
            evidence={"breaks": points.breaks, "lost": points.lost, "read": len(points.rows)},
        )
    if points.cut:
        notes.find(
            "truncated", f"The file ends inside an element, after {len(points.rows)} points."
        )
    for name, count in sorted(points.unread.items()):
        notes.drop(f"{name} that can't be read", count)
    if points.unread:
        which = ", ".join(f"{n} of {name}" for name, n in sorted(points.unread.items()))
        notes.find(
            "unreadable-cells",
            f"Values of {len(points.rows)} track points can't be read and are missing: {which}.",
            evidence=points.unread,
        )
    if points.zoneless:
        notes.lines.append(
            f"{points.zoneless} times name no zone; they were taken as UTC, as the format has it."
        )
    untimed = int(np.isnan(points.rows["time"]).sum())
    if untimed > 0.5 * len(points.rows):
        notes.find(
            "no-clock",
            f"{untimed} of {len(points.rows)} track points have no time and can't be placed.",
            evidence={"without_time": untimed, "points": len(points.rows)},
        )


def _track(points: Points, notes: Notes) -> Track:
    from flightlog.importers.tracks import Track, note_source

    rows = points.rows
    gps = {
        "latitude_deg": rows["lat"],
        "longitude_deg": rows["lon"],
        "altitude_msl_m": rows["ele"],
        "ground_speed_m_s": rows["speed"],
        "course_deg": rows["course"],
        "hdop": rows["hdop"],
        "satellites": rows["sat"],
        "fix": rows["fix"],
    }
    gps = {name: values for name, values in gps.items() if np.isfinite(values).any()}
    extended = "trkpt/extensions: the usual unit there, not stated in the file"
    sources = {
        "latitude_deg": ("lat", "deg", "the format"),
        "longitude_deg": ("lon", "deg", "the format"),
        "altitude_msl_m": ("ele", "m", "the format, which does not say above what"),
        "ground_speed_m_s": ("speed", "m/s", "the format"),
        "course_deg": ("course", "deg", "the format"),
        "hdop": ("hdop", "", "the format"),
        "satellites": ("sat", "", "the format"),
        "fix": ("fix", "", "the format"),
    }
    for column, (name, unit, why) in sources.items():
        if column in gps:
            outside = name in points.extensions
            note_source(notes, column, f"trkpt/{name}", unit, extended if outside else why)
    note_source(notes, "time_utc", "trkpt/time", "s", "the format: UTC")
    if "altitude_msl_m" in gps:
        notes.lines.append(
            "The format does not say whether elevations count from mean sea level; only "
            "differences of height are used."
        )
    return Track(WHAT, rows["time"], {"gps": gps}, dated=True, source="trkpt/time, UTC")
