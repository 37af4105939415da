"""A flight card on one page of paper: what is expected, the test points, and room to write."""

from __future__ import annotations

from flightlog.logbook.codes import head_code
from flightlog.operations.card_view import CardView
from flightlog.operations.desk import Desk
from flightlog.operations.positions import heads_of, named
from flightlog.reports.card_words import fact_rows, outcome_texts, point_rows, state_text, utc
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.load_today_words import CAUTION
from flightlog.reports.markup import escaped, listed, page, table
from flightlog.reports.release_words import signature_lines

_POINT_HEAD = ("point", "what to fly", "what to measure", "stop when", "result", "measured")
_MEASURED_HEAD = ("ground roll m", "best climb m/s", "laps, Wh", "wind", "remarks")
_ONE_PAGE = """
@page { size: A4; margin: 12mm; }
@media print {
  body { font-size: 9pt; line-height: 1.25; } h1 { margin: 0 0 .4em; }
  h2 { font-size: 11pt; margin: .7em 0 .3em; } p, ul { margin: .4em 0; }
  th, td { padding: .15em .4em; }
}
"""
"""So close that a card with a handful of points fits one page."""
_LATER = (
    "Stop the point, and land, at the first stop criterion. Afterwards say what became of each "
    "point: 'flightlog card done'."
)


def card_sheet(desk: Desk, view: CardView) -> str:
    """Give a flight card as a page to be taken along.

    Parameters
    ----------
    desk : Desk
        The record, for names and its head.
    view : CardView
        The card as it stands now.
    """
    card = view.card
    points = [
        (p.name, p.setup, p.measure, p.stop, word if p.result else "", text)
        for p, (_, word, text) in zip(view.points, point_rows(view.points), strict=True)
    ]
    parts = [
        f"<p><strong>{escaped(state_text(view))}</strong>, as the record stood at "
        f"{escaped(utc(desk.ledger.now))}</p>",
        table(("what", "expected"), fact_rows(card)),
    ]
    if points:
        parts.append(f"<h2>Test points</h2>{table(_POINT_HEAD, points, _POINT_HEAD[-2:])}")
    if view.outcome is not None:
        parts.append(f"<h2>What came of it</h2>{listed(outcome_texts(view.outcome))}")
    else:
        blank = table(_MEASURED_HEAD, [[""] * len(_MEASURED_HEAD)], _MEASURED_HEAD)
        parts.append(f"<h2>What was measured</h2>{blank}")
    parts.append(f"<h2>Signatures</h2>{listed(signature_lines(desk, card))}")
    cited = ", ".join(f"{named(e)} ({e.body.kind})" for e in desk.ledger.named(card))
    heads = ", ".join(heads_of(desk.ledger))
    parts += [
        f'<p class="note">Signed {escaped(utc(card.body.time.utc))}; rests on '
        f"{escaped(cited)}.</p>",
        f'<p class="note">This card: <span class="mono">'
        f"{escaped(head_code(card.body.number, card.hash))}</span>. Head of the record when this "
        f'was printed: <span class="mono">{escaped(heads)}</span>.</p>',
        f'<p class="note">{escaped(" ".join((_LATER, CAUTION, *CAUTIONS)))}</p>',
    ]
    return page(f"Flight card {named(card)}, {desk.folder.name}", *parts, style=_ONE_PAGE)
