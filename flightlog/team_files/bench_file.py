"""The bench file: what stood on the bench, and what the columns of its files are.

::

    schema = "flightlog.bench/1"
    id = "wing-left"
    kind = "ringdown"           # thrust, discharge, ringdown, stiffness, weighing, linkage
    instrument = "AC-2, checked 2027-01"      # as entries name it

    [subject]                   # one of aircraft, pack and component
    aircraft = "pannier"
    part = "left wing tip"      # what of it; a series over time is of one part
    configuration = "no pack"   # and in one configuration

    [file]                      # as in a column map; all may be left out: it is found
    delimiter = ";"

    [columns.time]              # what is left out is recognised by its header
    header = "Time (ms)"
    unit = "ms"                 # "time of day" for 10:14:59, "mm:ss" for 2:05
    [columns.acceleration]
    header = "Z"
    unit = "g"
    sign = -1                   # where the file counts the other way
    scale = 1.0                 # a number to multiply by

    [ringdown]                  # what the test needs besides; see bench_tables

    [limits]                    # judged like limits of an aircraft
    "ringdown.first.frequency" = { at_least = 6.2, unit = "Hz" }
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from flightlog.errors import TeamFileError
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.team_files.bench_tables import (
    DischargeBench,
    LinkageBench,
    RingdownBench,
    StiffnessBench,
    ThrustBench,
    WeighingBench,
)
from flightlog.team_files.checking import Slug, Table, Text, checked
from flightlog.team_files.column_map import FileSection, check_file
from flightlog.team_files.limits import LimitBody, figure_bound
from flightlog.team_files.reading import read_toml

KIND = "bench"
KINDS = ("thrust", "discharge", "ringdown", "stiffness", "weighing", "linkage")
_THINGS = ("aircraft", "pack", "component")


class BenchSubject(Table):
    """``[subject]``."""

    aircraft: Slug | None = None
    pack: Slug | None = None
    component: Slug | None = None
    part: Text = ""
    configuration: Text = ""

    @property
    def named(self) -> tuple[str, str]:
        """What it is of, and its id; both empty where the file does not say."""
        every = ((thing, getattr(self, thing)) for thing in _THINGS)
        return next(((thing, id_) for thing, id_ in every if id_), ("", ""))


class BenchColumnTable(Table):
    """``[columns.NAME]``."""

    header: Annotated[str, Field(min_length=1, max_length=200)] = Field(
        description="the header of the column as the file has it, in quotes"
    )
    unit: Text | None = Field(default=None, description="the unit that the file's numbers are in")
    sign: Literal[1, -1] = Field(default=1, description="1, or -1 where the file counts back")
    scale: float = Field(
        default=1.0, ge=-1e12, le=1e12, description="a number other than 0 to multiply by"
    )


class _BenchModel(Table):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    kind: Literal["thrust", "discharge", "ringdown", "stiffness", "weighing", "linkage"] = Field(
        description=f"the kind of test: {', '.join(KINDS)}"
    )
    title: Text = ""
    instrument: Text = ""
    subject: BenchSubject = BenchSubject()
    file: FileSection = FileSection()
    columns: dict[str, BenchColumnTable] = Field(default_factory=dict)
    thrust: ThrustBench = ThrustBench()
    discharge: DischargeBench = DischargeBench()
    ringdown: RingdownBench = RingdownBench()
    stiffness: StiffnessBench = StiffnessBench()
    weighing: WeighingBench = WeighingBench()
    linkage: LinkageBench = LinkageBench()
    limits: dict[str, LimitBody] = Field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class BenchLimit:
    """A bound on a figure of a ground test, in the unit of the figure."""

    figure: str
    op: Literal["<=", ">="]
    value: float
    shown_at: float
    source: str


@dataclass(frozen=True, slots=True)
class BenchFile:
    """A bench file that was read.

    Attributes
    ----------
    path : Path
        Where it is.
    sha256 : str
        Hash of its bytes.
    id, kind, title, instrument : str
        As it says.
    subject : BenchSubject
        What was tested.
    file : FileSection
        How the files of numbers are written.
    columns : dict
        Column -> where it is.
    setup : dict
        Keys of the kind's own table.
    limits : tuple of BenchLimit
        Bounds.
    """

    path: Path
    sha256: str
    id: str
    kind: str
    title: str
    instrument: str
    subject: BenchSubject
    file: FileSection
    columns: dict[str, BenchColumnTable]
    setup: dict[str, Any]
    limits: tuple[BenchLimit, ...]


def read_bench_file(path: Path) -> BenchFile:
    """Read a bench file.

    Raises
    ------
    TeamFileError
        Naming the table and key, or the line, what was found there, and what to do.
    """
    table, sha256 = read_toml(path, KIND)
    made = checked(_BenchModel, table, str(path))
    check_file(made.file, f"{path}: [file]")
    things = [thing for thing in _THINGS if getattr(made.subject, thing)]
    if len(things) > 1:
        raise TeamFileError(
            f"names {' and '.join(things)}",
            where=f"{path}: [subject]",
            fix="Name the one thing that was tested.",
        )
    other = next((k for k in KINDS if k != made.kind and k in made.model_fields_set), "")
    if other:
        raise TeamFileError(
            f"does not go with kind = {made.kind!r}", where=f"{path}: [{other}]", fix="Remove it."
        )
    for name, column in made.columns.items():
        if column.scale == 0:
            raise TeamFileError(
                "is 0", where=f"{path}: [columns.{name}] scale", fix="Give another number."
            )
    limits = []
    for figure, body in made.limits.items():
        where = f'{path}: [limits] "{figure}"'
        op, value = figure_bound(figure, body, where, GROUND_FIGURES)
        if figure.partition(".")[0] != made.kind:
            raise TeamFileError(
                f"is not a figure of {made.kind}", where=where, fix="Move it to its own bench file."
            )
        limits.append(BenchLimit(figure, op, value, body.shown_at, body.source))
    return BenchFile(
        path,
        sha256,
        made.id,
        made.kind,
        made.title,
        made.instrument,
        made.subject,
        made.file,
        made.columns,
        getattr(made, made.kind).model_dump(),
        tuple(limits),
    )
