"""The heads of the record as a QR code, so that nobody has to type them from paper."""

from __future__ import annotations

import segno

from flightlog.reports.look import CODE, PAPER

_ERROR = "m"
"""Up to a seventh of it may be dirty."""
_BORDER = 4
"""Light modules around it, which readers need."""
MOST_HEADS = 8
"""More heads than these make modules too small to be read from paper."""


def head_text(heads: tuple[str, ...]) -> str:
    """Give what the code says: the heads as they are printed, with a space between."""
    return " ".join(heads[:MOST_HEADS])


def qr_svg(text: str) -> str:
    """Draw a QR code.

    Parameters
    ----------
    text : str
        Heads; capitals, digits, ``.`` and ``-`` make the smallest code.

    Returns
    -------
    str
        An ``<svg>`` of one black path, in modules; it has no size of its own.
    """
    code = segno.make(text, error=_ERROR, micro=False)
    rows = [[bool(module) for module in row] for row in code.matrix]
    size = len(rows) + 2 * _BORDER
    path = "".join(_runs(row, y + _BORDER) for y, row in enumerate(rows))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}" role="img" '
        f'aria-label="QR code of the heads"><rect width="{size}" height="{size}" fill="{PAPER}"/>'
        f'<path d="{path}" fill="{CODE}" shape-rendering="crispEdges"/></svg>'
    )


def _runs(row: list[bool], y: int) -> str:
    """Draw a row as rectangles, one for each run of dark modules."""
    drawn, start = "", None
    for x, dark in enumerate([*row, False]):
        if dark and start is None:
            start = x
        elif not dark and start is not None:
            drawn += f"M{start + _BORDER} {y}h{x - start}v1h-{x - start}z"
            start = None
    return drawn
