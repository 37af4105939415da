"""Parameters of an autopilot: read from a log or from a text, written as one list, compared.

The list is JSON after RFC 8785: pairs of name and decimal text, sorted by name, without what
autopilots write by themselves. A value has the digits that its 32-bit float needs, because as such
autopilots hold and log it, so that the same setting gives the same list, and the same SHA-256, by
whatever way it was read. A whole number that a 32-bit float can't hold keeps all its digits.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from flightlog.analyses.settings import SELF_WRITTEN, ZEROED_AT_REST, setup_of
from flightlog.errors import LogFileError, TeamFileError, UnknownFormatError
from flightlog.importers import read
from flightlog.importers.registry import Progress
from flightlog.recording import Recording
from flightlog.team.contents import working_bytes

MOST_PARAMETERS = 20_000
"""No autopilot has more; a log given by mistake may."""
AUTOPILOT = "1"
"""Number of the autopilot among the components of a vehicle, in telemetry."""

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]{0,39}")
_NUMBER = re.compile(
    r"[+-]?(?:[0-9]{1,40}(?:\.[0-9]{0,40})?|\.[0-9]{1,40})(?:[eE][+-]?[0-9]{1,3})?"
)
_NOT_SET = {"nan", "+nan", "-nan"}
_COLUMNS = 5
_WHOLE = 2**53
_FIRMWARE = re.compile(r"#\s*firmware\s*[:=]\s*(\S.{0,119})", re.IGNORECASE)
_EARLIEST, _LATEST = datetime(2020, 1, 1, tzinfo=UTC), datetime(9000, 1, 1, tzinfo=UTC)
"""Earlier than that stand clocks which were never set."""


@dataclass(frozen=True, slots=True)
class Parameters:
    """Parameters as they were read.

    Attributes
    ----------
    values : mapping of str to float
        In each parameter's own unit, without what autopilots write by themselves.
    firmware : str
        Its text, empty where the source does not tell.
    source : str
        Name of the file, for people.
    at : datetime or None
        When they stood so, by a log (aware).
    """

    values: Mapping[str, float]
    firmware: str
    source: str
    at: datetime | None = None

    @property
    def data(self) -> bytes:
        """The list as it is attached; see the top of this module."""
        rows = [[name, decimal_text(value)] for name, value in _sorted(self.values).items()]
        text = json.dumps(rows, ensure_ascii=False, separators=(",", ":"))
        return text.encode("utf-8", "replace")


def decimal_text(value: float) -> str:
    """Write a value with the digits that its 32-bit float needs, without a power of ten."""
    with np.errstate(over="ignore"):
        single = np.float32(value)
    whole = float(value).is_integer() and abs(value) < _WHOLE
    if whole and float(single) != value:
        return str(int(value))
    if not np.isfinite(single):
        return f"{value:.0f}" if math.isfinite(value) else str(value)
    text = np.format_float_positional(single, unique=True, trim="-")
    return "0" if text == "-0" else text


def _sorted(values: Mapping[str, float]) -> dict[str, float]:
    return dict(sorted(values.items()))


def set_by_people(values: Mapping[str, float]) -> dict[str, float]:
    """Leave out what autopilots write by themselves, and what is no number."""
    return {
        name: float(value)
        for name, value in _sorted(values).items()
        if not SELF_WRITTEN.fullmatch(name)
        and not ZEROED_AT_REST.fullmatch(name)
        and math.isfinite(value)
    }


def values_in(data: bytes) -> dict[str, str]:
    """Read a list that was attached: name -> decimal text.

    Raises
    ------
    LogFileError
        If it is not such a list.
    """
    try:
        rows = json.loads(data.decode("utf-8"))
        found = {name: text for name, text in rows}
    except (ValueError, TypeError, RecursionError) as error:
        raise LogFileError("is no list of parameters") from error
    if not all(isinstance(part, str) for pair in found.items() for part in pair):
        raise LogFileError("is no list of parameters")
    return found


# --- from files


def read_parameters(path: Path, firmware: str = "", progress: Progress | None = None) -> Parameters:
    """Read parameters from a log, or from a text of names and values.

    Parameters
    ----------
    path : Path
        The file.
    firmware : str
        Text of the firmware, for a file that does not tell it.
    progress : callable, optional
        See `flightlog.importers.read`.

    Raises
    ------
    LogFileError
        If it is neither, or holds none; of a text the line is named.

    Notes
    -----
    A text is UTF-8 with one parameter in a line, ``NAME VALUE``, with spaces, a comma or a tab
    between, or with the five columns vehicle, component, name, value and type, with tabs between.
    What follows ``#`` is a comment; ``# firmware: TEXT`` tells the firmware.
    """
    try:
        found = parameters_of(read(path, progress=progress), path.name)
    except UnknownFormatError:
        found = _from_text(path)
    return Parameters(found.values, found.firmware or firmware, found.source, found.at)


def parameters_of(recording: Recording, source: str) -> Parameters:
    """Give the parameters that stood at the end of a log.

    Raises
    ------
    LogFileError
        If the log holds none.
    """
    setup = setup_of(recording, math.inf)
    values = set_by_people(setup.values)
    if not values:
        raise LogFileError(
            "holds no parameters",
            where=source,
            fix="Give a log of the autopilot's own card, or save its parameters to a file.",
        )
    return Parameters(values, setup.firmware, source, _end_of(recording))


def _end_of(recording: Recording) -> datetime | None:
    """Give the time of a log's last row; None where it does not tell a time that there is."""
    offset_s = recording.receipt.utc.unix_offset_s
    lasts = [float(recording[name]["time_s"].iloc[-1]) for name in recording]
    if offset_s is None or not lasts:
        return None
    seconds = offset_s + max(lasts)
    if not _EARLIEST.timestamp() <= seconds <= _LATEST.timestamp():
        return None
    return datetime.fromtimestamp(0, UTC) + timedelta(seconds=int(seconds))


