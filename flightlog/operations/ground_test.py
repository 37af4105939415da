"""One ground test from its files to its figures and outcomes; nothing of it needs a team folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from flightlog.errors import TeamFileError, UsageError
from flightlog.findings import Finding
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.answer import GroundAnswer, settled
from flightlog.groundtests.registry import GROUND_KINDS, GroundKind
from flightlog.operations.bench_reading import read_bench_table
from flightlog.rules.book import BENCH_FILE
from flightlog.rules.judge import verdict
from flightlog.rules.outcomes import Bound, Outcome
from flightlog.rules.spread import probability_at_least, probability_at_most
from flightlog.team_files.bench_file import BenchFile, BenchLimit, read_bench_file

MOST_FILES = 40


@dataclass(frozen=True, slots=True)
class TestedFile:
    """One file of a test: its name, the hash of its bytes, and what its columns came from."""

    path: Path
    name: str
    sha256: str
    taken: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class GroundTest:
    """A ground test that was reduced.

    Attributes
    ----------
    kind : GroundKind
        What was tested how.
    files : tuple of TestedFile
        In the order given.
    bench : BenchFile or None
        What stood on the bench.
    answer : GroundAnswer
        Settled: figures stand or are withheld.
    outcomes : tuple of Outcome
        The limits of the bench file.
    """

    kind: GroundKind
    files: tuple[TestedFile, ...]
    bench: BenchFile | None
    answer: GroundAnswer
    outcomes: tuple[Outcome, ...]


def ground_kind(word: str) -> GroundKind:
    """Give the kind of a word.

    Raises
    ------
    UsageError
        If there is none of it.
    """
    kind = GROUND_KINDS.get(word)
    if kind is None:
        raise UsageError(
            f"{word[:40]!r} is no kind of ground test",
            where="KIND",
            fix=f"Kinds: {', '.join(GROUND_KINDS)}.",
        )
    return kind


def run_ground_test(word: str, paths: Sequence[Path], bench_path: Path | None = None) -> GroundTest:
    """Read the files of a test and reduce them.

    Parameters
    ----------
    word : str
        Kind, as in `GROUND_KINDS`.
    paths : sequence of Path
        The files of one test: repeats, sweeps, releases.
    bench_path : Path, optional
        The bench file.

    Raises
    ------
    UsageError
        If the kind is unknown, or the files are none or too many.
    LogFileError
        If a file can't be read as what it should be.
    TeamFileError
        If the bench file is at fault, or is of another kind.
    """
    kind = ground_kind(word)
    if not 0 < len(paths) <= MOST_FILES:
        raise UsageError(
            f"{len(paths)} files", where="FILE", fix=f"Name 1 to {MOST_FILES} files of one test."
        )
    bench = _bench(kind, bench_path)
    readings = [read_bench_table(path, kind, bench) for path in paths]
    findings: list[Finding] = [f for reading in readings for f in reading.findings]
    setup = kind.setup(**(bench.setup if bench is not None else {}))
    answer = settled(kind.reduce([r.table for r in readings], setup), findings)
    files = tuple(
        TestedFile(path, path.name, r.sha256, r.taken)
        for path, r in zip(paths, readings, strict=True)
    )
    return GroundTest(kind, files, bench, answer, judged(bench, answer))


def _bench(kind: GroundKind, path: Path | None) -> BenchFile | None:
    if path is None:
        return None
    bench = read_bench_file(path)
    if bench.kind != kind.word:
        raise TeamFileError(
            f"is for {bench.kind}, not for {kind.word}",
            where=f"{path}: kind",
            fix="Name the bench file of this test.",
        )
    return bench


def judged(bench: BenchFile | None, answer: GroundAnswer) -> tuple[Outcome, ...]:
    """Judge the limits of a bench file, as limits of an aircraft are judged."""
    return tuple(_outcome(limit, answer) for limit in (bench.limits if bench is not None else ()))


def _outcome(limit: BenchLimit, answer: GroundAnswer) -> Outcome:
    figure = answer.figures.get(limit.figure)
    quantity = figure.quantity if figure is not None else None
    probability = None
    if quantity is not None:
        below = limit.op == "<="
        ask = probability_at_most if below else probability_at_least
        probability = ask(quantity, limit.value)
    reason = "" if quantity else answer.withheld.get(limit.figure, "the test does not give it")
    return Outcome(
        limit=limit.figure,
        kind="aircraft",
        figure=limit.figure,
        definition=None,
        quantity=quantity,
        outcome=verdict(probability, limit.shown_at),
        probability=probability,
        bound=Bound(limit.op, limit.value, GROUND_FIGURES[limit.figure].unit),
        required_probability=limit.shown_at,
        source=", ".join(filter(None, (BENCH_FILE, limit.source))),
        reason=reason,
    )
