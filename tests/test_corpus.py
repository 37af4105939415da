"""Every real log: a recording with the right findings, or the right error.

Expected results are written out by hand from what the README beside the logs says of each. The
lists of findings are complete: one more or one less fails. Numbers of the flights themselves
are judged elsewhere (`tests/accuracy`).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

import flightlog
from flightlog.debriefing import Debrief
from flightlog.errors import LogFileError

_ROOT = os.environ.get("FLIGHTLOG_CORPUS")
pytestmark = pytest.mark.skipif(not _ROOT, reason="FLIGHTLOG_CORPUS names no folder of real logs")


@dataclass(frozen=True, slots=True)
class Log:
    """What a log must give.

    Attributes
    ----------
    format : str
        Importer that reads it.
    sorties : str
        Launch, start and end of each, as "runway rest air", separated by commas; "" for none.
    findings : str
        All codes, of reading and of the debrief, with what makes each right in the comment.
    tables : str
        Tables that must be there, at the least; a name with "-" before it must not.
    """

    format: str
    sorties: str = ""
    findings: str = ""
    tables: str = ""


@dataclass(frozen=True, slots=True)
class Refused:
    """An error: what it must say was found, and what must be advised."""

    found: str
    fix: str = ""


EXPECTED: dict[str, Log | Refused] = {}


def files() -> list[str]:
    root = Path(_ROOT or "")
    return sorted(p.relative_to(root).as_posix() for p in root.rglob("*") if p.is_file())


@cache
def debriefed(name: str) -> Debrief:
    return flightlog.debrief(flightlog.read(Path(_ROOT or "") / name))


def test_every_file_of_the_folder_is_expected():
    assert sorted(EXPECTED) == files()
