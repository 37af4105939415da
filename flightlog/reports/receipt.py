"""What was recognised in a log file, in words."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Mapping

from flightlog.recording import Receipt, Recording
from flightlog.reports.numbers import digits
from flightlog.reports.plain import plain
from flightlog.reports.words import finding_lines, moment_text, most_severe_first, partner_text

_NAME_LIMIT = 60
_SHARED_REASONS = 4
"""A reason that so many columns share is said once."""
_SHORT_REASON = 20
"""A reason of so many characters may stand behind every column."""
_MOST_SEAMS = 12
_EVENTS = ("modes", "messages", "parameters", "arming")
"""Tables whose rows are written when something happens, so that a rate means nothing."""


def receipt_lines(recording: Recording, *, width: int = 80) -> list[str]:
    """Write the receipt, the tables with their rates, the findings, and where columns came from.

    Parameters
    ----------
    recording : Recording
        What was read.
    width : int, default 80
        Characters of a line.
    """
    width = min(max(width, 50), 100)
    receipt = recording.receipt
    lines = _file(recording, width)
    lines += ["", "Tables"]
    if not list(recording):
        lines.append("  none: no sensor was recognised")
    lines += [_table(recording, name) for name in recording]
    if recording.findings:
        findings = most_severe_first(recording.findings)
        lines += ["", "Findings", *finding_lines(findings, width)]
    lines += _notes(receipt, width)
    lines += _sources(receipt, width)
    lines += _counts("Messages in the file", receipt.message_counts, width)
    lines += _counts("Dropped", receipt.dropped, width)
    return [plain(line) for line in lines]


def _notes(receipt: Receipt, width: int) -> list[str]:
    notes = list(receipt.notes)
    if receipt.seams:
        at = ", ".join(digits(s, 1) for s in receipt.seams[:_MOST_SEAMS])
        more = len(receipt.seams) - _MOST_SEAMS
        many = "s" if len(receipt.seams) > 1 else ""
        notes.append(f"restart{many} at {at} s" + (f" and {more} more" if more > 0 else ""))
    notes += [partner_text(partner) for partner in receipt.partners]
    lines = [""] if notes else []
    for note in notes:
        lines += textwrap.wrap(f"note: {plain(note, 400)}", width, subsequent_indent="  ")
    return lines


def _file(recording: Recording, width: int) -> list[str]:
    receipt = recording.receipt
    began = moment_text(receipt, _first_s(recording))
    head = (
        f"{plain(receipt.file, _NAME_LIMIT)}: {receipt.format}, {receipt.size} bytes, "
        f"{digits(receipt.duration_s, 1)} s"
    )
    return [
        *textwrap.wrap(head + (f" from {began}" if began else ""), width, subsequent_indent="  "),
        f"SHA-256 {receipt.sha256}",
        f"firmware: {plain(receipt.firmware, _NAME_LIMIT) or 'the log does not tell'}",
        *textwrap.wrap(f"clock: {_clock(receipt)}", width, subsequent_indent="  "),
        *textwrap.wrap(f"UTC: {_utc(receipt)}", width, subsequent_indent="  "),
    ]


def _first_s(recording: Recording) -> float:
    """Give the time of the first row of a sensor, else of an event; 0 without any."""
    firsts = {name: float(recording[name]["time_s"].iloc[0]) for name in recording}
    sensors = [time_s for name, time_s in firsts.items() if name not in _EVENTS]
    return min(sensors or firsts.values(), default=0.0)


def _clock(receipt: Receipt) -> str:
    return plain(receipt.clock, 300) or f"counts from {receipt.time_origin}"


def _utc(receipt: Receipt) -> str:
    utc = receipt.utc
    source = plain(utc.source, 120)
    if utc.std_s is not None:
        source += f", good to {utc.std_s:.2g} s"
    if utc.offset_s is not None and not utc.zone_known:
        return f"not known, for the zone is not told ({source})"
    return source


def _sources(receipt: Receipt, width: int) -> list[str]:
    """Say which column of the file feeds which column of the tables, and which feed none."""
    lines: list[str] = []
    shared = _shared_reason(receipt)
    for one in receipt.columns:
        why = "" if one.why == shared else one.why
        parts = [plain(part, 2 * _NAME_LIMIT) for part in (one.source, one.unit, why) if part]
        text = f"{one.table}.{one.column} <- {', '.join(parts)}"
        lines += textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="      ")
    if lines:
        title = "Columns"
        if shared:
            title += f", by {plain(shared, 2 * _NAME_LIMIT)} where nothing else is said"
        lines = ["", *textwrap.wrap(title, width, subsequent_indent="  "), *lines]
    if receipt.unused:
        text = ", ".join(plain(name, _NAME_LIMIT) for name in receipt.unused)
        lines += ["", "Columns that feed no table"]
        lines += textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="  ")
    return lines


def _shared_reason(receipt: Receipt) -> str:
    """Give the reason that most columns share, "" where there is none."""
    ((why, count),) = Counter(one.why for one in receipt.columns).most_common(1) or [("", 0)]
    many = count >= _SHARED_REASONS and 2 * count > len(receipt.columns)
    return why if many and len(why) > _SHORT_REASON else ""


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
        text += f", {len(instances)} sensors, {chosen} is used"
    return text


def _counts(title: str, counts: Mapping[str, int], width: int) -> list[str]:
    if not counts:
        return []
    text = ", ".join(f"{plain(name, _NAME_LIMIT)} {count}" for name, count in counts.items())
    return ["", title, *textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="  ")]
