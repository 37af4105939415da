"""The JSON of a ground test: figures, outcomes and findings in the form that debriefs have."""

from __future__ import annotations

import json

from flightlog.contract import (
    TOOL_VERSION,
    Json,
    bounds_json,
    figures_json,
    finding_json,
    outcome_json,
    plain_json,
)
from flightlog.ground_figures import GROUND_VERSION
from flightlog.groundtests.answer import ResultTable
from flightlog.operations.ground_baseline import Against, Moved
from flightlog.operations.ground_test import GroundTest, TestedFile
from flightlog.operations.positions import named

SCHEMA = "flightlog.groundtest/1"
MOST_ROWS = 4000
"""Rows of one table; the rest is counted under ``rows_left_out``."""


def ground_json(test: GroundTest, against: Against | None = None) -> Json:
    """Turn a ground test into plain JSON types.

    Parameters
    ----------
    test : GroundTest
        As it was reduced.
    against : Against, optional
        The earlier test that it was compared with.

    Returns
    -------
    dict
        Of dict, list, str, int, float, bool and None; every float is finite. A figure whose
        interval is not finite stands under ``withheld``.
    """
    answer = test.answer
    figures, withheld = figures_json(answer.figures, answer.withheld)
    bench = test.bench
    body = {
        "schema": SCHEMA,
        "tool": {"version": TOOL_VERSION, "ground": GROUND_VERSION},
        "kind": test.kind.word,
        "files": [_file(file) for file in test.files],
        "bench": _bench(test),
        "subject": _subject(test),
        "instrument": bench.instrument if bench is not None else "",
        "figures": figures,
        "withheld": withheld,
        "outcomes": [outcome_json(outcome) for outcome in test.outcomes],
        "tables": {table.key: _table(table) for table in answer.tables},
        "findings": [finding_json(finding) for finding in answer.findings],
        "against": _against(against),
    }
    plain: Json = plain_json(body)
    return plain


def ground_text(test: GroundTest, against: Against | None = None) -> str:
    """Write a ground test as JSON text, indented, fit for UTF-8."""
    body = ground_json(test, against)
    return json.dumps(body, ensure_ascii=False, allow_nan=False, indent=2)


def _file(file: TestedFile) -> Json:
    return {
        "file": file.name,
        "sha256": file.sha256,
        "columns": {name: {"header": header, "unit": unit} for name, header, unit in file.taken},
    }


def _bench(test: GroundTest) -> Json | None:
    bench = test.bench
    if bench is None:
        return None
    return {"id": bench.id, "sha256": bench.sha256, "title": bench.title, "setup": bench.setup}


def _subject(test: GroundTest) -> Json | None:
    if test.bench is None:
        return None
    subject = test.bench.subject
    thing, id_ = subject.named
    told = {thing: id_} if thing else {}
    return {**told, "part": subject.part, "configuration": subject.configuration}


def _table(table: ResultTable) -> Json:
    body: Json = {
        "title": table.title,
        "units": {column.key: column.unit for column in table.columns},
        "rows": [
            {column.key: cell for column, cell in zip(table.columns, row, strict=True)}
            for row in table.rows[:MOST_ROWS]
        ],
    }
    if len(table.rows) > MOST_ROWS:
        body["rows_left_out"] = len(table.rows) - MOST_ROWS
    return body


def _against(against: Against | None) -> Json | None:
    if against is None:
        return None
    return {
        "entry": named(against.entry),
        "date": f"{against.when:%Y-%m-%d}",
        "changes": [_moved(one) for one in against.moved],
    }


def _moved(one: Moved) -> Json:
    return {
        "figure": one.figure,
        "then": bounds_json(one.then, unit=True, level=True),
        "change": bounds_json(one.change, unit=True, level=True) if one.change else None,
        "verdict": one.verdict,
        "text": one.text,
    }
