"""Rule books, and the limits of an aircraft's own file.

A rule book is data: limits on figures, clauses for the inspector, and a score formula. Every
key::

    schema = "flightlog.rules/1"    needed, as are id and version
    id, version                     stored with every outcome, beside the file's hash
    title                           a few words
    [screen]
    height_m                        wheel height at which the take-off distance ends [m]
    [[limit]]                       one for each limit
    id                              letters, digits, '.', '-' and '_'; needed
    figure                          figure id; needed
    at_most, at_least               exactly one of them, in ``unit``
    unit                            of the bound; converted exactly where it is another one
                                    of the same kind as the figure's
    shown_at                        probability required after the flight, 0.95
    plan_at                         probability required of the prediction before it, 0.95
    enforced                        "before_flight", "after_flight" (unless stated) or "both"
    source                          the clause
    definition                      where the limit measures something else than the figure:
                                    { liftoff = "first_clear" } or { start = "line" }
                                    for takeoff.ground_roll
    [[clause]]                      one for each clause that an inspector asks about
    id                              letters, digits, '.', '-' and '_'; needed
    source                          its number, "clause 3.2"; needed
    requires                        what it asks for, in words; needed
    how                             "measured", "declared", "tested" or "photo"; needed
    limit                           id of the [[limit]] whose outcome shows it
    [score.variables]
    NAME = "figure id"              numbers from the flight
    [score.entered]
    NAME = { meaning = "...", unit = "" }   numbers that only people know
    [score.terms]
    NAME = "formula"                parts, which may use each other
    [score]
    total = "formula"               see `flightlog.rules.formula` for what formulas may do
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from flightlog.errors import TeamFileError
from flightlog.figures import FIGURES
from flightlog.inputs import Aircraft, Pack
from flightlog.rules.formula import Formula
from flightlog.rules.outcomes import Bound

if TYPE_CHECKING:
    from flightlog.team_files.limits import LimitBody

When = Literal["before_flight", "after_flight", "both"]

DEFINITIONS: MappingProxyType[tuple[str, str, str], str] = MappingProxyType(
    {
        ("takeoff.ground_roll", "liftoff", "first_clear"): "takeoff.first_clear_distance",
        ("takeoff.ground_roll", "start", "line"): "takeoff.distance_from_line",
    }
)
"""Figure, key and value of a limit's own definition -> the figure that is that quantity."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A bound on a figure.

    Attributes
    ----------
    id : str
        Of its own; for an aircraft's limit the figure id.
    kind : {"rule", "aircraft"}
        Whose limit it is.
    figure : str
        Figure id.
    bound : Bound
        In the unit of the figure.
    shown_at, plan_at : float
        Probability required after the flight, and of the prediction before it.
    enforced : {"before_flight", "after_flight", "both"}
        When it is judged.
    source : str
        Clause; where the file uses another unit, the bound as it is written there too.
    definition : mapping or None
        The limit's own definition, where it differs from the figure's.
    measured : str
        Figure id whose number is judged: ``figure``, unless ``definition`` says otherwise.
    """

    id: str
    kind: Literal["rule", "aircraft"]
    figure: str
    bound: Bound
    shown_at: float = 0.95
    plan_at: float = 0.95
    enforced: When = "after_flight"
    source: str = ""
    definition: Mapping[str, str] | None = None
    measured: str = ""

    def __post_init__(self) -> None:
        if not self.measured:
            object.__setattr__(self, "measured", self.figure)


@dataclass(frozen=True, slots=True)
class Entered:
    """A number that only people know, as the rule book asks for it."""

    meaning: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class ScoreRule:
    """How a sortie scores.

    Attributes
    ----------
    total : Formula
        Of variables, entered numbers and terms.
    variables : mapping of str to str
        Name -> figure id.
    entered : mapping of str to Entered
        Name -> what people are asked for.
    terms : mapping of str to Formula
        In an order in which each uses only those before it.
    """

    total: Formula
    variables: Mapping[str, str] = field(default_factory=dict)
    entered: Mapping[str, Entered] = field(default_factory=dict)
    terms: Mapping[str, Formula] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Clause:
    """One clause of a rule book that an inspector asks about.

    Attributes
    ----------
    id : str
        Its id here.
    source : str
        Its number in the rule book, such as "clause 3.2".
    requires : str
        What it asks for, in words.
    how : str
        How it is shown: "measured", "declared", "tested" or "photo".
    limit : str
        Id of the limit whose outcome shows it; empty where none does.
    """

    id: str
    source: str
    requires: str
    how: str
    limit: str = ""


@dataclass(frozen=True, slots=True)
class RuleBook:
    """A rule book, checked.

    Attributes
    ----------
    id, version, sha256 : str
        Stored with every outcome.
    limits : tuple of Limit
        In the order of the file.
    score : ScoreRule or None
        None when the book does not score.
    screen_height_m : float or None
        Wheel height at which the take-off distance ends. [m]
    title : str
        A few words.
    clauses : tuple of Clause
        What an inspector asks about, in the order of the file.
    """

    id: str
    version: str
    sha256: str
    limits: tuple[Limit, ...] = ()
    score: ScoreRule | None = None
    screen_height_m: float | None = None
    title: str = ""
    clauses: tuple[Clause, ...] = ()

    @property
    def reference(self) -> dict[str, str]:
        """Give what a debrief keeps of the book: id, version and hash."""
        return {"id": self.id, "version": self.version, "sha256": self.sha256}


def load_rules(path: Path) -> RuleBook:
    """Read a rule book.

    Parameters
    ----------
    path : Path
        TOML in UTF-8 with the keys in the text of this module.

    Raises
    ------
    TeamFileError
        Naming the table and key, or the line, what was found there, and what to do.
    FormulaError
        If a formula asks for something that formulas may not do.
    """
    from flightlog.rules.book_file import read_rules

    return read_rules(path)


def aircraft_limits(aircraft: Aircraft | None) -> tuple[Limit, ...]:
    """Turn the ``[limits]`` of an aircraft file into limits of kind "aircraft".

    Raises
    ------
    TeamFileError
        If one of them is at fault, which `flightlog.inputs.load_aircraft` has ruled out.
    """
    if aircraft is None:
        return ()
    return _own_limits(aircraft.limits, "aircraft file", aircraft.id)


PACK_FILE = "pack file"
"""How the source of a pack's limit begins. Its kind is "aircraft" too: the pack flies with it."""

