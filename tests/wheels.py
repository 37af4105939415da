"""A wheel of the program, built and installed for tests."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def why_no_wheel() -> str:
    """Say why no wheel can be built here, "" where one can."""
    if importlib.util.find_spec("hatchling") is None:
        return "hatchling, which builds the wheel, is not installed"
    if not (ROOT / "pyproject.toml").is_file():
        return "the tests don't run from a checkout, so there is nothing to build"
    return ""


def built_wheel(folder: Path) -> Path:
    """Build the wheel into a folder."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT,
        check=True,
        capture_output=True,
        timeout=120,
    )
    return next(folder.glob("*.whl"))


def installed_wheel(folder: Path) -> Path:
    """Build the wheel, install it by itself below a folder, and give the place for PYTHONPATH."""
    wheel, site = built_wheel(folder), folder / "site"
    subprocess.run(
        [
            *(sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index"),
            *("--disable-pip-version-check", "--target", str(site), str(wheel)),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    return site
