"""The part of a limit that rule books and aircraft files share."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from flightlog.errors import TeamFileError
from flightlog.figures import FIGURES, Kinds
from flightlog.team_files.checking import Table, Text
from flightlog.team_files.reading import near_miss
from flightlog.team_files.units import converted, units_like

Probability = Annotated[
    float, Field(gt=0.5, lt=1, description="a probability between 0.5 and 1, such as 0.95")
]


class LimitBody(Table):
    """A bound on a figure, as written."""

    at_most: float | None = Field(default=None, description="the largest value that is allowed")
    at_least: float | None = Field(default=None, description="the smallest value that is allowed")
    unit: str | None = Field(default=None, description="the unit of the bound")
    shown_at: Probability = 0.95
    plan_at: Probability = 0.95
    enforced: Literal["before_flight", "after_flight", "both"] = Field(
        default="after_flight", description="when it is judged: before_flight, after_flight or both"
    )
    source: Text = Field(default="", description="the clause that it comes from")
    definition: dict[str, str] | None = Field(
        default=None, description="what the limit measures where that differs from the figure"
    )


def figure_bound(
    figure: str, body: LimitBody, where: str, kinds: Kinds = FIGURES
) -> tuple[Literal["<=", ">="], float]:
    """Give the bound in the unit of the figure.

    Parameters
    ----------
    figure : str
        Figure id.
    body : LimitBody
        The bound in its own unit.
    where : str
        File and table, for errors.
    kinds : Kinds, optional
        The dictionary that the figure is of.

    Raises
    ------
    TeamFileError
        If the figure is unknown, the unit does not fit, or there is not exactly one bound.
    """
    if figure not in kinds:
        fix = near_figure(figure, kinds)
        raise TeamFileError(f"{figure!r} is not a figure", where=where, fix=fix)
    if (body.at_most is None) == (body.at_least is None):
        has = "neither" if body.at_most is None else "both"
        raise TeamFileError(
            f"has {has} of at_most and at_least", where=where, fix="Give exactly one of them."
        )
    value = body.at_most if body.at_most is not None else body.at_least
    if value is None:  # one of them is there, which the line above does not tell a type checker
        raise TeamFileError("has no bound", where=where)
    unit = kinds[figure].unit
    if body.unit is None and unit:
        raise TeamFileError(
            "is missing", where=f"{where} unit", fix=f'{figure} is in {unit}: add unit = "{unit}".'
        )
    fitting = units_like(unit)
    written = body.unit or ""
    if written not in fitting:
        allowed = ", ".join(f"{u!r}" for u in fitting)
        raise TeamFileError(
            f"{written!r} does not fit {figure}, which is in {unit!r}",
            where=f"{where} unit",
            fix=f"Allowed here: {allowed}.",
        )
    try:
        bound = converted(value, written, unit)
    except OverflowError as error:
        raise TeamFileError(
            f"{value:g} {written} is too large", where=where, fix="Check bound and unit."
        ) from error
    return ("<=" if body.at_most is not None else ">="), bound


def near_figure(figure: str, kinds: Kinds = FIGURES) -> str:
    """Say what to do about an unknown figure id."""
    known = (*kinds, *kinds.families)
    if hint := near_miss(figure, known):
        return hint
    subject = figure.partition(".")[0]
    same = [k for k in known if k.startswith(f"{subject}.")]
    return f"Figures of that subject: {', '.join(same)}." if same else "See the list of figures."
