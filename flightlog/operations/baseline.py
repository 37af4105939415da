"""Parameters and firmware: the baseline with which an aircraft is released, and what was read.

Both are kept as one list of names and decimal texts, sorted, without what autopilots write by
themselves, and known by its hash. Values are compared as the 32-bit floats that autopilots hold.
"""

from __future__ import annotations

import io
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from flightlog.analyses.settings import SELF_WRITTEN, ZEROED_AT_REST, same_value, setup_of
from flightlog.errors import LogFileError, UnknownFormatError, UsageError
from flightlog.importers import read
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Attachment, Entry, Signer, write_utc
from flightlog.logbook.flying_kinds import BASELINE, EVENT, PARAMETERS_READ
from flightlog.operations.desk import Desk
from flightlog.operations.events import FIRMWARE_CHANGE, PARAMETER_CHANGE
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import CLOCKS_APART, named
from flightlog.recording import Recording

READ_HOLDS = timedelta(hours=24)
"""Parameters that were read longer ago say nothing about today."""
LARGEST_BYTES = 2_000_000
MOST_PARAMETERS = 10_000
_MOST_NAMED = 5
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_.]{0,31}")
_COLUMNS_OF_FIVE = 5
_BETWEEN = re.compile(r"[\s,;=]+")


@dataclass(frozen=True, slots=True)
class Parameters:
    """Parameters as they were read.

    Attributes
    ----------
    values : mapping of str to float
        Without what autopilots write by themselves, in the order of names.
    firmware : str
        Its text, empty where the source does not tell.
    source : str
        Name of the file.
    at : datetime or None
        When they stood so, by a log.
    """

    values: Mapping[str, float]
    firmware: str
    source: str
    at: datetime | None = None

    @property
    def data(self) -> bytes:
        """The list as it is attached: JSON, sorted, every value with the digits it needs."""
        rows = [[name, f"{value:.9g}"] for name, value in self.values.items()]
        return (json.dumps(rows, separators=(",", ":")) + "\n").encode("utf-8")


def read_parameters(path: Path) -> Parameters:
    """Read parameters from a log, or from a text of names and values.

    Raises
    ------
    LogFileError
        If it is neither, or holds none.
    """
    try:
        return parameters_of(read(path), path.name)
    except UnknownFormatError:
        return _from_text(path)


def parameters_of(recording: Recording, source: str) -> Parameters:
    """Give the parameters that stood at the end of a log.

    Raises
    ------
    LogFileError
        If the log holds none.
    """
    setup = setup_of(recording, math.inf)
    values = _kept(setup.values)
    if not values:
        raise LogFileError(
            "holds no parameters", where=source, fix="Let the autopilot log them, or save them."
        )
    receipt = recording.receipt
    offset = receipt.utc.unix_offset_s
    at = None
    if offset is not None and receipt.duration_s:
        try:
            at = datetime.fromtimestamp(offset + receipt.duration_s, UTC).replace(microsecond=0)
        except (OverflowError, OSError, ValueError):
            at = None  # the log's clock names no day that there is
    return Parameters(values, setup.firmware, source, at)


def _kept(values: Mapping[str, float]) -> dict[str, float]:
    return {
        name: float(value)
        for name, value in sorted(values.items())
        if not SELF_WRITTEN.fullmatch(name)
        and not ZEROED_AT_REST.fullmatch(name)
        and math.isfinite(value)
    }


def _from_text(path: Path) -> Parameters:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise LogFileError("is too large for parameters", where=str(path), fix="Check it.")
        lines = path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
    except OSError as error:
        raise LogFileError(
            f"can't be read ({error.strerror})", where=str(path), fix="Check the name."
        ) from error
    values: dict[str, float] = {}
    firmware = ""
    for line_number, line in enumerate(lines, start=1):
        text = line.strip()
        if text.startswith("#") or not text:
            match = re.search(r"([Ff]irmware|[Vv]ersion)\s*[:=]\s*(.{1,120})", text)
            firmware = match[2].strip() if match and not firmware else firmware
            continue
        row = _row(text)
        if row is None:
            raise LogFileError(
                f"{text[:60]!r} is no name with a number",
                where=f"{path}:{line_number}",
                fix="One parameter in a line: NAME VALUE.",
            )
        values[row[0]] = row[1]
        if len(values) > MOST_PARAMETERS:
            raise LogFileError("holds too many parameters", where=str(path), fix="Check it.")
    kept = _kept(values)
    if not kept:
        raise LogFileError("holds no parameters", where=str(path), fix="Name another file.")
    return Parameters(kept, firmware, path.name)


def _row(text: str) -> tuple[str, float] | None:
    """Read NAME VALUE, or the five columns vehicle, component, name, value, type."""
    cells = [cell for cell in _BETWEEN.split(text) if cell]
    if len(cells) == _COLUMNS_OF_FIVE and cells[0].isdigit() and cells[1].isdigit():
        cells = cells[2:4]
    if len(cells) < 2 or not _NAME.fullmatch(cells[0]):
        return None
    try:
        value = float(cells[1])
    except ValueError:
        return None
    return (cells[0], value) if math.isfinite(value) else None


def differing(one: Mapping[str, float], other: Mapping[str, float]) -> list[str]:
    """Name the parameters in which two lists differ, with both values."""
    said = []
    for name in sorted(one.keys() | other.keys()):
        if name not in one or name not in other:
            said.append(f"{name} is only in {'the second' if name not in one else 'the first'}")
        elif not same_value(one[name], other[name]):
            said.append(f"{name} {one[name]:g} -> {other[name]:g}")
    return said


