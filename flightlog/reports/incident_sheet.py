"""The sheet of an incident: what was found, the last minute, who signed what; facts first."""

from __future__ import annotations

from collections.abc import Sequence

from flightlog.logbook.codes import head_code
from flightlog.logbook.entry import CITES, Attachment, Entry
from flightlog.logbook.flying_kinds import CHECK, LIST_BEGUN
from flightlog.logbook.words import entry_line
from flightlog.operations.desk import Desk
from flightlog.operations.incident import Around, Channel, Timeline
from flightlog.operations.positions import named
from flightlog.reports.cautions import LITHIUM, PROPELLER, RECORD
from flightlog.reports.markup import escaped, page, spreadsheet, table

DUTIES = (
    "Duties to report follow local law, and so do those to leave things where they are. Change "
    "nothing on the card: what was kept here is a copy."
)
_WIDE, _HIGH = 640, 90
_MOST_CHARTS = 80


def timeline_table(found: Timeline) -> str:
    """Give the last minute as CSV: one row for each value."""
    rows = (
        (f"{t:.3f}", c.source, c.table, c.column, f"{v:.9g}", c.unit)
        for c in found.channels
        for t, v in zip(c.time_s.tolist(), c.value.tolist(), strict=True)
    )
    return spreadsheet(("time_s", "source", "table", "column", "value", "unit"), rows)


def incident_sheet(
    desk: Desk,
    incident: Entry,
    sources: Sequence[Attachment],
    found: Timeline,
    record: Around,
) -> str:
    """Give the sheet of an incident as a page."""
    said = incident.body.content
    heads = ", ".join(head_code(t.body.number, t.hash) for t in desk.ledger.order.tips())
    about = [
        ("aircraft", said.get("aircraft", "not stated")),
        ("packs", ", ".join(said["packs"]) or "none stated"),
        ("at", said.get("at", "not stated")),
        ("place", said.get("place", "not stated")),
        ("entered", f"{incident.body.time.utc:%Y-%m-%d %H:%M:%S} UTC, {named(incident)}"),
    ]
    files = [(a.name, a.size, a.sha256) for a in sources]
    parts = [
        f"<p><b>{escaped(LITHIUM)}</b></p><p><b>{escaped(PROPELLER)}</b></p>",
        "<h2>Facts</h2>",
        f"<p>{escaped(said['facts'])}</p>",
        table(("what", "as entered"), about),
        "<h2>Sources, as they were found</h2>",
        table(("file", "bytes", "SHA-256"), files),
        "<h2>Flown under</h2>",
        *_release(desk, record.release),
        "<h2>Last changes</h2>",
        table(
            ("when", "entry", "what"),
            [
                (f"{e.body.time.utc:%Y-%m-%d %H:%M}", named(e), _line(desk, e))
                for e in record.changes
            ],
        ),
        "<h2>The last minute</h2>",
        "".join(f"<p class='note'>{escaped(note)}</p>" for note in found.notes),
        *[_chart(channel) for channel in found.channels[:_MOST_CHARTS]],
        "<h2>Opinions</h2>",
        "<p class='note'>What persons think. It is no part of the facts.</p>",
        table(
            ("by", "says"),
            [
                (
                    ", ".join(desk.crew.label(p) for p in desk.ledger.persons(e)),
                    e.body.content["text"],
                )
                for e in record.opinions
            ],
        ),
        f"<p><b>{escaped(DUTIES)}</b></p>",
        f"<p class='note'>{escaped(RECORD)}</p>",
        f"<p class='note'>Head of the record: <span class='mono'>{escaped(heads)}</span></p>",
    ]
    return page(f"Incident {named(incident)}, {desk.folder.name}", *parts)


def _line(desk: Desk, entry: Entry) -> str:
    return entry_line(entry.body, desk.names, desk.book.people)


def _release(desk: Desk, release: Entry | None) -> list[str]:
    if release is None:
        return ["<p>No release of this aircraft is in the record.</p>"]
    said = release.body.content
    rows = [(c["condition"], c["says"]) for c in said["conditions"]]
    signed = [
        (named(check), check.body.content["item"], check.body.content["result"], _line(desk, check))
        for begun in desk.ledger.named(release, CITES, LIST_BEGUN)
        for check in desk.ledger.naming(begun, CITES, CHECK)
    ]
    who = ", ".join(desk.crew.label(p) for p in desk.ledger.persons(release))
    return [
        f"<p>Release {escaped(named(release))}, pack {escaped(said['pack'])}, "
        f"{escaped(said['mass']['value'])} kg, signed by {escaped(who)}</p>",
        table(("condition", "what was found"), rows),
        table(("entry", "item", "result", "by"), signed),
    ]


def _chart(channel: Channel) -> str:
    """Draw one channel as a line over the last minute, black on white."""
    time_s, value = channel.time_s, channel.value
    low, high = float(value.min()), float(value.max())
    span = high - low or 1.0
    first = float(min(time_s.min(), -1.0))
    points = " ".join(
        f"{_WIDE * (1 - t / first):.1f},{_HIGH - (_HIGH - 10) * (v - low) / span - 5:.1f}"
        for t, v in zip(time_s.tolist(), value.tolist(), strict=True)
    )
    title = f"{channel.source}, {channel.table}: {channel.column}"
    unit = f" {channel.unit}" if channel.unit else ""
    return (
        f"<p class='note'>{escaped(title)}; {low:.4g} to {high:.4g}{escaped(unit)}; "
        f"{-first:.0f} s to the end</p>"
        f'<svg viewBox="0 0 {_WIDE} {_HIGH}" width="100%" height="{_HIGH}" '
        f'preserveAspectRatio="none"><rect width="{_WIDE}" height="{_HIGH}" fill="none" '
        f'stroke="#999"/><polyline points="{points}" fill="none" stroke="#000" '
        f'vector-effect="non-scaling-stroke"/></svg>'
    )
