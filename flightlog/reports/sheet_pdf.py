"""A sheet as PDF: its content goes to the typesetter as data, never as source.

The template reads one JSON file; whatever a text holds, it is set as text. The typesetter gets
the template, that file and the pictures, all in memory, and an empty folder for a root: it can
read nothing else. Fonts come with packages, those of the system are left alone, so that a sheet
looks the same on every laptop, and the same record gives the same bytes.
"""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import typst

from flightlog.logbook.words import safe
from flightlog.reports.look import FAINT, GREY, INK, PAPER
from flightlog.reports.qr_code import MOST_HEADS, head_text, qr_svg
from flightlog.reports.sheet_content import (
    Notice,
    Picture,
    SheetContent,
    Strip,
    Table,
    cut,
    cut_block,
    more_text,
    state_look,
    state_shape,
)

SHARES = (1.0, 0.92, 0.84, 0.76, 0.68, 0.6, 0.52, 0.44, 0.36, 0.28, 0.2, 0.12, 0.05)
"""How much of its rows a part may keep, tried in this order until it fits on its page."""
_TEMPLATE = "sheet.typ"
_FONTS = "font_source_sans_pro"
_DRAWN = re.compile(
    "[ -~\u00a0-\u0377\u0384-\u04ff\u05d0-\u05ea\u1e00-\u1eff\u2010-\u2027\u2030-\u205e"
    "\u2070\u2074-\u208e\u20a0-\u20bf\u2100-\u214f\u2190-\u262f\u2715]"
)
"""Signs for which one of the fonts has a picture; the others would be empty boxes."""
_FONT_OF_PICTURE = re.compile(r"""font-family\s*(=\s*"[^"]*"|=\s*'[^']*'|:\s*[^;"'}]*)""")

Files = dict[str, bytes]


def sheet_pdf(content: SheetContent) -> bytes:
    """Set a sheet.

    Parameters
    ----------
    content : SheetContent
        What stands on it.

    Returns
    -------
    bytes
        A PDF of A4 pages; where ``one_page_each`` is set, one for each part, unless even a few
        rows of it don't fit.
    """
    with tempfile.TemporaryDirectory() as empty:
        shares = _fitting(content, empty) if content.one_page_each else [0] * len(content.parts)
        return _set(_files(content, shares), empty)


def _fitting(content: SheetContent, empty: str) -> list[int]:
    """Choose for each part how far it is cut: no further than its page asks for."""
    levels = [0] * len(content.parts)
    while True:
        pages = _pages(_files(content, levels), empty)
        over = [i for i, count in enumerate(pages) if count > 1 and levels[i] < len(SHARES) - 1]
        if not over:
            return levels
        for part in over:
            levels[part] += 1


def _pages(files_: Files, empty: str) -> list[int]:
    """Count the pages that each part takes."""
    in_memory: Any = files_  # which its types don't say
    told = typst.query(
        in_memory,
        "<part>",
        field="value",
        root=empty,
        font_paths=_font_paths(),
        ignore_system_fonts=True,
    )
    found = json.loads(told)
    return [last - first + 1 for first, last in zip(found[::2], found[1::2], strict=True)]


def _set(files_: Files, empty: str) -> bytes:
    in_memory: Any = files_
    return typst.compile(
        in_memory,
        root=empty,
        font_paths=_font_paths(),
        ignore_system_fonts=True,
        format="pdf",
        package_path=empty,
    )


def _font_paths() -> list[str]:
    found = find_spec(_FONTS)
    places = found.submodule_search_locations if found is not None else None
    return [str(Path(place) / "files") for place in places or ()]


# --- what the template reads


def _files(content: SheetContent, levels: Sequence[int]) -> Files:
    files_: Files = {"main.typ": files(__package__).joinpath(_TEMPLATE).read_bytes()}
    parts = [
        cut(part, SHARES[level]) if content.one_page_each else part
        for part, level in zip(content.parts, levels, strict=True)
    ]
    top = [cut_block(b) if content.one_page_each else b for b in content.top]
    left_out = content.heads[MOST_HEADS:]
    body = {
        "look": {"ink": INK, "grey": GREY, "faint": FAINT, "paper": PAPER},
        "title": printed(content.title),
        "subtitle": printed(content.subtitle),
        "team": printed(content.team),
        "headline": printed(content.headline),
        "made": f"{content.made:%Y-%m-%d %H:%M} UTC",
        "when": list(content.made.timetuple()[:6]),
        "heads": [printed(head) for head in content.heads],
        "not_coded": len(left_out),
        "notes": [printed(note) for note in content.notes],
        "top": _data(top, files_),
        "parts": _data(parts, files_),
        "qr": _picture(qr_svg(head_text(content.heads)), files_) if content.heads else None,
    }
    files_["content.json"] = json.dumps(body, ensure_ascii=False).encode("utf-8")
    return files_


def _data(value: object, files_: Files, name: str = "") -> Any:
    """Make JSON types of blocks; pictures become files."""
    if name == "svg":
        return _picture(str(value), files_) if value else None
    if isinstance(value, str):
        return printed(value)
    if isinstance(value, list | tuple):
        return [_data(one, files_) for one in value]
    if not is_dataclass(value) or isinstance(value, type):
        return value
    body = {f.name: _data(getattr(value, f.name), files_, f.name) for f in fields(value)}
    body["kind"] = type(value).__name__.lower()
    body["more_text"] = more_text(body.get("more", 0))
    if isinstance(value, Strip | Notice):
        body["shape"], body["look"] = state_shape(value.word), state_look(value.word)
    if isinstance(value, Table):
        body["shapes"] = [[state_shape(row[i]) for i in value.states] for row in value.rows]
    if isinstance(value, Picture) and not value.svg:
        body["lacking"] = printed(value.lacking or "There is nothing to draw.")
    return body


def _picture(svg: str, files_: Files) -> str:
    name = f"picture-{len(files_)}.svg"
    files_[name] = _FONT_OF_PICTURE.sub('font-family="Source Sans Pro"', svg).encode("utf-8")
    return name


def printed(text: str) -> str:
    """Give a text in which each sign shows itself, and none is an empty box.

    Line breaks stay; other hidden signs, and those that no font here can draw, are written as
    ``<U+4E2D>``.
    """
    return "\n".join(_line(line) for line in text.split("\n"))


def _line(text: str) -> str:
    return "".join(c if _DRAWN.match(c) else f"<U+{ord(c):04X}>" for c in safe(text))