# --- the record


def _attached(desk: Desk, parameters: Parameters) -> Attachment:
    return desk.book.attachments.put(io.BytesIO(parameters.data), "parameters.json")


def baseline_draft(
    desk: Desk, aircraft: str, parameters: Parameters, performed: str, inspected: str
) -> Draft:
    """Draft a baseline, to be signed by two persons (public keys)."""
    desk.version("aircraft", aircraft)
    if desk.book.people.person_of(performed) == desk.book.people.person_of(inspected):
        raise UsageError("two persons sign a baseline", where="--by", fix="Give --by twice.")
    attachment = _attached(desk, parameters)
    content = {
        "aircraft": aircraft,
        "firmware": parameters.firmware[:190] or "not told by the source",
        "parameters": attachment.sha256,
        "count": len(parameters.values),
    }
    signers = [Signer(performed, "performed"), Signer(inspected, "inspected", "inspector")]
    return Draft(BASELINE, content, signers, [attachment])


def note_parameters(desk: Desk, aircraft: str, parameters: Parameters) -> Entry:
    """Enter what was read, by the device alone."""
    desk.version("aircraft", aircraft)
    attachment = _attached(desk, parameters)
    content: dict[str, Any] = {
        "aircraft": aircraft,
        "parameters": attachment.sha256,
        "count": len(parameters.values),
        "source": parameters.source[:190],
    }
    if parameters.firmware:
        content["firmware"] = parameters.firmware[:190]
    if parameters.at is not None:
        content["at"] = write_utc(parameters.at)
    return desk.append(Draft(PARAMETERS_READ, content, attachments=[attachment]))


def stored(desk: Desk, entry: Entry) -> dict[str, float] | None:
    """Give the parameters that an entry holds; None where they are missing or damaged."""
    for attachment in entry.body.attachments:
        if attachment.sha256 != entry.body.content["parameters"]:
            continue
        if desk.book.attachments.problem(attachment) is not None:
            return None
        path = desk.book.attachments.path(attachment.sha256)
        try:
            rows = json.loads(path.read_text(encoding="utf-8"))
            return {str(name): float(value) for name, value in rows}
        except (ValueError, TypeError):
            return None
    return None


def baseline_of(desk: Desk, aircraft: str) -> Entry | None:
    """Give the baseline in force: signed by two persons, the last one."""
    found = [
        e
        for e in desk.ledger.of(BASELINE, aircraft=aircraft)
        if set(desk.ledger.persons(e, "inspected")) - set(desk.ledger.persons(e, "performed"))
        and desk.ledger.persons(e, "performed")
    ]
    return found[-1] if found else None


def against_baseline(desk: Desk, baseline: Entry, was_read: Entry) -> list[str]:
    """Say how parameters that were read differ from a baseline; nothing where they don't."""
    one, other = stored(desk, baseline), stored(desk, was_read)
    if one is None or other is None:
        return ["the list of parameters is missing or damaged"]
    found = differing(one, other)
    firmware = was_read.body.content.get("firmware")
    if firmware is not None and firmware != baseline.body.content["firmware"]:
        found.insert(0, f"firmware {baseline.body.content['firmware']} -> {firmware}")
    return found


def parameter_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the parameters that were read last are those of the baseline."""
    read_them = f"Read them: 'flightlog team parameters FILE --aircraft {plan.aircraft}'."
    baseline = baseline_of(desk, plan.aircraft)
    if baseline is None:
        return [
            Condition(
                "parameters",
                False,
                "there is no baseline",
                f"'flightlog team baseline FILE --aircraft {plan.aircraft} --by WHO --by WHO'.",
            )
        ]
    every = desk.ledger.of(PARAMETERS_READ, aircraft=plan.aircraft)
    last = max(reversed(every), key=lambda e: _stood(desk, e)) if every else None
    why = _stale(desk, plan.aircraft, last)
    if last is None or why:
        return [Condition("parameters", False, why, read_them)]
    found = against_baseline(desk, baseline, last)
    if found:
        more = f" and {len(found) - _MOST_NAMED} more" if len(found) > _MOST_NAMED else ""
        return [
            Condition(
                "parameters",
                False,
                f"not those of the baseline: {', '.join(found[:_MOST_NAMED])}{more}",
                f"Set them back and read them again, or sign a new baseline. {read_them}",
                (baseline, last),
            )
        ]
    says = f"{last.body.content['count']} parameters equal those of {named(baseline)}"
    return [Condition("parameters", True, says, "", (baseline, last))]


def _stale(desk: Desk, aircraft: str, last: Entry | None) -> str:
    """Say why what was read last does not tell how the autopilot is set now."""
    if last is None:
        return "nobody read them"
    age = desk.ledger.now - _stood(desk, last)
    if age < -CLOCKS_APART:
        return "they were read at a time that lies ahead of this laptop's clock"
    if age > READ_HOLDS:
        return f"read {age.total_seconds() / 3600:.0f} h ago; that holds for a day"
    for event in desk.ledger.unseen(desk.ledger.of(EVENT, aircraft=aircraft), last):
        word = event.body.content["event"]
        if word in (PARAMETER_CHANGE, FIRMWARE_CHANGE):
            return f"not read since: {word}"
    return ""


def _stood(desk: Desk, entry: Entry) -> datetime:
    """Give when parameters stood in the autopilot: by its log, else when they were read."""
    at = entry.body.content.get("at")
    return datetime.fromisoformat(at.replace("Z", "+00:00")) if at else desk.ledger.when(entry)
