"""Ground tests that nothing was measured for: answers with numbers that a test chooses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from flightlog.findings import Finding
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.answer import GroundAnswer, GroundFigure, ResultColumn, ResultTable
from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.importers.common import sha256_of_file
from flightlog.operations.ground_test import GroundTest, TestedFile, judged
from flightlog.team_files.bench_file import BenchFile, read_bench_file
from flightlog.uncertain import Uncertain

RING = {
    "ringdown.first.frequency": (6.52, 0.01),
    "ringdown.first.damping": (1.8, 0.05),
    "ringdown.first.amplitude": (2.0, 0.2),
}
"""Figure -> value and standard uncertainty."""
TABLE = ResultTable(
    "releases",
    "Releases",
    (
        ResultColumn("release", "Release", decimals=0),
        ResultColumn("frequency_hz", "Frequency", "Hz", 3),
        ResultColumn("frequency_std_hz", "Frequency, std", "Hz", 4),
    ),
    ((1, 6.52, 0.01), (2, None, 0.02)),
)


def figure(id_: str, value: float, std: float) -> GroundFigure:
    unit = GROUND_FIGURES[id_].unit
    quantity = Uncertain.of(value, std, unit, source="made")
    return GroundFigure(id_, quantity, "made up", ("time",))


def answer(
    figures: Mapping[str, tuple[float, float]] = RING,
    *,
    withheld: Mapping[str, str] | None = None,
    findings: Iterable[Finding] = (),
    tables: Iterable[ResultTable] = (TABLE,),
) -> GroundAnswer:
    made = {id_: figure(id_, value, std) for id_, (value, std) in figures.items()}
    return GroundAnswer(made, withheld or {}, tuple(findings), tuple(tables))


def bench_file(
    folder: Path, kind: str = "ringdown", *, subject: str = 'aircraft = "pannier"', more: str = ""
) -> BenchFile:
    """Write a bench file and read it."""
    path = folder / f"{kind}.toml"
    path.write_text(
        f'schema = "flightlog.bench/1"\nid = "{kind}-1"\nkind = "{kind}"\n'
        'title = "Ring of the left wing"\ninstrument = "AC-2"\n'
        f"[subject]\n{subject}\n{more}",
        encoding="utf-8",
    )
    return read_bench_file(path)


def ground_test(
    folder: Path,
    figures: Mapping[str, tuple[float, float]] = RING,
    *,
    bench: BenchFile | None = None,
    kind: str = "ringdown",
    rows: str = "time,z\n0,1\n",
    findings: Iterable[Finding] = (),
    withheld: Mapping[str, str] | None = None,
) -> GroundTest:
    """Make a test whose files are there, and whose figures are as said."""
    path = folder / f"{kind}.csv"
    path.write_text(rows, encoding="utf-8")
    made = answer(figures, findings=findings, withheld=withheld)
    tested = TestedFile(path, path.name, sha256_of_file(path), (("time", "time", "s"),))
    return GroundTest(GROUND_KINDS[kind], (tested,), bench, made, judged(bench, made))


def renumbered(test: GroundTest, id_: str, value: float, std: float) -> GroundTest:
    """Give a test in which one figure has another number."""
    figures = {**test.answer.figures, id_: figure(id_, value, std)}
    changed = replace(test.answer, figures=figures)
    return replace(test, answer=changed, outcomes=judged(test.bench, changed))
