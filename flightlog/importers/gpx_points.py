"""Track points out of GPX text: one at a time, and on behind damage.

The XML is read by the standard library's streaming parser, which holds one point at a time;
the fields of each point are read by gpxpy. gpxpy's own reading of a whole file builds a tree
and then objects of all points, 20 to 45 times the file's size in memory, and gives nothing at
all when one tag of the file is damaged.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from xml.etree.ElementTree import Element, SubElement
from xml.parsers import expat

from flightlog.errors import LogFileError
from flightlog.importers.tracks import Columns

DEEPEST = 64
"""Elements inside each other; no track needs ten."""

SLICE_BYTES = 1 << 16
"""How much the parser is given at a time, so that it stops soon behind damage [bytes]."""

MOST_BREAKS = 10_000
"""A file that is broken more often is given up."""

LONGEST_CELL = 100
"""Characters; no number or time is longer."""

FIELDS = ("lat", "lon", "ele", "time", "speed", "course", "hdop", "sat", "fix")
COLUMNS = (*FIELDS, "segment")

FIXES = {"none": 0.0, "2d": 2.0, "3d": 3.0, "dgps": 4.0, "pps": 3.0}
"""GPX names of the kinds of fix -> the house's numbers."""

_COUNTED = ("trkpt", "wpt", "rtept", "trk", "trkseg", "rte")
_BESIDE = ("ele", "time", "speed", "course", "hdop", "sat", "fix")
_IN_EXTENSIONS = ("speed", "course")
_NEXT_POINT = re.compile(rb"<(?:[\w.-]{1,40}:)?trkpt[\s/>]")
_LOOSE_TIME = re.compile(r"[0-9-]{8,10}[T ][0-9:.]{5,25}(?:Z|[+-][0-9:]{2,5})?")
_AT_END = {
    expat.errors.codes[message]
    for message in (
        expat.errors.XML_ERROR_NO_ELEMENTS,
        expat.errors.XML_ERROR_UNCLOSED_TOKEN,
        expat.errors.XML_ERROR_UNCLOSED_CDATA_SECTION,
        expat.errors.XML_ERROR_PARTIAL_CHAR,
    )
}
_START = b"<gpx><trk><trkseg>"


@dataclass(slots=True)
class Points:
    """What a GPX text holds.

    Attributes
    ----------
    rows : Columns
        ``COLUMNS`` of every point with a position; time in Unix seconds.
    counts : dict of str to int
        Elements by name.
    breaks : int
        Places where the text is no XML; reading went on at the next point.
    lost : int
        Points whose position can't be read.
    unread : dict of str to int
        Other cells that can't be read, by name.
    cut : bool
        Whether the text ends inside an element.
    zoneless : int
        Times that name no zone.
    extensions : set of str
        Fields that came from a point's extensions.
    """

    rows: Columns
    counts: dict[str, int] = field(default_factory=dict)
    breaks: int = 0
    lost: int = 0
    unread: dict[str, int] = field(default_factory=dict)
    cut: bool = False
    zoneless: int = 0
    extensions: set[str] = field(default_factory=set)


class _Handler:
    """Builds the point that the parser is in, and gives it away at its end."""

    def __init__(self, points: Points, give: Callable[[Element, int], None]) -> None:
        self.points = points
        self.give = give
        self.depth = 0
        self.point: Element | None = None
        self.point_depth = 0
        self.extended = 0
        self.cell: Element | None = None
        self.cell_depth = 0

    def parser(self) -> expat.XMLParserType:
        parser = expat.ParserCreate("utf-8")
        parser.buffer_text = True
        parser.StartElementHandler = self.start
        parser.EndElementHandler = self.end
        parser.CharacterDataHandler = self.data
        parser.StartDoctypeDeclHandler = _refuse_doctype
        return parser

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        if self.depth > DEEPEST:
            raise LogFileError(
                f"elements stand inside each other {DEEPEST} deep",
                fix="This is no track; export it again.",
            )
        name = name.rpartition(":")[2]
        if self.point is not None:
            self._inside(self.point, name)
            return
        if name in _COUNTED:
            counts = self.points.counts
            counts[name] = counts.get(name, 0) + 1
        if name == "trkpt":
            self.point = Element("trkpt", attributes)
            self.point_depth, self.extended = self.depth, 0

    def _inside(self, point: Element, name: str) -> None:
        below = self.depth - self.point_depth
        if below == 1 and name == "extensions":
            self.extended = self.depth
            return
        known = _IN_EXTENSIONS if self.extended else _BESIDE if below == 1 else ()
        if self.cell is None and name in known and point.find(name) is None:
            self.cell, self.cell_depth = SubElement(point, name), self.depth
            if self.extended:
                self.points.extensions.add(name)

    def data(self, text: str) -> None:
        if self.cell is not None and self.depth == self.cell_depth:
            self.cell.text = ((self.cell.text or "") + text[:LONGEST_CELL])[:LONGEST_CELL]

    def end(self, _: str) -> None:
        if self.depth == self.cell_depth:
            self.cell, self.cell_depth = None, 0
        if self.depth == self.extended:
            self.extended = 0
        if self.point is not None and self.depth == self.point_depth:
            point, self.point = self.point, None
            self.give(point, self.points.counts.get("trkseg", 0))
        self.depth -= 1


