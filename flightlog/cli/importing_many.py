"""Many logs into the record, by all cores or a cluster; debriefs of the record computed anew."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flightlog.cli import wall
from flightlog.cli.console import err, out, progress
from flightlog.errors import FlightlogError
from flightlog.reports.faults import fault_of

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk
    from flightlog.operations.importing import Told
    from flightlog.operations.season_import import Failed
    from flightlog.workers import Workers

FEW = 3
"""So many logs are read by this process: starting others takes longer than they save."""


@contextmanager
def workers_of(desk: Desk, tasks: int, jobs: int | None, cluster: str | None) -> Iterator[Workers]:
    """Give those who do the work, and let them go afterwards.

    Parameters
    ----------
    desk : Desk
        The team's; its folder is what all workers have to see.
    tasks : int
        How many there are at most.
    jobs : int or None
        Processes; as many as there are cores when not given.
    cluster : str or None
        Address of an existing cluster that is to do it instead.
    """
    from flightlog.workers import Here
    from flightlog.workers.processes import Processes, cores

    workers: Workers
    if cluster is not None:
        from flightlog.workers.cluster import Cluster

        workers = Cluster(cluster, desk.folder.tables)
        err().line(f"flightlog: {cluster} works on {workers.count} logs at a time")
    else:
        count = min(jobs or (cores() if tasks > FEW else 1), tasks)
        workers = Processes(count) if count > 1 else Here()
    try:
        yield workers
    except KeyboardInterrupt:
        if workers.count > 1:
            err().line("flightlog: stopping; logs in work are finished first, Ctrl-C ends them too")
        workers.close()
        err().line("flightlog: what is done stays done; the same command goes on from here")
        raise
    finally:
        workers.close()


def import_many(
    desk: Desk,
    paths: Sequence[Path],
    told: Told,
    *,
    jobs: int | None,
    cluster: str | None,
    answer: dict[str, Any],
    as_json: bool,
) -> int:
    """Import folders and many logs: a line for each, at the end a table of what failed."""
    from flightlog.operations.season_import import Entered, Failed, SeasonImport, search
    from flightlog.reports.season_import import Tally, entered_line, summary_lines

    found = search(paths, desk.ledger.now)
    console, tally, codes = out(), Tally(), []
    answer |= {"left_out": [], "not_logs": [path.name for path in found.others]}
    with (
        workers_of(desk, len(found.logs), jobs, cluster) as workers,
        progress("flightlog import", estimate=True) as shown,
    ):
        faults = [Failed((Path(fault.where),), fault) for fault in found.faults]
        season = SeasonImport(desk, told, workers, shown)
        for event in chain(faults, season.take(found.logs)):
            tally.count(event)
            if isinstance(event, Failed):
                codes.append(_failed(event, answer))
            elif not isinstance(event, Entered):
                answer["left_out"].append(event.why)
            elif as_json:
                answer["recordings"].append(_json_of(desk, event))
            elif not event.known:
                shown.clear()
                console.line(entered_line(event))
    if not as_json:
        console.lines(summary_lines(tally, found.others, console.width))
        _tell_outdated(desk)
    if season.unkept:
        _tell_unkept(desk, len(season.unkept))
    return wall.gravest(codes)


def _json_of(desk: Desk, event: Any) -> dict[str, Any]:
    from flightlog.cli.importing import imported_json

    return imported_json(desk, event.imported)


def _failed(event: Failed, answer: dict[str, Any]) -> int:
    """Keep for programs what failed; the details of a fault of ours go into a file."""
    error = _told(event.error)
    where = error.where or " + ".join(log.name for log in event.logs)
    said = {"where": where, "found": error.found, "fix": error.fix}
    answer["errors"].append({**said, "logs": [str(log) for log in event.logs]})
    return error.exit_code


def _told(error: BaseException) -> FlightlogError:
    """Give an error as one raised on purpose; of a fault of ours the details go into a file."""
    if isinstance(error, FlightlogError):
        return error
    told = fault_of(error) if isinstance(error, Exception) else FlightlogError(str(error))
    err().line(f"flightlog: {told.sentence()}")
    return told


def _tell_outdated(desk: Desk) -> None:
    from flightlog.operations.recomputing import outdated

    count = len(outdated(desk))
    if count:
        they = "1 recording has" if count == 1 else f"{count} recordings have"
        err().line(
            f"flightlog: {they} figures by older analyses; "
            "'flightlog import --recompute' computes them anew, as new entries"
        )


def _tell_unkept(desk: Desk, count: int) -> None:
    logs = "1 log" if count == 1 else f"{count} logs"
    err().line(
        f"flightlog: the tables of {logs} could not be written to {desk.folder.tables}, so that "
        "they are read again whenever they are needed; see whether the disk is full"
    )


def recompute_all(
    desk: Desk, *, jobs: int | None, cluster: str | None, answer: dict[str, Any], as_json: bool
) -> int:
    """Compute anew what is by older analyses, and say what changed."""
    from flightlog.operations.recomputing import Recomputed, outdated, recompute
    from flightlog.reports.season_import import change_lines, recomputed_line, recomputed_lines

    recordings = outdated(desk)
    console, done, failed = out(), [], []
    with (
        workers_of(desk, len(recordings), jobs, cluster) as workers,
        progress("flightlog import", estimate=True) as shown,
    ):
        for one in recompute(desk, recordings, workers, shown):
            if not isinstance(one, Recomputed):
                failed.append(one)
                continue
            done.append(one)
            if not as_json:
                shown.clear()
                console.line(recomputed_line(one))
                console.lines(change_lines(one, console.width))
    if as_json:
        answer["recomputed"] = [_recomputed_json(one) for one in done]
        answer["errors"] += [_error_json(one) for one in failed]
    else:
        console.lines(recomputed_lines(done, failed, console.width))
    codes = [_told(one.error).exit_code for one in failed]
    return wall.gravest(codes)


def _recomputed_json(one: Any) -> dict[str, Any]:
    from flightlog.operations.positions import named

    return {
        "recording": named(one.entry),
        "entry": one.entry.hash,
        "before": one.before.hash,
        "file": one.entry.body.content["file"],
        "changes": list(one.changes),
    }


def _error_json(one: Any) -> dict[str, str]:
    from flightlog.operations.positions import named

    error = one.error
    if not isinstance(error, FlightlogError):
        found = f"a fault of this program ({type(error).__name__})"
        return {"where": named(one.before), "found": found, "fix": ""}
    return {"where": error.where or named(one.before), "found": error.found, "fix": error.fix}
