"""Passphrases, keys and signatures at a terminal."""

from __future__ import annotations

import getpass
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import err, out
from flightlog.errors import Interrupted, KeyFileError, PassphraseError, UsageError

if TYPE_CHECKING:
    from flightlog.logbook.book import Draft, Logbook
    from flightlog.logbook.entry import Entry
    from flightlog.logbook.keys import KeyFolder, KeyInfo, Passphrase, Unlocked
    from flightlog.team.crew import Crew
    from flightlog.team.folder import TeamFolder


def a_path(text: str) -> Path:
    """Read a path that was typed; an empty one, as from a forgotten variable, is a slip."""
    if not text.strip():
        raise typer.BadParameter("is empty")
    return Path(text)


def given_text(text: str | None, option: str) -> str:
    """Give the text of an option, "" where it was left out; an empty one is a slip."""
    if text is not None and not text.strip():
        raise UsageError("is empty", where=option, fix="Leave it out, or say something.")
    return text or ""


TeamOption = Annotated[
    Path | None,
    typer.Option(
        "--team",
        metavar="DIR",
        parser=a_path,
        help="The team folder (else FLIGHTLOG_TEAM, else this folder or one above it).",
    ),
]
KeysOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--keys",
        metavar="DIR",
        parser=a_path,
        help="Where private keys are, such as a memory stick (else your profile); repeatable. "
        "New ones go to the first.",
    ),
]
PassphraseOption = Annotated[
    int | None,
    typer.Option(
        "--passphrase-fd",
        metavar="N",
        help="Read passphrases from this file descriptor, one per line, instead of asking.",
    ),
]


CLOCK_WARNING_S = 60
"""A clock is put right by seconds now and then; more than this is worth a word [s]."""
_SLIPS = 2
"""Slips of the finger that a person at a terminal is forgiven at once."""


def clock() -> tuple[datetime, str]:
    """Give the time that entries claim, and where it comes from."""
    from flightlog.logbook.book import laptop_clock

    return laptop_clock()


@contextmanager
def opened(team: Path | None, *, read_only: bool = False) -> Iterator[tuple[TeamFolder, Logbook]]:
    """Open the logbook of the team folder that is meant."""
    from flightlog.logbook.book import Logbook
    from flightlog.team.folder import TeamFolder

    folder = TeamFolder.find(team)
    with Logbook.open(folder.logbook, read_only=read_only, clock=lambda: clock()) as book:
        if not read_only:
            warn_of_older_copy(book)
        yield folder, book


def warn_of_older_copy(book: Logbook) -> None:
    """Warn where this laptop remembers entries that the folder does not hold."""
    from flightlog.logbook.codes import head_code

    missing = [head_code(kept.number, kept.hash) for kept in book.missing_heads()]
    if missing:
        err().line(
            "flightlog: THIS FOLDER IS AN OLDER COPY, OR WAS CUT: this laptop knows of entries "
            f"that are not in it (up to {', '.join(missing)}). What was revoked or restricted "
            "since then is not known here. Merge the newer folder before you sign."
        )


def crew_of(folder: TeamFolder, book: Logbook) -> Crew:
    """Give the crew with their names; without the names if their file is damaged."""
    from flightlog.errors import TeamFolderError
    from flightlog.logbook.names import Names
    from flightlog.team.crew import Crew

    try:
        names = Names.read(folder.names)
    except TeamFolderError as error:
        err().line(f"flightlog: {error.sentence()} Going on without names.")
        names = Names()
    return Crew(book.people, names)


