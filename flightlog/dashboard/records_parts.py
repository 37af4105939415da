"""What the sections of the records share."""

from __future__ import annotations

from collections.abc import Sequence

from flightlog.dashboard import parts
from flightlog.reports.markup import escaped


def marked_table(head: Sequence[str], rows: Sequence[Sequence[str]], state: str) -> None:
    """Show a table in which each state stands with its shape.

    Parameters
    ----------
    head : sequence of str
        Names of the columns.
    rows : sequence of sequence of str
        Texts.
    state : str
        The column that holds states.
    """
    place = list(head).index(state)
    body = ""
    for row in rows:
        cells = [parts.mark(t) if k == place and t else escaped(t) for k, t in enumerate(row)]
        body += f"<tr>{''.join(f'<td>{cell}</td>' for cell in cells)}</tr>"
    top = "".join(f"<th>{escaped(name)}</th>" for name in head)
    parts.html(
        f'<div class="fl-wide"><table><thead><tr>{top}</tr></thead><tbody>{body}</tbody>'
        "</table></div>"
    )
