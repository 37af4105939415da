from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import flightlog
from flightlog import resources
from flightlog.errors import FlightlogError
from flightlog.resources import data_path
from tests.wheels import built_wheel, why_no_wheel

ROOT = Path(flightlog.__file__).resolve().parents[1]
RULES = "checklists/club_trial_2027.toml"


def test_finds_a_file_and_a_folder_of_the_checkout():
    assert data_path("checklists", "club_trial_2027.toml").is_file()
    assert data_path("sample_flights", "index.toml").is_file()
    assert data_path("checklists").is_dir()


@pytest.mark.parametrize(
    "parts",
    [
        (),
        ("pyproject.toml",),
        ("checklists", ".."),
        ("checklists", "../pyproject.toml"),
        ("checklists", "..\\pyproject.toml"),
        ("checklists", ""),
        ("checklists", "C:x"),
    ],
)
def test_nothing_else_is_given_out(parts):
    with pytest.raises(FlightlogError, match="not a file that ships with the program"):
        data_path(*parts)


def test_a_missing_file_says_what_to_do():
    with pytest.raises(FlightlogError, match=r"checklists/none\.toml: .* Install the program"):
        data_path("checklists", "none.toml")


def test_an_installed_package_looks_inside_itself_first(tmp_path, monkeypatch):
    inside = tmp_path / "_data" / "checklists"
    inside.mkdir(parents=True)
    (inside / "club_trial_2027.toml").write_text("", encoding="utf-8")
    monkeypatch.setattr(resources, "_PLACES", (tmp_path / "_data", ROOT))

    assert data_path("checklists", "club_trial_2027.toml").is_relative_to(tmp_path)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    if why := why_no_wheel():
        pytest.skip(why)
    return built_wheel(tmp_path_factory.mktemp("wheel"))


def test_the_wheel_holds_the_data_and_no_leavings(wheel):
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())

    assert f"flightlog/_data/{RULES}" in names
    assert "flightlog/_data/sample_flights/index.toml" in names
    for needed in ("reports/sheet.typ", "dashboard/entry/app.py", "cli/sheet.py", "py.typed"):
        assert f"flightlog/{needed}" in names
    logs = {p.name for p in (ROOT / "sample_flights").iterdir() if p.suffix in {".bin", ".tlog"}}
    assert logs <= {Path(n).name for n in names if n.startswith("flightlog/_data/sample_flights/")}
    assert not [n for n in names if "__pycache__" in n or n.endswith(".pyc")]


def printed(code: str, wheel: Path, folder: Path) -> list[str]:
    """Run code outside the checkout with what the wheel holds, and give the lines it prints."""
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "site")
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder / "site")},
        check=True,
        capture_output=True,
        text=True,
        timeout=60,
    )
    return done.stdout.splitlines()


def test_an_installed_wheel_finds_its_data_outside_the_checkout(wheel, tmp_path):
    code = (
        "import flightlog\n"
        "from flightlog.resources import data_path\n"
        "from flightlog.rules.book import load_rules\n"
        "path = data_path('checklists', 'club_trial_2027.toml')\n"
        "print(path)\n"
        "print(load_rules(path).id)\n"
        "print(data_path('sample_flights', 'index.toml'))\n"
    )
    rules, id_, index = printed(code, wheel, tmp_path)

    assert id_ == "club-trial-2027"
    for found in (rules, index):
        assert Path(found).is_relative_to((tmp_path / "site" / "flightlog" / "_data").resolve())


def test_an_installed_wheel_sets_a_sheet_and_finds_the_script_of_its_pages(wheel, tmp_path):
    code = (
        "from datetime import UTC, datetime\n"
        "from flightlog.dashboard import server\n"
        "from flightlog.reports.sheet_content import SheetContent\n"
        "from flightlog.reports.sheet_pdf import sheet_pdf\n"
        "made = datetime(2027, 4, 6, tzinfo=UTC)\n"
        "sheet = SheetContent('Flight', '', 'Hill farm', '', (), ((),), (), ('1.AAAAA',), made)\n"
        "print(sheet_pdf(sheet)[:5].decode('ascii'))\n"
        "print(server._ENTRY.resolve())\n"
        "print(server._ENTRY.is_file())\n"
    )
    magic, entry, there = printed(code, wheel, tmp_path)

    assert ("%PDF-", "True") == (magic, there)
    assert Path(entry).is_relative_to((tmp_path / "site" / "flightlog").resolve())
