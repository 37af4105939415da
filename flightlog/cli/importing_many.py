"""Many logs into the record, by all cores or a cluster; debriefs of the record computed anew."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flightlog.cli import wall
from flightlog.cli.console import ProgressLine, err, out, progress
from flightlog.errors import ClusterError, FlightlogError
from flightlog.reports.faults import fault_of

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk
    from flightlog.operations.importing import Told
    from flightlog.operations.season_import import Event, Failed
    from flightlog.workers import Workers

FEW = 3
"""So many logs are read by this process: starting others takes longer than they save."""


@contextmanager
def going_on(many: bool) -> Iterator[None]:
    """Say whenever an import of many logs is stopped what that means for it.

    Parameters
    ----------
    many : bool
        Whether it is such a one; nothing is said otherwise.
    """
    try:
        yield
    except KeyboardInterrupt:
        if many:
            err().line("flightlog: what is done stays done; the same command goes on from here")
        raise


@contextmanager
def workers_of(
    desk: Desk,
    tasks: int,
    jobs: int | None,
    cluster: str | None,
    tell: Callable[[str], None],
    *,
    finish: bool = True,
) -> Iterator[Workers]:
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
    tell : callable
        Called with what a person who waits wants to know.
    finish : bool
        Whether processes finish what they have in work when they are stopped: where nobody notes
        what comes of it, it would be done for nothing.
    """
    from flightlog.workers import Here
    from flightlog.workers.processes import Processes, cores

    workers: Workers
    if cluster is not None:
        from flightlog.workers.cluster import Cluster

        workers = Cluster(cluster, desk.folder.tables, tell)
        count = workers.count
        tell(f"{cluster} works on {'1 log' if count == 1 else f'{count} logs'} at a time")
    else:
        count = min(jobs or (cores() if tasks > FEW else 1), tasks)
        workers = Processes(count) if count > 1 else Here()
    try:
        yield workers
    except KeyboardInterrupt:
        if cluster is not None:
            tell("stopping; logs that the cluster has in work are cancelled")
        elif isinstance(workers, Processes) and finish:
            tell("stopping; logs in work are finished first, Ctrl-C ends them too")
        elif isinstance(workers, Processes):
            tell("stopping; logs in work are given up")
            workers.end()
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
    from flightlog.operations.log_search import search
    from flightlog.operations.season_import import (
        Entered,
        Failed,
        SeasonImport,
        refuse_without_aircraft,
    )
    from flightlog.reports.season_import import (
        Names,
        Tally,
        entered_line,
        first_releases,
        summary_lines,
    )

    refuse_without_aircraft(desk, told)
    found = search(paths, desk.ledger.now)
    names, released = Names(paths, found.logs), first_releases(desk)
    console, tally, codes = out(), Tally(), []
    answer |= {"left_out": [], "not_logs": _texts(found.others), "hidden": _texts(found.hidden)}
    with (
        progress("flightlog import", estimate=True) as shown,
        workers_of(desk, len(found.logs), jobs, cluster, _telling(shown)) as workers,
    ):
        lost: list[ClusterError] = []
        faults = [Failed((Path(fault.where),), fault) for fault in found.faults]
        season = SeasonImport(desk, told, workers, shown)
        for event in chain(faults, _until_lost(season.take(found.logs), lost)):
            tally.count(event)
            if isinstance(event, Failed):
                codes.append(_failed(event, answer))
            elif not isinstance(event, Entered):
                answer["left_out"].append(event.why())
            elif as_json:
                answer["recordings"].append(_json_of(desk, event))
            elif not event.known:
                shown.clear()
                console.line(entered_line(event, names.short, released))
    if not as_json:
        console.lines(summary_lines(tally, found, names, console.width))
        _tell_outdated(desk)
    if season.unkept:
        _tell_unkept(desk, len(season.unkept))
    for error in lost:
        answer["errors"].append(_error_json(error, cluster or ""))
        codes.append(_code(_told_aloud(error)))
    return wall.gravest(codes)


