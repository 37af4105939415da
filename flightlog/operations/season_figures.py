"""The figures of all flights of a record as tables: made once, and read until the record changes.

Nothing here computes a figure: the numbers are those of the stored debriefs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flightlog.errors import NotWritableError, TeamFolderError, UsageError
from flightlog.operations.season_kept import (
    FIGURES_FILE,
    FLIGHTS,
    Tables,
    debriefs_state,
    folder_of,
    keep,
    read_kept,
)
from flightlog.team.folder import ENVIRONMENT, TEAM_FILE, TeamFolder

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

BUILT = "built"
READ = "read"


@dataclass(frozen=True)
class SeasonTables:
    """The tables, and how they were had.

    Attributes
    ----------
    tables : Tables
        For flights and figures.
    how : {"built", "read"}
        Made now out of the record, or read as this laptop made them before.
    kept : bool
        Whether they stand on the disk.
    made_utc : str
        When they were made.
    """

    tables: Tables
    how: str
    kept: bool
    made_utc: str

    @property
    def checked(self) -> str:
        """Say in a sentence what was checked in this run, and what was not."""
        told = self.tables.told
        record = f"{told['entries']} entries, {len(told['debriefs'])} stored debriefs"
        if self.how == BUILT:
            kept = "" if self.kept else " The folder can't be written, so they are not kept."
            return (
                f"Made now from {record}: the record was opened with its checks, and each debrief "
                f"held against its hash.{kept}"
            )
        return (
            f"Made by this laptop at {self.made_utc} from {record}; since then no byte of the "
            "record and of these tables changed. Signatures were checked then and not now; of the "
            "debriefs, size and time on the disk were looked at, not the bytes."
        )


def season_tables(team: TeamFolder, profile: Path | None = None) -> SeasonTables:
    """Give the figures of all flights of a record.

    Parameters
    ----------
    team : TeamFolder
        Whose record.
    profile : Path, optional
        Where this laptop remembers what it made; that of the user when not given.

    Raises
    ------
    TeamFolderError
        If there is no record, or it was written by a newer program.
    LogbookError
        If entries are missing or don't match their signatures.
    """
    from flightlog.logbook.device import default_profile

    profile = profile or default_profile()
    earlier = read_kept(team, profile)
    if earlier is not None and earlier.hold:
        return SeasonTables(earlier.tables, READ, kept=True, made_utc=earlier.made_utc)
    return _built(team, profile, earlier.tables if earlier is not None else None)


def _built(team: TeamFolder, profile: Path, earlier: Tables | None) -> SeasonTables:
    from flightlog.logbook.book import Logbook
    from flightlog.operations.desk import Desk
    from flightlog.operations.season_build import build, known_of, watched_of

    with Logbook.open(team.logbook, profile=profile, read_only=True) as book:
        desk = Desk(team, book)
        # Before they are read: what changes meanwhile is looked at the next time.
        debriefs = debriefs_state(team, watched_of(desk))
        tables = build(desk, known_of(earlier) if earlier is not None else {})
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    kept = keep(team, profile, tables, debriefs, now)
    return SeasonTables(tables, BUILT, kept, now)


# --- some of it


def chosen(
    tables: Tables, aircraft: str = "", pack: str = "", figures: Sequence[str] = ()
) -> Tables:
    """Give the flights of an aircraft, with a pack, and some figures of them; all where empty.

    Raises
    ------
    UsageError
        If the record knows no such thing, or no flight has or lacks such a figure.
    """
    known = tables.told["known"]
    for kind, id_ in (("aircraft", aircraft), ("pack", pack)):
        if id_ and id_ not in known[kind]:
            raise _unknown(f"the record knows no {kind} of this id", id_, known[kind])
    there = [one["figure"] for one in tables.told["figures"]]
    for figure in figures:
        if figure not in there:
            found = "no flight of the record has, or lacks, this figure"
            of_it = [id_ for id_ in there if id_.split(".")[0] == figure.split(".")[0]]
            raise _unknown(found, figure, there, of_it or there)
    if not (aircraft or pack or figures):
        return tables
    wide = tables.flights
    if aircraft or pack:
        packs = wide["pack"].to_pylist()
        of_whom = zip(wide["aircraft"].to_pylist(), packs, strict=True)
        meant = [aircraft in ("", a) and pack in ("", p) for a, p in of_whom]
        wide = wide.filter(_mask(meant))
    if figures:
        about = [c for c in wide.column_names if c not in _columns(there)]
        wide = wide.select([*about, *_columns(list(dict.fromkeys(figures)))])
    return Tables(wide, lambda: _of(tables.figures, wide, figures))


def _of(long: pa.Table, wide: pa.Table, figures: Sequence[str]) -> pa.Table:
    """Keep the rows of some flights and figures; of all figures where none is named."""
    entries = set(wide["entry_sha256"].to_pylist())
    each = zip(long["entry_sha256"].to_pylist(), long["figure"].to_pylist(), strict=True)
    return long.filter(_mask([e in entries and (not figures or f in figures) for e, f in each]))


def _columns(figures: Sequence[str]) -> list[str]:
    return [f"{figure}{ending}" for figure in figures for ending in ("", ".low", ".high")]


def _mask(values: list[bool]) -> pa.Array:
    import pyarrow as pa

    return pa.array(values, pa.bool_())


def _unknown(found: str, id_: str, known: Sequence[str], listed: Sequence[str] = ()) -> UsageError:
    """Say that nothing has such an id, and which is near, or else which there are."""
    from flightlog.team_files.reading import near_miss

    hint = near_miss(id_, tuple(known))
    if not hint and known:
        hint = f"Known: {', '.join(listed or known)}."
    return UsageError(found, where=id_[:60], fix=hint)


# --- from Python


def season(team: str | Path | None = None) -> pd.DataFrame:
    """Give the figures of all flights of a record, a flight in each row.

    Parameters
    ----------
    team : path, optional
        The team folder; else the one that ``FLIGHTLOG_TEAM`` names, this folder or one above it.

    Returns
    -------
    pandas.DataFrame
        In the order in which they were flown; those of which nobody knows when come last, without
        a ``start_utc``. ``sortie``, ``aircraft``, ``pack``, ``start_utc``, ``configuration``,
        ``released``, ``sha256`` of the log, ``analyses`` (their version), ``flown_s`` (from
        lift-off to touchdown) and so on. Where ``whole`` is False the log does not hold the whole
        flight, and ``flown_s`` and ``landings`` are the least that was flown. Then a column for
        each figure, such as ``takeoff.ground_roll``, with the ends of its 95 % interval in
        ``takeoff.ground_roll.low`` and ``.high``. Numbers as the debriefs have them; what is
        withheld is missing, and `season_figures` says why. ``attrs`` holds ``units`` and ``labels``
        of the figures, and ``checked``, which says what was checked in this run.

    Raises
    ------
    TeamFolderError
        If there is no team folder, or no record in it.
    LogbookError
        If the record is damaged.
    """
    found = _found(team)
    return _frame(found.tables.flights, found)


def season_figures(team: str | Path | None = None) -> pd.DataFrame:
    """Give the figures of all flights of a record, a figure of a flight in each row.

    Parameters
    ----------
    team : path, optional
        As for `season`.

    Returns
    -------
    pandas.DataFrame
        ``sortie``, ``aircraft``, ``pack``, ``start_utc`` and ``whole`` as in `season`, and in its
        order; ``figure``, ``unit``, ``value``, ``low``, ``high``, ``withheld`` (why there is no
        number, and what would unlock it) and ``entry_sha256``, by which it goes with `season`.

    Raises
    ------
    TeamFolderError
        If there is no team folder, or no record in it.
    LogbookError
        If the record is damaged.
    """
    found = _found(team)
    return _frame(found.tables.figures, found)


def season_files(team: str | Path | None = None) -> tuple[Path, Path]:
    """Bring both tables up to date on the disk, for tools that read Parquet.

    Parameters
    ----------
    team : path, optional
        As for `season`.

    Returns
    -------
    flights, figures : Path
        As `season` and `season_figures` give them. Each column of numbers has its unit in its own
        metadata, under ``unit``.

    Raises
    ------
    NotWritableError
        If the team folder can't be written, so that they can't be kept.
    TeamFolderError
        If there is no team folder, or no record in it.
    LogbookError
        If the record is damaged.
    """
    folder = _folder(team)
    if not season_tables(folder).kept:
        raise NotWritableError(
            "the tables can't be kept here",
            where=str(folder_of(folder)),
            fix="Take flightlog.season() and flightlog.season_figures(), which need no file.",
        )
    return folder_of(folder) / FLIGHTS, folder_of(folder) / FIGURES_FILE


def _found(team: str | Path | None) -> SeasonTables:
    return season_tables(_folder(team))


def _folder(team: str | Path | None) -> TeamFolder:
    """Find the folder; where there is none, say what helps one who writes Python."""
    try:
        return TeamFolder.find(Path(team) if team is not None else None)
    except TeamFolderError as error:
        fix = (
            f"Name a folder that holds {TEAM_FILE}, like season('flightlog-demo/team'), or set "
            f"{ENVIRONMENT} to it."
        )
        raise TeamFolderError(error.found, where=error.where, fix=fix) from None


def _frame(table: pa.Table, found: SeasonTables) -> pd.DataFrame:
    frame: pd.DataFrame = table.replace_schema_metadata(None).to_pandas()
    told: list[dict[str, Any]] = found.tables.told["figures"]
    frame.attrs = {
        "units": {one["figure"]: one["unit"] for one in told},
        "labels": {one["figure"]: one["label"] for one in told},
        "checked": found.checked,
    }
    return frame
