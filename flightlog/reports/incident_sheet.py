"""The sheet of an incident: what was found, the last minute, who signed what; facts first.

Facts and opinions never stand in one section. The charts show tables of the house; all channels,
as the logs have them too, stand in the table of ``timeline_table``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from flightlog.logbook.entry import Attachment, Entry
from flightlog.operations.channels import Channel
from flightlog.operations.desk import Desk
from flightlog.operations.incident_record import Around, SignedLine, signers_of
from flightlog.operations.last_minute import AFTER_S, LAST_S, Timeline
from flightlog.operations.positions import heads_of, named
from flightlog.reports.cautions import LITHIUM, PROPELLER, RECORD
from flightlog.reports.line_chart import line_chart
from flightlog.reports.markup import escaped, listed, page, spreadsheet, table

DUTIES = (
    "Duties to report an incident, and to leave things where they are, follow local law. Change "
    "nothing on the card or stick: what was kept here is a copy."
)
_NONE = "<p>None.</p>"
Picture = Callable[[str, str], str]
COLUMNS = ("time_s", "source", "table", "column", "value", "unit", "axis")
MOST_CHARTS = 150
_MOST_EVENTS = 400
_NO_MEASUREMENT = ("time_utc",)


def timeline_table(found: Timeline) -> str:
    """Give the last minute as CSV: one row for each value or event.

    ``time_s`` counts from zero, on the clock of the log that ``axis`` names.
    """
    values = (
        (f"{t:.3f}", c.source, _table(c), c.column, f"{v:.9g}", c.unit, c.axis)
        for c in found.channels
        for t, v in zip(c.time_s.tolist(), c.value.tolist(), strict=True)
    )
    events = (
        (f"{e.time_s:.3f}", e.source, e.table, "text", e.text, "", e.axis) for e in found.events
    )
    return spreadsheet(COLUMNS, (*values, *events))


def _table(channel: Channel) -> str:
    return f"{channel.table} (as logged)" if channel.as_logged else channel.table


def incident_sheet(
    desk: Desk,
    incident: Entry,
    sources: Sequence[Attachment],
    found: Timeline,
    record: Around,
) -> str:
    """Give the sheet of an incident as a page."""
    heads = ", ".join(heads_of(desk.ledger))
    files = [(a.name, a.size, a.sha256) for a in sources]
    return page(
        f"Incident {named(incident)}, {desk.folder.name}",
        f"<p><b>{escaped(LITHIUM)}</b></p><p><b>{escaped(PROPELLER)}</b></p>",
        f"<p><b>{escaped(DUTIES)}</b></p>",
        "<h2>Facts</h2>",
        *_facts(desk, incident, record),
        "<h2>Sources, copied as they were found</h2>",
        table(("file", "bytes", "SHA-256"), files) if files else "<p>None was kept.</p>",
        "<h2>Flown under</h2>",
        f"<p>When this was entered: {escaped(record.release_says)}.</p>",
        _signed(record.signed, "who signed what"),
        "<h2>Configuration</h2>",
        table(("what", "as the record had it then"), record.configuration),
        "<h2>Defects that were not closed</h2>",
        listed(record.open_then) or _NONE,
        "<h2>Last changes, the latest first</h2>",
        _signed(record.changes, "by"),
        "<h2>The last minute</h2>",
        last_minute_html(found),
        "<h2>Opinions</h2>",
        "<p class='note'>What persons think about it. It is no part of the facts.</p>",
        *_opinions(desk, record.opinions),
        f"<p class='note'>{escaped(RECORD)}</p>",
        f"<p class='note'>Head of the record: <span class='mono'>{escaped(heads)}</span></p>",
    )


def _facts(desk: Desk, incident: Entry, record: Around) -> list[str]:
    said = incident.body.content
    about = [
        ("aircraft", said.get("aircraft", "not stated")),
        ("packs", ", ".join(said["packs"]) or "none stated"),
        ("at", said.get("at", "not stated")),
        ("place", said.get("place", "not stated")),
        ("entered", f"{incident.body.time.utc:%Y-%m-%d %H:%M:%S} UTC, {named(incident)}"),
        ("by", signers_of(desk, incident)),
    ]
    rows = [
        (named(e), f"{e.body.time.utc:%Y-%m-%d %H:%M:%S}", e.body.content["facts"], _by(desk, e))
        for e in record.statements
    ]
    return [
        f"<p>{escaped(said['facts'])}</p>",
        table(("what", "as entered"), about),
        table(("entry", "UTC", "further facts", "by"), rows) if rows else "",
    ]


def _by(desk: Desk, entry: Entry) -> str:
    return signers_of(desk, entry) if entry.body.signers else "this program"


def _signed(lines: Sequence[SignedLine], by: str) -> str:
    rows = [
        (
            f"{line.entry.body.time.utc:%Y-%m-%d %H:%M:%S}",
            named(line.entry),
            line.entry.body.kind,
            line.what,
            line.by,
        )
        for line in lines
    ]
    return table(("UTC", "entry", "kind", "says", by), rows) if rows else "<p>Nothing.</p>"


def _opinions(desk: Desk, opinions: Sequence[Entry]) -> list[str]:
    if not opinions:
        return ["<p>None was entered.</p>"]
    rows = [(named(e), signers_of(desk, e), e.body.content.get("text", "")) for e in opinions]
    return [table(("entry", "by", "thinks"), rows)]


# --- the last minute


def as_drawn(svg: str, _says: str) -> str:
    """Give a picture as it stands in a page of paper: the drawing itself."""
    return svg


def last_minute_html(found: Timeline, picture: Picture = as_drawn) -> str:
    """Give the last minute as HTML: notes, events, and a chart of each channel that changes.

    Parameters
    ----------
    found : Timeline
        Laid out.
    picture : callable
        Takes an ``<svg>`` and what it shows in words; gives the HTML that shows it.
    """
    return "".join(_last_minute(found, picture))


def _last_minute(found: Timeline, picture: Picture) -> list[str]:
    parts = [listed(found.notes) or _NONE]
    if found.events:
        rows = [(f"{e.time_s:.2f}", e.source, e.table, e.text) for e in found.events[:_MOST_EVENTS]]
        parts.append(table(("s", "log", "table", "says"), rows))
        if len(found.events) > _MOST_EVENTS:
            more = len(found.events) - _MOST_EVENTS
            parts.append(f"<p class='note'>{more} more stand in the table of all channels.</p>")
    shown = [c for c in found.channels if not c.as_logged and c.column not in _NO_MEASUREMENT]
    charted = [channel for channel in shown if _changes(channel)]
    for source, axis in dict.fromkeys((c.source, c.axis) for c in shown):
        parts.append(f"<h3>{escaped(_heading(source, axis))}</h3>")
        parts += [_chart(c, picture) for c in charted[:MOST_CHARTS] if c.source == source]
        still = [c for c in shown if c.source == source and not _changes(c)]
        parts.append(_unchanged(still))
    rest = len(found.channels) - len(shown) + max(0, len(charted) - MOST_CHARTS)
    if rest:
        parts.append(
            f"<p class='note'>{rest} more channels, fields of the logs' own messages among them, "
            "stand in the table of all channels: 'flightlog incident timeline'.</p>"
        )
    return parts


def _heading(source: str, axis: str) -> str:
    return f"{source}, on its own clock" if axis == source else f"{source}, laid on {axis}"


def _changes(channel: Channel) -> bool:
    return bool(channel.value.min() < channel.value.max())


def _unchanged(channels: Sequence[Channel]) -> str:
    if not channels:
        return ""
    told = ", ".join(f"{c.table} {c.column} {c.value[0]:.6g} {c.unit}".rstrip() for c in channels)
    return f"<p class='note'>The same all the time: {escaped(told)}.</p>"


def _chart(channel: Channel, picture: Picture) -> str:
    times, values = channel.time_s.tolist(), channel.value.tolist()
    end = AFTER_S if times[-1] > 0 else 0.0
    span, gaps = (-LAST_S, end), channel.gap_before.tolist()
    drawing = line_chart(times, values, channel.unit, span=span, gaps=gaps)
    title = f"{channel.table}: {channel.column}" + (f" [{channel.unit}]" if channel.unit else "")
    return f"<div class='note'>{escaped(title)}</div>{picture(drawing, title)}"
