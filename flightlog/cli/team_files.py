"""``flightlog team files``, ``enter``, ``baseline``, ``parameters``: files in the record."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    AircraftOption,
    ByOption,
    enter,
    enter_all,
    hands_of,
    keys_of,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, a_path, say_added
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.operations.working_copies import WorkingCopy

_MOST_SHOWN = 12


def files(team: TeamOption = None) -> None:
    """Say how the files in the team folder stand beside the record.

    Example: flightlog team files
    """
    from flightlog.operations.positions import named
    from flightlog.operations.working_copies import working_copies

    with desk_of(team, read_only=True) as desk:
        console = out()
        for copy in working_copies(desk):
            version = desk.versions.in_force(copy.kind, copy.id)
            by = f"  {named(version.entry)}" if version is not None else ""
            console.line(f"{copy.kind:<10} {copy.id:<20} {copy.state}{by}")
            console.lines(f"  {line}" for line in _differences(copy, full=copy.state == "changed"))
        for entry, why in desk.versions.refused:
            console.line(f"Counts for nothing: {named(entry)}: {why}")


def _differences(copy: WorkingCopy, *, full: bool) -> list[str]:
    lines = [copy.why] if copy.why else []
    shown = copy.changes if full else ()
    for change in shown[:_MOST_SHOWN]:
        mark = "limit " if change.limit else ""
        before = "-" if change.before is None else change.before
        after = "-" if change.after is None else change.after
        lines.append(f"{mark}{change.key}: {before} -> {after}")
    if len(shown) > _MOST_SHOWN:
        lines.append(f"and {len(shown) - _MOST_SHOWN} more")
    return lines


def enter_files(
    paths: Annotated[
        list[Path], typer.Argument(metavar="FILE...", parser=a_path, help="Team files (TOML).")
    ],
    by: ByOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter files into the record; from then on what they say is in force.

    Where a limit is set or changed, two persons sign. What differs is shown before.

    Example: flightlog team enter aircraft/pannier.toml packs/pack-a.toml --by mechanic --by pilot
    """
    from flightlog.operations.working_copies import SAME, version_draft, working_copy

    with desk_of(team) as desk:
        signing = keys_of(desk, by)
        copies = [working_copy(desk, _place(path, desk.folder.path)) for path in paths]
        console = out()
        wanted = [copy for copy in copies if copy.state != SAME]
        for copy in copies:
            console.line(f"{copy.kind} {copy.id}: {copy.state}")
            console.lines(f"  {line}" for line in _differences(copy, full=True))
        for copy in wanted:
            version_draft(desk, copy, signing)  # all or none: a fault is told before any is signed
        drafts = [partial(version_draft, desk, copy, signing) for copy in wanted]
        enter_all(desk, drafts, hands_of(desk, keys, passphrase_fd), "files")


def _place(path: Path, team: Path) -> Path:
    """Find a file as it was named, else within the team folder."""
    within = team / path
    return within if not path.exists() and within.exists() else path


def baseline(
    source: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", parser=a_path, help="A log, or a text of parameter names and values."
        ),
    ],
    aircraft: AircraftOption,
    by: ByOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Sign the parameters and the firmware with which an aircraft is released.

    The first person performed it, the second one inspected it.

    Example: flightlog team baseline bench.bin --aircraft pannier --by mechanic --by pilot
    """
    from flightlog.operations.baseline import baseline_draft, read_parameters

    with desk_of(team) as desk:
        signing = keys_of(desk, by)
        if len(signing) != 2:
            raise UsageError("two persons sign a baseline", where="--by", fix="Give --by twice.")
        parameters = read_parameters(source)
        out().line(f"{len(parameters.values)} parameters, firmware: {parameters.firmware or '-'}")
        draft = baseline_draft(desk, aircraft, parameters, *signing)
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


def parameters(
    source: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", parser=a_path, help="A log, or a text of parameter names and values."
        ),
    ],
    aircraft: AircraftOption,
    team: TeamOption = None,
) -> int:
    """Read parameters, compare them with the baseline, and note that in the record.

    The exit code is 5 where they differ.

    Example: flightlog team parameters today.param --aircraft pannier
    """
    from flightlog.operations.baseline import (
        against_baseline,
        baseline_of,
        note_parameters,
        read_parameters,
    )

    with desk_of(team) as desk:
        read = read_parameters(source)
        known = baseline_of(desk, aircraft)
        entry = note_parameters(desk, aircraft, read)
        say_added(entry)
        if known is None:
            out().line("There is no baseline to compare with; see 'flightlog team baseline'.")
            return wall.HELD
        found = against_baseline(desk, known, entry)
        if not found:
            out().line(f"Equal to the baseline, {len(read.values)} parameters.")
            return wall.DONE
        out().line(f"{len(found)} differences from the baseline:")
        out().lines(f"  {line}" for line in found[:100])
        return wall.HELD
