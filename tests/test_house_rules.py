"""The rules of the house that a test can keep, so that a review does not have to."""

from __future__ import annotations

import ast
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from fnmatch import filter as matching
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

import flightlog
from flightlog.cli.commands import application
from flightlog.figures import FIGURES
from flightlog.findings import FINDINGS
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.ground_findings import GROUND_FINDINGS

ROOT = Path(flightlog.__file__).parent
README = ROOT.parent / "README.md"
SOURCES = sorted(ROOT.rglob("*.py"))

_GROUND = (
    "errors constants columns figures findings ground_figures ground_findings uncertain resources"
)
_SENSING = f"{_GROUND} recording"
_DEBRIEF = (
    f"{_SENSING} importers estimation joining analyses screening inputs rules export contract"
)
_OPERATIONS = (
    f"{_DEBRIEF} debriefing earlier prediction groundtests logbook team team_files decoded disk"
    " workers operations"
)

# Room -> what it may import. A room that is not named here does not exist.
MAY_IMPORT: dict[str, str] = {
    "errors": "",
    "constants": "",
    "columns": "",
    "figures": "findings uncertain errors",
    "findings": "",
    "ground_figures": "figures",
    "ground_findings": "findings",
    "uncertain": "",
    "resources": "errors",
    "disk": "",
    "recording": _GROUND,
    "importers": f"{_SENSING} team_files inputs",
    "joining": f"{_SENSING} estimation",
    "decoded": f"{_SENSING} importers disk",
    "workers": "errors figures importers __init__",
    "screening": f"{_SENSING} estimation analyses inputs",
    "inputs": f"{_GROUND} team_files",
    "team_files": f"{_GROUND} inputs",
    "export": _SENSING,
    "estimation": _SENSING,
    "analyses": f"{_SENSING} estimation inputs",
    "rules": f"{_SENSING} estimation analyses inputs team_files",
    "debriefing": _DEBRIEF,
    "contract": f"{_DEBRIEF} debriefing __init__",
    "earlier": f"{_DEBRIEF} debriefing",
    "prediction": f"{_SENSING} estimation",
    "groundtests": f"{_SENSING} estimation",
    "logbook": "errors disk",
    "team": f"{_SENSING} inputs team_files logbook",
    "operations": _OPERATIONS,
    "reports": f"{_OPERATIONS} __init__",
    "dashboard": f"{_OPERATIONS} reports",
    "cli": f"{_OPERATIONS} reports dashboard __init__",
    "__main__": "cli",
    "__init__": f"{_SENSING} importers joining analyses debriefing team operations",
}

# Where everything may be caught: around other people's parsers, and the walls of the two faces.
WALLS = {
    "cli/wall.py",
    "dashboard/shell.py",
    "decoded/files.py",
    "importers/gpx_points.py",
    "importers/igc_records.py",
    "importers/mavlink_telemetry.py",
    "importers/mavlink_frames.py",
    "importers/nmea_sentences.py",
    "importers/ulog_topics.py",
    "workers/cluster.py",
    "workers/tasks.py",
}


