"""``flightlog team files``, ``enter``, ``restore``, ``baseline``, ``parameters``."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out, progress
from flightlog.cli.crew import two_keys
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AircraftOption, ByOption, enter, enter_all, hands_of
from flightlog.cli.signing import (
    KeysOption,
    PassphraseOption,
    TeamOption,
    a_path,
    given_text,
    say_added,
)
from flightlog.errors import RefusedError, UsageError

if TYPE_CHECKING:
    from flightlog.logbook.entry import Entry
    from flightlog.operations.desk import Desk
    from flightlog.operations.parameters import Parameters
    from flightlog.operations.working_copies import WorkingCopy

_MOST_SHOWN = 40
_MOST_PARAMETERS = 100
_LIST = "files"
"""What keys are unlocked for, so that each person types the passphrase once for all files."""

FilesArgument = Annotated[
    list[Path], typer.Argument(metavar="FILE...", parser=a_path, help="Team files (TOML).")
]
SourceArgument = Annotated[
    Path,
    typer.Argument(
        metavar="FILE", parser=a_path, help="A log, or a text of parameter names and values."
    ),
]
FirmwareOption = Annotated[
    str | None,
    typer.Option(
        "--firmware",
        metavar="TEXT",
        help="The firmware as the autopilot tells it; for a text, which does not tell it.",
    ),
]


# --- files


def files(team: TeamOption = None) -> None:
    """Say how the files in the team folder stand beside the record.

    Example: flightlog team files
    """
    from flightlog.operations.positions import named
    from flightlog.operations.working_copies import CHANGED, working_copies

    with desk_of(team, read_only=True) as desk:
        console = out()
        found = working_copies(desk)
        for copy in found:
            console.line(f"{copy.kind:<10} {copy.id:<20} {copy.state:<17} {_version(copy)}")
            console.lines(f"  {line}" for line in _told(copy, changes=copy.state == CHANGED))
        for entry, why in desk.versions.refused:
            console.line(f"Brings nothing into force: {named(entry)}: {why}")
        if not found:
            console.line("There are no files yet. 'flightlog team enter FILE' brings one in.")


def _version(copy: WorkingCopy) -> str:
    from flightlog.operations.positions import named

    if copy.version is None:
        return "no version in force"
    entry = copy.version.entry
    return f"{named(entry)} of {entry.body.time.utc:%Y-%m-%d}"


def _told(copy: WorkingCopy, *, changes: bool) -> list[str]:
    lines = [copy.why] if copy.why else []
    if changes and not copy.changes and not copy.why:
        lines.append("in layout or comments only")
    for change in copy.changes[:_MOST_SHOWN] if changes else ():
        before = "nothing" if change.before is None else change.before
        after = "nothing" if change.after is None else change.after
        mark = ", a limit" if change.limit else ""
        lines.append(f"{change.key}: in force {before}, here {after}{mark}")
    if changes and len(copy.changes) > _MOST_SHOWN:
        lines.append(f"and {len(copy.changes) - _MOST_SHOWN} more")
    return lines


def enter_files(
    paths: FilesArgument,
    by: ByOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter files into the record; from then on what they say is in force.

    Where a limit is set or changed two persons sign, the one who enters it and one who agrees.
    What differs is shown before. A file from elsewhere is put into the team folder.

    Example: flightlog team enter aircraft/pannier.toml packs/pack-a.toml --by mechanic --by pilot
    """
    from flightlog.operations.working_copies import bring_home, version_draft

    with desk_of(team) as desk:
        signing = _signers(desk, by)
        wanted = _to_enter(desk, paths, alone=len(signing) < 2)
        drafts = [partial(version_draft, desk, copy, signing) for copy in wanted]
        entries = enter_all(desk, drafts, hands_of(desk, keys, passphrase_fd), _LIST)
        for copy, entry in zip(wanted, entries, strict=True):
            _refuse_without_effect(desk, entry)
            home = bring_home(desk, copy)
            if home is not None:
                out().line(f"Put into the team folder: {home}")


def _signers(desk: Desk, by: Sequence[str]) -> list[str]:
    if len(by) > 1:
        return two_keys(desk.crew, list(by), "a limit is agreed")
    return [desk.crew.present_key(who) for who in by]


def _to_enter(desk: Desk, paths: Sequence[Path], *, alone: bool) -> list[WorkingCopy]:
    """Give the files that are to be entered: all of them whole, or none."""
    copies = [_copy(desk, path) for path in paths]
    names = [(copy.kind, copy.id) for copy in copies]
    double = next((name for name in names if names.count(name) > 1), None)
    if double is not None:
        raise UsageError("is given twice", where=" ".join(double), fix="Name each file once.")
    for copy in copies:
        _show(copy)
    needing = [f"{copy.kind} {copy.id}" for copy in copies if copy.needs_two and _is_news(copy)]
    if alone and needing:
        raise RefusedError(
            f"limits are set or changed ({', '.join(needing)}), and two persons sign that",
            fix="Give --by twice: who enters it, and who agrees. Nothing was entered.",
        )
    return [copy for copy in copies if _is_news(copy)]


def _is_news(copy: WorkingCopy) -> bool:
    from flightlog.operations.working_copies import SAME

    return copy.state != SAME


def _copy(desk: Desk, path: Path) -> WorkingCopy:
    """Look at a file as it was named, else within the team folder."""
    from flightlog.errors import TeamFileError
    from flightlog.operations.working_copies import FAULT, home_of, working_copy
    from flightlog.team.contents import working_bytes

    within = desk.folder.path / path
    place = within if not path.exists() and within.exists() else path
    copy = working_copy(desk, place)
    if copy.state == FAULT:
        raise TeamFileError(copy.why)
    home = home_of(desk, copy.kind, copy.id)
    if os.path.lexists(home) and working_bytes(home) != working_bytes(place):
        raise UsageError(
            f"the team folder has another file of this id, {home}",
            where=str(place),
            fix="Edit that one, or put it away.",
        )
    return copy


