"""IGC flight records of gliders' and varios' recorders: fixes with pressure altitude.

    AXYZ001
    HFDTEDATE:020327,01
    B0914051203456N09807890EA0020400210

The format has times in UTC, the pressure altitude in the standard atmosphere, and no speed
over ground but as an addition to the record.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.errors import LogFileError
from flightlog.importers.common import clean_text
from flightlog.importers.registry import Match, Progress, unwatched
from flightlog.importers.text import decode

if TYPE_CHECKING:
    from flightlog.importers.common import FloatArray, Notes
    from flightlog.importers.igc_records import Records
    from flightlog.importers.tracks import Track
    from flightlog.recording import RawTable, Recording

FORMAT = "igc"
VERSION = 1

WHAT = "fixes"

_MAKER = re.compile(r"A[A-Z0-9]{3}")
_RECORD = re.compile(r"H[FOPSQ][A-Z0-9]{3}|B[0-9]{13}[NS][0-9]{8}[EW][AV]")

SIGMAS_OF_FXA = 2.0
"""The record's accuracy is that of 95 % by the format: two standard deviations."""


def sniff(head: bytes) -> Match:
    """Tell IGC by the A record first and the records of header and fixes behind it."""
    text = decode(head[:16384]).text.lstrip("\r\n \t\x11\x13")
    lines = [line for line in text.splitlines() if line.strip()]
    # The last line may be cut.
    records = sum(1 for line in lines if _RECORD.match(line))
    if not records:
        return Match.NO
    if _MAKER.match(lines[0]):
        return Match.YES
    return Match.MAYBE if records >= 3 and records >= 0.5 * len(lines) else Match.NO


def load(path: Path, progress: Progress | None = None) -> Recording:
    """Read an IGC file.

    Parameters
    ----------
    path : Path
        The file.
    progress : callable, optional
        Called with the fraction done and a text.

    Raises
    ------
    LogFileError
        If it can't be read or no fix in it can.
    """
    from flightlog.importers.common import Notes
    from flightlog.importers.igc_records import read_records
    from flightlog.importers.tracks import TrackFile, finish

    tell = progress or unwatched
    tell(0.0, "reading the file")
    file, notes = TrackFile.read(path), Notes()
    text = file.text()
    found = read_records(text, lambda done: tell(0.9 * done, "reading records"))
    if not len(found.fixes):
        raise LogFileError(
            f"no fix in it can be read ({found.damaged} B records are damaged)"
            if found.damaged
            else "no fix in it: there is no B record",
            where=path.name,
            fix="Copy the flight from the recorder again.",
        )
    _tell(found, notes)
    recording = finish(
        _track(found, notes),
        file,
        format=FORMAT,
        version=VERSION,
        raw=_raw(text, found),
        counts=found.lines.counts,
        notes=notes,
        firmware=" ".join(found.header.get(code, "") for code in ("FTY", "RFW")).strip(),
    )
    tell(1.0, "done")
    return recording


def _raw(text: str, found: Records) -> dict[str, RawTable]:
    """Cut the fixes into their fields, and take other records as a letter and a text."""
    from flightlog.importers.igc_records import LONGEST
    from flightlog.importers.tracks import Cut, LineTable

    fields = {
        "time": Cut(1, 7),
        "latitude": Cut(7, 15),
        "longitude": Cut(15, 24),
        "validity": Cut(24, 25),
        "pressure_altitude": Cut(25, 30),
        "gps_altitude": Cut(30, 35),
    }
    fields |= {e.code: Cut(e.start, e.end) for e in found.extensions}
    return {
        kind: LineTable(text, starts, fields if kind == "B" else {"text": Cut(1, LONGEST)})
        for kind, starts in found.lines.starts.items()
    }


def _tell(found: Records, notes: Notes) -> None:
    read = len(found.fixes)
    notes.drop("damaged fixes", found.damaged)
    notes.drop("lines that are no record", found.strange)
    notes.drop("header records that can't be read", found.refused)
    damaged = found.damaged + found.strange + found.refused
    if damaged:
        notes.find(
            "damaged-lines",
            f"Lines that can't be read: {damaged}, fixes among them: {found.damaged}; {read} fixes "
            "were read.",
            evidence={"damaged": damaged, "fixes": found.damaged, "read": read},
        )
    zone = found.header.get("TZN")
    if zone:
        notes.lines.append(
            f"The recorder's time zone is {clean_text(zone)[:40]}; times are UTC all the same, by "
            "the format."
        )
    datum = found.header.get("DTM", "").upper()
    if datum and "WGS" not in datum:
        notes.lines.append(f"Positions refer to the datum {clean_text(datum)[:40]}, not to WGS-84.")


def _track(found: Records, notes: Notes) -> Track:
    from flightlog.importers.tracks import Track, day_unwrapped

    fixes = found.fixes
    since_s = day_unwrapped(fixes["time_of_day_s"])
    stamp_s, dated, source = since_s, bool(found.dates), "IGC time of day"
    if dated:
        first = datetime.fromisoformat(found.dates[0]).replace(tzinfo=UTC).timestamp()
        stamp_s, source = since_s + first, "IGC time and HFDTE date, UTC"
    else:
        notes.lines.append(
            "The header holds no date: when the flight was, is not known, only the time of day."
        )
    dates = list(dict.fromkeys(found.dates))
    if len(dates) > 1:
        notes.lines.append(
            f"The file holds several dates ({', '.join(dates[:5])}); times count from the first."
        )
    gps = _gps(found, notes)
    _note_sources(found, gps, source, dated, notes)
    columns = {"gps": gps}
    baro = _baro(found, notes)
    if baro:
        columns["baro"] = baro
    return Track(WHAT, stamp_s, columns, dated, source)


