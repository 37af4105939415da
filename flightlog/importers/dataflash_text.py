"""DataFlash text logs: lines as ``GPS, 3, 511214500, 1768, 7, 1.99, …``.

The text form of a DataFlash log, as programs print it. Which cell is what is told by lines of
the type FMT in the same file::

    FMT, 130, 45, GPS, BIHBcLLeeEefI, Status,TimeMS,Week,NSats,HDop,Lat,Lng,RelAlt,Alt,…

Fields that the format scales (characters c, C, e, E, L) are printed scaled; a field of modes
(M) is printed as a name or as its number. From there on all is as in a binary log.

Traps: a type may be declared after its first use, twice, in another way, or not at all; texts
hold commas; lines are cut, joined or full of other bytes; cells hold no number; editors change
encoding and ends of lines.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flightlog.errors import LogFileError
from flightlog.importers import text
from flightlog.importers.common import Notes, clean_text, sha256_of_file
from flightlog.importers.dataflash_lines import UNDECLARED, declaration, line_types, read_lines
from flightlog.importers.registry import Match, Progress

if TYPE_CHECKING:
    from flightlog.importers.dataflash_text_tables import TextLog
    from flightlog.recording import Recording

SNIFFED_LINES = 4000

_MESSAGE = re.compile(r"([A-Z][A-Z0-9_]{1,3}),\s?[-+0-9A-Za-z. ]")
_USUAL = {"PARM", "GPS", "IMU", "ATT", "CTUN", "NTUN", "MODE", "BARO", "RCOU", "RCIN", "MAG", "BAT"}


def sniff(head: bytes) -> Match:
    """Tell a DataFlash text log by its declarations.

    Yes when the text starts with one, maybe when they stand further on or when only messages
    of the usual names are seen.
    """
    lines = [line.strip() for line in text.decode(head).text.splitlines()[:SNIFFED_LINES]]
    lines = [line for line in lines if line]
    if not lines:
        return Match.NO
    if declaration(lines[0]) is not None:
        return Match.YES
    if any(line.startswith("FMT,") and declaration(line) is not None for line in lines):
        return Match.MAYBE
    names = [match[1] for line in lines if (match := _MESSAGE.match(line))]
    # The last line is cut.
    all_alike = len(names) >= 20 and len(names) >= 0.9 * (len(lines) - 1)
    return Match.MAYBE if all_alike and len(set(names) & _USUAL) >= 3 else Match.NO


def load(path: Path, progress: Progress | None = None) -> Recording:
    """Read a DataFlash text log; see `flightlog.importers.read`.

    Raises
    ------
    LogFileError
        If not one message but declarations can be read.
    """
    from flightlog.importers.dataflash_tables import finish_recording
    from flightlog.importers.dataflash_text_tables import TextLog

    sha256 = sha256_of_file(path)
    size = path.stat().st_size
    if progress is not None:
        progress(0.0, "finding lines")
    log = TextLog(read_lines(path))
    if progress is not None:
        progress(0.5, "finding lines")
    if not any(name != "FMT" for name in log):
        raise _nothing(log, path.name)
    notes = Notes()
    header = [one for one in map(clean_text, log.header) if one]
    if header:
        notes.lines.append(f"before the first message: {'; '.join(header[:5])}"[:400])
    tell_lines(log, notes)
    return finish_recording(
        path,
        log,
        records=log.records,
        size=size,
        sha256=sha256,
        format="dataflash-text",
        notes=notes,
        firmware=next((one for one in header if re.search(r"\bV?\d+\.\d+", one)), ""),
        tell=lambda notes: tell_cells(log, notes),
        progress=progress,
    )


def _nothing(log: TextLog, where: str) -> LogFileError:
    if len(log) or not log.lost.undeclared:
        found = "no line could be read but declarations" if len(log) else "no line could be read"
        return LogFileError(found, where=where, fix="Copy the file from the aircraft's card again.")
    return LogFileError(
        f"no line declares a type of message (FMT), so that the cells of the {log.lost.undeclared} "
        "lines of messages have no names",
        where=where,
        fix="Give the log from its beginning, or the binary log.",
    )


def tell_lines(log: TextLog, notes: Notes) -> None:
    """Tell lines that are in no table, and what the declarations lack."""
    _tell_damage(log, notes)
    if log.lost.cut:
        notes.drop("cut last line", 1)
        notes.find(
            "truncated",
            f"The file ends inside line {len(log.lines)}, which was not read.",
            evidence={"line": len(log.lines)},
        )
    if log.lines.left_out:
        notes.drop("empty or unreadable bytes", log.lines.left_out)
        notes.lines.append(
            f"{log.lines.left_out} empty or unreadable bytes between the letters were left out"
        )
    _tell_undeclared(log, notes)
    _tell_contradictions(log, notes)


def _tell_damage(log: TextLog, notes: Notes) -> None:
    for reason, count in log.lost.damaged.items():
        notes.drop(f"lines: {reason}", count)
    lost = sum(log.lost.damaged.values())
    if not lost:
        return
    reasons = ", ".join(f"{reason} {n}" for reason, n in log.lost.damaged.items())
    first = log.lost.first + 1
    notes.find(
        "damaged-lines",
        f"{lost} of {len(log.lines)} lines could not be read ({reasons}), the first is line "
        f"{first}; all others were read.",
        evidence={"lines": lost, "of": len(log.lines), "first_line": first},
    )


def _tell_undeclared(log: TextLog, notes: Notes) -> None:
    lost = log.lost.undeclared
    if not lost:
        return
    notes.drop("lines of types that the file does not declare", lost)
    counts: dict[str, int] = {}
    kinds = line_types(log.lines, list(log.declared.types))
    for line in np.flatnonzero(kinds == UNDECLARED)[:100_000].tolist():
        name = log.lines.text(line, 64).split(",")[0].strip()
        counts[name] = counts.get(name, 0) + 1
    most = sorted(counts, key=lambda name: -counts[name])[:10]
    notes.find(
        "unknown-messages",
        f"{lost} lines are of {len(counts)} types that no FMT line declares, so that their cells "
        f"have no names: {', '.join(f'{name} {counts[name]}' for name in most)}.",
        evidence={"lines": lost, "types": len(counts)},
        remedy="Give the log from its beginning, where the declarations stand.",
    )


def _tell_contradictions(log: TextLog, notes: Notes) -> None:
    names = log.declared.refused
    if not names:
        return
    lost = log.lost.contradicted
    notes.drop("lines under a contradicting declaration", lost)
    left_out = f"; {lost} lines that follow the other one were left out" if lost else ""
    notes.find(
        "contradicting-formats",
        f"{len(names)} message types are declared in two ways: {', '.join(names[:10])}{left_out}.",
        evidence={"types": len(names), "lines": lost},
    )


def tell_cells(log: TextLog, notes: Notes) -> None:
    """Tell cells without a number in the columns that feed the tables."""
    cells = log.lost.cells
    if not cells:
        return
    lost = sum(cells.values())
    which = ", ".join(f"{name} {n}" for name, n in list(cells.items())[:10])
    notes.find(
        "unreadable-cells",
        f"{lost} cells of {len(cells)} columns can't be read as numbers and count as missing: "
        f"{which}.",
        evidence={"cells": lost, "columns": len(cells)},
        remedy="Look at the cells in an editor; copy the file again if it is damaged.",
    )