def _show(copy: WorkingCopy) -> None:
    console = out()
    console.line(f"{copy.kind} {copy.id}: {copy.state}")
    first = copy.version is None
    console.lines(f"  {line}" for line in _told(copy, changes=_is_news(copy) and not first))
    if first and copy.limits:
        console.line(f"  sets {len(copy.limits)} limits: {', '.join(d.key for d in copy.limits)}")
    if copy.needs_two and _is_news(copy):
        console.line("  two persons sign: who enters it, and who agrees")


def _refuse_without_effect(desk: Desk, entry: Entry) -> None:
    """Say it where an entry was added and brings nothing into force: something came between."""
    why = dict(desk.versions.refused).get(entry)
    if why:
        raise RefusedError(f"it was added and is not in force: {why}", fix="Enter it once more.")


def restore_files(
    paths: FilesArgument,
    team: TeamOption = None,
) -> None:
    """Put files back into the team folder as they are in force; what is there is kept beside.

    Example: flightlog team restore aircraft/pannier.toml
    """
    from flightlog.operations.working_copies import restore
    from flightlog.team.files import FOLDERS

    kinds = {folder: kind for kind, folder in FOLDERS.items()}
    with desk_of(team, read_only=True) as desk:
        for path in paths:
            kind = kinds.get(path.absolute().parent.name)
            if kind is None:
                raise UsageError(
                    "is in no folder of team files",
                    where=str(path),
                    fix=f"Like aircraft/pannier.toml; the folders are {', '.join(kinds)}.",
                )
            home, kept = restore(desk, kind, path.stem)
            out().line(f"Put back: {home}")
            if kept is not None:
                out().line(f"  what was there is kept as {kept}")


# --- parameters


def baseline(
    source: SourceArgument,
    aircraft: AircraftOption,
    by: ByOption,
    firmware: FirmwareOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Sign the parameters and the firmware with which an aircraft is released.

    The first person set it up, the second one inspected it.

    Example: flightlog team baseline bench.bin --aircraft pannier --by mechanic --by pilot
    """
    from flightlog.operations.baseline import baseline_draft, baseline_of

    with desk_of(team) as desk:
        signing = two_keys(desk.crew, list(by), "a baseline is signed")
        if len(signing) != 2:
            raise UsageError("two persons sign a baseline", where="--by", fix="Give --by twice.")
        read = _read(source, firmware)
        draft = baseline_draft(desk, aircraft, read, signing[0], signing[1])
        out().line(f"{len(read.values)} parameters, firmware: {read.firmware}")
        before = baseline_of(desk, aircraft)
        if before is not None:
            _show_change(desk, before, read)
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))


def _show_change(desk: Desk, before: Entry, read: Parameters) -> None:
    """Show how a new baseline differs from the one in force."""
    from flightlog.operations.baseline import stored
    from flightlog.operations.parameters import compare, values_in
    from flightlog.operations.positions import named

    console, old = out(), stored(desk, before)
    if old is None:
        console.line(f"The parameters of the baseline {named(before)} are missing or damaged.")
        return
    found = compare(old, values_in(read.data))
    lines = [
        *(f"{name}: {was} -> {now}" for name, (was, now) in found.changed.items()),
        *(f"{name}: new" for name in found.new),
        *(f"{name}: no more there" for name in found.not_read),
    ]
    firmware = before.body.content["firmware"]
    if firmware != read.firmware:
        lines.insert(0, f"firmware: {firmware} -> {read.firmware}")
    console.line(f"{len(lines) or 'No'} differences from the baseline {named(before)}")
    _list(lines)


def _list(lines: Sequence[str]) -> None:
    console = out()
    console.lines(f"  {line}" for line in lines[:_MOST_PARAMETERS])
    if len(lines) > _MOST_PARAMETERS:
        console.line(f"  and {len(lines) - _MOST_PARAMETERS} more")


def parameters(
    source: SourceArgument,
    aircraft: AircraftOption,
    firmware: FirmwareOption = None,
    team: TeamOption = None,
) -> int:
    """Read parameters, compare them with the baseline, and note that in the record.

    The exit code is 5 where they differ from the baseline, or there is none.

    Example: flightlog team parameters today.param --aircraft pannier
    """
    from flightlog.operations.baseline import (
        baseline_of,
        comparison,
        note_parameters,
        other_firmware,
    )
    from flightlog.operations.positions import named

    with desk_of(team) as desk:
        read = _read(source, firmware)
        entry = note_parameters(desk, aircraft, read)
        say_added(entry)
        known, console = baseline_of(desk, aircraft), out()
        if known is None:
            console.line("There is no baseline to compare with; see 'flightlog team baseline'.")
            return wall.HELD
        found = comparison(desk, known, entry)
        if found is None:
            console.line(f"The parameters of the baseline {named(known)} are missing or damaged.")
            return wall.HELD
        lines = [line for line in (other_firmware(known, entry), *found.told()) if line]
        if not read.firmware:
            lines.append("the firmware is not known: give --firmware TEXT")
        if not lines:
            console.line(f"Equal to the baseline {named(known)}, {len(read.values)} parameters.")
            return wall.DONE
        console.line(f"{len(lines)} differences from the baseline {named(known)}:")
        _list(lines)
        return wall.HELD


def _read(source: Path, firmware: str | None) -> Parameters:
    from flightlog.operations.parameters import read_parameters

    with progress(source.name) as shown:
        return read_parameters(source, given_text(firmware, "--firmware"), shown)
