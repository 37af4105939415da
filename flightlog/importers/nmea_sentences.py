"""NMEA 0183 sentences to fixes: framing and checksum, pynmea2 for the fields, epochs.

A receiver says one fix in several sentences: position and height in GGA or GNS, speed, course
and date in RMC, the kind of fix in GSA. Those of one time make one row. VTG and GSA carry no
time and belong to the last sentence before them that does.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from functools import reduce
from operator import xor
from typing import TYPE_CHECKING, Any

from flightlog.constants import KNOT_M_S
from flightlog.importers.tracks import OTHERS, Columns, LineIndex, lines_of

if TYPE_CHECKING:
    from pynmea2.nmea import NMEASentence

LONGEST = 512
"""Characters of a sentence; the standard allows 82, some receivers write more."""

TIMED = ("GGA", "RMC", "GNS", "GLL", "ZDA")
USED = (*TIMED, "VTG", "GSA")

COLUMNS = (
    *("time_of_day_s", "day_unix_s"),
    *(f"{kind}_{axis}" for kind in ("gga", "gns", "rmc", "gll") for axis in ("lat", "lon", "fix")),
    *(f"{kind}_{name}" for kind in ("gga", "gns") for name in ("alt", "sats", "hdop")),
    *("rmc_speed", "rmc_course", "vtg_speed", "vtg_course", "gsa_fix", "gsa_hdop"),
)
"""Per epoch; speed in m/s, angles in degrees, ``fix`` as the house counts them."""

QUALITY = {0: 0, 1: 3, 2: 4, 3: 3, 4: 6, 5: 5, 6: 1, 7: 1, 8: 1}
"""GGA's quality -> fix: estimated, manual and simulated positions (6 to 8) are no fixes. Some
receivers use 9 for a corrected one: a number that is not listed is a fix."""

MODES = {"N": 0, "A": 3, "D": 4, "P": 4, "R": 6, "F": 5, "E": 1, "M": 1, "S": 1}
"""Mode indicator of GNS, RMC and GLL -> fix."""

_HEAD = re.compile(r"(?:P[A-Z0-9]{2,10}|[A-Z]{2}[A-Z0-9]{3})\Z", re.ASCII)
_SUM = re.compile(r"([0-9A-Fa-f]{2})(?![0-9A-Za-z])", re.ASCII)
_ANGLE = re.compile(r"[0-9]{3,5}(?:\.[0-9]{0,12})?\Z", re.ASCII)
_TIME = re.compile(r"[0-9]{6}(?:\.[0-9]{0,9})?\Z", re.ASCII)

Row = dict[str, float]


@dataclass(slots=True)
class Sentences:
    """What a text of sentences holds.

    Attributes
    ----------
    epochs : Columns
        ``COLUMNS`` of every epoch, in the file's order.
    lines : LineIndex
        Where the sentences of each kind stand.
    damaged : int
        Sentences with a wrong or missing checksum, or fields that can't be.
    strange : int
        Lines that hold no sentence at all.
    timeless : int
        Sentences of fixes without a time.
    unchecked : int
        Sentences that were taken without a checksum, in a file that has hardly any.
    """

    epochs: Columns = field(default_factory=lambda: Columns(COLUMNS))
    lines: LineIndex = field(default_factory=LineIndex)
    damaged: int = 0
    strange: int = 0
    timeless: int = 0
    unchecked: int = 0


def read_sentences(text: str, tell: Callable[[float], None]) -> Sentences:
    """Read every sentence of a text; the parameters are those of `tracks.lines_of`."""
    # Where checksums are written, a sentence without one is cut.
    need_sum = text.count("*") >= 0.5 * text.count("$")
    found = Sentences()
    epoch = _Epoch(found)
    for place, line in lines_of(text, tell):
        # Nor can a last line without an end be trusted that far.
        at_end = place + len(line) >= len(text)
        sentence = _framed(line, place, found, need_sum or at_end)
        if sentence is not None:
            epoch.take(sentence)
    return found


def _framed(line: str, place: int, found: Sentences, need_sum: bool) -> str | None:
    """Give the sentence of a line without start and checksum if it is one of those used."""
    start = line.rfind("$")
    if start < 0:
        _count_other(line, place, found)
        return None
    if start and _HEAD.match(line[:start].rpartition("$")[2].partition(",")[0]):
        found.damaged += 1  # a sentence that the next one was written into
    body, star, rest = line[start + 1 : start + 1 + LONGEST].partition("*")
    head = body.partition(",")[0]
    if not _HEAD.match(head) or not _is_whole(body, star, rest, need_sum):
        found.damaged += 1
        return None
    found.unchecked += not star
    found.lines.add(head, place + start)
    return body if head[2:] in USED and head[0] != "P" else None


def _is_whole(body: str, star: str, rest: str, need_sum: bool) -> bool:
    if not star:
        return not need_sum and len(body) < LONGEST
    stated = _SUM.match(rest)
    return stated is not None and reduce(xor, body.encode("latin-1", "replace"), 0) == int(
        stated.group(1), 16
    )


def _count_other(line: str, place: int, found: Sentences) -> None:
    """Count a line without a sentence of a receiver: ships' reports, comments, damage."""
    head = line[line.find("!") + 1 :].partition(",")[0] if "!" in line else ""
    if _HEAD.match(head):
        found.lines.add(f"!{head}", place)
    else:
        found.strange += 1


