"""``flightlog import``: logs go into the record, each flight with its release."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypedDict

import typer

from flightlog.cli import wall
from flightlog.cli.console import Console, err, out, progress
from flightlog.cli.debriefing import read_one_of_several, show
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AboutPack
from flightlog.cli.flights import Flight, Plan, plan_flights
from flightlog.cli.importing_many import FEW, going_on, import_many, recompute_all
from flightlog.cli.signing import TeamOption, a_path
from flightlog.errors import FlightlogError, UsageError

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk
    from flightlog.operations.importing import Imported, Told

SCHEMA = "flightlog.import/1"


def import_logs(
    paths: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="PATH...",
            parser=a_path,
            help="Logs and folders of logs; with --newest the folders of cards.",
        ),
    ] = None,
    newest: Annotated[
        bool,
        typer.Option(
            "--newest",
            help="Take the newest log of each folder; without one, of the team's card.",
        ),
    ] = False,
    aircraft: Annotated[
        str | None,
        typer.Option(
            "--aircraft", metavar="ID", help="Whose log it is, where it does not say so itself."
        ),
    ] = None,
    pack: AboutPack = None,
    clocks_apart: Annotated[
        float | None,
        typer.Option(
            "--clocks-apart",
            metavar="MINUTES",
            min=0,
            max=24 * 60,
            help="By how much the clocks of log and laptop may differ (else 15).",
        ),
    ] = None,
    recompute: Annotated[
        bool,
        typer.Option(
            "--recompute",
            help="Compute anew what the record has by older analyses, or by an older reading.",
        ),
    ] = False,
    jobs: Annotated[
        int | None,
        typer.Option(
            "--jobs",
            metavar="N",
            min=1,
            max=256,
            help="Logs that are worked on at a time (else one for each core).",
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            metavar="ADDRESS",
            help="Let an existing Dask cluster do it, over a shared team folder.",
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object and nothing else.")
    ] = False,
    team: TeamOption = None,
) -> int:
    """Put logs into the record: keep, debrief and pair each flight with its release.

    A log is kept by its content, so that a second import changes nothing. Logs of one flight that
    are given together are joined. A folder is searched for logs, which all cores work on; after
    an interruption the same command goes on. Where the card of the team is put in stands in its
    team file as card = "FOLDER", or in FLIGHTLOG_CARD.

    Example: flightlog import --newest CARD
    """
    answer: dict[str, Any] = {"schema": SCHEMA, "recordings": [], "errors": []}
    if jobs is not None and cluster is not None:
        raise UsageError(
            "is about processes of this machine",
            where="--jobs",
            fix="Leave it out: a cluster has as many workers as it was started with.",
        )
    many = recompute or (not newest and _are_many(paths or [], jobs, cluster))
    with going_on(many), desk_of(team) as desk:
        told = _told(aircraft, pack, clocks_apart)
        how: _How = {"jobs": jobs, "cluster": cluster, "answer": answer, "as_json": as_json}
        code = wall.DONE
        if recompute:
            _refuse_beside_recompute(newest, paths or [])
            code = recompute_all(desk, **how)
        elif newest:
            code = _Work(desk, told, as_json, answer).all(_newest(desk, paths or []))
        elif many:
            code = import_many(desk, _given(paths or []), told, **how)
        else:
            code = _Work(desk, told, as_json, answer).all(_given(paths or []))
    if as_json:
        out().json(json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=2))
    return code


class _How(TypedDict):
    jobs: int | None
    cluster: str | None
    answer: dict[str, Any]
    as_json: bool


def _refuse_beside_recompute(newest: bool, paths: Sequence[Path]) -> None:
    if newest or paths:
        raise UsageError(
            "is about what the record holds",
            where="--recompute",
            fix="Leave out logs and --newest; import new logs first.",
        )


def _are_many(paths: Sequence[Path], jobs: int | None, cluster: str | None) -> bool:
    """Whether logs are told of by a line each: folders, and more than a few."""
    from flightlog.operations.log_search import is_folder

    asked_for = jobs is not None or cluster is not None
    return asked_for or len(paths) > FEW or any(map(is_folder, paths))


def _told(aircraft: str | None, pack: str | None, clocks_apart: float | None) -> Told:
    from flightlog.operations.importing import Told

    told = Told(aircraft or "", pack or "")
    if clocks_apart is None:
        return told
    return Told(told.aircraft, told.pack, timedelta(minutes=clocks_apart))


def _given(paths: Sequence[Path]) -> list[Path]:
    if not paths:
        raise UsageError(
            "no log is named", where="import", fix="Name logs, or give --newest with a folder."
        )
    return list(paths)


def _newest(desk: Desk, folders: Sequence[Path]) -> list[Path]:
    """Take the newest log of each folder, and say which that is."""
    from flightlog.operations.newest import newest_log

    card = desk.folder.card_folder()
    if not folders and card is None:
        raise UsageError(
            "where cards are put in is not known",
            where="--newest",
            fix='Name the folder, write card = "FOLDER" into team.toml, or set FLIGHTLOG_CARD.',
        )
    logs = []
    for folder in folders or [card or Path()]:
        if folder.is_file():
            raise UsageError(
                "is a file", where=str(folder), fix="Leave out --newest to import a file."
            )
        found = newest_log(folder, desk.ledger.now)
        log = found.log
        when = f"{log.changed:%Y-%m-%d %H:%M} UTC" if log.changed else "a time that is not believed"
        err().line(
            f"flightlog: the newest log in {folder} is {log.path}, {log.size / 1e6:.1f} MB, {when}"
        )
        if found.higher is not None:
            err().line(
                f"flightlog: {found.higher.path.name} has a higher number in its name and is "
                "older by its time; name it if it is the one that is meant"
            )
        logs.append(log.path)
    return logs


@dataclass
class _Work:
    """What is done log by log, and the answer for programs."""

    desk: Desk
    told: Told
    as_json: bool
    answer: dict[str, Any]
    _said: bool = False

    def all(self, logs: Sequence[Path]) -> int:
        """Import all logs, whatever becomes of the others, and give the gravest code."""
        codes: list[int] = []
        hashes: dict[Path, str] = {}
        for log in logs:
            codes.append(self._shielded(log.name, partial(self._hash, log, hashes)))
        plan = self._plan(list(hashes), hashes)
        for flight in plan.flights:
            step = partial(self._one, flight, plan, hashes)
            codes.append(self._shielded(flight.name, step))
        return wall.gravest(codes)

    def _shielded(self, name: str, step: Callable[[], None]) -> int:
        """Run a step; what it raises is told, kept for programs, and ends nothing else."""
        told = len(self.answer["errors"])

        def run() -> int:
            try:
                step()
            except FlightlogError as error:
                said = {"where": error.where, "found": error.found, "fix": error.fix}
                self.answer["errors"].append(said)
                raise
            return wall.DONE

        code = wall.shielded(run)
        if code != wall.DONE and len(self.answer["errors"]) == told:
            said = {"where": name, "found": "a fault of this program", "fix": ""}
            self.answer["errors"].append(said)
        return code

    def _hash(self, log: Path, hashes: dict[Path, str]) -> None:
        """Know a file by its content; the same under two names is taken once."""
        from flightlog.operations.log_content import content_of

        sha256 = content_of(log)
        twin = next((other for other, known in hashes.items() if known == sha256), None)
        if twin is None:
            hashes[log] = sha256
        elif twin != log:
            err().line(f"flightlog: {log}: the same file as {twin}, taken once")

    def _plan(self, logs: list[Path], hashes: dict[Path, str]) -> Plan:
        """Sort the logs into flights; where all are in the record there is nothing to sort."""
        from flightlog.operations.importing import recording_with

        new = [log for log in logs if recording_with(self.desk, [hashes[log]]) is None]
        if len(logs) < 2 or not new:
            return Plan(tuple(Flight((log,)) for log in logs))
        plan = plan_flights(logs, read_one_of_several)
        err().lines(f"flightlog: {sentence}" for sentence in plan.left_out)
        return plan

    def _one(self, flight: Flight, plan: Plan, hashes: dict[Path, str]) -> None:
        from flightlog.operations.importing import (
            finish,
            import_recording,
            recording_with,
        )

        known = recording_with(self.desk, [hashes[log] for log in flight.logs])
        if known is not None:
            self._tell(finish(self.desk, known, self.told))
            return
        if flight.group is None:
            recording = read_one_of_several(flight.logs[0])
        else:
            recording = plan.read(flight)
        with progress(flight.name) as shown:
            done = import_recording(self.desk, recording, flight.logs, self.told, shown)
        self._tell(done)

    def _tell(self, done: Imported) -> None:
        from flightlog.reports.flights import imported_lines

        if self.as_json:
            self.answer["recordings"].append(imported_json(self.desk, done))
            return
        console: Console = out()
        if self._said:
            console.line()
        self._said = True
        if done.debrief is not None:
            show(console, done.debrief, short=True)
            console.line()
        console.lines(imported_lines(self.desk, done, console.width))


def imported_json(desk: Desk, done: Imported) -> dict[str, Any]:
    """Give what came of a log for programs."""
    from flightlog.operations.positions import named
    from flightlog.operations.sorties import recording_debrief
    from flightlog.reports.flights import flight_json

    said = done.recording.body.content
    return {
        "recording": named(done.recording),
        "entry": done.recording.hash,
        "file": said["file"],
        "sha256": said["sha256"],
        "aircraft": said.get("aircraft"),
        "already": not done.added,
        "added": [named(entry) for entry in done.added],
        "lacking": list(done.lacking),
        "sorties": [flight_json(desk, flight) for flight in done.flights],
        "debrief": recording_debrief(desk, done.recording),
    }
