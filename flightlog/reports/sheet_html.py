"""A sheet as one HTML file that opens anywhere, without a network: pictures and all within it.

On a screen nothing is cut, so that a page holds more rows than the paper.
"""

from __future__ import annotations

from collections.abc import Iterable

from flightlog.reports.look import (
    ANSWER_PX,
    FAINT,
    GREY,
    HEADING_PX,
    INK,
    LARGE_PX,
    MONO,
    SMALL_PX,
    STEP_PX,
    TITLE_PX,
    page_css,
)
from flightlog.reports.markup import escaped, page
from flightlog.reports.qr_code import MOST_HEADS, head_text, qr_svg
from flightlog.reports.sheet_content import (
    Band,
    Block,
    Facts,
    Form,
    Notice,
    Picture,
    SheetContent,
    Strip,
    Strips,
    Table,
    Words,
    state_look,
    state_shape,
)

SHEET_CSS = f"""
body {{ max-width: 1080px; margin: {3 * STEP_PX}px auto; padding: 0 {3 * STEP_PX}px; }}
h1 {{ font-size: {TITLE_PX}px; line-height: 1.2; margin: 0; }}
.fl h2 {{ font-size: {HEADING_PX}px; margin: {3 * STEP_PX}px 0 {STEP_PX}px;
  padding-bottom: {STEP_PX // 2}px; border-bottom: 2px solid {INK}; }}
.fl .under {{ font-size: {LARGE_PX}px; margin: {STEP_PX // 2}px 0 0; }}
.fl .from {{ color: {GREY}; margin: {STEP_PX // 2}px 0 {2 * STEP_PX}px;
  padding-bottom: {2 * STEP_PX}px; border-bottom: 3px solid; }}
.fl .headline {{ font-size: {ANSWER_PX}px; line-height: 1.3; font-weight: 700;
  margin: {2 * STEP_PX}px 0; }}
.fl .band {{ display: grid; gap: 0 {5 * STEP_PX}px; }}
.fl .band > div {{ min-width: 0; }}
.fl th, .fl td {{ border: 0; border-bottom: 1px solid {FAINT}; overflow-wrap: anywhere; }}
.fl th {{ border-bottom: 2px solid {INK}; color: {GREY}; font-size: {SMALL_PX}px; }}
.fl .number {{ text-align: right; white-space: nowrap; overflow-wrap: normal; }}
.fl td.short {{ white-space: nowrap; }} .fl th {{ overflow-wrap: normal; }}
.fl dl {{ display: grid; grid-template-columns: max-content 1fr; padding: 0;
  gap: {STEP_PX // 2}px {3 * STEP_PX}px; margin: {STEP_PX}px 0; }}
.fl dt {{ color: {GREY}; }} .fl dd {{ margin: 0; overflow-wrap: anywhere; min-width: 0; }}
.fl p {{ margin: {STEP_PX}px 0; overflow-wrap: anywhere; }}
.fl .none, .fl .source {{ color: {GREY}; }} .fl .source {{ font-size: {SMALL_PX}px; }}
.fl .strip {{ display: grid; grid-template-columns: 168px 1fr 320px; align-items: center;
  gap: {STEP_PX // 2}px {3 * STEP_PX}px; padding: {STEP_PX}px 0;
  border-bottom: 1px solid {FAINT}; }}
.fl .state {{ font-weight: 700; white-space: nowrap; }}
.fl .band svg {{ width: 100%; height: auto; }}
.fl .notice {{ display: flex; gap: {3 * STEP_PX}px; align-items: center;
  margin: {2 * STEP_PX}px 0; }}
.fl .notice .fl-state {{ font-size: {ANSWER_PX}px; flex: none; }}
.fl .lacking {{ border: 2px dashed {GREY}; padding: {2 * STEP_PX}px; }}
.fl .foot {{ display: grid; grid-template-columns: 1fr 180px; gap: {4 * STEP_PX}px;
  margin-top: {4 * STEP_PX}px; border-top: 3px solid {INK}; padding-top: {2 * STEP_PX}px; }}
.fl .head {{ font-family: {MONO}; font-size: {LARGE_PX}px; font-weight: 700;
  overflow-wrap: anywhere; }}
.fl .box, .fl .field {{ height: {5 * STEP_PX}px; }}
.fl .box {{ border: 2px solid {INK}; width: {5 * STEP_PX}px; }}
.fl .field {{ border: 1px solid {GREY}; width: 90px; }}
.fl .tick {{ display: inline-block; margin: {STEP_PX // 2}px {2 * STEP_PX}px {STEP_PX // 2}px 0;
  font-size: {SMALL_PX}px; }}
.fl .tick span {{ display: block; }}
@media (max-width: 860px) {{
  .fl .band {{ grid-template-columns: 1fr !important; }}
  .fl .strip {{ grid-template-columns: 1fr; }} .fl .foot {{ grid-template-columns: 1fr; }}
}}
@media print {{ .fl .band, .fl .strip, .fl .foot, .fl tr {{ break-inside: avoid-page; }} }}
"""


