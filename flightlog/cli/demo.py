"""``flightlog demo``: the sample flights debriefed into a folder of the user's own."""

from __future__ import annotations

import shutil
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from flightlog.cli.console import Console, out, progress
from flightlog.cli.debriefing import debrief_file, show
from flightlog.cli.given import Options, gather
from flightlog.errors import OutputError, TeamFileError

FOLDER = "flightlog-demo"
_INDEX_SCHEMA = "flightlog.samples/1"
_MOST_FOLDERS = 1000
_BENCH = "bench"
"""Folder of the samples of ground tests, beside the flights and in the demo's folder."""
_ASKED = "--laps 3 --entered field_best=100"
"""Laps that are planned, and what the sample rule book's score asks people for."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One flight of the index of samples; files are in the same folder as the index.

    ``card`` is what the transmitter wrote of the same flight, where there is such a file.
    """

    log: Path
    description: str
    options: Options
    card: Path | None = None


def demo(
    to: Annotated[
        Path | None,
        typer.Option(
            "--to", metavar="DIR", help=f"A new or empty folder (else ./{FOLDER}, numbered)."
        ),
    ] = None,
) -> None:
    """Debrief the sample flights into a folder, and build their season's signed record.

    Copies of the logs, the debriefs as text and as JSON, and a team folder with the crew's checks,
    releases and flights; nothing is written over.

    Example: flightlog demo
    """
    samples = read_index()
    folder = _make_folder(to)
    console = out()
    console.line(f"{len(samples)} made-up flights of a cargo aircraft, one of them in full.")
    copies = [_copy(sample, folder) for sample in samples]
    bench = _copy_bench(folder)
    for number, sample in enumerate(copies, start=1):
        console.line()
        console.line(f"--- {sample.log.name}: {sample.description}")
        console.line()
        _debrief(sample, folder, console, short=number > 1)
    console.line()
    _season(folder, console)
    console.line()
    console.lines(_next(copies, folder, _load(folder / "team"), bench))


def _season(folder: Path, console: Console) -> None:
    """Build the team folder of the sample season, and say what each of its days came to."""
    from flightlog.cli.season import PASSPHRASE, build_season

    console.line("--- the season: every flight beside the checks that it was flown under")
    console.line()
    with progress("season") as line:
        team, told = build_season(folder, folder, line)
    console.lines(told)
    console.line(f"The team folder is {team}.")
    console.line(
        f"The crew's keys are in {folder / 'keys'}, all under the passphrase {PASSPHRASE!r}; they "
        "are worth nothing."
    )


def _load(team: Path) -> str:
    """Give the command that answers how much could be loaded at the season's last release.

    Its days lie elsewhere than the laptop's clock, so that for now no number would be given.
    """
    from flightlog.cli.desk import desk_of
    from flightlog.logbook.flying_kinds import RELEASE
    from flightlog.operations.positions import named

    with desk_of(team, read_only=True) as desk:
        last = desk.ledger.last(RELEASE)
        if last is None:
            return ""
        said = last.body.content
        return (
            f"  flightlog load --aircraft {said['aircraft']} --pack {said['pack']} {_ASKED} "
            f"--as-of {named(last)} --team {_quoted(team)}"
        )


