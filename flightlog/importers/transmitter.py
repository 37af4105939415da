"""Transmitter-card log, as open transmitter firmware writes it.

    Date,Time,1RSS(dB),RQly(%),RxBt(V),Curr(A),Capa(mAh),Bat_(%),GPS,GSpd(kmh),Hdg(@),Alt(m),Sats,Thr
    2027-03-02,10:14:59.200,59,100,16.3,0.8,13,76,0.000881 0.000245,0.3,0.00,0,12,-1024
    2027-03-02,10:14:59.700,60,100,16.3,0.8,13,76,0.000881 0.000245,0.3,0.00,0,12,-1024

Traps: columns come in any order, and only those of sensors that were found; date and time are
those of the transmitter's clock, local and set by hand; every row repeats the last telemetry that
came, so most fixes are repeats; several sessions and packs follow each other in one file, at times
with the header in between; the course runs over in 16 bits. `transmitter.toml` says what each
column becomes.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.errors import LogFileError
from flightlog.importers.common import Notes, clean_text
from flightlog.importers.delimited_clock import FileClock, moments_clock, with_silences
from flightlog.importers.delimited_dialect import DELIMITERS, cut
from flightlog.importers.delimited_file import TextFile, open_text, recording_of
from flightlog.importers.delimited_reading import TextTable, unique_names, unix_lines
from flightlog.importers.delimited_tables import Assignment, assemble, tell_unclear
from flightlog.importers.delimited_times import joined, read_moments, tell_moments
from flightlog.importers.registry import Match, Progress
from flightlog.importers.text import head_text
from flightlog.importers.transmitter_rules import assignments, named, sensors
from flightlog.recording import Recording

if TYPE_CHECKING:
    import pandas as pd

VERSION = 1

_OTHERS = re.compile(
    r"[12]RSS|RQly|RSNR|ANT|RFMD|TPWR|TRSS|TQly|TSNR|Bat_|TxBat|VSpd|Tmp[12]|A[1-4]|Fuel|Acc[XYZ]"
    r"|S[A-H]|S[1-3]|LSW|L[12]|CH\d{1,2}|P[1-3]|SL[12]"
)
"""Names that the firmware writes too and that feed no table."""

_HEADER_LINES = 40


def sniff(head: bytes) -> Match:
    """Whether a line of the first bytes is a header with Time and names of the firmware's own."""
    text = head_text(head)
    if text is None:
        return Match.NO
    for line in unix_lines(text).split("\n", _HEADER_LINES)[:_HEADER_LINES]:
        if "Time" not in line or len(line) > 5000:
            continue
        for delimiter in DELIMITERS:
            match = _header_match(cut(line.lstrip("\ufeff"), delimiter))
            if match is not Match.NO:
                return match
    return Match.NO


def _header_match(cells: list[str]) -> Match:
    names = named(unique_names(cells))
    if "Time" not in names or names["Time"].unit:
        return Match.NO
    wanted = {spec["name"]: spec for spec in sensors()}
    known = sum(
        1
        for name, column in names.items()
        if (name in wanted and (column.unit or "unit" in wanted[name])) or _OTHERS.fullmatch(name)
    )
    # The firmware writes no space before the bracket.
    spaced = sum(1 for cell in cells if re.search(r"\s\(", cell))
    if 2 * spaced > known:
        return Match.NO
    if known >= (2 if "Date" in names else 4):
        return Match.YES
    return Match.MAYBE if known and "Date" in names else Match.NO


def load(path: Path, progress: Progress | None = None) -> Recording:
    """Read the file.

    Raises
    ------
    LogFileError
        If no row has a time.
    """
    tell = progress or (lambda _fraction, _what: None)
    tell(0.05, "reading")
    file = open_text(path)
    table, notes = file.table, Notes()
    tell(0.5, "finding the columns")
    if "Time" not in table.header:
        raise LogFileError(
            "no column is named Time",
            where=path.name,
            fix="Give a column map; 'flightlog explain --map FILE' writes a first one.",
        )
    made, unclear = assignments(table, notes, file.decimal)
    clock = card_clock(file, notes)
    tell(0.6, "making tables")
    tables = assemble(table, made, clock, notes, decimal=file.decimal)
    tell_unclear(unclear, notes)
    _tell_packs(tables.get("battery"), notes)
    _unused(table, made, notes)
    if not clock.keep.any():
        raise LogFileError(
            "no row holds a date and time that can be read",
            where=path.name,
            fix="Give a column map; 'flightlog explain --map FILE' writes a first one.",
        )
    tell(1.0, "done")
    units = {table.header[n.at]: n.unit for n in named(table.header).values() if n.unit}
    return recording_of(
        file,
        format="transmitter",
        importer_version=VERSION,
        tables=tables,
        clock=clock,
        notes=notes,
        units=units,
    )


def card_clock(file: TextFile, notes: Notes) -> FileClock:
    """Make the clock of the columns Date and Time."""
    table = file.table
    cells = table.cells(table.header.index("Time"))
    label = "Time"
    if "Date" in table.header:
        cells, label = joined(table.cells(table.header.index("Date")), cells), "Date and Time"
    moments = read_moments(cells)
    tell_moments(moments, table.lines, notes)
    clock = moments_clock(moments, table, notes, named=label, file_name=clean_text(file.path.name))
    return with_silences(clock, notes)


def _tell_packs(battery: pd.DataFrame | None, notes: Notes) -> None:
    """Say where the counted charge starts anew."""
    if battery is None:
        return
    rows = battery[["time_s", "charge_used_coulomb"]].dropna()
    charge, time_s = rows["charge_used_coulomb"].to_numpy(), rows["time_s"].to_numpy()
    for row in np.flatnonzero(np.diff(charge) < -0.5 * charge[:-1])[:20].tolist():
        notes.lines.append(
            f"the counted charge falls from {charge[row] / 3.6:.0f} to {charge[row + 1] / 3.6:.0f} "
            f"mAh at {time_s[row + 1]:.1f} s: another pack, or the counter was reset"
        )


def _unused(table: TextTable, made: list[Assignment], notes: Notes) -> None:
    used = {a.at for a in made}
    notes.unused[:0] = [
        name
        for at, name in enumerate(table.header)
        if at not in used and name not in ("Date", "Time")
    ]
