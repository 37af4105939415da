"""The ground tests of the sample season: measured in the shed after its last flight."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flightlog.cli.season import Season

_TESTS = (
    ("ringdown", "ringdown_left"),
    ("discharge", "discharge_pack_a"),
    ("thrust", "thrust_a"),
)
"""Kind, and the name of its file of numbers and its bench file."""
_AFTER = timedelta(hours=1)


def measure_on_bench(season: Season, bench: Path) -> str:
    """Reduce the sample ground tests, and enter them.

    Parameters
    ----------
    season : Season
        After its last day.
    bench : Path
        Folder of the bench files.

    Returns
    -------
    str
        What was entered.
    """
    from flightlog.logbook.entry import Signer
    from flightlog.operations.ground_entry import ground_draft, note_ground_events, prepared
    from flightlog.operations.ground_test import run_ground_test

    season.clock.now += _AFTER
    for word, name in _TESTS:
        test = run_ground_test(word, [bench / f"{name}.csv"], bench / f"{name}.toml")
        signer = Signer(season.key("mechanic"), "performed", "engineer")
        made = prepared(season.desk, test)
        entry = season.sign(ground_draft(season.desk, made, [signer]), seconds=1800)
        note_ground_events(season.desk, entry)
    return f"{season.clock.now:%Y-%m-%d}  on the bench: {', '.join(word for word, _ in _TESTS)}"