class _Epoch:
    """Puts sentences of one time into one row."""

    def __init__(self, found: Sentences) -> None:
        from pynmea2 import NMEASentence

        self.parse: Callable[[str], NMEASentence] = NMEASentence.parse
        self.found = found
        self.time_of_day_s: float | None = None
        self.seen: set[str] = set()

    def take(self, body: str) -> None:
        """Add one sentence to the row of its time."""
        try:
            message: Any = self.parse(body)
            kind = message.sentence_type
            # Another's parser: what it raises differs by field, some gives texts for numbers.
            row = READERS[kind](message)
            time_of_day_s = _time_of_day_s(message) if kind in TIMED else None
        except Exception:
            self.found.damaged += 1
            return
        if kind in TIMED:
            if time_of_day_s is None:
                # What follows without a time belongs to this one, not to the row before.
                self.time_of_day_s = None
                self.found.timeless += 1
                return
            if time_of_day_s != self.time_of_day_s or kind in self.seen:
                self.found.epochs.add({"time_of_day_s": time_of_day_s})
                self.time_of_day_s, self.seen = time_of_day_s, set()
            self.seen.add(kind)
        if self.time_of_day_s is None:
            return
        for name, value in row.items():
            self.found.epochs.fill(name, value)


def _time_of_day_s(message: Any) -> float | None:
    place = message.name_to_idx["timestamp"]
    text = message.data[place] if place < len(message.data) else ""
    if not text:
        return None
    moment = message.timestamp
    if not _TIME.match(text) or not isinstance(moment, time):
        raise ValueError(f"no time: {text!r}")
    # pynmea2 cuts the fraction to a whole number below: 0.29 s would lose a microsecond.
    fraction = float(f"0{text[6:]}") if len(text) > 7 else 0.0
    return moment.hour * 3600.0 + moment.minute * 60.0 + moment.second + fraction


def _position(message: Any, kind: str) -> Row:
    """Latitude and longitude of a sentence; nothing where it has none."""
    texts = message.lat, message.lon
    if not all(texts):
        return {}
    if message.lat_dir not in ("N", "S") or message.lon_dir not in ("E", "W"):
        raise ValueError("no hemisphere")
    for text in texts:
        if not _ANGLE.match(text) or float(text) % 100.0 >= 60.0:
            raise ValueError(f"no degrees and minutes: {text!r}")
    if "." not in texts[0]:
        message.lat = f"{texts[0]}.0"  # the point that pynmea2 asks for
    if "." not in texts[1]:
        message.lon = f"{texts[1]}.0"
    latitude, longitude = message.latitude, message.longitude
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise ValueError("no place on earth")
    return {f"{kind}_lat": latitude, f"{kind}_lon": longitude}


