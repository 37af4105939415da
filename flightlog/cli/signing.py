"""Passphrases, keys and signatures at a terminal."""

from __future__ import annotations

import getpass
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import err, out
from flightlog.errors import KeyFileError, PassphraseError, UsageError

if TYPE_CHECKING:
    from flightlog.logbook.book import Draft, Logbook
    from flightlog.logbook.entry import Entry
    from flightlog.logbook.keys import KeyFolder, KeyInfo, Passphrase, Unlocked
    from flightlog.team.crew import Crew
    from flightlog.team.folder import TeamFolder

TeamOption = Annotated[
    Path | None,
    typer.Option(
        "--team",
        metavar="DIR",
        help="The team folder (else FLIGHTLOG_TEAM, else this folder or one above it).",
    ),
]
KeysOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--keys",
        metavar="DIR",
        help="Where private keys are, such as a memory stick (else your profile); repeatable.",
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


_SLIPS = 2
"""Slips of the finger that a person at a terminal is forgiven at once."""


@contextmanager
def opened(team: Path | None, *, read_only: bool = False) -> Iterator[tuple[TeamFolder, Logbook]]:
    """Open the logbook of the team folder that is meant."""
    from flightlog.logbook.book import Logbook
    from flightlog.team.folder import TeamFolder

    folder = TeamFolder.find(team)
    with Logbook.open(folder.logbook, read_only=read_only) as book:
        yield folder, book


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

    def __init__(self, keys: Sequence[Path] | None, passphrase_fd: int | None, team: Path) -> None:
        from flightlog.logbook.device import default_profile
        from flightlog.logbook.keys import KeyFolder

        places = list(keys) if keys else [default_profile() / "keys"]
        self.folders = [KeyFolder(place, not_in=[team]) for place in places]
        self._fd = passphrase_fd

    def make(self, who: str) -> KeyInfo:
        """Make a new key for somebody, under a passphrase that is asked for twice."""
        return self.folders[0].create(self._ask(f"New passphrase of {who}: ", twice=True))

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
        for _ in range(_SLIPS if self._fd is None else 0):
            try:
                return folder.unlock(key, self._ask(f"{who}, your passphrase to sign: "), list_name)
            except PassphraseError as error:
                err().line(f"flightlog: {error.sentence()}")
        return folder.unlock(key, self._ask(f"{who}, your passphrase to sign: "), list_name)

    def change_passphrase(self, key: str, who: str) -> None:
        """Change the passphrase of somebody's key."""
        folder = self._holder(key, who)
        old = self._ask(f"{who}, your passphrase until now: ")
        folder.change_passphrase(key, old, self._ask("The new one: ", twice=True))

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

    def _ask(self, prompt: str, *, twice: bool = False) -> Passphrase:
        from flightlog.logbook.keys import Passphrase, read_passphrase

        if self._fd is not None:
            return read_passphrase(self._fd)
        if not sys.stdin.isatty():
            raise UsageError(
                "a passphrase is needed, and this is no terminal to ask at",
                fix="Give --passphrase-fd N.",
            )
        given = Passphrase(getpass.getpass(prompt))
        if twice and given != Passphrase(getpass.getpass("The same once more: ")):
            raise UsageError("the two passphrases differ", fix="Try again.")
        return given


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
            f"flightlog: this laptop's clock is {behind_s} s behind an earlier entry; the entry "
            "says so. Set the clock."
        )


CLOCK_WARNING_S = 60
"""Clocks of two laptops differ by seconds; more than this is worth a word [s]."""