BENCH_FILE = "bench file"
"""How the source of a limit of a ground test begins."""


def pack_limits(pack: Pack | None) -> tuple[Limit, ...]:
    """Turn the ``[limits]`` of a pack file into limits of kind "aircraft".

    Raises
    ------
    TeamFileError
        If one of them is at fault, which `flightlog.inputs.load_pack` has ruled out.
    """
    if pack is None:
        return ()
    return _own_limits(pack.limits, PACK_FILE, pack.id)


def whose(kind: str, source: str) -> str:
    """Say what a limit belongs to: "aircraft", "pack", or "" of a rule book's or a bench file's."""
    if kind == "rule" or source.startswith(BENCH_FILE):
        return ""
    return "pack" if source.startswith(PACK_FILE) else "aircraft"


def _own_limits(
    limits: Mapping[str, Mapping[str, object]], file: str, id_: str
) -> tuple[Limit, ...]:
    if not limits:
        return ()
    from flightlog.team_files.models import checked_limit

    where = f"{file} {id_}"
    return tuple(
        make_limit(
            figure,
            "aircraft",
            figure,
            checked_limit(figure, dict(body), where),
            f'{where}: [limits] "{figure}"',
            file,
        )
        for figure, body in limits.items()
    )


def limits_after_flight(
    book: RuleBook | None, aircraft: Aircraft | None, pack: Pack | None = None
) -> tuple[Limit, ...]:
    """Give the limits that a flight is judged by: rule book first, then aircraft, then pack."""
    own = (*aircraft_limits(aircraft), *pack_limits(pack))
    every: Iterable[Limit] = (*(book.limits if book else ()), *own)
    return tuple(limit for limit in every if limit.enforced != "before_flight")


def make_limit(
    id_: str,
    kind: Literal["rule", "aircraft"],
    figure: str,
    body: LimitBody,
    where: str,
    file: str = "aircraft file",
) -> Limit:
    """Make a limit from its checked table.

    Parameters
    ----------
    id_, kind, figure : str
        As `Limit` has them.
    body : LimitBody
        Its table.
    where : str
        Of the table, for messages.
    file : str
        What kind of file a limit of kind "aircraft" stands in.

    Raises
    ------
    TeamFileError
        If figure, unit, bound or definition do not fit.
    """
    from flightlog.team_files.limits import figure_bound

    op, value = figure_bound(figure, body, where)
    unit = FIGURES[figure].unit
    source = body.source
    if kind == "aircraft" and not source:
        source = f'{file}, [limits] "{figure}"'
    elif kind == "aircraft" and file == PACK_FILE:
        source = f"{file}, {source}"
    if body.unit is not None and body.unit != unit:
        written = body.at_most if body.at_most is not None else body.at_least
        source = f"{source}{', ' if source else ''}given as {written:g} {body.unit}"
    return Limit(
        id=id_,
        kind=kind,
        figure=figure,
        bound=Bound(op, value, unit),
        shown_at=body.shown_at,
        plan_at=body.plan_at,
        enforced=body.enforced,
        source=source,
        definition=body.definition or None,
        measured=_measured(figure, body.definition or {}, where),
    )


def _measured(figure: str, definition: Mapping[str, str], where: str) -> str:
    if not definition:
        return figure
    known = {(key, value): to for (of, key, value), to in DEFINITIONS.items() if of == figure}
    pairs = list(definition.items())
    if len(pairs) == 1 and pairs[0] in known:
        return known[pairs[0]]
    said = ", ".join(f"{k} = {v!r}" for k, v in pairs)
    allowed = "; ".join(f'{{ {k} = "{v}" }}' for k, v in known)
    raise TeamFileError(
        f"{{ {said} }} is not a definition known for {figure}",
        where=f"{where} definition",
        fix=f"Known: {allowed}." if known else "It has no other definition: leave the key out.",
    )