def _numbers(**texts: object) -> Row:
    """Numbers of those fields that are not empty."""
    return {name: float(str(text)) for name, text in texts.items() if text not in (None, "")}


def _mode_fix(status: str, mode: str) -> float:
    """Fix by status (A valid, V not) and mode indicator; receivers before 2000 have no mode."""
    if status != "A":
        return 0.0
    return float(max((MODES.get(letter, 3) for letter in mode), default=3))


def _gga(message: Any) -> Row:
    row = _position(message, "gga")
    row |= _numbers(
        gga_alt=message.altitude, gga_sats=message.num_sats, gga_hdop=message.horizontal_dil
    )
    row["gga_fix"] = float(QUALITY.get(int(message.gps_qual or 0), 3))
    if message.altitude_units not in ("M", "m", ""):
        raise ValueError("altitude in another unit than metres")
    return row


def _gns(message: Any) -> Row:
    row = _position(message, "gns")
    row |= _numbers(gns_alt=message.altitude, gns_sats=message.num_sats, gns_hdop=message.hdop)
    row["gns_fix"] = _mode_fix("A", message.mode_indicator or "N")
    return row


def _rmc(message: Any) -> Row:
    row = _position(message, "rmc")
    row["rmc_fix"] = _mode_fix(message.status, message.mode_indicator)
    if row["rmc_fix"] >= 2:
        row |= _numbers(rmc_speed=message.spd_over_grnd, rmc_course=message.true_course)
        if "rmc_speed" in row:
            row["rmc_speed"] *= KNOT_M_S
    day = message.datestamp
    if isinstance(day, date):
        row["day_unix_s"] = _day_unix_s(day)
    elif day:
        raise ValueError("no date")
    return row


def _gll(message: Any) -> Row:
    row = _position(message, "gll")
    row["gll_fix"] = _mode_fix(message.status, message.faa_mode)
    return row


def _zda(message: Any) -> Row:
    if message.year and message.month and message.day:
        return {"day_unix_s": _day_unix_s(date(message.year, message.month, message.day))}
    return {}


def _vtg(message: Any) -> Row:
    # Without the letters it is the form of before 1995, whose fields stand elsewhere.
    row = _numbers(vtg_course=message.true_track) if message.true_track_sym == "T" else {}
    knots, km_h = message.spd_over_grnd_kts, message.spd_over_grnd_kmph
    if knots is not None and message.spd_over_grnd_kts_sym == "N":
        row["vtg_speed"] = float(knots) * KNOT_M_S
    elif km_h is not None and message.spd_over_grnd_kmph_sym == "K":
        row["vtg_speed"] = float(km_h) / 3.6
    return row


def _gsa(message: Any) -> Row:
    fixes = {"1": 0.0, "2": 2.0, "3": 3.0}
    return {"gsa_fix": fixes[message.mode_fix_type]} | _numbers(gsa_hdop=message.hdop)


READERS: Mapping[str, Callable[[Any], Row]] = {
    "GGA": _gga,
    "GNS": _gns,
    "RMC": _rmc,
    "GLL": _gll,
    "ZDA": _zda,
    "VTG": _vtg,
    "GSA": _gsa,
}


def _day_unix_s(day: date) -> float:
    return datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()


def field_names(head: str) -> tuple[str, ...]:
    """Names of a sentence's fields, as the parser has them; none for an unknown one."""
    from pynmea2 import TalkerSentence

    kind = TalkerSentence.sentence_types.get(head[2:]) if head != OTHERS else None
    return tuple(f[1] for f in kind.fields) if kind is not None else ()