def _until_lost(events: Iterator[Event], lost: list[ClusterError]) -> Iterator[Event]:
    """Give what happens until a cluster is lost: what is entered by then is told all the same."""
    try:
        yield from events
    except ClusterError as error:
        lost.append(error)


def _telling(shown: ProgressLine) -> Callable[[str], None]:
    """Give what writes a line of its own, not behind the progress that stands there."""

    def tell(text: str) -> None:
        shown.clear()
        err().line(f"flightlog: {text}")

    return tell


def _texts(paths: Iterable[Path]) -> list[str]:
    return [str(path) for path in paths]


def _json_of(desk: Desk, event: Any) -> dict[str, Any]:
    from flightlog.cli.importing import imported_json

    return {**imported_json(desk, event.imported), "logs": _texts(event.logs)}


def _failed(event: Failed, answer: dict[str, Any]) -> int:
    """Keep for programs what failed; the details of a fault of ours go into a file."""
    error = _told(event.error)
    said = _error_json(error, " + ".join(log.name for log in event.logs))
    answer["errors"].append({**said, "logs": _texts(event.logs)})
    return _code(error)


def _code(error: FlightlogError) -> int:
    """Give the exit code of an error of one of many: the command itself was typed as it should."""
    return wall.FILE_AT_FAULT if error.exit_code == wall.USAGE else error.exit_code


def _told(error: BaseException) -> FlightlogError:
    """Give an error as one raised on purpose; of a fault of ours the details go into a file."""
    if isinstance(error, FlightlogError):
        return error
    told = fault_of(error) if isinstance(error, Exception) else FlightlogError(str(error))
    err().line(f"flightlog: {told.sentence()}")
    return told


def _told_aloud(error: FlightlogError) -> FlightlogError:
    err().line(f"flightlog: {error.sentence()}")
    return error


def _tell_outdated(desk: Desk) -> None:
    from flightlog.operations.recomputing import outdated

    count = len(outdated(desk))
    if count:
        they = "1 recording has" if count == 1 else f"{count} recordings have"
        err().line(
            f"flightlog: {they} figures by older analyses or by an older reading of the log; "
            "'flightlog import --recompute' computes them anew, as new entries"
        )


def _tell_unkept(desk: Desk, count: int) -> None:
    logs = "1 log" if count == 1 else f"{count} logs"
    err().line(
        f"flightlog: the tables of {logs} could not be written to {desk.folder.tables}, so that "
        "they are read again whenever they are needed; see whether the disk is full, or a link "
        "stands there"
    )


def recompute_all(
    desk: Desk, *, jobs: int | None, cluster: str | None, answer: dict[str, Any], as_json: bool
) -> int:
    """Compute anew what is by older analyses, and say what changed."""
    from flightlog.operations.positions import named
    from flightlog.operations.recomputing import Recomputed, outdated, recompute
    from flightlog.reports.season_import import change_lines, recomputed_line, recomputed_lines

    recordings = outdated(desk)
    console, done, failed = out(), [], []
    with (
        progress("flightlog import", estimate=True) as shown,
        workers_of(desk, len(recordings), jobs, cluster, _telling(shown), finish=False) as workers,
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
    told = [_told(one.error) for one in failed]
    if as_json:
        answer["recomputed"] = [_recomputed_json(one) for one in done]
        for one, error in zip(failed, told, strict=True):
            answer["errors"].append(_error_json(error, named(one.before)))
    else:
        console.lines(recomputed_lines(done, failed, console.width))
    return wall.gravest([_code(error) for error in told])


def _recomputed_json(one: Any) -> dict[str, Any]:
    from flightlog.operations.positions import named

    return {
        "recording": named(one.entry),
        "entry": one.entry.hash,
        "before": one.before.hash,
        "file": one.entry.body.content["file"],
        "changes": list(one.changes),
    }


def _error_json(error: FlightlogError, about: str) -> dict[str, str]:
    """Give an error for programs; what it is about where it does not say so itself."""
    return {"where": error.where or about, "found": error.found, "fix": error.fix}