class Hands:
    """Gets keys unlocked, one person after the other.

    Parameters
    ----------
    keys : sequence of Path, optional
        Folders of private keys; that of the profile when none is given.
    passphrase_fd : int, optional
        Where passphrases are read, one per line; asked for at the terminal when not given.
    team : Path
        The team folder, where no key may be.
    """

    def __init__(
        self,
        keys: Sequence[Path] | None,
        passphrase_fd: int | None,
        team: Path,
        *,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        from flightlog.logbook.device import default_profile
        from flightlog.logbook.keys import KeyFolder

        places = list(keys) if keys else [default_profile() / "keys"]
        self.folders = [KeyFolder(place, not_in=[team]) for place in places]
        self._fd = passphrase_fd
        self._sleep = sleep

    def make(self, who: str) -> KeyInfo:
        """Make a new key for somebody, under a passphrase that is asked for twice."""
        return self.folders[0].create(self._ask_twice(f"New passphrase of {who}: "))

    def unlock(self, key: str, who: str, list_name: str = "") -> Unlocked:
        """Unlock somebody's key.

        Raises
        ------
        KeyFileError
            If the key is in none of the folders.
        PassphraseError
            If the passphrase is wrong, or it is too early to try again.
        """
        folder = self._holder(key, who)
        prompt = f"{who}, your passphrase to sign: "
        for _ in range(_SLIPS if self._fd is None else 0):
            try:
                self._wait(folder, key)
                return folder.unlock(key, self._ask(prompt), list_name)
            except PassphraseError as error:
                err().line(f"flightlog: {who}: {error.found}. {error.fix}")
        if self._fd is None:
            self._wait(folder, key)
        return folder.unlock(key, self._ask(prompt), list_name)

    def _wait(self, folder: KeyFolder, key: str) -> None:
        """Hold the prompt until the next passphrase may be tried."""
        wait_s = folder.wait_s(key)
        if wait_s:
            err().line(f"flightlog: the next try is in {wait_s} s")
            self._sleep(wait_s)

    def change_passphrase(self, key: str, who: str) -> None:
        """Change the passphrase of somebody's key."""
        folder = self._holder(key, who)
        old = self._ask(f"{who}, your passphrase until now: ")
        folder.change_passphrase(key, old, self._ask_twice("The new one: "))

    def _holder(self, key: str, who: str) -> KeyFolder:
        for folder in self.folders:
            if any(info.key == key for info in folder.list()):
                return folder
        places = ", ".join(str(folder.path) for folder in self.folders)
        raise KeyFileError(
            f"the key of {who} is not here",
            where=places,
            fix="Put in the stick with the key and give --keys DIR.",
        )

    def _ask_twice(self, prompt: str) -> Passphrase:
        """Ask for a new passphrase, and again until it is long enough and typed twice alike."""
        from flightlog.logbook.passphrases import LEAST_CHARACTERS

        if self._fd is not None:
            return self._ask(prompt)
        while True:
            given = self._ask(prompt)
            if given.too_short:
                err().line(f"flightlog: at least {LEAST_CHARACTERS} characters; several words")
            elif given == self._ask("The same once more: "):
                return given
            else:
                err().line("flightlog: the two differ; type it anew")

    def _ask(self, prompt: str) -> Passphrase:
        from flightlog.logbook.keys import Passphrase, read_passphrase

        if self._fd is not None:
            return read_passphrase(self._fd)
        if not sys.stdin.isatty():
            raise UsageError(
                "a passphrase is needed, and this is no terminal to ask at",
                fix="Give --passphrase-fd N.",
            )
        try:
            return Passphrase(getpass.getpass(prompt))
        except EOFError as error:
            raise Interrupted("stopped at a passphrase") from error


def sign_and_add(book: Logbook, draft: Draft, hands: Hands, crew: Crew) -> Entry:
    """Show a draft, get it signed by each of its signers, add it, and say where it stands."""
    shown = book.show(draft, crew.names)
    console = out()
    console.line("To be signed:")
    console.lines(f"  {line}" for line in shown.lines)
    with ExitStack() as held:
        unlocked = [
            held.enter_context(hands.unlock(signer.key, crew.label_of_key(signer.key)))
            for signer in draft.signers
        ]
        entry = book.append(draft, unlocked, shown=shown)
    say_added(entry)
    return entry


def say_added(entry: Entry) -> None:
    """Say where an entry stands, and warn when the clock was set back."""
    from flightlog.logbook.codes import head_code

    word = "Signed and added" if entry.body.signers else "Added"
    head = head_code(entry.body.number, entry.hash)
    out().line(f"{word}: {entry.name}, head {head}")
    behind_s = entry.body.time.behind_s
    if behind_s >= CLOCK_WARNING_S:
        err().line(
            f"flightlog: this laptop's clock is {behind_s} s behind an earlier entry of its own; "
            "the entry says so. Set the clock."
        )