def sheet_html(content: SheetContent) -> str:
    """Give a sheet as one page.

    Parameters
    ----------
    content : SheetContent
        What stands on it; texts are escaped here.
    """
    made = "as the record was" if content.heads else "made"
    bands = "".join(band_html(band) for part in content.parts for band in part)
    return page(
        content.title,
        '<div class="fl">',
        f'<p class="under">{escaped(content.subtitle)}</p>',
        f'<p class="from">{escaped(content.team)}, {made} at '
        f"{content.made:%Y-%m-%d %H:%M} UTC by this laptop's clock</p>",
        f'<p class="headline">{escaped(content.headline)}</p>' if content.headline else "",
        *map(block_html, content.top),
        bands,
        _foot(content),
        "</div>",
        style=page_css() + SHEET_CSS,
    )


def band_html(band: Band) -> str:
    """Give columns side by side as HTML, of class "band"."""
    shares = " ".join(f"{share:g}fr" for share in band.shares)
    columns = "".join(f"<div>{''.join(map(block_html, column))}</div>" for column in band.columns)
    return f'<div class="band" style="grid-template-columns: {shares}">{columns}</div>'


def block_html(block: Block) -> str:
    """Give a block as HTML; it needs ``SHEET_CSS`` and to stand within class "fl"."""
    if isinstance(block, Words):
        return _title(block.title) + _words(block)
    if isinstance(block, Facts):
        rows = (f"<dt>{escaped(name)}</dt><dd>{escaped(text)}</dd>" for name, text in block.rows)
        return f"{_title(block.title)}<dl>{''.join(rows)}</dl>"
    if isinstance(block, Table):
        return _title(block.title) + (_table(block) if block.rows else _none(block.none))
    if isinstance(block, Strips):
        strips = "".join(map(_strip, block.rows)) or _none(block.none)
        note = f'<p class="source">{escaped(block.note)}</p>' if block.note else ""
        return _title(block.title) + strips + note
    if isinstance(block, Picture):
        lacking = escaped(block.lacking or "There is nothing to draw.")
        return _title(block.title) + (block.svg or f'<p class="lacking">{lacking}</p>')
    if isinstance(block, Notice):
        return _notice(block)
    return _form(block)


def _title(title: str) -> str:
    return f"<h2>{escaped(title)}</h2>" if title else ""


def _none(text: str) -> str:
    return f'<p class="none">{escaped(text)}</p>' if text else ""


def _words(block: Words) -> str:
    return "".join(f"<p>{escaped(text)}</p>" for text in block.lines) or _none(block.none)


def _state(word: str) -> str:
    return f'<span class="state">{state_shape(word)} {escaped(word)}</span>'


def _table(block: Table) -> str:
    short = {i for i, share in enumerate(block.shares) if share == 0}

    def class_of(column: int) -> str:
        if column in block.right:
            return ' class="number"'
        return ' class="short"' if column in short else ""

    def cells(row: Iterable[str]) -> str:
        return "".join(
            f"<td{class_of(i)}>{_state(text) if i in block.states else escaped(text)}</td>"
            for i, text in enumerate(row)
        )

    head = "".join(f"<th{class_of(i)}>{escaped(name)}</th>" for i, name in enumerate(block.head))
    rows = "".join(f"<tr>{cells(row)}</tr>" for row in block.rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _strip(strip: Strip) -> str:
    source = escaped("; ".join(filter(None, [strip.source, strip.chance])))
    return (
        f'<div class="strip">{_state(strip.word)}<div><strong>{escaped(strip.says)}</strong>'
        f'<div class="source">{source}</div>'
        f"</div><div>{strip.svg}</div></div>"
    )


def _notice(notice: Notice) -> str:
    word = f"{state_shape(notice.word)} {escaped(notice.word)}"
    return (
        f'<div class="notice"><span class="fl-state {state_look(notice.word)}">{word}</span>'
        f"<span>{escaped(notice.says)}</span></div>"
    )


def _form(form: Form) -> str:
    rows = []
    for item in form.rows:
        ticks = "".join(
            f'<span class="tick"><span class="box"></span><span>{escaped(name)}</span></span>'
            for name in item.boxes
        )
        fields = ["result or number", "initials", *(["second"] if item.second else []), "UTC"]
        written = "".join(
            f'<span class="tick"><span class="field"></span><span>{escaped(name)}</span></span>'
            for name in fields
        )
        rows.append(
            f"<tr><td><strong>{escaped(item.text)}</strong><br>{escaped(item.passes)}; "
            f'{escaped(item.who)} <span class="source">{escaped(item.id)}</span></td>'
            f"<td>{ticks}{written}</td></tr>"
        )
    return f"{_title(form.title)}<table><tbody>{''.join(rows)}</tbody></table>"


def _foot(content: SheetContent) -> str:
    heads = "".join(f'<p class="head">{escaped(head)}</p>' for head in content.heads)
    not_coded = len(content.heads[MOST_HEADS:])
    more = f"<p>The code holds all but the last {not_coded} of them.</p>" if not_coded else ""
    notes = "".join(f'<p class="fl-caution">{escaped(note)}</p>' for note in content.notes)
    if not content.heads:  # a sheet that was made without a record
        return f'<div class="foot"><div>{notes}</div></div>'
    code = qr_svg(head_text(content.heads))
    return (
        f'<div class="foot"><div><strong>Head of the record when this was made</strong>{heads}'
        f"{more}<p>Whoever holds this can tell a record that was cut or rewritten since: "
        f"<code>flightlog logbook check --head HEAD</code></p>{notes}</div><div>{code}</div></div>"
    )
