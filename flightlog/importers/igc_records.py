"""IGC records: framing and checks of each line, aerofiles for the fields.

aerofiles' reader of whole files needs a date in the header and takes each fall of the clock
for midnight; here its decoders of single records are used, and the clock is made of all rows.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from flightlog.importers.tracks import Columns, LineIndex, lines_of

LONGEST = 1000
"""Characters of a record that is still looked at; the format's longest has some hundred."""

EXTENSIONS = ("FXA", "SIU", "GSP", "TRT", "TDS", "LAD", "LOD")
"""Additions to the fix record that feed a column; others stay in the raw table."""

COLUMNS = (
    *("time_of_day_s", "lat", "lon", "valid", "pressure_altitude_m", "gps_altitude_m"),
    *("FXA", "SIU", "GSP", "TRT"),
)
"""Per fix; speed in m/s, others in the format's units."""

HEADERS = {
    "DTE": "date",
    "ALG": "GPS altitude",
    "ALP": "pressure altitude",
    "TZN": "time zone",
    "DTM": "datum",
    "FTY": "recorder",
    "RFW": "firmware",
}
"""Three-letter codes of the header that are used, and what they are."""

KINDS = "ABCDEFGHIJKLMN"
"""Letters that records begin with."""

# Time, latitude, longitude, validity, two altitudes of which negative ones lose a digit.
_FIX = re.compile(
    r"B([01][0-9]|2[0-3])[0-5][0-9][0-5][0-9]"
    r"[0-9]{2}[0-5][0-9]{4}[NS][0-9]{3}[0-5][0-9]{4}[EW][AV](?:[0-9]|-)[0-9]{4}(?:[0-9]|-)[0-9]{4}"
)
_ADDED = re.compile(r"-?[0-9]+|")
FIX_LENGTH = 35


@dataclass(frozen=True, slots=True)
class Extension:
    """An addition to the fix record, by the I record.

    Attributes
    ----------
    code : str
        Three letters.
    start, end : int
        Characters of the line, from 0, end excluded.
    """

    code: str
    start: int
    end: int


@dataclass(slots=True)
class Records:
    """What an IGC text holds.

    Attributes
    ----------
    fixes : Columns
        ``COLUMNS`` of every fix, in the file's order.
    lines : LineIndex
        Where the records of each letter stand.
    header : dict of str to str
        Value of each code in `HEADERS`, the first in the file.
    dates : list of str
        Dates of the header, as ``ddmmyy``.
    extensions : tuple of Extension
        All of the last I record.
    damaged : int
        Fixes that can't be read.
    strange : int
        Lines that are no record.
    refused : int
        Header and I records that the parser can't read.
    """

    fixes: Columns = field(default_factory=lambda: Columns(COLUMNS))
    lines: LineIndex = field(default_factory=LineIndex)
    header: dict[str, str] = field(default_factory=dict)
    dates: list[str] = field(default_factory=list)
    extensions: tuple[Extension, ...] = ()
    damaged: int = 0
    strange: int = 0
    refused: int = 0


def read_records(text: str, tell: Callable[[float], None]) -> Records:
    """Read every record of a text; the parameters are those of `tracks.lines_of`."""
    found = Records()
    for place, line in lines_of(text, tell):
        kind = line[0]
        if kind not in KINDS or len(line) > LONGEST:
            found.strange += 1
            continue
        found.lines.add(kind, place)
        if kind == "B":
            _read_fix(line, found)
        elif kind == "H":
            _read_header(line, found)
        elif kind == "I":
            _read_extensions(line, found)
    return found


def _read_fix(line: str, found: Records) -> None:
    from aerofiles.igc.reader import LowLevelReader

    if not _FIX.match(line) or not _additions_whole(line, found.extensions):
        found.damaged += 1
        return
    used = {e.code: e for e in found.extensions if e.code in EXTENSIONS}
    try:
        record = LowLevelReader.decode_B_record(line)
    except Exception:  # another's parser
        found.damaged += 1
        return
    # Not by aerofiles, which strips the additions first: a blank one would shift those behind it.
    cells = {code: line[e.start : e.end].strip() for code, e in used.items()}
    record |= {code: int(cell) for code, cell in cells.items() if cell}
    found.fixes.add(_row(record, {code: e.end - e.start for code, e in used.items()}))


def _additions_whole(line: str, extensions: tuple[Extension, ...]) -> bool:
    """Whether a fix has all additions of the I record, as digits and nothing behind, or none."""
    if not extensions or len(line) == FIX_LENGTH:
        return True
    # Shorter is cut: its last number lacks digits.
    if len(line) != max(e.end for e in extensions):
        return False
    return all(_ADDED.fullmatch(line[e.start : e.end].strip()) for e in extensions)


def _row(record: dict[str, Any], digits: dict[str, int]) -> dict[str, float]:
    """Turn a decoded fix into numbers; further digits of time and place are put in."""
    moment = record["time"]
    row = {
        "time_of_day_s": moment.hour * 3600.0 + moment.minute * 60.0 + moment.second,
        "lat": record["lat"],
        "lon": record["lon"],
        "valid": float(record["validity"] == "A"),
        "pressure_altitude_m": float(record["pressure_alt"]),
        "gps_altitude_m": float(record["gps_alt"]),
    }
    if "TDS" in record:
        row["time_of_day_s"] += record["TDS"] / 10 ** digits["TDS"]
    for axis, code in (("lat", "LAD"), ("lon", "LOD")):
        if code in record:
            # Digits of the minutes behind the third one.
            more = record[code] / 10 ** digits[code] / 1000.0 / 60.0
            row[axis] += more if row[axis] >= 0 else -more
    for code in ("FXA", "SIU"):
        if code in record:
            row[code] = float(record[code])
    for code in ("GSP", "TRT"):
        if code in record:
            # Three digits are whole units, further ones decimals.
            row[code] = record[code] / 10.0 ** max(digits[code] - 3, 0)
    if "GSP" in row:
        row["GSP"] /= 3.6
    return row


def _read_extensions(line: str, found: Records) -> None:
    from aerofiles.igc.reader import LowLevelReader

    try:
        decoded = LowLevelReader.decode_I_record(line)
        extensions = [
            Extension(e["extension_type"], e["bytes"][0] - 1, e["bytes"][1]) for e in decoded
        ]
    except Exception:  # another's parser
        found.refused += 1
        return
    fits = all(FIX_LENGTH <= e.start < e.end <= LONGEST for e in extensions)
    codes = {e.code for e in extensions}
    if not fits or len(codes) < len(extensions):
        found.refused += 1
        return
    found.extensions = tuple(extensions)


def _read_header(line: str, found: Records) -> None:
    from aerofiles.igc.reader import LowLevelReader

    code = line[2:5]
    if code not in HEADERS:
        return
    if code == "DTE":
        try:
            day = LowLevelReader.decode_H_record(line)["utc_date"]
        except Exception:  # another's parser
            found.refused += 1
            return
        if day is not None:
            found.dates.append(f"{day:%Y-%m-%d}")
        return
    # The parser refuses what is outside of its lists, such as "WGS84 ELLIPSOID" spelt otherwise.
    _, colon, value = line[5:].partition(":")
    found.header.setdefault(code, (value if colon else line[5:]).strip())