def _refuse_doctype(*_: object) -> None:
    raise refusal()


def refusal() -> LogFileError:
    """Say that a file with its own document type is not read."""
    return LogFileError(
        "the file declares its own XML entities or document type, which no track needs",
        fix="Export the track again with another program.",
    )


def read_points(text: str, tell: Callable[[float], None]) -> Points:
    """Read all track points.

    Parameters
    ----------
    text : str
        The file without byte-order mark.
    tell : callable
        Called with the fraction done.

    Raises
    ------
    LogFileError
        If the text declares a document type, or nests elements beyond `DEEPEST`.
    """
    if declares_doctype(text):
        raise refusal()
    points = Points(Columns(COLUMNS))
    give = _point_reader(points)
    # Whatever the declaration says of the encoding: the text is decoded already.
    content = text.encode("utf-8", "replace")
    start: int | None = 0
    while start is not None:
        start = _read_until_damage(content, start, points, give, tell)
    return points


def _read_until_damage(
    content: bytes,
    start: int,
    points: Points,
    give: Callable[[Element, int], None],
    tell: Callable[[float], None],
) -> int | None:
    """Read from a place on; give the place of the next point behind damage, None at the end."""
    handler = _Handler(points, give)
    parser = handler.parser()
    # Behind damage the tags that are open are not known; points need only these.
    ahead = len(_START) if start else 0
    try:
        if ahead:
            parser.Parse(_START, False)
        for place in range(start, len(content), SLICE_BYTES):
            parser.Parse(content[place : place + SLICE_BYTES], False)
            tell(min(1.0, (place + SLICE_BYTES) / len(content)))
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        broken = start + max(parser.ErrorByteIndex - ahead, 0)
        at_end = error.code in _AT_END
        following = _NEXT_POINT.search(content, max(broken + at_end, start + 1))
        if following is None and (at_end or broken >= len(content)):
            points.cut = True
            return None
        points.breaks += 1
        if following is None or points.breaks >= MOST_BREAKS:
            return None
        return following.start()
    return None


def declares_doctype(text: str) -> bool:
    """Whether a document type stands before the root element."""
    return any(part.startswith("<!") and not part.startswith("<!--") for part in prolog(text))


def prolog(text: str) -> Iterator[str]:
    """Give the beginnings of everything before the root element, and of the root element."""
    place = 0
    while 0 <= (place := text.find("<", place)):
        part = text[place : place + 80]
        yield part
        if part.startswith("<!--"):
            place = text.find("-->", place)
        elif part.startswith("<?"):
            place = text.find("?>", place)
        else:
            return
        if place < 0:
            return


def _point_reader(points: Points) -> Callable[[Element, int], None]:
    """Give the function that reads one point into the rows, by gpxpy's fields."""
    from gpxpy.gpx import GPXTrackPoint

    # Those of version 1.0 hold speed and course, which files of 1.1 carry as well.
    by_name = {f.tag or f.attribute: f for f in GPXTrackPoint.gpx_10_fields}
    readers = {name: by_name[name] for name in FIELDS}

    def cell(point: Element, name: str) -> float | None:
        try:
            value = readers[name].from_xml(point, "1.0")
            return FIXES.get(value) if name == "fix" else value
        except Exception:  # another's parser; what it raises differs by field
            return _unread(point, name)

    def give(point: Element, segment: int) -> None:
        row: dict[str, float] = {"segment": segment}
        for name in FIELDS:
            if name not in ("lat", "lon") and point.find(name) is None:
                continue
            value = _unix_s(point, points) if name == "time" else cell(point, name)
            if value is not None:
                row[name] = float(value)
            elif _has_text(point, name):
                points.unread[name] = points.unread.get(name, 0) + 1
        if "lat" in row and "lon" in row:
            points.rows.add(row)
        else:
            points.lost += 1

    return give


def _unread(point: Element, name: str) -> float | None:
    """What gpxpy refuses: satellites as "8.0" are a number all the same."""
    if name == "sat":
        try:
            return float(point.findtext(name, ""))
        except ValueError:
            return None
    return None


def _has_text(point: Element, name: str) -> bool:
    return bool((point.findtext(name) or "").strip())


def _unix_s(point: Element, points: Points) -> float | None:
    """Unix seconds; a time without a zone is UTC, as the format has it."""
    text = (point.findtext("time") or "").strip()
    moment = _moment(text)
    if moment is None:
        return None
    try:
        if moment.tzinfo is None:
            points.zoneless += 1
            moment = moment.replace(tzinfo=UTC)
        return moment.timestamp()
    except (ValueError, OverflowError):
        return None


def _moment(text: str) -> datetime | None:
    from gpxpy.gpxfield import parse_time

    if len(text) <= len("2027-03-02"):
        return None  # a day alone is no time
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        # gpxpy reads 2027-3-2T9:14:05Z too, but takes nearly any letter for the sign of a zone.
        if not _LOOSE_TIME.fullmatch(text):
            return None
    try:
        return parse_time(text)
    except Exception:  # another's parser
        return None