def _from_text(path: Path) -> Parameters:
    try:
        data = working_bytes(path)
    except TeamFileError as error:
        raise LogFileError(error.found, where=error.where, fix=error.fix) from error
    try:
        lines = data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise LogFileError(
            f"byte 0x{data[error.start]:02x} is not UTF-8",
            where=f"{path}:{line}",
            fix="Give a log, or a text with one parameter in a line: NAME VALUE.",
        ) from error
    values = set_by_people(_stated(lines, path))
    if not values:
        raise LogFileError(
            "holds no parameters", where=str(path), fix="Give a log, or a text: NAME VALUE."
        )
    told = (match for line in lines if (match := _FIRMWARE.match(line.strip())))
    firmware = next((match[1].strip() for match in told), "")
    return Parameters(values, firmware, path.name)


@dataclass(frozen=True, slots=True)
class _Row:
    """One line of a text: of which vehicle and component, "" where it does not say."""

    of: tuple[str, str]
    name: str
    value: float


def _stated(lines: Iterable[str], path: Path) -> dict[str, float]:
    """Give what a text states, each name once."""
    rows: dict[tuple[tuple[str, str], str], float] = {}
    for number, line in enumerate(lines, start=1):
        text = line.partition("#")[0].strip()
        if not text:
            continue
        row = _row(text)
        if row is None:
            raise LogFileError(
                f"{text[:60]!r} is no parameter with its value",
                where=f"{path}:{number}",
                fix="One in a line: NAME VALUE. What follows # is a comment.",
            )
        before = rows.setdefault((row.of, row.name), row.value)
        if decimal_text(before) != decimal_text(row.value):
            raise LogFileError(
                f"{row.name} is there twice, {before:g} and {row.value:g}",
                where=f"{path}:{number}",
                fix="Delete one of them.",
            )
        if len(rows) > MOST_PARAMETERS:
            raise LogFileError(
                f"holds more than {MOST_PARAMETERS} parameters",
                where=str(path),
                fix="Check that the right file is named.",
            )
    of = _whose({of for of, _ in rows}, path)
    return {name: value for (whose, name), value in rows.items() if whose == of}


def _whose(found: set[tuple[str, str]], path: Path) -> tuple[str, str]:
    """Choose the autopilot among several components of one vehicle."""
    if len(found) < 2:
        return next(iter(found), ("", ""))
    autopilots = [of for of in found if of[1] == AUTOPILOT]
    if len(autopilots) != 1 or len({vehicle for vehicle, _ in found}) != 1:
        raise LogFileError(
            "holds parameters of several vehicles or components, and not of one autopilot",
            where=str(path),
            fix="Save those of the autopilot alone.",
        )
    return autopilots[0]


def _row(text: str) -> _Row | None:
    cells = [cell.strip() for cell in text.split("\t")]
    of = ("", "")
    if len(cells) == _COLUMNS and all(re.fullmatch(r"[0-9]{1,3}", c) for c in cells[:2]):
        of, cells = (cells[0], cells[1]), cells[2:4]
    elif len(cells) == 1:
        cells = [cell.strip() for cell in (text.split(",") if "," in text else text.split())]
    if len(cells) != 2 or not _NAME.fullmatch(cells[0]):
        return None
    if cells[1].lower() in _NOT_SET:
        return _Row(of, cells[0], math.nan)
    if not _NUMBER.fullmatch(cells[1]):
        return None
    value = float(cells[1])
    return _Row(of, cells[0], value) if math.isfinite(value) else None


# --- comparing


@dataclass(frozen=True, slots=True)
class Comparison:
    """How parameters that were read differ from a baseline.

    Attributes
    ----------
    changed : mapping of str to (str, str)
        Name -> value of the baseline, value read.
    not_read : tuple of str
        Names of the baseline that were not read: what they are is not known.
    new : tuple of str
        Names that were read and that the baseline lacks.
    """

    changed: Mapping[str, tuple[str, str]]
    not_read: tuple[str, ...]
    new: tuple[str, ...]

    @property
    def same(self) -> bool:
        """Whether all of the baseline was read, and nothing else, with the same values."""
        return not (self.changed or self.not_read or self.new)

    def told(self) -> list[str]:
        """Say the differences, one text each."""
        return [
            *(f"{name} {before} -> {after}" for name, (before, after) in self.changed.items()),
            *(f"{name} is not in the baseline" for name in self.new),
            *(f"{name} was not read" for name in self.not_read),
        ]


def compare(baseline: Mapping[str, str], was_read: Mapping[str, str]) -> Comparison:
    """Compare two lists of names and decimal texts."""
    both = sorted(baseline.keys() & was_read.keys())
    return Comparison(
        {n: (baseline[n], was_read[n]) for n in both if baseline[n] != was_read[n]},
        tuple(sorted(baseline.keys() - was_read.keys())),
        tuple(sorted(was_read.keys() - baseline.keys())),
    )
