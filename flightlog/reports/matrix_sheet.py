"""The inspection matrix in words, for paper and for spreadsheets."""

from __future__ import annotations

from collections.abc import Sequence

from flightlog.figures import FIGURES
from flightlog.operations.desk import Desk
from flightlog.operations.matrix import NOT_SHOWN, OPEN, SHOWN, Row
from flightlog.operations.positions import heads_of, named
from flightlog.reports.cautions import RECORD
from flightlog.reports.markup import escaped, page, spreadsheet, table
from flightlog.reports.numbers import digits_beside, with_unit

HEAD = ("clause", "asks for", "state", "how", "by", "evidence", "entry")
_HASH_DIGITS = 12
_DECIMALS = 2


def matrix_rows(desk: Desk, rows: Sequence[Row]) -> list[tuple[str, ...]]:
    """Give the rows as texts, in the order of `HEAD`."""
    return [
        (
            row.clause.source,
            row.clause.requires,
            row.state,
            row.how,
            by_whom(desk, row),
            evidence_text(row),
            named(row.entry) if row.entry is not None else "",
        )
        for row in rows
    ]


def by_whom(desk: Desk, row: Row) -> str:
    """Name those who say it: persons, a log, or nobody."""
    if row.by:
        return ", ".join(map(desk.crew.label, row.by))
    return "log" if row.outcome is not None else ""


def evidence_text(row: Row) -> str:
    """Say what shows a clause, and what stands against it."""
    said = [row.text] if row.text else []
    if row.outcome is not None:
        said.append(_outcome_text(row))
    said += [f"{a.name}, SHA-256 {a.sha256[:_HASH_DIGITS]}…" for a in row.files]
    said += [row.why] if row.why else []
    return "; ".join(said)


def _outcome_text(row: Row) -> str:
    found = row.outcome or {}
    bound = found.get("bound") or {}
    value, low, high = (found.get(key) for key in ("value", "low", "high"))
    verdict = str(found.get("outcome"))
    if not isinstance(value, (int, float)) or not isinstance(bound.get("value"), (int, float)):
        return verdict
    figure = FIGURES.get(str(found.get("figure")))
    decimals = figure.decimals if figure is not None else _DECIMALS

    def text(number: float) -> str:
        return digits_beside(float(number), float(bound["value"]), decimals)

    spread = ""
    if low is not None and high is not None and low != high:
        spread = f" ({text(low)} to {text(high)})"
    word = "at most" if bound.get("op") == "<=" else "at least"
    number = with_unit(f"{text(value)}{spread}", str(found.get("unit") or ""))
    return f"{verdict}: {number}, {word} {bound['value']:g}"


def matrix_lines(desk: Desk, rows: Sequence[Row]) -> list[str]:
    """Give the matrix for a screen."""
    lines = []
    for row, texts in zip(rows, matrix_rows(desk, rows), strict=True):
        who = f", {texts[4]}" if texts[4] else ""
        lines.append(f"{row.state.upper():<17} {row.clause.source} [{row.clause.id}]")
        lines.append(f"  {row.clause.requires}")
        entry = f" ({texts[6]})" if texts[6] else ""
        lines.append(f"  {row.how}{who}: {texts[5]}{entry}")
    return [*lines, summary(rows)]


def summary(rows: Sequence[Row]) -> str:
    """Count the clauses that are shown, and the others."""
    counted = {word: sum(r.state == word for r in rows) for word in (SHOWN, NOT_SHOWN, OPEN)}
    anew = len(rows) - sum(counted.values())
    return (
        f"{counted[SHOWN]} of {len(rows)} clauses are shown, {counted[NOT_SHOWN]} are not, "
        f"{counted[OPEN]} are open, {anew} are to be shown anew."
    )


def matrix_table(desk: Desk, rows: Sequence[Row]) -> str:
    """Give the matrix as CSV."""
    return spreadsheet(HEAD, matrix_rows(desk, rows))


def matrix_sheet(desk: Desk, rules: str, aircraft: str, rows: Sequence[Row]) -> str:
    """Give the matrix as a page that needs nothing from anywhere."""
    book, file = desk.rules(rules), desk.aircraft(aircraft)
    about = (
        f"Rule book {rules}, version {book.version}, SHA-256 {book.sha256[:_HASH_DIGITS]}…",
        f"Aircraft {aircraft}, serial {file.serial or 'not given'}, configuration "
        f"{file.configuration or 'not named'}, file SHA-256 {file.sha256[:_HASH_DIGITS]}…",
        f"As the record was on {desk.ledger.now:%Y-%m-%d %H:%M} UTC by this laptop's clock",
    )
    heads = ", ".join(heads_of(desk.ledger))
    return page(
        f"Inspection matrix: {aircraft} under {book.title or rules}",
        *(f"<p>{escaped(line)}</p>" for line in about),
        f"<p><strong>{escaped(summary(rows))}</strong></p>",
        table(HEAD, matrix_rows(desk, rows)),
        f'<p class="note">{escaped(RECORD)}</p>',
        f'<p class="note">Heads of the record: <span class="mono">{escaped(heads)}</span></p>',
    )