def room(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def inside(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    """Give all that stands in a file, walked once for all rules."""
    return tuple(ast.walk(tree(path)))


@cache
def imports(path: Path) -> tuple[str, ...]:
    """Give the full names of all modules that a file imports, wherever in it."""
    return tuple(_imports(path))


def _imports(path: Path) -> Iterator[str]:
    for node in nodes(path):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} imports by dots"
            yield node.module or ""
            if node.module == "flightlog":
                yield from (f"flightlog.{alias.name}" for alias in node.names)


def rooms_imported(path: Path) -> set[str]:
    names = {name for name in imports(path) if name.split(".")[0] == "flightlog"}
    rooms = {name.split(".")[1] for name in names if "." in name}
    public = {"__version__", *flightlog._HOMES}
    return {"__init__" if r in public and not _is_room(r) else r for r in rooms}


def _is_room(name: str) -> bool:
    return (ROOT / name).is_dir() or (ROOT / f"{name}.py").is_file()


@pytest.mark.parametrize("path", SOURCES, ids=inside)
def test_imports_point_down(path):
    assert room(path) in MAY_IMPORT, f"{inside(path)} is in a room that the plan does not know"
    allowed = {room(path), *MAY_IMPORT[room(path)].split()}

    assert rooms_imported(path) <= allowed


def test_analyses_never_import_an_importer():
    for path in SOURCES:
        if room(path) in {"analyses", "estimation", "rules", "joining", "screening"}:
            assert "importers" not in rooms_imported(path), path


def test_only_the_screens_import_screen_libraries():
    for path in SOURCES:
        if room(path) not in {"cli", "dashboard"}:
            roots = {name.split(".")[0] for name in imports(path)}
            assert not roots & {"typer", "click", "streamlit"}, path


def test_nothing_imports_the_screens():
    for path in SOURCES:
        if room(path) not in {"cli", "dashboard", "__main__"}:
            assert not rooms_imported(path) & {"cli", "dashboard"}, path
        elif inside(path) != "cli/opening.py":  # the command that starts the server
            assert room(path) == "dashboard" or "dashboard" not in rooms_imported(path), path


@pytest.mark.parametrize("path", SOURCES, ids=inside)
def test_package_code_has_no_assert(path):
    lines = [n.lineno for n in nodes(path) if isinstance(n, ast.Assert)]

    assert not lines, "assert vanishes under -O; raise something"


def _is_broad(handler: ast.ExceptHandler) -> bool:
    """Whether it catches everything and keeps it; taking back and raising again is no wall."""
    if isinstance(handler.body[-1], ast.Raise) and handler.body[-1].exc is None:
        return False
    if handler.type is None:
        return True
    names = (n.id for n in ast.walk(handler.type) if isinstance(n, ast.Name))
    return not {"Exception", "BaseException"}.isdisjoint(names)


@pytest.mark.parametrize("path", SOURCES, ids=inside)
def test_everything_is_caught_only_at_the_walls(path):
    handlers = (n for n in nodes(path) if isinstance(n, ast.ExceptHandler))
    broad = [handler.lineno for handler in handlers if _is_broad(handler)]

    assert inside(path) in WALLS or not broad, f"lines {broad}"


@pytest.mark.parametrize("path", SOURCES, ids=inside)
def test_files_are_opened_with_an_encoding(path):
    """Text that is read with the platform's own encoding differs between laptops."""
    for node in nodes(path):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        if node.func.attr in {"read_text", "write_text"}:
            assert "encoding" in {k.arg for k in node.keywords}, f"line {node.lineno}"


def test_importing_the_package_loads_nothing_heavy():
    heavy = {"numpy", "pandas", "scipy", "pyarrow", "pymavlink", "pydantic", "rich", "typer"}
    code = f"import sys, flightlog; print(sorted({heavy!r} & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )

    assert "[]\n" == done.stdout


def test_public_names_are_listed_and_sorted():
    assert sorted(flightlog.__all__) == flightlog.__all__
    assert set(flightlog.__all__) == set(flightlog._HOMES)


def test_public_names_are_what_they_say_whatever_was_imported_before():
    # In a process of its own: a module of the package with the name of a function would hide it.
    code = (
        "import flightlog, flightlog.debriefing, flightlog.importers\n"
        "for name in flightlog.__all__ * 2:\n"
        "    print(name, callable(getattr(flightlog, name)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )

    assert [f"{name} True" for name in flightlog.__all__ * 2] == done.stdout.splitlines()


# --- the look

_COLOUR = re.compile(r"#(?:[0-9a-fA-F]{6}|[0-9a-fA-F]{3})\b")
_TYPE_SIZE = re.compile(r"font-size:\s*(?:\d+px|\.\d+r?em)")


def drawn_files() -> list[Path]:
    """Give the files that say how something looks, apart from the one that may say it freely."""
    found = [p for p in SOURCES if room(p) in {"reports", "dashboard"}]
    return [p for p in [*found, ROOT / "reports" / "sheet.typ"] if inside(p) != "reports/look.py"]


@pytest.mark.parametrize("path", drawn_files(), ids=inside)
def test_colours_and_sizes_of_type_stand_in_one_place(path):
    text = path.read_text(encoding="utf-8")

    assert not _COLOUR.findall(text), "name it in reports/look.py"
    assert not _TYPE_SIZE.findall(text), "name it in reports/look.py"


# --- dictionaries


def texts(path: Path) -> Iterator[ast.Constant]:
    return (
        node
        for node in nodes(path)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    )


def finding_codes(path: Path, maker: str = "make_finding") -> Iterator[str]:
    """Give the slugs that a file raises by name."""
    for node in nodes(path):
        if isinstance(node, ast.Call) and _called(node) == maker and node.args:
            yield from (
                n.value
                for n in ast.walk(node.args[0])
                if isinstance(n, ast.Constant) and isinstance(n.value, str)
            )


def _called(node: ast.Call) -> str:
    function = node.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def test_every_finding_that_is_raised_is_in_the_dictionary():
    strange = {
        (inside(path), code)
        for path in SOURCES
        for code in finding_codes(path)
        if code not in FINDINGS
    }

    assert not strange


def test_every_finding_of_the_dictionary_is_raised_somewhere():
    spoken = {node.value for path in SOURCES if room(path) != "findings" for node in texts(path)}
    silent = sorted(set(FINDINGS) - spoken)

    assert not silent


def test_findings_of_ground_tests_are_in_their_dictionary_and_raised_somewhere():
    raised = {code for path in SOURCES for code in finding_codes(path, "ground_finding")}
    spoken = {n.value for path in SOURCES if room(path) != "ground_findings" for n in texts(path)}

    assert not raised - set(GROUND_FINDINGS)
    assert not set(GROUND_FINDINGS) - spoken
    assert not set(GROUND_FINDINGS) & set(FINDINGS), "one slug has one meaning"


def test_figures_of_ground_tests_are_named_outside_of_their_dictionary():
    spoken = " ".join(
        n.value
        for path in SOURCES
        if room(path) in {"groundtests", "operations"}
        for n in texts(path)
    )
    ids = (*GROUND_FIGURES, *GROUND_FIGURES.families)
    silent = [id_ for id_ in ids if id_.rpartition(".")[2] not in spoken]

    assert not silent
    assert not set(GROUND_FIGURES) & set(FIGURES)


def test_every_figure_that_is_named_is_in_the_dictionary():
    subjects = {id_.split(".")[0] for id_ in FIGURES}
    strange = {
        (inside(path), node.value)
        for path in SOURCES
        if room(path) in {"analyses", "estimation", "rules", "debriefing", "reports"}
        for node in texts(path)
        if _looks_like_a_figure(node.value, subjects) and node.value not in FIGURES
    }

    assert not strange


def _looks_like_a_figure(text: str, subjects: set[str]) -> bool:
    subject, dot, name = text.partition(".")
    return bool(dot) and subject in subjects and name.isidentifier()


def test_what_a_finding_spoils_exists():
    every = (*FIGURES, *FIGURES.families)
    for kind in FINDINGS.values():
        for pattern in kind.spoils:
            assert matching(every, pattern), f"{kind.code} spoils {pattern}"
    on_the_ground = (*GROUND_FIGURES, *GROUND_FIGURES.families)
    for kind in GROUND_FINDINGS.values():
        for pattern in kind.spoils:
            assert matching(on_the_ground, pattern), f"{kind.code} spoils {pattern}"


# --- documents


def commands(group: Any, words: str = "") -> Iterator[tuple[str, Any]]:
    """Give all commands with the words that call them, those of groups too."""
    for name, command in group.commands.items():
        called = f"{words} {name}".strip()
        if hasattr(command, "commands"):
            yield from commands(command, called)
        else:
            yield called, command


COMMANDS = dict(commands(get_command(application())))
DEBRIEF_OPTIONS = [
    name
    for parameter in get_command(application()).commands["debrief"].params
    for name in parameter.opts
    if name.startswith("--") and name != "--help"
]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command):
    assert f"flightlog {command}" in README.read_text(encoding="utf-8")


@pytest.mark.parametrize("words", COMMANDS)
def test_every_command_shows_an_example_that_calls_it(words):
    assert f"Example: flightlog {words}" in " ".join(COMMANDS[words].help.split())


def typed_commands(text: str) -> Iterator[list[str]]:
    """Give the words of every line of a document that calls the program."""
    for line in text.splitlines():
        if line.startswith("flightlog "):
            yield shlex.split(line)[1:]


README_COMMANDS = list(typed_commands(README.read_text(encoding="utf-8")))


@pytest.mark.parametrize("words", README_COMMANDS, ids=" ".join)
def test_what_the_readme_types_exists(words):
    called = max((c for c in COMMANDS if f"{' '.join(words)} ".startswith(f"{c} ")), key=len)
    command = COMMANDS[called]
    options = {name for parameter in command.params for name in parameter.opts}
    shipped = {p.name for folder in ("sample_flights", "checklists") for p in files_in(folder)}
    shipped |= {f"bench/{p.name}" for p in files_in("sample_flights/bench")}
    shipped |= {"team", "keys"}  # which the demo makes

    for word in words[1:]:
        folder, slash, name = word.partition("/")
        assert not word.startswith("--") or word in options, word
        assert not (slash and folder == "flightlog-demo") or name in shipped, word


def files_in(folder: str) -> list[Path]:
    return [p for p in (ROOT.parent / folder).iterdir() if p.is_file()]


@pytest.mark.parametrize("option", DEBRIEF_OPTIONS)
def test_every_option_of_the_debrief_is_in_the_readme(option):
    assert f"`{option}" in README.read_text(encoding="utf-8")


def test_the_package_says_that_it_is_typed():
    assert (ROOT / "py.typed").is_file()


# --- the checkout

TOP_LEVEL = {
    *("pyproject.toml", "README.md", "DEVELOPERS.md", ".gitignore", ".ci"),
    *("flightlog", "checklists", "sample_flights", "tests"),
}

# Home, temporary and mounted folders of the three systems. Written so as not to match itself.
_SOMEBODYS = re.compile(
    rb"(?<![\w.~/-])/(?:root|home|Users|tmp|work|opt|mnt)/[\w.]"
    rb"|\b[A-Za-z]:[\\/]+(?:Users|Temp)\b"
)


@cache
def tracked() -> tuple[Path, ...]:
    """Give the files that belong to the project, by their place in it."""
    try:
        done = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT.parent, capture_output=True, check=True, timeout=60
        )
    except (OSError, subprocess.CalledProcessError):
        return ()
    names = done.stdout.decode("utf-8").split("\0")
    return tuple(Path(name) for name in names if name)


def checkout() -> tuple[Path, ...]:
    return tracked() or pytest.skip("not a git checkout: its own files can't be told from others")


def test_nothing_new_stands_at_the_top():
    assert {path.parts[0] for path in checkout()} <= TOP_LEVEL


def test_no_file_names_a_folder_of_somebodys_machine():
    named = {
        (path.as_posix(), found.group().decode("utf-8"))
        for path in checkout()
        if (ROOT.parent / path).is_file()
        for found in _SOMEBODYS.finditer((ROOT.parent / path).read_bytes())
    }

    assert not named
