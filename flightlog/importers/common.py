"""What every importer needs: text, missing values, repeated rows, hash, receipt.

The clock has a file of its own, `flightlog.importers.clock`.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flightlog.constants import GPS_EPOCH_UNIX_S, GPS_LEAPS_UNIX_S, WEEK_S
from flightlog.errors import LogFileError
from flightlog.findings import Finding, make_finding
from flightlog.recording import ColumnSource, Receipt, UtcRelation

if TYPE_CHECKING:
    import pandas as pd

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
AnyArray = npt.NDArray[Any]

GPS_LATENCY_STD_S = 0.2
"""How late receivers are, 1 sigma: fixes reach the logger 0.1 to 0.3 s after they hold [s]."""

# An escape sequence goes as a whole: without its first byte the rest would stay as litter.
_ESCAPES = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07\x1b]*(?:\x07|\x1b\\)?|[@-Z\\-_])?")


@dataclass(slots=True)
class Notes:
    """What an importer notices on its way; ends in the receipt and the findings.

    Attributes
    ----------
    findings : list of Finding
        In the order in which they were met.
    dropped : dict of str to int
        Reason -> rows or bytes that are not in the tables.
    lines : list of str
        Anything else worth keeping in the receipt.
    sources : list of ColumnSource
        Where each column of the tables came from.
    unused : list of str
        Columns of the file that feed no table.
    """

    findings: list[Finding] = field(default_factory=list)
    dropped: dict[str, int] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)
    sources: list[ColumnSource] = field(default_factory=list)
    unused: list[str] = field(default_factory=list)

    def find(self, code: str, message: str, **details: Any) -> None:
        """Add a finding; see `flightlog.findings.make_finding`."""
        self.findings.append(make_finding(code, message, **details))

    def drop(self, reason: str, count: int) -> None:
        """Count what was dropped; zero leaves no line."""
        if count:
            self.dropped[reason] = self.dropped.get(reason, 0) + int(count)


def clean_text(text: str) -> str:
    """Text from a log without escape sequences, control codes and direction overrides."""
    if text.isascii() and text.isprintable():
        return text
    text = _ESCAPES.sub("", text)
    # Cc: control codes; Cf: invisible, among them the marks that turn the direction of
    # writing; Cs, Co, Cn: no character at all.
    return "".join(
        " " if char in "\t\n\r" else char
        for char in text
        if char in "\t\n\r" or unicodedata.category(char) not in ("Cc", "Cf", "Cs", "Co", "Cn")
    ).strip()


def read_bytes(path: Path) -> npt.NDArray[np.uint8]:
    """Read the whole file as bytes.

    Raises
    ------
    LogFileError
        If it can't be read, or does not fit into memory.
    """
    try:
        # Not numpy's own reading: it asks for huge pages, whose making stalls small machines.
        return np.frombuffer(path.read_bytes(), dtype=np.uint8)
    except MemoryError:
        raise LogFileError(
            "the file is larger than the free memory",
            where=path.name,
            fix="Close other programs, or use a computer with more memory.",
        ) from None
    except OSError as error:
        raise LogFileError(
            f"the file can't be read ({error})", where=path.name, fix="Copy it to this disk first."
        ) from error


def sha256_of(content: bytes | memoryview) -> str:
    """Hash of the content, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def sha256_of_file(path: Path) -> str:
    """Hash of a file's content, in hexadecimal, without holding it in memory.

    Raises
    ------
    LogFileError
        If it can't be read.
    """
    try:
        with path.open("rb", buffering=0) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise LogFileError(
            f"the file can't be read ({error})", where=path.name, fix="Copy it to this disk first."
        ) from error


def missing_where(values: FloatArray, sentinel: BoolArray) -> tuple[FloatArray, int]:
    """Set sentinels to NaN; give the new array and how many were set.

    Infinities count as sentinels: no sensor measures them.
    """
    bad = sentinel | np.isinf(values)
    count = int(np.count_nonzero(bad))
    return (np.where(bad, np.nan, values) if count else values), count


def repeated_rows(columns: Sequence[AnyArray], group: AnyArray | None = None) -> BoolArray:
    """Tell which rows repeat the row before of the same group in every column.

    Parameters
    ----------
    columns : sequence of arrays
        What makes a row the same; for fixes position, speed and the receiver's own time.
        NaN equals NaN.
    group : array, optional
        Instance per row; only rows of the same instance are compared.
    """
    rows = len(columns[0])
    repeated = np.zeros(rows, dtype=bool)
    groups = np.zeros(rows, dtype=np.int64) if group is None else np.asarray(group)
    for one in distinct(groups):
        at = np.flatnonzero(groups == one)
        same = np.ones(max(len(at) - 1, 0), dtype=bool)
        for column in columns:
            before, after = column[at[:-1]], column[at[1:]]
            same &= (before == after) | ((before != before) & (after != after))
        repeated[at[1:]] = same
    return repeated


def distinct(values: AnyArray) -> list[Any]:
    """Give the different values, rising; quickly where they are few small numbers, as instances."""
    if values.dtype.kind in "iu" and len(values):
        low, high = int(values.min()), int(values.max())
        if low == high:
            return [low]
        if low >= 0 and high < 1024:
            values = np.flatnonzero(np.bincount(values))
    every: list[Any] = np.unique(values).tolist()
    return every


