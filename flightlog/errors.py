"""Everything raised on purpose.

FlightlogError                 one of these, or a fault of ours
├─ LogFileError                a log file is at fault                        exit 3
│  └─ UnknownFormatError       no importer knows the format                  exit 3
├─ TeamFileError               a site, aircraft, rule-book or map file       exit 3
│  └─ FormulaError             a score formula                               exit 3
├─ UsageError                  an option or argument can't be understood      exit 2
├─ OutputError                 results can't be written where they were asked for  exit 3
├─ NotEnoughDataError          (ValueError) the flight lacks what was asked  exit 1
└─ Interrupted                 the user stopped a long task                  exit 130

Every error says where it happened, what was found there and what to do, as a sentence and
as three attributes, so that a screen, a terminal and the JSON contract can each show it.
"""

from __future__ import annotations

from typing import ClassVar


class FlightlogError(Exception):
    """Base of everything raised on purpose.

    Parameters
    ----------
    found : str
        What is wrong, with the value that was met. A clause without a full stop.
    where : str
        File, line, table or key. Empty when the whole input is meant.
    fix : str
        What the user can do about it.
    """

    exit_code: ClassVar[int] = 1

    def __init__(self, found: str, *, where: str = "", fix: str = "") -> None:
        self.found = found
        self.where = where
        self.fix = fix
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """Where, what was found, and what to do, in one line."""
        head = f"{self.where}: {self.found}" if self.where else self.found
        return f"{head}. {self.fix}" if self.fix else head


class LogFileError(FlightlogError):
    """A log file is missing, unreadable or damaged beyond use."""

    exit_code = 3


class UnknownFormatError(LogFileError):
    """No importer recognises the content of the file."""


class TeamFileError(FlightlogError):
    """A file that the team edits (site, aircraft, rule book, column map) is at fault."""

    exit_code = 3


class FormulaError(TeamFileError):
    """A score formula asks for something that formulas may not do."""


class UsageError(FlightlogError):
    """An option or argument can't be understood."""

    exit_code = 2


class OutputError(FlightlogError):
    """Results can't be written to the place that was asked for."""

    exit_code = 3


class NotEnoughDataError(FlightlogError, ValueError):
    """The flight lacks what the computation needs."""


class Interrupted(FlightlogError):
    """The user stopped a long task; nothing was changed."""

    exit_code = 130
