"""What was recognised in a log file, in words."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping

from flightlog.recording import Receipt, Recording
from flightlog.reports.numbers import digits
from flightlog.reports.plain import plain
from flightlog.reports.words import finding_lines, partner_text

_NAME_LIMIT = 60
_EVENTS = ("modes", "messages", "parameters", "arming")
"""Tables whose rows are written when something happens, so that a rate means nothing."""


def receipt_lines(recording: Recording, *, width: int = 80) -> list[str]:
    """Write the receipt, the tables with their rates, the message counts and the findings.

    Parameters
    ----------
    recording : Recording
        What was read.
    width : int, default 80
        Characters of a line.
    """
    width = min(max(width, 50), 100)
    receipt = recording.receipt
    lines = _file(receipt, width)
    lines += ["", "Tables"]
    if not list(recording):
        lines.append("  none: no sensor was recognised")
    lines += [_table(recording, name) for name in recording]
    lines += _sources(receipt, width)
    lines += _counts("Messages in the file", receipt.message_counts, width)
    lines += _counts("Dropped", receipt.dropped, width)
    notes = [*receipt.notes, *(f"restart at {digits(s, 1)} s" for s in receipt.seams)]
    notes += [partner_text(partner) for partner in receipt.partners]
    for note in notes:
        lines += textwrap.wrap(f"note: {plain(note, 400)}", width, subsequent_indent="  ")
    if recording.findings:
        lines += ["", "Findings", *finding_lines(recording.findings, width)]
    return [plain(line) for line in lines]


def _file(receipt: Receipt, width: int) -> list[str]:
    utc = receipt.utc.source
    if receipt.utc.std_s is not None:
        utc += f", good to {receipt.utc.std_s:.2g} s"
    clock = f"clock: counts from {receipt.time_origin}; UTC: {plain(utc, 120)}"
    if receipt.clock:
        clock = f"clock: {plain(receipt.clock, 300)}; UTC: {plain(utc, 120)}"
    return [
        f"{plain(receipt.file, _NAME_LIMIT)}: {receipt.format}, {receipt.size} bytes, "
        f"{digits(receipt.duration_s, 1)} s",
        f"SHA-256 {receipt.sha256}",
        f"firmware: {plain(receipt.firmware, _NAME_LIMIT) or 'the log does not tell'}",
        *textwrap.wrap(clock, width, subsequent_indent="  "),
    ]


def _sources(receipt: Receipt, width: int) -> list[str]:
    """Say which column of the file feeds which column of the tables, and which feed none."""
    lines: list[str] = []
    for one in receipt.columns:
        parts = [plain(part, 2 * _NAME_LIMIT) for part in (one.source, one.unit, one.why) if part]
        text = f"{one.table}.{one.column} <- {', '.join(parts)}"
        lines += textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="      ")
    if lines:
        lines = ["", "Columns", *lines]
    if receipt.unused:
        text = ", ".join(plain(name, _NAME_LIMIT) for name in receipt.unused)
        lines += ["", "Columns that feed no table"]
        lines += textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="  ")
    return lines


def _table(recording: Recording, name: str) -> str:
    table = recording[name]
    instances = sorted({int(i) for i in table["instance"]}) if "instance" in table else []
    one = recording.one(name)
    time_s = (one if one is not None else table)["time_s"]
    step = time_s.drop_duplicates().diff().median() if name not in _EVENTS else 0.0
    rate = f"{1 / step:8.1f} Hz" if step > 0 else " " * 11
    text = (
        f"  {name:<12}{len(table):>9} rows {rate}  "
        f"{digits(float(time_s.iloc[0]), 1)} to {digits(float(time_s.iloc[-1]), 1)} s"
    )
    if len(instances) > 1:
        chosen = recording.receipt.chosen_instances.get(name, instances[0])
        text += f"  {len(instances)} instances, {chosen} is used"
    return text


def _counts(title: str, counts: Mapping[str, int], width: int) -> list[str]:
    if not counts:
        return []
    text = ", ".join(f"{plain(name, _NAME_LIMIT)} {count}" for name, count in counts.items())
    return ["", title, *textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="  ")]
