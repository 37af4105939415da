"""Everything raised on purpose.

FlightlogError                 one of these, or a fault of ours
├─ LogFileError                a log file is at fault                        exit 3
│  └─ UnknownFormatError       no importer knows the format                  exit 3
├─ TeamFileError               a site, aircraft, rule-book or map file       exit 3
│  └─ FormulaError             a score formula                               exit 3
├─ UsageError                  an option or argument can't be understood      exit 2
├─ ClusterError                a cluster is not there, or unfit               exit 3
├─ OutputError                 results can't be written where they were asked for  exit 3
├─ NotEnoughDataError          (ValueError) the flight lacks what was asked  exit 1
├─ LogbookError                a record of the logbook is broken             exit 6
│  └─ SignatureError           a record does not match its signature         exit 6
├─ RefusedError                the record's own rules don't allow it         exit 5
├─ KeyFileError                a private key is missing or damaged           exit 3
│  └─ PassphraseError          a passphrase does not open the key            exit 3
├─ TeamFolderError             a folder is no team folder, or of a newer program  exit 3
│  └─ NotWritableError         the team folder can't be written              exit 7
└─ Interrupted                 the user stopped a long task                  exit 130

Every error says where it happened, what was found there and what to do, as a sentence and
as three attributes, so that a screen, a terminal and the JSON contract can each show it.
"""

from __future__ import annotations

from typing import Any, ClassVar


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

    def __reduce__(self) -> tuple[Any, ...]:
        # Errors travel from one process to another, and keep their three parts.
        return _again, (type(self), self.found, self.where, self.fix)

    def sentence(self) -> str:
        """Where, what was found, and what to do, in one line."""
        head = f"{self.where}: {self.found}" if self.where else self.found
        return f"{head}. {self.fix}" if self.fix else head


def _again(kind: type[FlightlogError], found: str, where: str, fix: str) -> FlightlogError:
    return kind(found, where=where, fix=fix)


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


class ClusterError(FlightlogError):
    """A cluster that was to do the work does not answer, has nobody, or is unfit for it."""

    exit_code = 3


class OutputError(FlightlogError):
    """Results can't be written to the place that was asked for."""

    exit_code = 3


class NotEnoughDataError(FlightlogError, ValueError):
    """The flight lacks what the computation needs."""


class LogbookError(FlightlogError):
    """A record of a logbook is broken, missing or impossible."""

    exit_code = 6


class SignatureError(LogbookError):
    """A record does not match a signature on it."""


class RefusedError(FlightlogError):
    """The rules of the record don't allow it: who may sign what, and after which entries."""

    exit_code = 5


class KeyFileError(FlightlogError):
    """A person's private key is missing, damaged or kept where it may not be."""

    exit_code = 3


class PassphraseError(KeyFileError):
    """A passphrase does not open the key, or it is too early to try again."""


class TeamFolderError(FlightlogError):
    """A folder is no team folder, is damaged, or was written by a newer program."""

    exit_code = 3


class NotWritableError(TeamFolderError):
    """The team folder can't be written: disk full, locked by another process, or read-only."""

    exit_code = 7


class Interrupted(FlightlogError):
    """The user stopped a long task; nothing was changed."""

    exit_code = 130
