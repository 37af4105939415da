"""What a rule-book file may hold, and the way to a `RuleBook`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from flightlog.errors import FormulaError, TeamFileError
from flightlog.figures import FIGURES
from flightlog.rules.book import Clause, Entered, Limit, RuleBook, ScoreRule, make_limit
from flightlog.rules.formula import Formula, compile_formula, is_reserved
from flightlog.team_files.checking import Slug, Table, Text, checked
from flightlog.team_files.limits import LimitBody, near_figure
from flightlog.team_files.reading import near_miss, read_toml

MOST_LIMITS = 200
MOST_CLAUSES = 500
MOST_NAMES = 60
"""Variables, entered numbers or terms of one score, each."""


_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]{0,39}")


class _RuleLimit(LimitBody):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    figure: str = Field(description="a figure id")


class _Entered(Table):
    meaning: Text = Field(description="what people are asked for")
    unit: Text = ""


class _Score(Table):
    total: str = Field(description="a formula")
    variables: Annotated[dict[str, str], Field(max_length=MOST_NAMES)] = Field(
        default_factory=dict, description="names of figure ids"
    )
    entered: Annotated[dict[str, _Entered], Field(max_length=MOST_NAMES)] = Field(
        default_factory=dict, description='names with { meaning = "...", unit = "" }'
    )
    terms: Annotated[dict[str, str], Field(max_length=MOST_NAMES)] = Field(
        default_factory=dict, description="names of formulas"
    )


class _Screen(Table):
    height_m: float = Field(
        gt=0, le=100, description="the wheel height in metres at which take-off ends"
    )


class _Clause(Table):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    source: Text = Field(min_length=1, description='its number, such as "clause 3.2"')
    requires: Text = Field(min_length=1, description="what it asks for, in words")
    how: Literal["measured", "declared", "tested", "photo"] = Field(
        description="measured, declared, tested or photo"
    )
    limit: Slug | None = Field(default=None, description="the id of the limit that shows it")


class RulesFile(Table):
    """A rule-book file."""

    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    version: Text = Field(description='a text such as "1"')
    title: Text = ""
    screen: _Screen | None = None
    limit: Annotated[list[_RuleLimit], Field(max_length=MOST_LIMITS)] = Field(default_factory=list)
    clause: Annotated[list[_Clause], Field(max_length=MOST_CLAUSES)] = Field(default_factory=list)
    score: _Score | None = None


def read_rules(path: Path) -> RuleBook:
    """See `flightlog.rules.book.load_rules`."""
    table, sha256 = read_toml(path, "rules")
    file = checked(RulesFile, table, str(path))
    limits = _limits(file.limit, str(path))
    return RuleBook(
        id=file.id,
        version=file.version,
        sha256=sha256,
        limits=limits,
        clauses=_clauses(file.clause, {limit.id for limit in limits}, str(path)),
        score=_score(file.score, str(path)) if file.score else None,
        screen_height_m=file.screen.height_m if file.screen else None,
        title=file.title,
    )


def _limits(found: Iterable[_RuleLimit], path: str) -> tuple[Limit, ...]:
    limits: dict[str, Limit] = {}
    for body in found:
        where = f'{path}: [[limit]] "{body.id}"'
        if body.id in limits:
            raise TeamFileError(
                f"there are two limits of id {body.id!r}",
                where=where,
                fix="Give each an id of its own.",
            )
        if body.figure not in FIGURES:
            raise TeamFileError(
                f"{body.figure!r} is not a figure",
                where=f"{where} figure",
                fix=near_figure(body.figure),
            )
        limits[body.id] = make_limit(body.id, "rule", body.figure, body, where)
    return tuple(limits.values())


def _clauses(found: Iterable[_Clause], limits: set[str], path: str) -> tuple[Clause, ...]:
    clauses: dict[str, Clause] = {}
    for body in found:
        where = f'{path}: [[clause]] "{body.id}"'
        if body.id in clauses:
            raise TeamFileError(
                f"there are two clauses of id {body.id!r}",
                where=where,
                fix="Give each an id of its own.",
            )
        if body.limit is not None and body.limit not in limits:
            raise TeamFileError(
                f"{body.limit!r} is no limit of this book",
                where=f"{where} limit",
                fix=near_miss(body.limit, sorted(limits)) or "Leave it out.",
            )
        clauses[body.id] = Clause(body.id, body.source, body.requires, body.how, body.limit or "")
    return tuple(clauses.values())


def _score(file: _Score, path: str) -> ScoreRule:
    groups: dict[str, Iterable[str]] = {
        "variables": file.variables,
        "entered": file.entered,
        "terms": file.terms,
    }
    names: dict[str, str] = {}
    for group, found in groups.items():
        for name in found:
            _check_name(name, group, names, path)
            names[name] = group
    for name, figure in file.variables.items():
        if figure not in FIGURES:
            raise TeamFileError(
                f"{figure!r} is not a figure",
                where=f"{path}: [score.variables] {name}",
                fix=near_figure(figure),
            )
    terms = {
        name: compile_formula(text, names, f"{path}: [score.terms] {name}")
        for name, text in file.terms.items()
    }
    return ScoreRule(
        total=compile_formula(file.total, names, f"{path}: [score] total"),
        variables=file.variables,
        entered={k: Entered(e.meaning, e.unit) for k, e in file.entered.items()},
        terms=_in_order(terms),
    )


def _check_name(name: str, group: str, taken: Mapping[str, str], path: str) -> None:
    where = f"{path}: [score.{group}] {name[:60]}"
    if not _NAME.fullmatch(name):
        raise TeamFileError(
            f"{name[:60]!r} can't be used in a formula",
            where=where,
            fix="Use letters, digits and underscores, a letter first, at most 40.",
        )
    if is_reserved(name):
        raise TeamFileError(
            f"{name!r} means something else in formulas", where=where, fix="Choose another name."
        )
    if name in taken:
        raise TeamFileError(
            f"{name!r} is also in [score.{taken[name]}]",
            where=where,
            fix="Give each thing a name of its own.",
        )


def _in_order(terms: Mapping[str, Formula]) -> dict[str, Formula]:
    """Put each term behind those that it uses."""
    needs = {name: sorted(formula.names & terms.keys()) for name, formula in terms.items()}
    try:
        return {name: terms[name] for name in TopologicalSorter(needs).static_order()}
    except CycleError as error:
        circle = [str(name) for name in error.args[1]]
        raise FormulaError(
            f"terms use each other in a circle: {' - '.join(circle)}",
            where=terms[circle[0]].where,
            fix="Write one of them without the others.",
        ) from error
