"""What the pages were opened with: the team folder, where the keys are, the clock."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from flightlog.logbook.book import Clock, laptop_clock


@dataclass(frozen=True, slots=True)
class Setup:
    """What ``flightlog open`` was told.

    Attributes
    ----------
    team : Path or None
        The team folder; None where there is none yet.
    keys : tuple of Path
        Folders of private keys; that of the profile where there are none.
    clock : callable
        Gives the time that entries claim.
    """

    team: Path | None = None
    keys: tuple[Path, ...] = ()
    clock: Clock = laptop_clock


SETUP = Setup()


def use(setup: Setup) -> None:
    """Open all pages with this from now on."""
    global SETUP
    SETUP = setup
