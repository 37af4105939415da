"""The kinds of ground tests, and what reduces each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from types import MappingProxyType
from typing import Any

from flightlog.groundtests.answer import GroundAnswer
from flightlog.groundtests.bench_table import BENCH_COLUMNS, BenchColumn, BenchTable


@dataclass(frozen=True, slots=True)
class GroundKind:
    """A kind of ground test.

    Attributes
    ----------
    word : str
        As commands, bench files and entries name it.
    label : str
        As people read it.
    answers : str
        The question that it answers.
    things : tuple of str
        What it can be of: "aircraft", "pack", "component"; the usual one first.
    module : str
        Of `flightlog.groundtests`; holds ``Setup``, a dataclass that can be made without
        arguments, and ``reduce(tables, setup) -> GroundAnswer``.
    """

    word: str
    label: str
    answers: str
    things: tuple[str, ...]
    module: str

    @property
    def columns(self) -> tuple[BenchColumn, ...]:
        """The columns that its files can have."""
        return BENCH_COLUMNS[self.word]

    def setup(self, **keys: Any) -> Any:
        """Make what the reduction has to know besides the file."""
        return import_module(f"flightlog.groundtests.{self.module}").Setup(**keys)

    def reduce(self, tables: Sequence[BenchTable], setup: Any) -> GroundAnswer:
        """Reduce the files of one test, in the order given; see the kind's module."""
        work: Callable[..., GroundAnswer]
        work = import_module(f"flightlog.groundtests.{self.module}").reduce
        return work(tables, setup)


GROUND_KINDS: MappingProxyType[str, GroundKind] = MappingProxyType(
    {
        kind.word: kind
        for kind in (
            GroundKind(
                "thrust",
                "Thrust stand",
                "What do propeller, motor and controller give, and at what power?",
                ("component", "aircraft"),
                "thrust",
            ),
            GroundKind(
                "discharge",
                "Discharge of a pack",
                "How much does the pack hold, and how much does it lose inside?",
                ("pack",),
                "discharge",
            ),
            GroundKind(
                "ringdown",
                "Ring-down",
                "At what frequency does the structure ring, and how is it damped?",
                ("aircraft", "component"),
                "ringdown",
            ),
            GroundKind(
                "stiffness",
                "Static deflection",
                "How stiff is the structure, and does it come back?",
                ("aircraft", "component"),
                "stiffness",
            ),
            GroundKind(
                "weighing",
                "Weighing",
                "How heavy is the aircraft, and where is its centre of gravity?",
                ("aircraft",),
                "scales",
            ),
            GroundKind(
                "linkage",
                "Servo and linkage",
                "Which pulse gives which deflection, and how much play is there?",
                ("aircraft", "component"),
                "linkage",
            ),
        )
    }
)
"""Word -> kind."""
