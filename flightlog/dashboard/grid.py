"""A table of lines that can be pressed, with heads that sort it.

The cells are handed over as texts and put into the page as texts, never as markup. What the
library of the screen brings for this is drawn in small grey letters, which the sun takes away.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

import streamlit as st

_PAGE = '<div class="fl fl-grid" role="region" tabindex="0"></div>'
_SCRIPT = """
export default function (component) {
  const { parentElement, data, setTriggerValue } = component;
  const place = parentElement.querySelector(".fl-grid");
  place.setAttribute("aria-label", data.label);
  const left = place.scrollLeft, top = place.scrollTop;
  const made = (name, text, into) => {
    const node = document.createElement(name);
    if (text !== null) node.textContent = text;
    into.appendChild(node);
    return node;
  };
  const table = document.createElement("table");
  const head = made("tr", null, made("thead", null, table));
  data.head.forEach((name) => {
    const cell = made("th", null, head);
    if (!data.sortable) { cell.textContent = name; cell.className = "plain"; return; }
    const sorted = name === data.sort;
    cell.setAttribute("aria-sort", !sorted ? "none" : data.down ? "descending" : "ascending");
    const button = made("button", name + (!sorted ? "" : data.down ? " ▼" : " ▲"), cell);
    button.onclick = () => setTriggerValue("sort", name);
  });
  const body = made("tbody", null, table);
  data.rows.forEach((texts) => {
    const line = made("tr", null, body);
    if (texts[0] === data.chosen) line.className = "chosen";
    line.onclick = () => setTriggerValue("line", texts[0]);
    texts.forEach((text, place) => {
      const cell = made("td", null, line);
      if (place === 0) made("button", text, cell);
      else cell.textContent = text || "–";
      if (data.numbers.includes(data.head[place])) cell.className = "number";
    });
  });
  place.replaceChildren(table);
  place.scrollLeft = left;
  place.scrollTop = top;
}
"""


@cache
def _component() -> Callable[..., Any]:
    return st.components.v2.component(
        "flightlog_grid", html=_PAGE, js=_SCRIPT, isolate_styles=False
    )


def grid(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    label: str,
    numbers: Sequence[str],
    chosen: str,
    key: str,
    on_line: Callable[[str], None],
    sort: tuple[str, bool] = ("", False),
    on_sort: Callable[[str], None] | None = None,
) -> None:
    """Draw the table.

    Parameters
    ----------
    head : sequence of str
        Names of the columns; the first one names the lines.
    rows : sequence of sequence of str
        Texts, as they are to be read.
    label : str
        What it is, for who can't see it.
    numbers : sequence of str
        Columns that stand to the right.
    chosen : str
        Name of the line that is chosen; empty where none is.
    key : str
        Of the widget.
    on_line : callable
        Takes the name of the line that was pressed.
    sort : (str, bool)
        By which column it is sorted, and whether the greatest comes first.
    on_sort : callable, optional
        Takes the column that was pressed; without it the heads can't be.
    """

    def pressed(what: str, then: Callable[[str], None] | None) -> Callable[[], None]:
        def told() -> None:
            value = getattr(st.session_state[key], what, None)
            if isinstance(value, str) and then is not None:
                then(value)

        return told

    _component()(
        key=key,
        data={
            "label": label,
            "head": list(head),
            "rows": [list(row) for row in rows],
            "numbers": list(numbers),
            "sortable": on_sort is not None,
            "sort": sort[0],
            "down": sort[1],
            "chosen": chosen,
        },
        on_sort_change=pressed("sort", on_sort),
        on_line_change=pressed("line", on_line),
    )