def read_index() -> list[Sample]:
    """Read the index of the sample flights, in its order.

    Raises
    ------
    TeamFileError
        If the index is missing or not one of ours.
    """
    from flightlog.resources import data_path

    place = data_path("sample_flights", "index.toml")
    try:
        index = tomllib.loads(place.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise TeamFileError(
            f"the index of the sample flights can't be read ({error})",
            where=str(place),
            fix="Install the program again.",
        ) from error
    if index.get("schema") != _INDEX_SCHEMA or not index.get("flight"):
        raise TeamFileError(
            f"no flights under schema {_INDEX_SCHEMA!r}",
            where=str(place),
            fix="Install the program again.",
        )
    return [_sample(entry, place.parent) for entry in index["flight"]]


def _sample(entry: dict[str, Any], folder: Path) -> Sample:
    from flightlog.resources import data_path

    def beside(key: str) -> Path | None:
        return folder / entry[key] if entry.get(key) else None

    rules = entry.get("rules")
    return Sample(
        folder / entry["file"],
        entry.get("description", ""),
        Options(
            site=beside("site"),
            aircraft=beside("aircraft"),
            pack=beside("pack"),
            rules=data_path("checklists", rules) if rules else None,
            mass=f"{entry['mass_kg']:g}" if "mass_kg" in entry else None,
            wind=entry.get("wind"),
            air_temperature=(
                f"{entry['air_temperature_c']:g}" if "air_temperature_c" in entry else None
            ),
            payload_units=entry.get("payload_units"),
        ),
        beside("transmitter"),
    )


def _make_folder(to: Path | None) -> Path:
    """Make the folder; nothing that is there already is written over."""
    try:
        if to is None:
            return _next_free(Path(FOLDER))
        to.mkdir(parents=True, exist_ok=True)
        if any(to.iterdir()):
            raise OutputError(
                "the folder is not empty",
                where=str(to),
                fix="Name a new one; the demo writes over nothing.",
            )
    except OSError as error:
        raise _not_writable(to or Path(FOLDER), error) from error
    return to


def _next_free(folder: Path) -> Path:
    for number in range(1, _MOST_FOLDERS):
        place = folder if number == 1 else folder.with_name(f"{folder.name}-{number}")
        try:
            place.mkdir()
        except FileExistsError:
            continue
        return place
    raise OutputError(
        f"{_MOST_FOLDERS - 1} demo folders are here already", fix="Delete some, or give --to DIR."
    )


def _not_writable(place: Path, error: OSError) -> OutputError:
    return OutputError(
        f"can't be written ({error.strerror or type(error).__name__})",
        where=str(place),
        fix="Give --to DIR with a folder of your own.",
    )


def _copy(sample: Sample, folder: Path) -> Sample:
    """Copy a sample's files, so that the folder stands by itself."""

    def copied(source: Path | None) -> Path | None:
        if source is None:
            return None
        place = folder / source.name
        try:
            if not place.exists():
                shutil.copyfile(source, place)
        except OSError as error:
            raise _not_writable(place, error) from error
        return place

    given = sample.options
    return Sample(
        copied(sample.log) or sample.log,
        sample.description,
        Options(
            site=copied(given.site),
            aircraft=copied(given.aircraft),
            pack=copied(given.pack),
            rules=copied(given.rules),
            mass=given.mass,
            wind=given.wind,
            air_temperature=given.air_temperature,
            payload_units=given.payload_units,
        ),
        copied(sample.card),
    )


def _copy_bench(folder: Path) -> Path:
    """Copy the files of the sample ground tests, and give their folder."""
    from flightlog.resources import data_path

    place = folder / _BENCH
    try:
        shutil.copytree(data_path("sample_flights", _BENCH), place, copy_function=shutil.copyfile)
    except OSError as error:  # one of several files that could not be copied among them
        raise _not_writable(place, error) from error
    return place


def _debrief(sample: Sample, folder: Path, console: Console, *, short: bool) -> None:
    from flightlog.contract import dumps
    from flightlog.reports.words import debrief_lines

    result = debrief_file(sample.log, *gather(sample.options))
    show(console, result, short=short)
    texts = {
        ".debrief.txt": "\n".join(debrief_lines(result)) + "\n",
        ".debrief.json": dumps(result) + "\n",
    }
    for ending, text in texts.items():
        place = folder / (sample.log.stem + ending)
        try:
            place.write_text(text, encoding="utf-8")
        except OSError as error:
            raise _not_writable(place, error) from error


def _next(samples: list[Sample], folder: Path, load: str, bench: Path) -> list[str]:
    first = samples[0]
    rules = Options(rules=first.options.rules)
    joined = [f"  flightlog debrief {_quoted(s.log)} {_quoted(s.card)}" for s in samples if s.card]
    return [
        f"Logs, debriefs and JSON are in {folder}. Next:",
        f"  flightlog debrief {_quoted(first.log)}{_typed(first.options)}",
        *joined[:1],
        f"  flightlog convert {_quoted(first.log)} --to {_quoted(folder / 'tables')} --as csv",
        f"  flightlog sortie list --team {_quoted(folder / 'team')}",
        f"  flightlog trends --team {_quoted(folder / 'team')}",
        *filter(None, [load]),
        f"  flightlog groundtest ringdown {_quoted(bench / 'ringdown_left.csv')} "
        f"--bench {_quoted(bench / 'ringdown_left.toml')}",
        f"  flightlog open --team {_quoted(folder / 'team')} --keys {_quoted(folder / 'keys')}",
        f"  flightlog debrief YOUR-OWN-LOG{_typed(rules)}",
    ]


def _typed(given: Options) -> str:
    """Write options as they are typed."""
    parts = {
        "--site": _quoted(given.site) if given.site else None,
        "--aircraft": _quoted(given.aircraft) if given.aircraft else None,
        "--pack": _quoted(given.pack) if given.pack else None,
        "--rules": _quoted(given.rules) if given.rules else None,
        "--mass": given.mass,
        "--wind": given.wind,
        "--air-temperature": given.air_temperature,
        "--payload-units": None if given.payload_units is None else str(given.payload_units),
    }
    return "".join(f" {option} {text}" for option, text in parts.items() if text is not None)


def _quoted(path: Path) -> str:
    text = str(path)
    return f'"{text}"' if " " in text else text