def note_repeated_fixes(repeated: BoolArray, time_s: FloatArray, notes: Notes) -> None:
    """Count repeated fixes and say what the true rate is."""
    count = int(np.count_nonzero(repeated))
    notes.drop("repeated fix", count)
    if not count:
        return
    logged, true = median_rate(time_s), median_rate(time_s[~repeated])
    notes.find(
        "repeated-fixes",
        f"{count} of {len(time_s)} position rows repeat the fix before them; the true rate is "
        f"{true:.3g} Hz, rows come at {logged:.3g} Hz.",
        evidence={"repeated": count, "rows": len(time_s), "true_rate_hz": true},
    )


def median_rate(time_s: FloatArray) -> float:
    """One over the median step of a clock [Hz]; 0 when there is none."""
    steps = np.diff(time_s)
    steps = steps[steps > 0]
    return float(1.0 / np.median(steps)) if len(steps) else 0.0


def gps_unix_s(week: FloatArray, week_time_s: FloatArray) -> FloatArray:
    """Unix seconds of GPS week and time of week; NaN where the receiver had no time yet.

    Notes
    -----
    The GPS epoch is 1980-01-06T00:00:00Z (IS-GPS-200), not the day before, as the description
    of one log format has it. Leap seconds by `leap_seconds`.
    """
    known = (week > 0) & (week_time_s >= 0) & (week_time_s <= WEEK_S)
    gps = GPS_EPOCH_UNIX_S + WEEK_S * week + week_time_s
    return np.where(known, gps - leap_seconds(gps), np.nan)


def leap_seconds(gps_unix: FloatArray) -> FloatArray:
    """How far GPS time was ahead of UTC [s].

    Parameters
    ----------
    gps_unix : array
        GPS time as seconds since 1970-01-01 without leap seconds; NaN gives the value of today.

    Notes
    -----
    Steps of `GPS_LEAPS_UNIX_S` (IERS Bulletin C). 0 before the first one.
    """
    # A step counts from the first GPS second after it.
    steps = np.array(GPS_LEAPS_UNIX_S, dtype=np.float64) + np.arange(1, len(GPS_LEAPS_UNIX_S) + 1)
    return np.searchsorted(steps, gps_unix, side="right").astype(np.float64)


def unrolled_weeks(week: FloatArray, file_unix_s: float, notes: Notes) -> FloatArray:
    """Week numbers from a 10-bit counter, moved to the latest era before the file's date.

    Parameters
    ----------
    week : array
        GPS weeks as logged; 0 where the receiver had no time.
    file_unix_s : float
        When the file was last written, in Unix seconds.
    notes : Notes
        Receives the finding.
    """
    short = (week > 0) & (week < 1024)
    if not short.any():
        return week
    latest = (file_unix_s + 86400 - GPS_EPOCH_UNIX_S) / WEEK_S
    ten_bits = np.where(short, week, 0.0)  # a damaged row may hold an infinity
    eras = np.maximum(np.floor((latest - ten_bits) / 1024), 1)
    notes.find(
        "gps-week-rollover",
        f"The receiver's week counter restarts every 1024 weeks; {int(eras[short][0]) * 1024} "
        "weeks were added to fit the date of the file.",
        evidence={"rows": int(short.sum())},
    )
    return np.where(short, ten_bits + 1024 * eras, week)


def utc_relation(time_s: FloatArray, unix_s: FloatArray, source: str) -> UtcRelation:
    """How the log's clock maps to UTC, from pairs of both.

    Returns
    -------
    UtcRelation
        Median difference; the uncertainty holds the spread and the receivers' lateness.
        Without pairs the relation is unknown.
    """
    good = np.isfinite(time_s) & np.isfinite(unix_s)
    if not good.any():
        return UtcRelation()
    difference = unix_s[good] - time_s[good]
    offset = float(np.median(difference))
    spread = 1.4826 * float(np.median(np.abs(difference - offset)))
    std = float(np.hypot(spread, GPS_LATENCY_STD_S))
    return UtcRelation(offset_s=offset, std_s=std, source=source)


def make_receipt(
    *,
    path: Path,
    size: int,
    sha256: str,
    format: str,
    importer_version: int,
    tables: Mapping[str, pd.DataFrame],
    message_counts: Mapping[str, int],
    notes: Notes,
    firmware: str = "",
    time_origin: str = "boot",
    utc: UtcRelation | None = None,
    seams: Sequence[float] = (),
    chosen_instances: Mapping[str, int] | None = None,
    clock: str = "",
) -> Receipt:
    """Fill the receipt; rows and duration are taken from the tables but the parameters."""
    # Parameters may carry the time at which the autopilot read them, long before the log.
    timed = [t for name, t in tables.items() if len(t) and name != "parameters"]
    ends = [(float(t["time_s"].iloc[0]), float(t["time_s"].iloc[-1])) for t in timed]
    duration = max(e for _, e in ends) - min(s for s, _ in ends) if ends else 0.0
    return Receipt(
        file=clean_text(path.name),
        size=size,
        sha256=sha256,
        format=format,
        importer_version=importer_version,
        firmware=clean_text(firmware),
        time_origin=time_origin,
        duration_s=duration,
        utc=utc or UtcRelation(),
        rows={name: len(t) for name, t in tables.items() if len(t)},
        dropped=dict(notes.dropped),
        message_counts=dict(message_counts),
        seams=tuple(seams),
        chosen_instances=dict(chosen_instances or {}),
        notes=tuple(notes.lines),
        clock=clock,
        columns=tuple(notes.sources),
        unused=tuple(clean_text(name) for name in notes.unused),
    )
