"""Where tests keep their temporary folders, how many examples a law is tried on, what is spared.

As the command does, tests compute with one thread each: matrices are small, and threads of several
workers that wait for each other cost several times the work.
"""

from __future__ import annotations

import gc
import os
import pickle
import shutil
import sys
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # read when numpy is first imported
# Tests start hundreds of processes; without kept bytecode each compiles the whole program anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
# So that all tests end within a quarter of an hour on two cores; a law that needs more says so. The
# same examples each time: what fails is what was changed. Other ones are tried by hand.
settings.register_profile("house", max_examples=25, derandomize=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "house"))

IN_MEMORY = Path("/dev/shm")
ROOM = 4_000_000_000
"""Free room that a file system in memory needs to be used [bytes]."""


def pytest_configure() -> None:
    """Keep temporary folders in memory where the system has room for that.

    Tests of the record mostly wait for a disk otherwise. What is promised about disks is tested on
    one that forgets, in ``tests/logbook/forgetful_disk.py``.
    """
    if "PYTEST_DEBUG_TEMPROOT" in os.environ or not os.access(IN_MEMORY, os.W_OK):
        return
    if shutil.disk_usage(IN_MEMORY).free > ROOM:
        os.environ["PYTEST_DEBUG_TEMPROOT"] = str(IN_MEMORY)


def pytest_collection_finish() -> None:
    """Spare the collector of garbage what is there to stay: modules and the tests themselves."""
    gc.freeze()


_loads = tomllib.loads


@lru_cache(maxsize=512)
def _pickled(text: str) -> bytes:
    return pickle.dumps(_loads(text), pickle.HIGHEST_PROTOCOL)


def _loads_known(text: str, /, **options: Any) -> dict[str, Any]:
    """Do as ``tomllib.loads``; the same few team files are parsed for almost every test."""
    if options or not isinstance(text, str):
        return _loads(text, **options)
    try:
        return pickle.loads(_pickled(text))  # a table of its own each time, as it may be changed
    except RecursionError:  # nested too deep to be kept
        return _loads(text)


tomllib.loads = _loads_known