def _gps(found: Records, notes: Notes) -> dict[str, FloatArray]:
    fixes = found.fixes
    valid = fixes["valid"] == 1
    lat, lon = fixes["lat"], fixes["lon"]
    nowhere = (lat == 0) & (lon == 0)
    if nowhere.any():
        notes.find(
            "values-missing",
            f"{int(nowhere.sum())} of {len(lat)} fixes stand at latitude and longitude 0: no fix.",
            evidence={"fixes": int(nowhere.sum())},
        )
    # A flat fix has no height of its own.
    height = np.where(valid & ~nowhere, _altitude(fixes["gps_altitude_m"], "GPS", notes), np.nan)
    gps = {
        "latitude_deg": np.where(nowhere, np.nan, lat),
        "longitude_deg": np.where(nowhere, np.nan, lon),
        "altitude_msl_m": height,
        "ground_speed_m_s": fixes["GSP"],
        "course_deg": fixes["TRT"],
        "satellites": fixes["SIU"],
        "fix": np.where(nowhere, 0.0, np.where(valid, 3.0, 2.0)),
        # 0 and 999 stand for "not known".
        "horizontal_accuracy_m": np.where(
            (fixes["FXA"] > 0) & (fixes["FXA"] < 999), fixes["FXA"] / SIGMAS_OF_FXA, np.nan
        ),
    }
    if np.isfinite(height).any():
        _note_reference(found.header.get("ALG", ""), notes)
    return {name: values for name, values in gps.items() if np.isfinite(values).any()}


def _altitude(altitude_m: FloatArray, which: str, notes: Notes) -> FloatArray:
    """Give an altitude, all missing where it is 0 throughout: nothing stays that level."""
    if len(altitude_m) < 2 or (altitude_m != 0).any():
        return altitude_m
    notes.find(
        "values-missing",
        f"The {which} altitude is 0 in all {len(altitude_m)} fixes: it was not measured.",
        evidence={"fixes": len(altitude_m)},
    )
    return np.full(len(altitude_m), np.nan)


def _note_reference(stated: str, notes: Notes) -> None:
    """Tell above what the GPS altitudes count."""
    stated = stated.upper()
    if stated.startswith("ELL") or "ELLIPSOID" in stated:
        notes.find(
            "altitude-reference",
            "GPS altitudes count from the ellipsoid by the header, not from mean sea level: they "
            "are off by one constant of up to 100 m; differences of height are right.",
            evidence={"reference": "ellipsoid"},
        )
    elif not stated.startswith("GEO") and stated not in ("MSL", "EGM96"):
        notes.lines.append(
            "The header does not say whether GPS altitudes count from the ellipsoid or from mean "
            "sea level; differences of height are right either way."
        )


def _baro(found: Records, notes: Notes) -> dict[str, FloatArray]:
    from flightlog.importers.standard_air import standard_pressure_pa
    from flightlog.importers.tracks import note_source

    height_m = _altitude(found.fixes["pressure_altitude_m"], "pressure", notes)
    if not np.isfinite(height_m).any():
        return {}
    stated = found.header.get("ALP", "").upper()
    standard = stated in ("", "ISA")
    why = "the header: standard atmosphere" if stated == "ISA" else "the format"
    if not standard:
        why = f"the header says {clean_text(stated)[:20]}"
    note_source(notes, "height_m", "B pressure altitude", "m", why, table="baro")
    if not standard:
        notes.lines.append(
            "Pressure altitudes are not of the standard atmosphere, by the header; no pressure "
            "was worked out from them."
        )
        return {"height_m": height_m}
    note_source(
        notes,
        "pressure_pa",
        "B pressure altitude",
        "m",
        "worked back through the standard atmosphere, in steps of 1 m or 12 Pa",
        table="baro",
    )
    return {"height_m": height_m, "pressure_pa": standard_pressure_pa(height_m)}


def _note_sources(
    found: Records, gps: dict[str, FloatArray], source: str, dated: bool, notes: Notes
) -> None:
    from flightlog.importers.igc_records import EXTENSIONS
    from flightlog.importers.tracks import note_source

    digits = {e.code: e.end - e.start for e in found.extensions}
    decimals = "the format, further digits than three as decimals"
    sources = {
        "latitude_deg": ("B, LAD" if "LAD" in digits else "B", "deg", "degrees and minutes"),
        "longitude_deg": ("B, LOD" if "LOD" in digits else "B", "deg", "degrees and minutes"),
        "altitude_msl_m": ("B GPS altitude", "m", "the format; above what by HFALG"),
        "ground_speed_m_s": ("B GSP", "km/h", decimals),
        "course_deg": ("B TRT", "deg", "the format: true track"),
        "satellites": ("B SIU", "", "the format"),
        "fix": ("B validity", "", "A is a full fix, V a flat one"),
        "horizontal_accuracy_m": ("B FXA", "m", "half of it: FXA is at 95 % by the format"),
    }
    for column, (name, unit, why) in sources.items():
        if column in gps:
            note_source(notes, column, name, unit, why)
    if dated:
        note_source(notes, "time_utc", source, "s", "the format: UTC")
    notes.unused.extend(f"B {code}" for code in digits if code not in EXTENSIONS)
    if "TAS" in digits:
        notes.lines.append(
            "TAS is true airspeed; the table of airspeeds holds those of a tube, so it was left "
            "in the raw table."
        )
    if "ground_speed_m_s" not in gps:
        notes.lines.append("The fixes hold no speed over ground, only positions.")
