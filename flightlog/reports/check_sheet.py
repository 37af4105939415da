"""A check list for paper: as a page, and as text."""

from __future__ import annotations

from collections.abc import Iterator

from flightlog.operations.checklists import CHECK, Checklist, Item
from flightlog.operations.checks import About
from flightlog.operations.desk import Desk
from flightlog.operations.positions import heads_of
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.markup import escaped, page, table
from flightlog.reports.sheet_content import Facts, Form, FormItem, SheetContent, wide

_BLANK = ("result or number", "initials", "second", "time UTC")
_HEAD = ("item", "what to do", "passes with", "who", *_BLANK)
_LINE = "_" * 12
_LATER = (
    "Enter it later with 'flightlog checks enter' and a photo of this sheet; each person signs "
    "their own items again."
)


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
    parts = [
        f"<p>{escaped(checklist.when)}</p>",
        f"<p>{' &nbsp; '.join(escaped(text) for text in _top(about))}</p>",
    ]
    for section, items in _sections(checklist):
        rows = [(*_printed(item), "", "", "" if item.second else "-", "") for item in items]
        parts.append(f"<h2>{escaped(section)}</h2>{table(_HEAD, rows, _BLANK)}")
    parts += [f'<p class="note mono">{escaped(text)}</p>' for text in _origin(desk, checklist)]
    parts += [f'<p class="note">{escaped(text)}</p>' for text in (_LATER, *CAUTIONS)]
    return page(f"{checklist.title}, {desk.folder.name}", *parts)


def check_lines(desk: Desk, checklist: Checklist, about: About) -> Iterator[str]:
    """Give the same as text, for a terminal or a printer of lines."""
    yield f"{checklist.title}, {desk.folder.name}"
    yield checklist.when
    yield "  ".join(_top(about))
    for section, items in _sections(checklist):
        yield ""
        yield section
        for item in items:
            id_, text, passes, who = _printed(item)
            second = f"  second {_LINE}" if item.second else ""
            yield f"  {id_}: {text}"
            yield f"    passes with: {passes}; {who}"
            yield f"    result {_LINE}  initials {_LINE}{second}  time UTC {_LINE}"
    yield ""
    yield from _origin(desk, checklist)
    yield _LATER
    yield from CAUTIONS


def check_content(desk: Desk, checklist: Checklist, about: About) -> SheetContent:
    """Give the same as a sheet, with boxes that a gloved hand can fill in."""
    top = tuple((name, text) for name, _, text in (t.partition(": ") for t in _top(about)))
    return SheetContent(
        title=checklist.title,
        subtitle=checklist.when,
        team=desk.folder.name,
        headline="",
        top=(Facts("", (*top, ("list", _version(checklist)))),),
        parts=(
            tuple(
                wide(Form(section, tuple(map(_form_item, items))))
                for section, items in _sections(checklist)
            ),
        ),
        notes=(_LATER, *CAUTIONS),
        heads=heads_of(desk.ledger),
        made=desk.ledger.now,
    )


def _form_item(item: Item) -> FormItem:
    id_, text, passes, who = _printed(item)
    boxes = ("pass", "fail") if item.kind == CHECK else ()
    return FormItem(
        id_,
        text,
        f"passes {passes}" if boxes else f"passes with {passes}",
        who,
        boxes,
        bool(item.second),
    )


def _version(checklist: Checklist) -> str:
    return f"{checklist.id}, version {checklist.version}, SHA-256 {checklist.sha256}"


def _top(about: About) -> list[str]:
    return [
        f"Aircraft: {about.aircraft or _LINE}",
        f"Pack: {about.pack or _LINE}",
        f"Date: {_LINE}",
    ]


def _origin(desk: Desk, checklist: Checklist) -> list[str]:
    heads = ", ".join(heads_of(desk.ledger))
    return [
        f"List {_version(checklist)}",
        f"Head of the record: {heads}",
    ]


def _sections(checklist: Checklist) -> Iterator[tuple[str, list[Item]]]:
    for section in dict.fromkeys(item.section for item in checklist.items):
        yield section, [item for item in checklist.items if item.section == section]


def _printed(item: Item) -> tuple[str, str, str, str]:
    who = item.role + (f", then another as {item.second}" if item.second else "")
    passes = item.acceptance or ("a photo" if item.kind == "photo" else "as written")
    return item.id, item.text, f"{passes}{'; instrument' if item.instrument else ''}", who
