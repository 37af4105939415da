"""What the reduction of a ground test gives back: figures, what is withheld, findings, tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from flightlog.figures import Figure, as_wide_as
from flightlog.findings import Finding, affected
from flightlog.ground_figures import GROUND_FIGURES

Cell = float | int | str | None


@dataclass(frozen=True, slots=True)
class GroundFigure(Figure):
    """One number of one ground test: a figure whose id is a key of `GROUND_FIGURES`.

    Its sources are the columns that it came from, or ``("declared",)``.
    """

    sources: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        unit = GROUND_FIGURES[self.id].unit
        if self.quantity.unit != unit:
            raise ValueError(f"{self.id} is in {unit!r}, got {self.quantity.unit!r}")


@dataclass(frozen=True, slots=True)
class ResultColumn:
    """A column of a table of results.

    Attributes
    ----------
    key : str
        As programs name it, unit at its end: ``thrust_n``.
    label : str
        As people read it: ``Thrust``.
    unit : str
        Of its numbers at the edge: ``N``; empty where they have none, and for texts.
    decimals : int
        Decimals on screens.
    """

    key: str
    label: str
    unit: str = ""
    decimals: int = 2


@dataclass(frozen=True, slots=True)
class ResultTable:
    """Rows of numbers or texts, such as the settled steps of a stand.

    Attributes
    ----------
    key : str
        As programs name it.
    title : str
        What it holds.
    columns : sequence of ResultColumn
        From left to right. A standard uncertainty is a column of its own, ``thrust_std_n``.
    rows : sequence of sequence
        As long as ``columns``; None is a cell that could not be had.
    """

    key: str
    title: str
    columns: Sequence[ResultColumn]
    rows: Sequence[Sequence[Cell]]


@dataclass(frozen=True, slots=True)
class GroundAnswer:
    """What the reduction of a test gives.

    Attributes
    ----------
    figures : mapping of str to GroundFigure
        What could be computed.
    withheld : mapping of str to str
        Figure id -> why not, and what would unlock it.
    findings : tuple of Finding
        What was noticed; of kinds in `flightlog.ground_findings`.
    tables : tuple of ResultTable
        Details.
    detail : object
        What a chart of this kind of test is drawn from; None where there is nothing to draw.
    """

    figures: Mapping[str, GroundFigure] = field(default_factory=dict)
    withheld: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    tables: tuple[ResultTable, ...] = ()
    detail: object = None


def settled(answer: GroundAnswer, more: Iterable[Finding] = ()) -> GroundAnswer:
    """Withhold what ``stop`` findings spoil, and widen what ``degrade`` findings say.

    The only place that does either; the order is that of `GROUND_FIGURES`.

    Parameters
    ----------
    answer : GroundAnswer
        As the reduction gave it.
    more : iterable of Finding
        Of the reading of the file; they come first.
    """
    findings = (*more, *answer.findings)
    stops = [f for f in findings if f.severity == "stop"]
    figures: dict[str, GroundFigure] = {}
    withheld: dict[str, str] = {}
    for id_ in GROUND_FIGURES.ordered((*answer.figures, *answer.withheld)):
        stop = next((f for f in stops if affected(f, id_)), None)
        if stop is not None:
            withheld[id_] = f"{stop.message.rstrip('.')} ({stop.code})"
        elif id_ in answer.figures:
            figures[id_] = as_wide_as(answer.figures[id_], findings)
        else:
            withheld[id_] = answer.withheld[id_]
    return replace(answer, figures=figures, withheld=withheld, findings=findings)
