from __future__ import annotations

import shutil
from contextlib import suppress
from functools import cache

import pytest

from flightlog.dashboard import before_answers, shell
from tests.dashboard.screens import Screen, keep_keys, keep_names, opened
from tests.operations.conftest import farm_place  # noqa: F401
from tests.operations.made import MORNING, HillFarm
from tests.operations.released import ready_place, released_place  # noqa: F401
from tests.operations.takeoff_days import season_place  # noqa: F401

with suppress(ImportError, AttributeError):  # other versions have it elsewhere, or not
    from streamlit.components.v2 import manifest_scanner

    # Each opened page looks for components through the metadata of all installed packages.
    manifest_scanner.scan_component_manifests = cache(manifest_scanner.scan_component_manifests)


def _screen(place, now, root, monkeypatch):
    shutil.copytree(place, root, dirs_exist_ok=True)
    keep_names(root / "team")
    screen = Screen(root / "team", root, now)
    keep_keys(screen.keys)
    return opened(monkeypatch, screen, root / "profile")


@pytest.fixture(autouse=True)
def _closed(monkeypatch):
    """Close the desk afterwards; a fault of ours is raised here, where pages only tell of it."""

    def raised(error):
        raise error

    monkeypatch.setattr(shell, "fault_of", raised)
    yield
    shell.close()


@pytest.fixture
def no_team_screen(tmp_path, monkeypatch):
    """Pages that were opened without a team folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("FLIGHTLOG_TEAM", raising=False)
    return opened(monkeypatch, Screen(None, tmp_path, MORNING), tmp_path / "profile")


@pytest.fixture
def new_team_screen(tmp_path, monkeypatch):
    """Pages of a team that has founded its record and entered nothing else."""
    farm = HillFarm(tmp_path)
    farm.close()
    keep_names(tmp_path / "team")
    screen = Screen(tmp_path / "team", tmp_path, MORNING)
    keep_keys(screen.keys)
    return opened(monkeypatch, screen, tmp_path / "profile")


@pytest.fixture
def farm_screen(farm_place, tmp_path, monkeypatch):  # noqa: F811
    """Pages of the hill farm: the sample files are in force, nothing was done yet."""
    return _screen(*farm_place, tmp_path, monkeypatch)


@pytest.fixture
def ready_screen(ready_place, tmp_path, monkeypatch):  # noqa: F811
    """Pages of a farm of which everything is ready for a release."""
    return _screen(*ready_place, tmp_path, monkeypatch)


@pytest.fixture
def released_screen(released_place, tmp_path, monkeypatch):  # noqa: F811
    """Pages of a farm that is released."""
    return _screen(*released_place, tmp_path, monkeypatch)


@pytest.fixture
def season_screen(season_place, tmp_path, monkeypatch):  # noqa: F811
    """Pages of a farm that flew six times, in the morning of the next day."""
    return _screen(*season_place, tmp_path, monkeypatch)


@pytest.fixture
def patient(monkeypatch):
    """Nobody is too quick for a check."""
    monkeypatch.setattr(before_answers, "LEAST_S", 0.0)
