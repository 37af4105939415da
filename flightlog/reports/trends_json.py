"""What is wearing out, as JSON for programs: unrounded, with every flight."""

from __future__ import annotations

from flightlog.figures import FIGURES
from flightlog.operations.trends import STEPS, Course, TrendsAnswer
from flightlog.operations.trends_baseline import BaselineLine
from flightlog.operations.trends_series import Part
from flightlog.prediction.trends import Ahead, Trend
from flightlog.prediction.wear import AHEAD, JUMP_LEVEL, SURE, TREND_LEVEL, EdgeState
from flightlog.reports.trends_words import CAUTION

SCHEMA = "flightlog.trends/1"


def trends_json(answer: TrendsAnswer) -> dict[str, object]:
    """Give the answer as a JSON object."""
    return {
        "schema": SCHEMA,
        "series_looked_at": answer.series,
        "level": {"trend": TREND_LEVEL, "stands_out": JUMP_LEVEL, "limit": SURE},
        "named": [
            {"thing": c.line.thing, "id": c.line.id, "figure": c.line.figure, "word": c.judged.word}
            for c in answer.named
        ],
        "series": [_course(course) for course in answer.courses],
        "caution": CAUTION,
    }


def _course(course: Course) -> dict[str, object]:
    judged, trend, part = course.judged, course.judged.trend, course.line.now
    end = course.end
    return {
        "thing": course.line.thing,
        "id": course.line.id,
        "figure": course.line.figure,
        "unit": FIGURES[course.line.figure].unit,
        "word": judged.word,
        "named": judged.named,
        "withheld": judged.why or None,
        **_part(part),
        "trend": _trend(trend) if trend is not None else None,
        "p_all": judged.p_all if trend is not None else None,
        "now": _ahead(course.level(end)) if trend is not None else None,
        "expected": [
            {"ahead": step, "beyond_what_was_flown": True, **_ahead(course.flight(end + step))}
            for step in STEPS
        ]
        if trend is not None
        else [],
        "limits": [_edge(edge) for edge in judged.edges],
        "stood_out": [
            {
                "flight": part.points[jump.place].name,
                "expected": jump.expected,
                "low": jump.low,
                "high": jump.high,
                "in_a_row": jump.in_a_row,
            }
            for jump in judged.jumps
        ],
        "landings": {
            "sum_of_squares": course.landings[0],
            "counted": course.landings[1],
            "missing": course.landings[2],
        }
        if course.landings is not None
        else None,
        "before": [
            {**_part(before), "trend": _trend(found) if found is not None else None}
            for before, found in course.before
        ],
    }


def _part(part: Part) -> dict[str, object]:
    return {
        "since": part.since,
        "first": part.first,
        "last": part.last,
        "flights": [
            {
                "number": p.number,
                "flight": p.name,
                "utc": p.began.isoformat().replace("+00:00", "Z"),
                "value": p.value,
                "low": p.low,
                "high": p.high,
            }
            for p in part.points
        ],
        "lacking": [{"flight": name, "why": why} for name, why in part.lacking],
    }


def _trend(trend: Trend) -> dict[str, object]:
    return {
        "flights": trend.flights,
        "slope": trend.slope.value,
        "slope_low": trend.slope.low,
        "slope_high": trend.slope.high,
        "intercept": trend.slope.at_zero,
        "s": trend.s,
        "variance": trend.var,
        "z": trend.z,
        "tau": trend.tau,
        "p": trend.p,
        "p_by": trend.p_by,
        "p_all_looks": trend.p_looks,
        "neighbours": trend.lag1,
        "scatter": trend.scatter,
    }


def _ahead(ahead: Ahead) -> dict[str, object]:
    return {"number": ahead.index, "value": ahead.value, "low": ahead.low, "high": ahead.high}


def _edge(state: EdgeState) -> dict[str, object]:
    return {
        "op": state.edge.op,
        "value": state.edge.value,
        "std": state.edge.std,
        "source": state.edge.source,
        "beyond_now": state.now,
        "beyond_ahead": state.ahead,
        "ahead": AHEAD,
        "reached": {
            "number": state.at,
            "earliest": state.earliest,
            "latest": state.latest,
            "beyond_what_was_flown": True,
        },
    }


def baseline_json(rows: list[BaselineLine], aircraft: str) -> dict[str, object]:
    """Give the baseline of an aircraft as a JSON object."""
    return {
        "schema": SCHEMA,
        "aircraft": aircraft,
        "baseline": {
            row.figure: {
                "value": row.value,
                "spread": row.spread,
                "unit": FIGURES[row.figure].unit,
                "flights": row.flights,
            }
            for row in rows
            if not row.why
        },
        "withheld": {row.figure: row.why for row in rows if row.why},
    }
