"""A check list for paper."""

from __future__ import annotations

from flightlog.logbook.codes import head_code
from flightlog.operations.checklists import Checklist
from flightlog.operations.checks import About
from flightlog.operations.desk import Desk
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.markup import escaped, page, table

_HEAD = ("item", "what to do", "passes with", "who", "result or number", "initials", "time UTC")
_BLANK = ("result or number", "initials", "time UTC")


def check_sheet(desk: Desk, checklist: Checklist, about: About) -> str:
    """Give a list as a page to be filled in by hand.

    Parameters
    ----------
    desk : Desk
        The record, for its head.
    checklist : Checklist
        Of the version in force.
    about : About
        What it is for; empty places are left to be written.
    """
    heads = ", ".join(head_code(t.body.number, t.hash) for t in desk.ledger.order.tips())
    parts = [
        f"<p>{escaped(checklist.when)}</p>",
        f"<p>Aircraft: {escaped(about.aircraft or '____________')} &nbsp; "
        f"Pack: {escaped(about.pack or '____________')} &nbsp; Date: ____________</p>",
    ]
    sections = dict.fromkeys(item.section for item in checklist.items)
    for section in sections:
        rows = []
        for item in checklist.items:
            if item.section != section:
                continue
            who = item.role + (f", then another as {item.second}" if item.second else "")
            passes = item.acceptance or ("photo" if item.kind == "photo" else "as written")
            rows.append((item.id, item.text, passes, who, "", "", ""))
        parts.append(f"<h2>{escaped(section)}</h2>{table(_HEAD, rows, _BLANK)}")
    parts.append(
        f'<p class="note">List {escaped(checklist.id)}, version {escaped(checklist.version)}, '
        f'<span class="mono">SHA-256 {escaped(checklist.sha256)}</span>. '
        f'Head of the record: <span class="mono">{escaped(heads)}</span>.</p>'
    )
    parts += [f'<p class="note">{escaped(text)}</p>' for text in CAUTIONS]
    return page(f"{checklist.title}, {desk.folder.name}", *parts)
